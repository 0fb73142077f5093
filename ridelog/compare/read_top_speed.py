"""Top speed of a ride, for comparing: the best second, and the mean of both directions."""

from ridelog.compare.false_alarms import HEADLINE_WEIGHT
from ridelog.compare.measure import MORE, Measure, Reading, Rides
from ridelog.compare.rides import RiddenRide
from ridelog.units import SpeedUnit


def top_speed_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return both measures of top speed."""
    return [
        Measure(
            "best_1s_mps",
            "best second",
            "m/s",
            MORE,
            _best_1s,
            weight=HEADLINE_WEIGHT,
            one_direction=True,
            explained="highest mean speed over one second",
        ),
        Measure(
            "two_way_mps",
            "top speed",
            "m/s",
            MORE,
            _two_way,
            weight=HEADLINE_WEIGHT,
            explained="mean of the best second in either direction",
        ),
    ]


def _best_1s(ride: RiddenRide) -> Reading:
    top = ride.result.top_speed
    return Reading(
        top.best_1s,
        top.reason if top.best_1s is None else "",
        both_ways=top.two_way,
        course_deg=ride.course_at(top.at_s + 0.5),
    )


def _two_way(ride: RiddenRide) -> Reading:
    top = ride.result.top_speed
    return Reading(top.two_way, top.reason if top.two_way is None else "")
