"""What holds a rolling machine back, for comparing: its slowing per mass at one speed."""

from functools import partial

from ridelog.analysis.comparable import LESS, Measure, Reading, Rides
from ridelog.analysis.ridden import RiddenRide
from ridelog.core.units import SpeedUnit

# Speeds are compared where they are round. [m/s]
_STEP_MPS = 0.5


def coasting_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return the resistance in the middle of the speeds at which rides of both sides rolled out."""
    told = [
        [ride.result.coasting for ride in side if len(ride.result.coasting.speed_mps)]
        for side in (before, after)
    ]
    if not all(told):
        return []
    speeds = [coasting.speed_mps for side in told for coasting in side]
    lowest, highest = max(float(s[0]) for s in speeds), min(float(s[-1]) for s in speeds)
    if lowest > highest:
        return []
    middle = round(0.5 * (lowest + highest) / _STEP_MPS) * _STEP_MPS
    at_mps = min(max(middle, lowest), highest)
    return [
        Measure(
            f"coasting_at_{at_mps:.3g}_mps",
            "rolling-out loss at {speed}",
            "m/s2",
            LESS,
            partial(_resistance, at_mps),
            one_direction=True,
            short="Loss, {speed}",
            explained="slowing by rolling and air resistance, no drive and no brake",
            at_mps=at_mps,
        )
    ]


def _resistance(at_mps: float, ride: RiddenRide) -> Reading:
    coasting = ride.result.coasting
    found = coasting.at(at_mps)
    if found is None:
        return Reading(None, coasting.reason or "it did not roll out through that speed")
    if found.high - found.low > 2.0 * found.value:
        # Such a figure leaves open whether anything held the machine back at all.
        return Reading(None, "it did not roll out long enough to tell the loss from none")
    both = coasting.both_ways
    return Reading(
        found,
        both_ways=found if both else None,
        course_deg=None if both else ride.course_at(ride.result.top_speed.at_s + 0.5),
    )
