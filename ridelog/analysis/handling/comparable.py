"""From which speed a ride weaves, for comparing."""

from ridelog.analysis.comparable import MORE, Measure, Reading, Rides
from ridelog.analysis.ridden import RiddenRide
from ridelog.core.units import SpeedUnit


def weave_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return the speed from which it weaves, if rides of both sides weave.

    Weave on one side only is no difference of two numbers: the caution of the rides tells it.
    """
    if not all(any(_onset(ride).estimate for ride in side) for side in (before, after)):
        return []
    return [
        Measure(
            "weave_from_mps",
            "speed from which it weaves",
            "m/s",
            MORE,
            _onset,
            explained="from there on it swings from side to side by itself",
            short="Weaves from",
        )
    ]


def _onset(ride: RiddenRide) -> Reading:
    weave = ride.result.handling.weave
    return Reading(weave.twitchy_from, weave.reason if weave.twitchy_from is None else "")
