"""Directions are balanced: wind and slope never pass for a gain."""

import numpy as np
import pytest

from ridelog.analysis.figure import HIGHER, Comparable, Figure, harmonic_mean_of, mean_of
from ridelog.compare.comparison import _missing, _wind_parts
from ridelog.compare.difference import difference_by_direction, difference_of, side_mean
from ridelog.compare.matching import NO_MATCH, match_directions
from ridelog.compare.side_names import BEFORE_AND_AFTER
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.quantity import SPEED


def reading(value: float, both: float | None = None, course: float | None = None) -> Figure:
    both_ways = None if both is None else about(both)
    terms = Comparable(HIGHER, one_direction=True, both_ways=both_ways, course_deg=course)
    return Figure("speed_mps", "speed", SPEED, about(value), comparable=terms)


def none(reason: str) -> Figure:
    return Figure("speed_mps", "speed", SPEED, None, reason, Comparable(HIGHER))


def about(value: float, reach: float = 0.1) -> Estimate:
    return Estimate(value, value - reach, value + reach)


def test_what_the_favoured_direction_adds_is_told_apart() -> None:
    first = (reading(10.1, 10.0), reading(10.1, 10.0))
    second = (reading(10.9, 10.2), reading(11.1, 10.4))
    assert _wind_parts(first) == pytest.approx([0.1, 0.1])
    assert _wind_parts(second) == pytest.approx([0.7, 0.7])
    # A ride whose other direction is unknown leaves the wind's part open.
    assert _wind_parts((*first, reading(10.3))) == []
    matched = match_directions(first, second)
    assert (matched.first, matched.second) == (first, second)
    assert matched.obstacle == "" and matched.directions is None


def test_one_course_on_both_sides_can_be_compared() -> None:
    matched = match_directions((reading(10.0, course=355.0),), (reading(10.5, course=10.0),))
    assert matched.obstacle == "" and matched.directions is None


def test_opposite_courses_cannot() -> None:
    matched = match_directions((reading(10.0, course=90.0),), (reading(10.5, course=270.0),))
    assert matched.obstacle == NO_MATCH
    assert match_directions((reading(10.0),), (reading(10.5),)).obstacle == NO_MATCH


def test_rides_of_one_direction_are_left_out_where_others_have_both() -> None:
    first = (reading(10.0, 10.0), reading(11.0, course=90.0))
    matched = match_directions(first, (reading(10.5, 10.5),))
    assert matched.first[0].estimate is not None and matched.first[1].estimate is None
    assert matched.first[1].reason == (
        "this ride was made in one direction only, the others in both"
    )


def test_same_direction_with_same_direction() -> None:
    first = (reading(10.0, course=0.0), reading(12.0, course=180.0), reading(12.2, course=185.0))
    second = (reading(10.6, course=3.0), reading(12.6, course=176.0), reading(50.0, course=90.0))
    matched = match_directions(first, second)
    assert matched.directions is not None
    assert matched.directions[0] == (0, 1, 1)
    assert matched.second[2].estimate is None
    assert matched.second[2].reason == "no ride of the other side went in this direction"
    difference = difference_by_direction(
        [r.estimate for r in matched.first if r.estimate],
        [r.estimate for r in matched.second if r.estimate],
        [0, 1, 1],
        [0, 1],
    )
    # Half of 10.6 - 10.0 and half of 12.6 - 12.1; a plain mean would say 11.6 - 11.4.
    assert difference.difference.value == pytest.approx(0.5 * 0.6 + 0.5 * 0.5)
    assert difference.method == "shared scatter"
    assert difference.contrast is not None and difference.contrast.freedom == 1


def test_two_directions_hold_the_truth_whatever_the_wind() -> None:
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(600):
        wind = rng.normal(0.0, 2.0)
        sides = [
            [
                about(10.0 + wind * sign + e, 1.645 * 0.03)
                for sign, e in zip(ways, errors, strict=True)
            ]
            for ways, errors in (
                ((1, -1, -1), rng.normal(0.0, 0.1, 3)),
                ((1, 1, -1), rng.normal(0.0, 0.1, 3)),
            )
        ]
        interval = difference_by_direction(sides[0], sides[1], [0, 1, 1], [0, 0, 1]).difference
        held += interval.low <= 0.0 <= interval.high
    assert 0.86 <= held / 600 <= 0.95


