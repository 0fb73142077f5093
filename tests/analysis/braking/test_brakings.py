"""Brakings on simulated rides whose truth is known, and on rides that have none."""

from dataclasses import fields, replace

import numpy as np
import pytest
from labelled_rides import RandomRide, finish
from log_in_memory import to_track
from random_rides import starts_and_stops
from receiver_presets import preset
from simulate import Machine, Receiver, RideLayout

from ridelog.analysis.braking.corners import falling_corner, resting_corner, rising_corner
from ridelog.analysis.braking.measure import Brakings, measure_brakings
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion


def logged(ride: RandomRide, rate_hz: float, *, speed: bool = True, seed: int = 5) -> Motion:
    rng = np.random.default_rng(seed)
    receiver = preset("clean", rate_hz, rng, reports_speed=speed)
    return estimate_motion(to_track(receiver.observe(ride.truth, rng)))


def pairs(ride: RandomRide, found: Brakings) -> list[tuple[float, float, float]]:
    """Return the true mean deceleration and start of each braking beside the one found."""
    result = []
    for true in ride.labels["brakings"]:
        decel = (true.from_mps**2 - true.to_mps**2) / (2.0 * true.distance_m)
        match = [b for b in found.each if b.start_s < true.end_s and b.end_s > true.start_s]
        assert len(match) == 1, (true, found)
        result.append(
            (match[0].mean_decel_mps2.value - decel, match[0].start_s - true.start_s,
             match[0].distance_m.value / true.distance_m - 1.0)
        )  # fmt: skip
    return result


@pytest.mark.parametrize(("rate_hz", "speed"), [(10.0, True), (5.0, False), (1.0, True)])
def test_brakings_are_found_where_and_as_hard_as_they_were(rate_hz: float, speed: bool) -> None:
    ride = starts_and_stops(np.random.default_rng(3), attempts=3)
    found = measure_brakings(logged(ride, rate_hz, speed=speed))
    errors = np.array(pairs(ride, found))
    assert np.abs(errors[:, 0]).max() < 0.35
    assert np.abs(errors[:, 1]).max() < 0.3
    assert np.abs(errors[:, 2]).max() < (0.15 if rate_hz > 1.0 else 0.25)
    assert all(braking.is_stop for braking in found.stops)
    for braking in found.each:
        assert (
            braking.mean_decel_mps2.low
            < braking.mean_decel_mps2.value
            < braking.mean_decel_mps2.high
        )
        assert len(braking.decel_columns) == 301


def ride_of(*, brake_mps2: float = 3.0, to_mps: float = 0.0) -> RandomRide:
    ride = RideLayout()
    ride.stand(5.0)
    ride.drive(until_mps=7.0)
    ride.hold(4.0)
    ride.brake(to_mps, decel_mps2=brake_mps2, build_s=0.1, ease_s=0.1)
    if to_mps:
        ride.hold(4.0)
        ride.shift(0.0, accel_mps2=0.5)
    ride.stand(6.0)
    return finish(ride, np.random.default_rng(1))


def test_developed_deceleration_is_that_of_the_flat_part() -> None:
    found = measure_brakings(logged(ride_of(), 10.0))
    assert len(found.each) == 1
    developed = found.each[0].developed_decel_mps2
    assert developed is not None
    assert developed.value == pytest.approx(3.0, abs=0.12)
    assert developed.low < 3.0 < developed.high
    # The build-up makes the mean over the whole way a little less.
    assert found.each[0].mean_decel_mps2.value < developed.value


def test_a_braking_that_rolls_on_has_no_developed_deceleration() -> None:
    found = measure_brakings(logged(ride_of(to_mps=3.0), 10.0))
    assert len(found.each) == 1
    only = found.each[0]
    assert not only.is_stop
    assert only.to_mps == pytest.approx(3.0, abs=0.1)
    assert only.developed_decel_mps2 is None
    assert found.stops == ()


def test_rolling_out_is_no_braking() -> None:
    ride = RideLayout()
    ride.stand(5.0)
    ride.drive(until_mps=9.0)
    ride.hold(2.0)
    ride.coast(until_mps=1.0)
    ride.shift(0.0, accel_mps2=0.4)
    ride.stand(5.0)
    found = measure_brakings(logged(finish(ride, np.random.default_rng(2)), 10.0))
    assert found.each == ()
    assert found.reason == "nowhere does the machine slow down harder than rolling freely may"


