"""How hard a ride pulls at a speed, for comparing, and both sides' whole curves."""

from functools import partial

import numpy as np

from ridelog.analysis.interval import estimate
from ridelog.compare.false_alarms import HEADLINE_WEIGHT
from ridelog.compare.measure import MORE, Measure, Reading, Rides
from ridelog.compare.pull_curves import PullCurves, PullTable, pull_curves_of
from ridelog.compare.rides import RiddenRide
from ridelog.compare.sharp_pull import sharp_pull
from ridelog.units import SpeedUnit

# Pulling away: fast enough that the throttle is open, slow enough that owners feel it as the start.
_LOW_MPS = 2.0
_STEP_MPS = 0.5
# Where the curves cross is looked for in steps far below the width of its interval. [m/s]
_FINE_STEP_MPS = 0.05


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


def curves_of(before: Rides, after: Rides) -> PullCurves | None:
    """Return both sides' pull curves at the speeds that every ride with a curve holds."""
    told = [
        [ride for ride in side if len(ride.result.pull.speed_mps) and ride.result.pull.both_ways]
        for side in (before, after)
    ]
    if not all(told):
        # One direction only: no better than what there is, if both sides have no more.
        told = [
            [ride for ride in side if len(ride.result.pull.speed_mps)] for side in (before, after)
        ]
    if not all(told):
        return None
    curves = [ride.result.pull.speed_mps for side in told for ride in side]
    lowest, highest = max(curve[0] for curve in curves), min(curve[-1] for curve in curves)
    speed = np.arange(lowest, highest + 1e-9, _STEP_MPS)
    sides = [
        [tuple(ride.result.pull.at(float(v)) for v in speed) for ride in side] for side in told
    ]
    fine = np.arange(lowest, highest + 1e-9, _FINE_STEP_MPS)
    sharp = [
        [tuple(map(estimate, sharp_pull(ride.result.pull, fine))) for ride in side] for side in told
    ]
    return pull_curves_of(PullTable(speed, sides[0], sides[1]), PullTable(fine, sharp[0], sharp[1]))


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
