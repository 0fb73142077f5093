"""A display beside a ride whose speed is known: the line through its readings, worked out apart."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.compare.display.measure import (
    DisplayCheck,
    _at_once,
    _Fit,
    check_display,
    readings_of,
    right_circumference,
)
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.estimate import Estimate
from ridelog.core.track import FloatArray

KNOTS = [(0.0, 0.0), (5.0, 0.0), (15.0, 8.0), (20.0, 8.0), (28.0, 3.0), (40.0, 9.0), (50.0, 2.0),
         (56.0, 6.0), (64.0, 0.0), (70.0, 0.0)]  # fmt: skip


def true_mps(at_s: FloatArray) -> FloatArray:
    speeds: FloatArray = np.interp(at_s, *np.array(KNOTS).T)
    return speeds


def checked(at_s: FloatArray, delay_s: float = 0.8, step_mps: float = 0.1,
            **motion: Any) -> DisplayCheck:  # fmt: skip
    """Return what is told of a display that shows 1.05 times the speed of then, and 0.3 m/s."""
    known = known_motion(KNOTS, error_mps=0.0, **motion)
    shown = 1.05 * true_mps(at_s - delay_s) + 0.3
    return check_display(known, at_s, shown, step_mps)


def test_factor_offset_and_delay_are_those_that_were_put_in() -> None:
    at_s = np.arange(-4.0, 80.0, 2.0)
    found = checked(at_s)
    assert found.factor.value == pytest.approx(1.05, abs=0.002)
    assert found.offset_mps.value == pytest.approx(0.3, abs=0.01)
    assert found.delay_s is not None and found.reason == ""
    assert found.delay_s.value == pytest.approx(0.8, abs=0.011)
    # Outside the log, or the machine below walking pace.
    slow = (at_s < 0.0) | (at_s > 70.0) | (true_mps(at_s - 0.8) < 1.0)
    assert found.unused == pytest.approx(slow.sum(), abs=1)
    for point in found.points:
        assert point.true_mps.value == pytest.approx(true_mps(np.array(point.time_s - 0.8)),
                                                     abs=0.02)  # fmt: skip
        assert point.shown_mps == pytest.approx(1.05 * true_mps(np.array(point.time_s - 0.8)) + 0.3)
    used = np.array([point.true_mps.value for point in found.points])
    assert found.tested_mps == pytest.approx((used.min(), used.max()))
    # Where they fit exactly only the rounding scatters them.
    coarse = checked(at_s, step_mps=0.4)
    width = found.factor.high - found.factor.low
    assert coarse.factor.high - coarse.factor.low == pytest.approx(4.0 * width, rel=0.02)
    # At 1 m/s it shows 0.35 m/s too much: less than a tenth and 4 km/h, more than a tenth.
    assert [limit.met for limit in found.limits] == [True, False]


def test_the_interval_of_the_factor_is_the_textbooks() -> None:
    """Standard error of a slope, and Student's t: 1.68 deviations of 46 degrees of freedom."""
    at_s = np.arange(10.0, 59.0)
    true = true_mps(at_s - 0.8)
    # Errors whose neighbours do not err alike.
    off = 0.15 * np.random.default_rng(4).choice([-1.0, 1.0], len(at_s))
    assert off[1:] @ off[:-1] < 0.0
    motion = known_motion(KNOTS, error_mps=0.0)
    found = check_display(motion, at_s, 1.05 * true + 0.3 + off, 0.01)
    used = true[true > 1.0]
    spread = ((used - used.mean()) ** 2).sum()
    width = 2.0 * 1.68 * 0.15 / spread**0.5
    assert found.factor.high - found.factor.low == pytest.approx(width, rel=0.2)
    assert found.factor.low < 1.05 < found.factor.high


def test_paths_at_the_best_delay_are_the_true_speeds() -> None:
    at_s = np.arange(8.0, 60.0, 1.5)
    motion = known_motion(KNOTS, error_mps=0.2)
    found = check_display(motion, at_s, true_mps(at_s), 0.1)
    for point in found.points:
        # Drawn paths are 0.2 m/s slower and faster in turn: 1.645 deviations either way.
        assert point.true_mps.value - point.true_mps.low == pytest.approx(0.329, abs=0.02)
        assert point.true_mps.high - point.true_mps.value == pytest.approx(0.329, abs=0.02)
    assert found.factor.value == pytest.approx(1.0, abs=0.003)


