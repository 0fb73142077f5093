"""Which positions are gross, come back, step or slide: each rule on both sides of its edge."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.core.track import BoolArray, FloatArray, Track
from ridelog.filtering.observations import observations_of
from ridelog.filtering.outliers import (
    _chord_velocity,
    _mark_slews,
    _off_a_level,
    _sort_leaps,
    screen,
)


def seen_at(count: int, interval_s: float = 1.0, **changes: Any) -> Any:
    usual = {
        "time_s": interval_s * np.arange(count), "breaks": np.zeros(count - 1, dtype=bool),
        "usual_interval_s": interval_s, "factor": np.ones(count),
        "position_m": np.zeros((count, 2)),
    }  # fmt: skip
    return SimpleNamespace(**usual | changes)


def aside(track: Track, row: int, north_m: float) -> Track:
    latitude = track.latitude_deg.copy()
    latitude[row] += north_m / 111_250.0
    return replace(track, latitude_deg=latitude)


@pytest.mark.parametrize(("rate_hz", "bare", "limit_m"), [
    # Six of 0.02 m, and what 9 m/s² make of an interval, of 0.75 s where none is reported.
    (10.0, False, 0.12 + 4.5 * 0.1 * 0.1), (2.0, False, 0.12 + 4.5 * 0.5 * 0.5),
    (10.0, True, 0.12 + 4.5 * 0.75 * 0.1), (5.0, True, 0.12 + 4.5 * 0.75 * 0.2),
])  # fmt: skip
def test_how_far_a_position_may_lie_aside(rate_hz: float, bare: bool, limit_m: float) -> None:
    track = known_motion([(0.0, 5.0), (60.0, 5.0)], rate_hz=rate_hz).track
    if bare:
        nothing = np.full(len(track), np.nan)
        track = replace(track, speed_mps=nothing, course_rad=nothing.copy())
    for share, good in ((0.95, True), (1.05, False)):
        found = screen(observations_of(aside(track, 50, share * limit_m)))
        assert found.good_position[50] == good
        assert np.delete(found.good_position, 50).all() and not found.steps.any()
        assert found.excursions[50] != good


def sorted_leaps(
    back: int, *, short_m: float = 0.0, between: bool = False
) -> tuple[list[int], list[int]]:
    """Return fixes of excursions, and leaps that stay, of one leap of 20 m and its way back."""
    moved = np.zeros((99, 2))
    moved[10], moved[10 + back] = (12.0, 16.0), (-12.0 + 0.6 * short_m, -16.0 + 0.8 * short_m)
    seen = seen_at(100, breaks=(np.arange(99) == 12) & between)
    away, staying = _sort_leaps(seen, moved, np.ones(99), np.array([10, 10 + back]))
    return np.flatnonzero(away).tolist(), np.flatnonzero(staying).tolist()


def test_an_excursion_is_back_within_a_quarter_of_a_minute() -> None:
    assert sorted_leaps(1) == ([11], [])
    assert sorted_leaps(15) == (list(range(11, 26)), [])
    assert sorted_leaps(16) == ([], [10, 26])


def test_an_excursion_comes_back_to_where_it_left() -> None:
    """Within half as much again as what is allowed of a leap, and before an interruption."""
    assert sorted_leaps(4, short_m=1.45) == ([11, 12, 13, 14], [])
    assert sorted_leaps(4, short_m=1.55) == ([], [10, 14])
    assert sorted_leaps(4, between=True) == ([], [10, 14])


def test_leaps_on_the_way_belong_to_the_excursion() -> None:
    moved = np.zeros((99, 2))
    moved[[10, 12, 15], 0], moved[[40, 43], 1] = (20.0, 5.0, -25.0), (-8.0, 8.0)
    leaps = np.array([10, 12, 15, 40, 43])
    away, staying = _sort_leaps(seen_at(100), moved, np.ones(99), leaps)
    assert np.flatnonzero(away).tolist() == [11, 12, 13, 14, 15, 41, 42, 43]
    assert not staying.any()


@pytest.mark.parametrize(("speeds", "misread"), [
    ((5.0, 5.0, 5.7, 5.0, 5.0), True), ((5.0, 5.0, 5.5, 5.0, 5.0), False),
    # Those around must agree to a quarter of what it is off.
    ((5.0, 5.0, 10.0, 6.0, 6.0), True), ((5.0, 5.0, 9.0, 6.0, 6.0), False),
    ((5.0, 6.0, 1.0, 5.0, 6.0), True), ((5.0, 6.0, 2.0, 5.0, 6.0), False),
])  # fmt: skip
def test_a_reading_that_leaves_a_level(speeds: tuple[float, ...], misread: bool) -> None:
    around = np.concatenate([np.linspace(1.0, 3.0, 5), speeds, np.linspace(12.0, 16.0, 5)])
    found = _off_a_level(around, 0.6)
    assert np.flatnonzero(found).tolist() == ([7] if misread else [])


def test_the_chord_around_a_fix_and_how_far_it_may_be_off() -> None:
    """At an acceleration of 2 m/s² the chord over two seconds is the speed in its middle."""
    time_s = np.array([0.0, 1.0, 2.0, 4.0, 5.0, 9.0, 10.0])
    place = time_s**2
    breaks = np.array([0, 0, 0, 0, 1, 1]) > 0
    seen = seen_at(7, time_s=time_s, breaks=breaks, position_m=np.stack([place, -place], axis=1))
    chord, off = _chord_velocity(seen)
    wanted = [1.0, 2.0, 5.0, 7.0, 9.0, np.nan, np.nan]
    assert chord[:, 0] == pytest.approx(wanted, nan_ok=True)
    assert chord[:, 1] == pytest.approx(np.negative(wanted), nan_ok=True)
    # 9 m/s² over an eighth of the span, over half of it at an edge.
    limits = [4.5, 1.125 * 2.0, 1.125 * 3.0, 1.125 * 3.0, 4.5, np.nan, np.nan]
    assert off == pytest.approx(limits, nan_ok=True)


@pytest.mark.parametrize(("slide_m", "factor", "told"), [
    # 1.5 m over a second, and six of the usual 0.1 m, of a fix up to three times as bad.
    (2.05, 1.0, False), (2.15, 1.0, True), (2.15, 0.5, True), (2.65, 2.0, False),
    (2.75, 2.0, True), (3.25, 9.0, False), (3.35, 9.0, True),
])  # fmt: skip
def test_a_slide_against_the_speed_is_left_out(slide_m: float, factor: float, told: bool) -> None:
    slid, steps = slides(slide_m, factor)
    assert slid.any() == steps.any() == told
    if told:
        # From the slide's first second to its last.
        assert 29 <= np.flatnonzero(slid)[0] <= 41 and 49 <= np.flatnonzero(slid)[-1] <= 61


def slides(slide_m: float, factor: float) -> tuple[BoolArray, BoolArray]:
    """Return fixes left out and steps, of two seconds in which positions slide at 10 Hz."""
    moved: FloatArray = np.zeros((100, 2))
    moved[:, 0] = np.where(np.arange(100) % 2, 0.11774, -0.11774)
    moved[30:50] = (0.0, 0.1 * slide_m)
    good, steps = np.ones(101, dtype=bool), np.zeros(100, dtype=bool)
    _mark_slews(seen_at(101, 0.1, factor=np.full(101, factor)), moved, good, steps)
    return ~good, steps


def test_a_log_of_a_second_tells_no_slide() -> None:
    good, steps = np.ones(11, dtype=bool), np.zeros(10, dtype=bool)
    _mark_slews(seen_at(11, 0.1), np.full((10, 2), 1.0), good, steps)
    assert good.all() and not steps.any()