def test_a_machine_at_rest_brakes_nowhere() -> None:
    ride = RideLayout()
    ride.stand(60.0)
    found = measure_brakings(logged(finish(ride, np.random.default_rng(2)), 1.0, speed=False))
    assert found.each == ()


def test_excluded_stretches_hold_no_braking() -> None:
    motion = logged(ride_of(), 10.0)
    whole = measure_brakings(motion)
    none = measure_brakings(motion, excluded=((whole.each[0].start_s, whole.each[0].end_s),))
    assert none.each == ()


def test_a_hole_over_the_braking_leaves_the_reason() -> None:
    ride = ride_of()
    rng = np.random.default_rng(4)
    track = to_track(Receiver(rate_hz=10.0).observe(ride.truth, rng))
    braking = ride.labels["brakings"][0]
    lost = (track.time_s > braking.start_s - 0.3) & (track.time_s < braking.start_s + 1.5)
    keep = ~lost
    thinner = {
        f.name: getattr(track, f.name)[keep].copy()
        for f in fields(track)
        if isinstance(getattr(track, f.name), np.ndarray)
    }
    found = measure_brakings(estimate_motion(replace(track, **thinner)))
    assert found.each == ()
    assert found.reason == "where the machine slowed down, the signal does not carry a figure"


TIME_S = np.arange(0.0, 4.0, 0.05)


def built(after_s: FloatArray, build_s: float) -> FloatArray:
    """Integral of a raised cosine by summing it, independent of the module's closed form."""
    fine = np.linspace(0.0, 4.0, 40001)
    rate = 0.5 - 0.5 * np.cos(np.pi * np.clip(fine / build_s, 0.0, 1.0))
    total = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(fine))])
    result: FloatArray = np.interp(np.maximum(after_s, 0.0), fine, total)
    return result


def test_corner_of_a_formula() -> None:
    speed = np.repeat((8.0 - 3.0 * built(TIME_S - 1.63, 0.25))[:, None], 5, axis=1)
    corner = falling_corner(TIME_S, speed, (1.2, 2.2), 1e-5)
    assert corner.at_s[0] == pytest.approx(1.63, abs=0.02)
    assert corner.speed_mps[0] == pytest.approx(8.0, abs=0.01)


def test_a_pull_ends_at_its_highest_speed() -> None:
    pulling = 6.0 + 1.0 * (TIME_S - 1.5) - 4.0 * built(TIME_S - 1.5, 0.25)
    corner = falling_corner(TIME_S, np.repeat(pulling[:, None], 3, axis=1), (1.0, 2.0), 1e-6)
    assert corner.at_s[0] == pytest.approx(TIME_S[pulling.argmax()], abs=0.04)
    assert corner.speed_mps[0] == pytest.approx(pulling.max(), abs=0.02)


def test_rest_and_release_of_a_formula() -> None:
    falling = np.repeat((3.0 * built(2.4 - TIME_S, 0.15))[:, None], 3, axis=1)
    assert resting_corner(TIME_S, falling, (2.0, 2.8), 1e-5).at_s[0] == pytest.approx(2.4, abs=0.03)
    released = rising_corner(TIME_S, falling + 2.0, (2.0, 2.8), 1e-5)
    assert released.at_s[0] == pytest.approx(2.4, abs=0.03)
    assert released.speed_mps[0] == pytest.approx(2.0, abs=0.02)


def test_a_receiver_that_freezes_while_moving_is_no_braking() -> None:
    """At 14 m/s the positions stop dead for some seconds, then catch up: no tyre does that."""
    ride = RideLayout(Machine().with_steady_speed(14.0))
    ride.stand(5.0)
    ride.drive(for_s=40.0)
    ride.brake(decel_mps2=2.0)
    ride.stand(5.0)
    rng = np.random.default_rng(9)
    log = preset("clean", 1.0, rng, reports_speed=False).observe(finish(ride, rng).truth, rng)
    held = (log.time_s >= 30.0) & (log.time_s < 34.0)
    first = int(np.flatnonzero(held)[0])
    frozen = replace(
        log,
        east_m=np.where(held, log.east_m[first], log.east_m),
        north_m=np.where(held, log.north_m[first], log.north_m),
    )
    found = measure_brakings(estimate_motion(to_track(frozen)))
    assert all(one.start_s > 40.0 for one in found.each)
    assert all(one.mean_decel_mps2.value < 10.0 for one in found.each)