@pytest.mark.parametrize(("delay_s", "reason"), [
    (5.8, ""), (-2.8, ""), (6.6, "further apart in time"), (-3.6, "further apart in time"),
])  # fmt: skip
def test_a_delay_beyond_those_that_are_looked_at_is_none(delay_s: float, reason: str) -> None:
    found = checked(np.arange(10.0, 60.0, 1.0), delay_s)
    assert reason in found.reason and bool(found.reason) == bool(reason)
    assert (found.delay_s is None) == bool(reason)
    if found.delay_s is not None:
        assert found.delay_s.value == pytest.approx(delay_s, abs=0.011)


def test_five_readings_are_needed_and_more_than_one_speed() -> None:
    motion = known_motion(KNOTS, error_mps=0.0)
    at_s = np.array([11.0, 13.0, 18.0, 25.0, 34.0])
    assert check_display(motion, at_s, true_mps(at_s), 0.1).unused == 0
    with pytest.raises(NotEnoughDataError, match="only 4 of 5 readings"):
        check_display(motion, at_s, np.append(true_mps(at_s[:4]), 0.99), 0.1)
    steady = known_motion([(0.0, 5.0), (60.0, 5.0)], error_mps=0.0)
    with pytest.raises(NotEnoughDataError, match="all readings were taken at one speed"):
        check_display(steady, np.arange(10.0, 50.0), np.full(40, 5.0), 0.1)


@pytest.mark.parametrize(("apart_mps", "told"), [(0.34, True), (0.27, False)])
def test_speeds_are_apart_by_two_deviations_of_the_readings(apart_mps: float, told: bool) -> None:
    """Readings off by 0.15 m/s either way: twice that is 0.30."""
    knots = [(0.0, 5.0), (10.0, 5.0), (30.0, 5.0 + apart_mps), (50.0, 5.0), (60.0, 5.0)]
    at_s = np.arange(6.0, 55.0)
    off = 0.15 * np.random.default_rng(4).choice([-1.0, 1.0], len(at_s))
    shown = np.interp(at_s, *np.array(knots).T) + off
    motion = known_motion(knots, error_mps=0.0)
    if told:
        assert check_display(motion, at_s, shown, 0.01).unused == 0
    else:
        with pytest.raises(NotEnoughDataError, match="all readings were taken at one speed"):
            check_display(motion, at_s, shown, 0.01)


