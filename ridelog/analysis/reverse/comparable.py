"""How fast a ride went backwards, for comparing."""

from ridelog.analysis.comparable import LESS, Measure, Reading, Rides
from ridelog.analysis.ridden import RiddenRide
from ridelog.core.units import SpeedUnit


def reverse_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return top speed in reverse, if rides of both sides went backwards."""
    if any(all(ride.result.reverse.state == "none" for ride in side) for side in (before, after)):
        return []
    return [
        Measure(
            "reverse_top_mps",
            "top speed in reverse",
            "m/s",
            LESS,
            _top,
            explained="best second backwards; slower is safer",
        )
    ]


def _top(ride: RiddenRide) -> Reading:
    reverse = ride.result.reverse
    return Reading(reverse.top_speed, reverse.reason if reverse.top_speed is None else "")
