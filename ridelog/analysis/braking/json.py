"""Brakings and stopping distance as the JSON that scripts read."""

from typing import Any

from ridelog.analysis.braking.measure import Brakings, StoppingDistance
from ridelog.analysis.braking.procedure import LEAST_STOPS, yardstick_for
from ridelog.present.json import estimate_json


def brakings_json(brakings: Brakings) -> list[dict[str, Any]]:
    """Return every braking in time order."""
    return [
        {
            "start_s": one.start_s,
            "end_s": one.end_s,
            "from_mps": one.from_mps,
            "to_mps": one.to_mps,
            "distance_m": one.distance.as_json(),
            "mean_decel_mps2": one.mean_decel.as_json(),
            "initial_speed_mps": one.initial_speed.as_json(),
            "developed_decel_mps2": estimate_json(one.developed_decel),
        }
        for one in brakings.each
    ]


def stopping_json(stop: StoppingDistance | None) -> dict[str, Any] | None:
    """Return the stopping distance from the top speed, or null."""
    if stop is None:
        return None
    yardstick = yardstick_for(stop.from_mps)
    return {
        "from_mps": stop.from_mps,
        "reaction_s": stop.reaction_s,
        "reaction_m": stop.reaction_m,
        "braking_m": stop.braking.as_json(),
        "stopping_distance_m": stop.whole.as_json(),
        "decel_mps2": stop.decel.as_json(),
        "brakings": stop.brakings,
        "fastest_braking_mps": stop.fastest_mps,
        "yardstick": {
            "least_mps2": yardstick.least_mps2,
            "one_brake_mps2": yardstick.one_brake_mps2,
            "stops_asked": LEAST_STOPS,
            "source": yardstick.source,
        },
    }