def test_the_line_is_that_of_least_squares() -> None:
    rng = np.random.default_rng(2)
    true = np.linspace(2.0, 8.0, 12)[:, None] + np.array([0.0, 0.3])
    shown = 1.1 * true[:, 0] - 0.2 + 0.1 * rng.standard_normal(12)
    fit = _Fit(true, shown, 0.01)
    for k in (0, 1):
        slope, intercept = np.polyfit(true[:, k], shown, 1)
        assert (fit.slope[k], fit.intercept[k]) == pytest.approx((slope, intercept))
        left = shown - intercept - slope * true[:, k]
        assert fit.rss[k] == pytest.approx(left @ left)
    left = shown - fit.intercept[fit.best] - fit.slope[fit.best] * true[:, fit.best]
    # Slope, offset and delay are learnt: 12 readings leave 9 degrees of freedom.
    variance = left @ left / 9.0
    alike = min(max(left[1:] @ left[:-1] / (left @ left), 0.0), 0.9)
    share = (1.0 + alike) / (1.0 - alike)
    assert fit.sd_mps == pytest.approx(np.sqrt(variance * share))
    assert fit.reading_sd_mps(0.4 * variance) == pytest.approx(np.sqrt(0.6 * variance * share))
    assert fit.reading_sd_mps(variance) == pytest.approx(np.sqrt(0.01**2 / 12.0 * share))
    # Neighbours that err alike count for less: all on one side, then all on the other.
    step = np.where(np.arange(12) // 3 % 2 == 0, 0.1, -0.1)
    shared = _Fit(true, 1.1 * true[:, 0] + step, 0.01)
    assert shared.sd_mps > 1.2 * np.sqrt(shared.rss.min() / 9.0)
    assert _Fit(true[:3], shown[:3], 0.01).freedom == 1


def test_delays_are_tried_twice_as_far_as_they_are_possible() -> None:
    delays_s = np.arange(-3.0, 6.005, 0.01)
    true = true_mps(np.arange(8.0, 60.0, 2.0)[:, None] - delays_s)
    sharp = _Fit(true, true[:, 400], 0.01).possible(delays_s)
    # The 400th is 1 s; nothing else is possible, so a quarter of a second around it is tried.
    assert (sharp[0], sharp[-1], len(sharp)) == pytest.approx((0.75, 1.25, 61))
    flat = _Fit(np.linspace(2.0, 8.0, 20)[:, None] + 0.0 * delays_s, np.linspace(2.0, 8.0, 20), 0.1)
    assert (flat.possible(delays_s)[[0, -1]]) == pytest.approx([-3.0, 6.0])
    # Student's t of n - 3 degrees of freedom falls to a millionth of its height at the edges.
    noisy = true[:, 400] + 0.2 * np.random.default_rng(3).standard_normal(len(true))
    fit = _Fit(true, noisy, 0.01)
    tried = fit.possible(delays_s)
    best = fit.best
    weight = (1.0 + (fit.rss - fit.rss[best]) / (23 * fit.sd_mps**2)) ** -12.0
    left = delays_s[weight > 1e-6]
    assert tried[0] == pytest.approx(max(-3.0, 2.0 * left[0] - delays_s[best]))
    assert tried[-1] == pytest.approx(min(6.0, 2.0 * left[-1] - delays_s[best]))


def test_a_second_receiver_is_read_once_a_second_on_the_clock_of_the_first() -> None:
    first = known_motion(KNOTS)
    assert first.track.start_utc is not None
    later_utc = first.track.start_utc + timedelta(seconds=90.5)
    later = replace(first, track=replace(first.track, start_utc=later_utc))
    read = readings_of(later, first.track)
    assert read.time_s == pytest.approx(90.5 + np.arange(71.0))
    assert read.shown_mps == pytest.approx(true_mps(np.arange(71.0)))
    assert read.step_mps == 0.0
    timeless = replace(first, track=replace(first.track, start_utc=None))
    for one, two in ((timeless, first), (first, timeless)):
        with pytest.raises(NotEnoughDataError, match="no clock"):
            readings_of(one, two.track)


def test_readings_of_a_minute_and_of_one_piece_are_taken_together() -> None:
    motion = known_motion(KNOTS, pieces=[(0.0, 30.0), (34.0, 70.0)])
    groups = _at_once(motion, np.array([5.0, 20.0, 29.0, 35.0, 60.0, 66.0, 69.0]))
    assert groups == [slice(0, 3), slice(3, 5), slice(5, 7)]


def test_the_right_circumference_has_the_factor_taken_out() -> None:
    told: Any = type("Told", (), {"factor": Estimate(1.05, 1.0, 1.1)})
    right = right_circumference(2.1, told)
    assert (right.value, right.low, right.high) == pytest.approx((2.0, 2.1 / 1.1, 2.1))


@pytest.mark.parametrize(("off_mps", "told"), [(0.3, True), (0.42, False)])
def test_a_delay_that_is_open_by_two_seconds_is_not_told(off_mps: float, told: bool) -> None:
    """At 0.1 m/s² n readings tell it to 1.68 sd / (0.1 sqrt(n)): (1) shifted in time, any textbook.

    Of 49 readings and 0.417 m/s that is a second either way.
    """
    knots = [(0.0, 5.0), (30.0, 8.0), (60.0, 5.0)]
    at_s = np.arange(6.0, 55.0)
    off = off_mps * np.random.default_rng(4).choice([-1.0, 1.0], len(at_s))
    motion = known_motion(knots, error_mps=0.0)
    found = check_display(motion, at_s, np.interp(at_s, *np.array(knots).T) + off, 0.01)
    assert (found.delay_s is not None) is told
    assert ("steady speeds, which tell no delay" in found.reason) is not told


@pytest.mark.parametrize(("factor", "met"), [
    # At 9 m/s a tenth is 0.9 m/s, and with 4 km/h more 2.01 m/s.
    (1.05, [True, True]), (1.12, [True, False]), (1.4, [False, False]), (0.98, [False, False]),
])  # fmt: skip
def test_rules_hold_at_every_speed(factor: float, met: list[bool]) -> None:
    at_s = np.arange(6.0, 62.0)
    motion = known_motion(KNOTS, error_mps=0.0)
    found = check_display(motion, at_s, factor * true_mps(at_s), 0.001)
    assert [limit.met for limit in found.limits] == met


def test_a_log_that_begins_while_riding_is_read_from_its_first_fix_on() -> None:
    at_s = np.arange(9.0, 62.0)
    motion = known_motion(KNOTS, error_mps=0.0, pieces=[(10.0, 60.0)])
    found = check_display(motion, at_s, true_mps(at_s), 0.1)
    assert found.unused == 2 and found.points[0].time_s == 10.0 and found.points[-1].time_s == 60.0
