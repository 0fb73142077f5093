"""Where speed and place contradict each other: each rule on both sides of its edge, by hand.

METHOD.md, filtering (19) to (22); the logs err by nothing but what is put into them.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.core.track import BoolArray, FloatArray, Track
from ridelog.filtering.agreement import (
    _allowed,
    _at_an_edge,
    _disagree_throughout,
    _lone,
    _longest_interval,
    _reported,
    _unreported,
    _way_without_place,
    _widened,
    contradictions,
)
from ridelog.filtering.observations import observations_of
from ridelog.filtering.outliers import screen


def against(track: Track) -> BoolArray:
    seen = observations_of(track)
    return contradictions(seen, screen(seen))


@pytest.mark.parametrize("rate_hz", [1.0, 2.5, 10.0])
@pytest.mark.parametrize("knots", [
    [(0.0, 2.0), (3.0, 11.0), (20.0, 11.0), (23.0, 2.0)],
    [(0.0, 11.0), (3.0, 2.0), (20.0, 2.0), (23.0, 11.0)],
])  # fmt: skip
def test_a_log_cut_within_hard_pulls_and_stops_contradicts_nothing(
    knots: list[tuple[float, float]], rate_hz: float
) -> None:
    assert not against(known_motion(knots, rate_hz=rate_hz).track).any()


@pytest.mark.parametrize(("factor", "believed"), [
    (1.0, True), (1.09, True), (1.13, False), (0.92, True), (0.89, False),
])  # fmt: skip
def test_a_speed_is_another_quantity_beyond_a_tenth(factor: float, believed: bool) -> None:
    """The way by place is 1 / factor of that by speed: 1.11 and 0.91 at the edges."""
    track = known_motion([(0.0, 6.0), (60.0, 6.0)], rate_hz=5.0).track
    scaled = replace(track, speed_mps=factor * track.speed_mps)
    assert against(scaled).all() is np.bool_(not believed)


@pytest.mark.parametrize(("count", "pace_mps", "whole"), [
    (22, 6.0, False), (23, 6.0, True), (60, 1.9, False), (60, 2.1, True),
])  # fmt: skip
def test_what_is_another_quantity_needs_windows_and_way(
    count: int, pace_mps: float, whole: bool
) -> None:
    """Twenty windows of three to five seconds, of ten metres: speeds of half as much again."""
    position = pace_mps / 1.5 * np.arange(count)[:, None] * [0.6, 0.8]
    velocity = np.full((count, 2), pace_mps) * [0.6, 0.8]
    seen = observed(count, position_m=position)
    assert _disagree_throughout(seen, velocity, np.arange(count), seen.time_s) is whole


def observed(count: int, interval_s: float = 1.0, **changes: Any) -> Any:
    usual = {
        "time_s": interval_s * np.arange(count), "breaks": np.zeros(count - 1, dtype=bool),
        "usual_interval_s": interval_s, "position_step_m": 0.0, "factor": np.ones(count),
        "crawl": np.zeros(count, dtype=bool), "velocity_mps": np.full((count, 2), 4.0),
        "position_m": np.zeros((count, 2)),
    }  # fmt: skip
    return SimpleNamespace(**usual | changes)


def allowed(count: int, miss: float, *, pace: float = 4.0, **changes: Any) -> FloatArray:
    """Return what windows of a second may miss in a log that misses so much in each of them."""
    seen = observed(count + 1, **changes)
    first = np.arange(count)
    longest_s = _longest_interval(seen)
    speed = np.full(count + 1, pace)
    return _allowed(seen, speed, longest_s, first, first + 1, np.full(count, miss))


def test_how_far_two_displacements_may_differ() -> None:
    """Six standard deviations of two axes, whose median length is 1.1774, and 9 / 8 m of corner."""
    assert allowed(30, 0.58870) == pytest.approx(6.0 * 0.5 + 1.125, rel=1e-4)
    # No receiver is better than 0.03 m and 0.045 m/s, and rounding.
    assert allowed(30, 0.0) == pytest.approx(6.0 * 0.0540833 + 1.125, rel=1e-5)
    assert allowed(30, 0.0, position_step_m=0.1) == pytest.approx(
        6.0 * np.hypot(0.13, 0.045) + 1.125
    )
    # A fix that is said to be three times as bad; better than usual counts for nothing.
    worse = np.where(np.arange(31) == 7, 3.0, 0.7)
    factors = (allowed(30, 0.58870, factor=worse) - 1.125) / 3.0
    assert factors == pytest.approx(np.where(np.isin(np.arange(30), [6, 7]), 3.0, 1.0), rel=1e-4)


@pytest.mark.parametrize(("count", "usual"), [(19, 1.0), (20, 10.0)])
def test_few_windows_tell_no_more_noise_than_a_metre(count: int, usual: float) -> None:
    assert allowed(count, 11.774) == pytest.approx(6.0 * usual + 1.125, rel=1e-4)


@pytest.mark.parametrize(("pace", "usual"), [(0.9, 0.0540833), (1.1, 0.5)])
def test_noise_is_that_of_riding(pace: float, usual: float) -> None:
    """At rest half of the windows here miss nothing; riding is faster than 1 m/s."""
    seen = observed(61)
    first = np.arange(60)
    miss = np.where(first < 25, 0.58870, 0.0)
    speed = np.where(np.arange(61) < 26, pace, 0.0)
    found = _allowed(seen, speed, _longest_interval(seen), first, first + 1, miss)
    assert found == pytest.approx(6.0 * usual + 1.125, rel=1e-4)


def test_the_longer_interval_beside_a_fix_counts() -> None:
    seen = observed(4, time_s=np.array([0.0, 1.0, 3.0, 7.0]), breaks=np.array([0, 0, 1]) > 0)
    assert _longest_interval(seen).tolist() == [1.0, 2.0, 2.0, 0.0]


@pytest.mark.parametrize(("chord_m", "without"), [(2.05, False), (1.94, False), (1.88, True)])
def test_a_turn_as_hard_as_tyres_allow_hides_way(chord_m: float, without: bool) -> None:
    """3 m in a second at 9 m/s² turn by 3 rad: a chord of 3 sin(1.5) / 1.5 m, and 0.1 m allowed."""
    seen = observed(2, position_m=np.array([[0.0, 0.0], [0.6 * chord_m, 0.8 * chord_m]]))
    place = np.array([0]), np.array([1])
    assert 3.0 * np.sin(1.5) / 1.5 == pytest.approx(1.995, abs=1e-3)
    found = _way_without_place(seen, np.array([3.0]), *place, np.array([0.1]))
    assert found.tolist() == [without]


def test_no_turn_hides_more_than_all_of_the_way() -> None:
    """A way of 0.5 m in a second may be a whole circle: what is left is what is allowed."""
    place = np.array([0]), np.array([1])
    for limit, without in ((0.05, False), (-0.05, True)):
        found = _way_without_place(observed(2), np.array([0.5]), *place, np.array([limit]))
        assert found.tolist() == [without]


def marked(count: int, *places: int) -> BoolArray:
    return np.isin(np.arange(count), places)


def test_beside_a_contradiction_nothing_is_believed_for_a_second() -> None:
    time_s = np.arange(0.0, 10.0, 0.25)
    wider = _widened(time_s, marked(40, 20, 21, 22))
    assert np.flatnonzero(wider).tolist() == list(range(16, 27))


def test_a_step_alone_is_none_beside_another() -> None:
    assert np.flatnonzero(_lone(marked(10, 1, 4, 5, 9))).tolist() == [1, 9]
    assert not _lone(marked(10, 0, 1, 2, 8, 9)).any()


def test_a_spike_alone_is_not_compared_and_two_are() -> None:
    seen = observed(10, velocity_mps=np.where(marked(10, 0, 8)[:, None], np.nan, 4.0),
                    crawl=marked(10, 8))  # fmt: skip
    good = ~marked(10, 2, 5, 6)
    # Nothing is told at 0, a crawl at 8; 2 stands alone, 5 and 6 do not.
    assert np.flatnonzero(~_reported(seen, good)).tolist() == [0, 2]


@pytest.mark.parametrize(("interval_s", "lost", "far"), [
    (1.0, 1, False), (1.0, 2, True), (0.1, 8, False), (0.1, 10, True), (0.5, 1, False),
    (0.5, 2, True),
])  # fmt: skip
def test_how_many_readings_may_be_lost(interval_s: float, lost: int, far: bool) -> None:
    """A second, or two and a half intervals."""
    gone = np.arange(20, 20 + lost)
    found = _unreported(observed(60, interval_s), ~marked(60, *gone))
    assert np.flatnonzero(found).tolist() == (list(range(19, 20 + lost)) if far else [])


@pytest.mark.parametrize(("interval_s", "edge"), [(1.0, True), (0.31, True), (0.29, False)])
def test_two_readings_far_apart_stand_alone_at_an_edge(interval_s: float, edge: bool) -> None:
    seen = observed(10, interval_s, breaks=marked(9, 4))
    first = np.arange(9)
    pairs = first, first + 1
    found = _at_an_edge(seen, np.arange(10), pairs, *pairs)
    # The first and last of the log, and of both pieces at the break in between.
    assert np.flatnonzero(found).tolist() == ([0, 3, 4, 5, 8] if edge else [])
    wider = first, np.minimum(first + 2, 9)
    assert not _at_an_edge(seen, np.arange(10), wider, *wider)[:8].any()
