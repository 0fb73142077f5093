"""The acceleration curve of machines whose acceleration is known."""

import functools
from dataclasses import replace

import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from scipy.special import ndtri
from simulate import Machine, RideLayout, Surroundings

from ridelog.analysis.acceleration.measure import AccelerationCurve, measure_acceleration
from ridelog.analysis.acceleration.runs import AccelerationRun, RunDraws, draw_runs
from ridelog.filtering.smoother import estimate_motion

SLOPE = 0.02


@functools.cache
def pull_of(
    *, both_ways: bool, slope: float, seed: int = 5, share: float = 1.0
) -> AccelerationCurve:
    ride = RideLayout(Machine(), 0.5, Surroundings(slope=slope, slope_bearing_rad=0.5))
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
    return measure_acceleration(draw_runs(estimate_motion(track)))


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
    assert pull.standing_mps2 is not None
    assert pull.standing_mps2.value == pytest.approx(true_pull(1.75), abs=0.12)
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
    apart = both.direction_difference_mps2
    assert apart is not None and both.both_ways
    assert abs(apart.value) == pytest.approx(2.0 * gravity, abs=0.16)
    assert one.direction_difference_mps2 is None and not one.both_ways


def test_part_throttle_is_left_out() -> None:
    pull = pull_of(both_ways=False, slope=0.0, share=0.8)
    assert (pull.runs_used, pull.runs_left_out) == (3, 1)


def _drawn(jump_mps: float = 0.0, scatter: float = 0.0) -> RunDraws:
    """Return a start at 2 m/s² from 1 s on, columns of different pace, a jump about 3.5 m/s."""
    time_s = np.linspace(0.0, 6.0, 601)
    scores = ndtri((np.arange(300) + 0.5) / 300)
    pace = 1.0 + scatter * np.random.default_rng(7).permutation(scores)
    speed = 2.0 * np.maximum(time_s[:, None] - 1.0, 0.0) / pace
    speed[time_s > 2.75 - 0.25 * jump_mps] += jump_mps
    run = AccelerationRun(True, 0.0, 2.0, 0.0, 6.0, float(speed.mean(axis=1).max()), 6.0, 0.0)
    return RunDraws(run, np.full(300, 1.0), time_s, speed)


def test_a_jump_of_the_receiver_counts_no_more_than_its_share() -> None:
    pull = measure_acceleration((_drawn(), _drawn(), _drawn(jump_mps=0.8)))
    assert (pull.runs_used, pull.runs_left_out) == (3, 0)
    struck, beside = pull.at(3.5), pull.at(2.0)
    assert struck is not None and beside is not None
    # The jump leaves 0.2 m/s of the step to be gained: a pull of 10 m/s² in one run of three.
    assert struck.value == pytest.approx(3.0 / (0.5 + 0.5 + 0.1), abs=0.02)
    assert beside.value == pytest.approx(2.0, abs=0.01)
    faster_than_tyres = measure_acceleration((_drawn(), _drawn(), _drawn(jump_mps=0.9))).at(3.5)
    assert faster_than_tyres is not None
    assert faster_than_tyres.value == pytest.approx(2.0, abs=0.01)


def test_runs_held_against_each_other_in_turn_are_those_held_at_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    full, slack = _drawn(), _drawn()
    slack = replace(slack, speed_mps=0.6 * slack.speed_mps)
    runs = (full, slack, full, slack, full)
    at_once = measure_acceleration(runs)
    assert (at_once.runs_used, at_once.runs_left_out) == (3, 2)
    monkeypatch.setattr("ridelog.analysis.acceleration.measure._COMPARED", 2)
    in_turn = measure_acceleration(runs)
    assert (in_turn.runs_used, in_turn.runs_left_out) == (3, 2)
    np.testing.assert_array_equal(in_turn.columns, at_once.columns)


def test_noise_in_the_times_does_not_raise_the_pull() -> None:
    pull = measure_acceleration((_drawn(scatter=0.25),))
    seen = pull.at(3.0)
    assert seen is not None
    # The mean of 1 / time would be 2.15.
    assert seen.value == pytest.approx(2.0, abs=0.06)
    assert seen.high - seen.low == pytest.approx(2.0 * 1.645 * 0.25 * 2.0, rel=0.15)


def test_a_ride_without_a_pull_says_so() -> None:
    ride = RideLayout(Machine())
    ride.stand(60.0)
    rng = np.random.default_rng(1)
    track = to_track(preset("clean", 5.0, rng).observe(ride.build(), rng))
    pull = measure_acceleration(draw_runs(estimate_motion(track)))
    assert pull.reason == "the ride holds no run that gains 7 km/h (4 mph) or more"
    assert pull.at(2.0) is None and pull.curve == () and pull.standing_mps2 is None
