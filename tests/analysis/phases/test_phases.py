"""Phases of simulated rides, and the dynamic programming behind them."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from labelled_rides import RandomRide, finish
from log_in_memory import to_track
from receiver_presets import preset
from simulate import RideLayout

from ridelog.analysis.braking.measure import measure_brakings
from ridelog.analysis.phases.measure import KINDS, LIKELY, Phases, divide_ride, most_probable
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion


def ridden() -> RandomRide:
    """One of everything that motion alone can tell."""
    ride = RideLayout()
    ride.stand(6.0)
    ride.drive(until_mps=8.0)
    ride.hold(5.0)
    ride.coast(until_mps=6.0)
    ride.brake(3.0, decel_mps2=2.5)
    ride.hold(2.0)
    ride.turn(np.pi, 4.0)
    ride.hold(2.0)
    ride.drive(until_mps=7.0)
    ride.hold(3.0)
    ride.brake(decel_mps2=3.0)
    ride.stand(6.0)
    return finish(ride, np.random.default_rng(8))


def logged(rate_hz: float, *, speed: bool = True) -> Motion:
    rng = np.random.default_rng(4)
    receiver = preset("clean", rate_hz, rng, reports_speed=speed)
    return estimate_motion(to_track(receiver.observe(ridden().truth, rng)))


@pytest.fixture(scope="module")
def divided() -> Phases:
    motion = logged(10.0)
    return divide_ride(motion, brakings=measure_brakings(motion))


def test_one_ride_in_order(divided: Phases) -> None:
    order = [phase.kind for phase in divided.each]
    assert order == [
        "standstill", "launch", "steady", "coasting", "braking", "steady", "turning", "steady",
        "pull", "steady", "braking", "standstill",
    ]  # fmt: skip


def test_phases_follow_each_other_without_gap_or_overlap(divided: Phases) -> None:
    for before, after in itertools.pairwise(divided.each):
        assert after.start_s == pytest.approx(before.end_s)
    assert all(phase.end_s > phase.start_s for phase in divided.each)
    assert {phase.kind for phase in divided.each} <= set(KINDS)


def test_boundaries_are_where_the_truth_has_them(divided: Phases) -> None:
    ride = ridden()
    for label, kind in (("brakings", "braking"), ("coasts", "coasting"), ("turns", "turning")):
        found = [phase for phase in divided.each if phase.kind == kind]
        for true, phase in zip(ride.labels[label], found, strict=True):
            within = 1.5 if kind == "turning" else 0.6
            assert phase.start_s == pytest.approx(true.start_s, abs=within)
            assert phase.end_s == pytest.approx(true.end_s, abs=within)


def test_brakings_are_those_measured() -> None:
    motion = logged(10.0)
    brakings = measure_brakings(motion)
    phases = divide_ride(motion, brakings=brakings)
    braked = [phase for phase in phases.each if phase.kind == "braking"]
    for one, phase in zip(brakings.each, braked, strict=True):
        assert phase.start_s == pytest.approx(one.start_s, abs=0.11)
        assert phase.end_s == pytest.approx(one.end_s, abs=0.11)


@pytest.mark.parametrize("speed", [True, False])
def test_one_fix_a_second_still_tells_most_of_it(speed: bool) -> None:
    motion = logged(1.0, speed=speed)
    phases = divide_ride(motion, brakings=measure_brakings(motion))
    order = [phase.kind for phase in phases.each]
    assert order[:2] == ["standstill", "launch"]
    assert order[-1] == "standstill"
    # The braking from 5.7 to 3 m/s lasts a second: positions one second apart may miss it.
    assert order.count("braking") >= (2 if speed else 1)


def test_reverse_spans_lie_over_everything() -> None:
    phases = divide_ride(logged(10.0), reverse_spans=((8.0, 9.0),))
    (only,) = [phase for phase in phases.each if phase.kind == "reverse"]
    assert only.start_s == pytest.approx(8.0, abs=0.11)
    assert only.end_s == pytest.approx(9.0, abs=0.11)


def test_a_measured_start_moves_its_launch() -> None:
    motion = logged(10.0)
    (launch,) = [p for p in divide_ride(motion).each if p.kind == "launch"]
    moved = divide_ride(motion, launch_starts_s=(launch.start_s - 0.3,))
    (later,) = [p for p in moved.each if p.kind == "launch"]
    assert later.start_s == pytest.approx(launch.start_s - 0.3)
    (far,) = [p for p in divide_ride(motion, launch_starts_s=(50.0,)).each if p.kind == "launch"]
    assert far.start_s == launch.start_s


def test_the_likeliest_sequence_is_the_best_of_all() -> None:
    """Against trying every sequence of two kinds over ten instants."""
    rng = np.random.default_rng(5)
    odds = np.full((10, len(LIKELY)), -50.0)
    odds[:, :2] = rng.normal(0.0, 4.0, (10, 2))
    best = max(
        itertools.product((0, 1), repeat=10),
        key=lambda kinds: (
            sum(odds[k, kind] for k, kind in enumerate(kinds))
            - 5.0 * sum(a != b for a, b in itertools.pairwise(kinds))
        ),
    )
    assert most_probable(odds).tolist() == list(best)


def test_fixes_far_apart_say_nothing_about_phases() -> None:
    track = to_track(preset("clean", 1.0, np.random.default_rng(4)).observe(
        ridden().truth, np.random.default_rng(4)
    ))  # fmt: skip
    kept = np.arange(len(track)) % 3 == 0
    thin = {
        name: value[kept].copy()
        for name, value in vars(track).items()
        if isinstance(value, np.ndarray)
    }
    assert divide_ride(estimate_motion(replace(track, **thin))).each == ()
