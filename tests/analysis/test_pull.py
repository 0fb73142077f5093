"""The pull curve of machines whose acceleration is known."""

import functools

import numpy as np
import pytest

from ridelog.analysis.pull import PullCurve, measure_pull
from ridelog.filtering.smoother import estimate_motion
from ridelog.simulate import Machine, Ride, Surroundings, preset, to_track

SLOPE = 0.02


@functools.cache
def pull_of(*, both_ways: bool, slope: float, seed: int = 5, share: float = 1.0) -> PullCurve:
    ride = Ride(Machine(), 0.5, Surroundings(slope=slope, slope_bearing_rad=0.5))
    for number in range(4):
        ride.stand(5.0)
        full = number < 3 or share == 1.0
        if full:
            ride.drive(until_mps=7.5, build_s=0.2)
        else:
            ride.shift(7.5, accel_mps2=share)
        ride.hold(1.0)
        ride.brake()
        ride.stand(3.0)
        if both_ways:
            ride.shift(0.9, accel_mps2=0.8)
            ride.turn(np.pi, 2.5)
            ride.shift(0.0, accel_mps2=0.8)
    ride.stand(4.0)
    rng = np.random.default_rng(seed)
    track = to_track(preset("clean", 10.0, rng).observe(ride.build(), rng))
    return measure_pull(estimate_motion(track))


def true_pull(speed: float) -> float:
    return float(Machine().acceleration_mps2(np.array([speed]))[0])


def test_the_curve_follows_the_machine() -> None:
    pull = pull_of(both_ways=True, slope=0.0)
    assert pull.reason == "" and pull.both_ways and pull.runs_used == 4
    for speed in (2.0, 3.25, 5.0):
        accel = pull.at(speed)
        assert accel is not None
        assert accel.value == pytest.approx(true_pull(speed), abs=0.12)
        assert accel.high - accel.low < 0.4
    assert pull.standing_pull is not None
    assert pull.standing_pull.value == pytest.approx(true_pull(1.75), abs=0.12)
    assert pull.at(0.2) is None and pull.at(40.0) is None
    assert pull.columns_at(2.0).shape == (301,)
    assert np.isnan(pull.columns_at(40.0)).all()


def test_opposite_pulls_cancel_a_slope_and_one_way_ones_say_so() -> None:
    gravity = 9.80665 * SLOPE
    both, one = (pull_of(both_ways=way, slope=SLOPE) for way in (True, False))
    level = true_pull(3.0)
    seen, uphill = both.at(3.0), one.at(3.0)
    assert seen is not None and uphill is not None
    assert seen.value == pytest.approx(level, abs=0.1)
    assert uphill.value == pytest.approx(level - gravity, abs=0.1)
    assert both.way_difference is not None
    assert abs(both.way_difference.value) == pytest.approx(gravity, abs=0.08)
    assert "mean of both directions, so that an even slope cancels" in both.slope_note
    assert one.way_difference is None and not one.both_ways
    assert "not corrected for slope: all pulls went one way" in one.slope_note


def test_part_throttle_is_left_out() -> None:
    pull = pull_of(both_ways=False, slope=0.0, share=0.8)
    assert (pull.runs_used, pull.runs_left_out) == (3, 1)


def test_force_and_power_follow_from_a_mass() -> None:
    pull = pull_of(both_ways=True, slope=0.0)
    k = int(np.argmin(np.abs(pull.speed_mps - 3.0)))
    accel, force, power = (
        pull.accel[k], pull.wheel_force_n(95.0)[k], pull.wheel_power_w(95.0)[k]
    )  # fmt: skip
    assert accel is not None and force is not None and power is not None
    assert force.value == pytest.approx(95.0 * accel.value)
    assert power.value == pytest.approx(95.0 * accel.value * pull.speed_mps[k])


def test_a_ride_without_a_pull_says_so() -> None:
    ride = Ride(Machine())
    ride.stand(60.0)
    rng = np.random.default_rng(1)
    track = to_track(preset("clean", 5.0, rng).observe(ride.build(), rng))
    pull = measure_pull(estimate_motion(track))
    assert pull.reason == "the ride holds no pull that gains 2 m/s or more"
    assert pull.at(2.0) is None and pull.accel == () and pull.standing_pull is None
