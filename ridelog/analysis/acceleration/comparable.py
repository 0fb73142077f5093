"""How hard a ride pulls at a speed, for comparing, and both sides' whole curves."""

from functools import partial

from ridelog.analysis.comparable import HEADLINE_WEIGHT, MORE, Measure, Reading, Rides
from ridelog.analysis.ridden import RiddenRide
from ridelog.core.units import SpeedUnit

# Pulling away: fast enough that the throttle is open, slow enough that owners feel it as the start.
_LOW_MPS = 2.0


def pull_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return the pull at 2 m/s."""
    return [
        Measure(
            "pull_at_2_mps",
            "pull at {speed}",
            "m/s2",
            MORE,
            partial(_pull_at, _LOW_MPS),
            weight=HEADLINE_WEIGHT,
            one_direction=True,
            explained="how fast the speed grows there at full throttle",
            at_mps=_LOW_MPS,
        )
    ]


def _pull_at(speed_mps: float, ride: RiddenRide) -> Reading:
    found = ride.result.pull.at(speed_mps)
    if found is None:
        return Reading(None, ride.result.pull.reason or "its pull curve does not reach that speed")
    both = ride.result.pull.both_ways
    return Reading(
        found,
        both_ways=found if both else None,
        course_deg=None if both else ride.course_at(ride.result.top_speed.at_s + 0.5),
    )
