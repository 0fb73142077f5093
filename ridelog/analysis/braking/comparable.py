"""How hard a ride brakes, for comparing: its stops from speed."""

import numpy as np

from ridelog.analysis.comparable import MORE, Measure, Reading, Rides
from ridelog.analysis.ridden import RiddenRide
from ridelog.core.interval import estimate
from ridelog.core.units import SpeedUnit

# Stops from below this share of the ride's best second are not stops from speed.
_FROM_SPEED = 0.5


def braking_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return mean braking."""
    return [
        Measure(
            "mean_braking_mps2",
            "mean braking",
            "m/s2",
            MORE,
            _mean_braking,
            explained="mean deceleration over the ride's stops from speed; the rider decides too",
        )
    ]


def _mean_braking(ride: RiddenRide) -> Reading:
    best = ride.result.top_speed.best_1s
    least = _FROM_SPEED * best.value if best is not None else 0.0
    stops = [one for one in ride.result.brakings.stops if one.from_mps >= least]
    if not stops:
        return Reading(None, ride.result.brakings.reason or "the ride holds no stop from speed")
    found = estimate(np.mean([one.decel_columns for one in stops], axis=0))
    if found is None:
        return Reading(None, "the signal does not carry a figure where the machine stopped")
    return Reading(found)
