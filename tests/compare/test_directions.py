"""Directions are balanced: wind and slope never pass for a gain."""

from ridelog.analysis.result import Estimate
from ridelog.compare.comparison import _balanced, _both_ways_only, _obstacle, _wind_part
from ridelog.compare.measure import MORE, Measure, Reading, mean_of

MEASURE = Measure("x", "x", "m/s", MORE, lambda ride: Reading(None), one_direction=True)


def reading(value: float, both: float | None = None, course: float | None = None) -> Reading:
    estimate = Estimate(value, value - 0.1, value + 0.1)
    other = None if both is None else Estimate(both, both - 0.1, both + 0.1)
    return Reading(estimate, both_ways=other, course_deg=course)


def test_what_the_favoured_direction_adds_is_told_apart() -> None:
    first = (reading(10.1, 10.0), reading(10.1, 10.0))
    second = (reading(10.9, 10.2), reading(11.1, 10.4))
    assert abs(_wind_part(first, second) - 0.6) < 1e-9
    assert _obstacle(MEASURE, first, second) == ""


def test_one_course_on_both_sides_can_be_compared() -> None:
    first, second = (reading(10.0, course=355.0),), (reading(10.5, course=10.0),)
    assert _balanced(first, second)
    assert _wind_part(first, second) == 0.0


def test_other_courses_cannot() -> None:
    first, second = (reading(10.0, course=90.0),), (reading(10.5, course=270.0),)
    assert not _balanced(first, second)
    assert _obstacle(MEASURE, first, second).startswith("the rides went in different directions")


def test_rides_of_one_direction_are_left_out_where_others_have_both() -> None:
    first = (reading(10.0, 10.0), reading(11.0, course=90.0))
    second = (reading(10.5, 10.5),)
    kept, other = _both_ways_only(first, second)
    assert kept[0].estimate is not None and kept[1].estimate is None
    assert kept[1].reason == "this ride was made in one direction only, the others in both"
    assert other == second
    alone = (reading(11.0, course=90.0),)
    assert _both_ways_only(alone, second) == (alone, second)


def test_mean_of_independent_estimates() -> None:
    mean = mean_of([Estimate(1.0, 0.7, 1.4), Estimate(3.0, 2.6, 3.3)])
    assert mean.value == 2.0
    assert abs(mean.low - 1.75) < 1e-9 and abs(mean.high - 2.25) < 1e-9