def test_one_ride_a_direction_cannot_be_tested() -> None:
    difference = difference_by_direction(
        [about(10.0), about(12.0)], [about(11.0), about(13.0)], [0, 1], [0, 1]
    )
    assert difference.method == "one ride a side" and difference.contrast is None
    assert difference.difference.low == pytest.approx(1.0 - 0.1)


def test_what_is_missing_is_told_with_its_reason() -> None:
    told = (reading(1.0),)
    gone = (none("the log is too short."), none(""))
    assert _missing(told, gone, BEFORE_AND_AFTER) == (
        "no ride after the change holds this figure (the log is too short)"
    )
    assert _missing(told, told, BEFORE_AND_AFTER) == ""


def test_mean_of_independent_estimates() -> None:
    mean = mean_of([Estimate(1.0, 0.7, 1.4), Estimate(3.0, 2.6, 3.3)])
    assert mean.value == 2.0
    assert abs(mean.low - 1.75) < 1e-9 and abs(mean.high - 2.25) < 1e-9


def test_harmonic_mean_frees_times_of_wind() -> None:
    # 4 s at a pull of 2 m/s²; wind adds 0.5 m/s² one way and takes it the other.
    times = [about(8.0 / (2.0 + wind), 0.1) for wind in (0.5, -0.5)]
    assert harmonic_mean_of(times).value == pytest.approx(4.0)
    assert mean_of(times).value == pytest.approx(4.0 / (1.0 - 0.25**2))
    # Errors by hand: 4² / (2 · 3.2²) = 0.78125 and 4² / (2 · 5.333²) = 0.28125 times 0.1.
    reach = harmonic_mean_of(times).high - 4.0
    assert reach == pytest.approx(0.1 * np.hypot(0.78125, 0.28125))
    one = about(3.0)
    assert harmonic_mean_of([one]) == one


def test_what_all_starts_share_stays_in_their_mean() -> None:
    # Own standard deviation 0.4, shared 0.3: half widths in units of the 90 % quantile.
    half = QUANTILE * 0.5
    starts = [Estimate(4.0, 4.0 - half, 4.0 + half)] * 4
    wanted = QUANTILE * np.hypot(0.4 / 2.0, 0.3)
    for mean in (mean_of(starts, 0.3), harmonic_mean_of(starts, 0.3)):
        assert mean.value == pytest.approx(4.0)
        assert mean.high - mean.value == pytest.approx(wanted)
    # One start alone keeps its interval, and a side of rides keeps the shared part as well.
    assert mean_of(starts[:1], 0.3).high == pytest.approx(4.0 + half)
    side = side_mean(starts, None, 0.3)
    assert side.high - side.value == pytest.approx(wanted)
    # It drops out of a difference, with one ride a side too.
    apart = difference_of(starts[:1], starts[:1], shared_sd=0.3).difference
    assert apart.high == pytest.approx(QUANTILE * 0.4 * np.sqrt(2.0))


def test_per_cent_of_directions_hold_the_error_of_the_first_side_too() -> None:
    """To first order that of 100 (a / b - 1) is 100 / b times that of a - (a / b) b."""
    before, after = ([about(mean + x) for x in (-0.1, 0.0, 0.1, 0.2)] for mean in (9.95, 14.95))
    found = difference_by_direction(before, after, [0, 0, 1, 1], [0, 0, 1, 1])
    assert found.percent is not None and found.percent.value == pytest.approx(50.0)
    width = found.percent.high - found.percent.low
    apart = found.difference.high - found.difference.low
    assert width == pytest.approx(10.0 * apart * np.sqrt((1.0 + 1.5**2) / 2.0))
