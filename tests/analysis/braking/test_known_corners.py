"""Corners against least squares trial by trial, and which slowings are brakings, edge by edge.

METHOD.md of braking, (1) to (3): every trial is a line, from an instant on bent by a change of
slope that builds up; its weight is what normal noise gives its misfit.
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.braking.corners import (
    built_up,
    coasting_limit_mps2,
    falling_corner,
    find_slowings,
    joined_runs,
    resting_corner,
    rising_corner,
    smoothed,
)
from ridelog.core.track import FloatArray

STEP_S, DENSITY = 0.02, 2.0e-4
TIME_S: FloatArray = 100.0 + STEP_S * np.arange(100.0)
BUILDS_S = np.array([0.1, 0.2, 0.4])


def grown(after_s: FloatArray, build_s: float) -> FloatArray:
    """Return the integral of a raised cosine that goes from 0 to 1, summed up finely."""
    fine = np.linspace(0.0, 3.0, 30001)
    slope = 0.5 - 0.5 * np.cos(np.pi * np.clip(fine / build_s, 0.0, 1.0))
    whole = np.concatenate([[0.0], np.cumsum(0.5 * (slope[1:] + slope[:-1]))]) * fine[1]
    result: FloatArray = np.interp(after_s, fine, whole, left=0.0)
    return result


def test_a_change_of_slope_builds_up_as_a_raised_cosine() -> None:
    after = np.linspace(-0.5, 1.5, 41)
    for build_s in (0.1, 0.45, 1.0):
        assert built_up(after, build_s) == pytest.approx(grown(after, build_s), abs=1e-6)


def weighed(misfits: list[float], figures: list[tuple[float, float]]) -> FloatArray:
    weight = np.exp(-0.5 * STEP_S / DENSITY * (np.array(misfits) - min(misfits)))
    mean: FloatArray = weight @ np.array(figures) / weight.sum()
    return mean


def seen(pull: float, *, noise: float = 0.02) -> FloatArray:
    """Return three paths that pull (or roll) at 5 m/s until 101 s and then brake at 3 m/s²."""
    rng = np.random.default_rng(8)
    after = TIME_S - 101.0
    speed = 5.0 + pull * after - (3.0 + pull) * grown(after, 0.2)
    return speed[:, None] + noise * rng.standard_normal((len(TIME_S), 3))


@pytest.mark.parametrize("pull", [-0.3, 0.0, 1.5])
def test_where_speeds_begin_to_fall_is_the_mean_over_all_trials(pull: float) -> None:
    paths, between = seen(pull), (100.8, 101.3)
    found = falling_corner(TIME_S, paths, between, DENSITY, length_s=BUILDS_S)
    for column, path in enumerate(paths.T):
        misfits, figures = [], []
        for build_s in BUILDS_S:
            for corner in np.linspace(*between, 26):
                shape = np.stack([np.ones(100), TIME_S - corner, grown(TIME_S - corner, build_s)])
                factors, *_ = np.linalg.lstsq(shape.T, path, rcond=None)
                if factors[2] >= 0.0:
                    continue
                # If it still pulled it is the top of the speed, inside the build-up.
                inside = np.linspace(0.0, build_s, 2001)
                speeds = factors[0] + factors[1] * inside + factors[2] * grown(inside, build_s)
                top = int(np.argmax(speeds)) if factors[1] > 0.0 else 0
                misfits.append(float(((path - factors @ shape) ** 2).sum()))
                figures.append((corner + float(inside[top]), float(speeds[top])))
        at_s, speed = weighed(misfits, figures)
        assert found.at_s[column] == pytest.approx(at_s, abs=1e-3)
        assert found.speed_mps[column] == pytest.approx(speed, abs=1e-3)
    assert found.at_s == pytest.approx(101.0, abs=0.12)


def test_where_they_cease_to_fall_is_the_same_turned_over() -> None:
    """Falling at 3 m/s² until 101 s at 2 m/s, then rolling on at 2 m/s."""
    after = TIME_S - 101.0
    speed = (2.0 - 3.0 * after + 3.0 * grown(after + 0.15, 0.3))[:, None]
    found = rising_corner(TIME_S, speed, (100.6, 101.4), DENSITY)
    assert found.at_s == pytest.approx(101.15, abs=0.06)
    assert found.speed_mps == pytest.approx(float(speed[-1, 0]), abs=0.05)


def test_where_they_come_to_rest_is_the_mean_over_all_trials() -> None:
    """A line and its square, which is a deceleration that changes; rest is zero."""
    rng = np.random.default_rng(9)
    left = grown(101.2 - TIME_S, 0.2)
    paths = (2.5 * left + 0.4 * left**2)[:, None] + 0.03 * rng.standard_normal((100, 3))
    found = resting_corner(TIME_S, paths, (101.0, 101.4), DENSITY)
    for column, path in enumerate(paths.T):
        misfits, figures = [], []
        for ease_s in np.geomspace(0.05, 0.6, 7):
            for corner in np.linspace(101.0, 101.4, 21):
                line = grown(corner - TIME_S, ease_s)
                shape = np.stack([line, line**2])
                factors, *_ = np.linalg.lstsq(shape.T, path, rcond=None)
                if factors[0] > 0.0:
                    misfits.append(float(((path - factors @ shape) ** 2).sum()))
                    figures.append((corner, 0.0))
        at_s, _ = weighed(misfits, figures)
        assert found.at_s[column] == pytest.approx(at_s, abs=1e-3)
        assert found.speed_mps[column] == 0.0


def test_a_trial_that_leaves_one_instant_or_none_tells_nothing() -> None:
    """Before a rest at 100.01 s lies the first instant alone, before one at 100 s none."""
    paths = (2.5 * grown(101.2 - TIME_S, 0.2))[:, None]
    for first_s in (100.0, 100.01, 101.0):
        found = resting_corner(TIME_S, paths, (first_s, 101.4), DENSITY)
        assert found.at_s == pytest.approx([101.2], abs=0.01)


def test_what_never_falls_has_no_corner() -> None:
    rising = (1.0 + np.maximum(TIME_S - 101.0, 0.0) ** 2)[:, None]
    found = falling_corner(TIME_S, rising, (100.8, 101.2), DENSITY)
    assert np.isnan(found.at_s).all() and np.isnan(found.speed_mps).all()
    resting = resting_corner(TIME_S, -rising, (100.8, 101.2), DENSITY)
    assert np.isnan(resting.at_s).all() and np.isnan(resting.speed_mps).all()


def path_of(knots: list[tuple[float, float]]) -> Any:
    """Return a fitted path every 0.05 s through knots of time and speed."""
    time_s = np.arange(knots[0][0], knots[-1][0] + 1e-9, 0.05)
    speed = np.interp(time_s, *np.array(knots).T)
    middle = np.interp(time_s + 0.025, *np.array(knots).T)
    before = np.interp(time_s - 0.025, *np.array(knots).T)
    return SimpleNamespace(time_s=time_s, speed_mps=speed, accel_mps2=(middle - before) / 0.05)


def braked(decel: float, *, top: float = 6.0, drop: float = 4.0) -> Any:
    """Return a ride that slows once, from 5 s on."""
    lasts_s = drop / decel
    return path_of([(0.0, top), (5.0, top), (5.0 + lasts_s, top - drop), (15.0 + lasts_s,
                                                                          top - drop)])  # fmt: skip


@pytest.mark.parametrize(("top", "sd_mps"), [(6.0, 0.0), (14.0, 0.0), (6.0, 0.05)])
def test_braking_is_more_than_rolling_and_air_and_noise_can_do(top: float, sd_mps: float) -> None:
    """0.5 m/s² and 0.0042 v² /m; two deviations of a difference of two speeds 0.4 s apart."""
    limit = 0.5 + 0.0042 * top**2 + 2.0 * 2.0**0.5 * sd_mps / 0.4
    assert coasting_limit_mps2(np.array(top)) == pytest.approx(0.5 + 0.0042 * top**2)
    # Just before it the speed is the top one, where air brakes most.
    assert find_slowings(braked(0.85 * limit, top=top, drop=1.7), sd_mps, 10.0) == []
    ((start, end),) = find_slowings(braked(1.03 * limit, top=top, drop=1.7), sd_mps, 10.0)
    assert (start, end) == pytest.approx((5.0, 5.0 + 1.7 / (1.03 * limit)), abs=0.11)


def test_a_mean_between_two_fixes_is_taken_where_they_are_far_apart() -> None:
    ((start, end),) = find_slowings(braked(2.0), 0.05, 10.0)
    assert (start, end) == pytest.approx((5.0, 7.0), abs=0.06)
    ((start, end),) = find_slowings(braked(2.0), 0.05, 1.0)
    assert (start, end) == pytest.approx((5.0, 7.0), abs=0.2)
    # A second's mean of half a second's braking is half of it; 0.7 + 2.8 sd is asked for.
    short = braked(2.6, drop=1.6)
    assert find_slowings(short, 0.3, 1.0) != [] and find_slowings(short, 0.3, 10.0) == []


@pytest.mark.parametrize(("top", "drop", "found"), [
    (6.0, 1.6, True), (6.0, 1.4, False), (1.9, 1.9, True), (1.6, 1.6, False),
])  # fmt: skip
def test_from_above_walking_pace_it_takes_off_as_much(top: float, drop: float, found: bool) -> None:
    assert bool(find_slowings(braked(3.0, top=top, drop=drop), 0.02, 10.0)) is found


def test_short_pauses_do_not_part_a_braking() -> None:
    for pause_s, count in ((0.4, 1), (0.7, 2)):
        knots = [(0.0, 9.0), (5.0, 9.0), (6.0, 6.5), (6.0 + pause_s, 6.5), (7.0 + pause_s, 4.0),
                 (12.0, 4.0)]  # fmt: skip
        assert len(find_slowings(path_of(knots), 0.02, 10.0)) == count
    # What is left out holds none; what only touches it does.
    one = braked(2.0)
    assert find_slowings(one, 0.02, 10.0, ((6.0, 20.0),)) == []
    assert find_slowings(one, 0.02, 10.0, ((0.0, 5.5),)) == []
    assert find_slowings(one, 0.02, 10.0, ((7.5, 20.0), (0.0, 4.5))) != []


def test_a_braking_that_eases_to_what_rolling_could_be_is_one() -> None:
    """1.6 m/s² for 2 s, 0.9 for one second (rolling and air may do 0.9 at 9.5 m/s), 1.6 for 2 s."""
    knots = [(0.0, 13.0), (5.0, 13.0), (7.0, 9.8), (8.0, 9.0), (10.0, 5.8), (15.0, 5.8)]
    ((start, end),) = find_slowings(path_of(knots), 0.05, 10.0)
    assert (start, end) == pytest.approx((5.0, 10.0), abs=0.11)


def test_it_reaches_as_far_as_it_is_half_as_strong() -> None:
    """A second at 1.4 m/s², four at 3: the weak part is not half as strong, at 1.6 it is."""
    for weak, begins in ((1.4, 6.0), (1.6, 5.0)):
        knots = [(0.0, 16.0), (5.0, 16.0), (6.0, 16.0 - weak), (10.0, 4.0 - weak),
                 (14.0, 4.0 - weak)]  # fmt: skip
        ((start, _),) = find_slowings(path_of(knots), 0.02, 10.0)
        assert start == pytest.approx(begins, abs=0.3)


def test_means_and_runs() -> None:
    assert smoothed(np.array([0.0, 3.0, 0.0, 0.0]), 3) == pytest.approx([1.0, 1.0, 1.0, 0.0])
    assert smoothed(np.array([2.0, 0.0, 0.0, 4.0]), 2) == pytest.approx([2.0, 1.0, 0.0, 2.0])
    assert smoothed(np.array([1.0, 2.0]), 1) == pytest.approx([1.0, 2.0])
    time_s: FloatArray = 0.5 * np.arange(8.0)
    inside = np.array([1, 1, 0, 1, 0, 0, 1, 1], dtype=bool)
    assert joined_runs(inside, time_s, 1.0) == [(0, 4), (6, 8)]
    assert joined_runs(inside, time_s, 0.9) == [(0, 2), (3, 4), (6, 8)]
    assert joined_runs(inside, time_s, 1.5) == [(0, 8)]
