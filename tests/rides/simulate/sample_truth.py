"""The true figures behind a simulated ride, as plain records for truth.json and the README."""

from typing import Any

import numpy as np

from ridelog.core.units import MPS_PER_KMH
from simulate.labels import LabelledRide
from simulate.machine import Machine
from simulate.truth import Span, Truth

Record = dict[str, Any]

# The launch window of the samples: standstill to 20 km/h.
WINDOW_MPS = 20.0 * MPS_PER_KMH


def ride_figures(ride: LabelledRide) -> Record:
    """Return the figures of a ride that ridelog is later asked for, all in SI units."""
    truth = ride.truth
    best = truth.best_mean_speed(1.0)
    both = truth.two_way(1.0)
    return {
        "duration_s": _short(truth.duration_s),
        "best_1s_mps": _short(best.speed_mps),
        "best_1s_at_s": _short(best.start_s),
        "best_5s_mps": _short(truth.best_mean_speed(5.0).speed_mps),
        "two_way_mps": None if both is None else _short(both.mean_mps),
        "launches": [_launch(truth, span) for span in ride.labels["launches"]],
        "brakings": [_braking(span) for span in ride.labels["brakings"]],
        "coasts": [
            {
                "start_s": _short(span.start_s),
                "end_s": _short(span.end_s),
                "from_mps": _short(span.from_mps),
                "to_mps": _short(span.to_mps),
            }
            for span in ride.labels["coasts"]
        ],
        "reverses": [
            {
                "start_s": _short(span.start_s),
                "end_s": _short(span.end_s),
                "top_1s_mps": _short(
                    truth.best_mean_speed(
                        1.0, start_s=span.start_s - 1.0, end_s=span.end_s + 1.0, reverse=True
                    ).speed_mps
                ),
                "distance_m": _short(span.distance_m),
            }
            for span in ride.labels["reverses"]
        ],
        "turns": len(ride.labels["turns"]),
    }


def machine_figures(machine: Machine) -> Record:
    """Return what a machine does on the level in still air, and the resistance it rolls against."""
    at_two = float(machine.acceleration_mps2(np.asarray([2.0]))[0])
    return {
        "front_teeth": machine.front_teeth,
        "rear_teeth": machine.rear_teeth,
        "mass_kg": machine.mass_kg,
        "circumference_m": machine.circumference_m,
        "steady_mps": _short(machine.steady_mps()),
        "pull_at_2_mps2": _short(at_two),
        "resistance_a_n": machine.resistance_a_n,
        "resistance_b_nspm": machine.resistance_b_nspm,
        "resistance_c_ns2pm2": machine.resistance_c_ns2pm2,
    }


def crossing_speed_mps(first: Machine, second: Machine) -> float:
    """Return the speed from which the machine weaker at a crawl pulls harder, NaN if none. [m/s]

    The order of the two does not matter.
    """
    velocity = np.linspace(0.5, min(first.steady_mps(), second.steady_mps()), 20001)
    ahead = first.acceleration_mps2(velocity) - second.acceleration_mps2(velocity)
    turned = ahead * np.sign(ahead[0]) < -1e-9
    index = int(np.argmax(turned))
    return float(velocity[index]) if turned[index] else float("nan")


def _launch(truth: Truth, span: Span) -> Record:
    """Return the windows of a standing start; null where it ends in a stop before their end."""
    after = truth.time_s > span.start_s + 0.5
    stopped = truth.time_s[after & (truth.velocity_mps <= 0.0)]
    until_s = float(stopped[0]) if stopped.size else truth.duration_s
    reached = truth.crossing_times(WINDOW_MPS)
    reached = reached[(reached > span.start_s) & (reached < until_s)]
    way_s = truth.time_to_distance(span.start_s, 30.0)
    return {
        "start_s": _short(span.start_s),
        "top_mps": _short(span.top_mps),
        "0-20 km/h": _short(float(reached[0]) - span.start_s) if reached.size else None,
        "0-30 m": _short(way_s) if span.start_s + way_s < until_s else None,
    }


def _braking(span: Span) -> Record:
    return {
        "start_s": _short(span.start_s),
        "end_s": _short(span.end_s),
        "from_mps": _short(span.from_mps),
        "to_mps": _short(span.to_mps),
        "distance_m": _short(span.distance_m),
        # Mean over the way: (v1² - v2²) / 2 s, as in the eKFV Annex for a stop.
        "mean_decel_mps2": _short((span.from_mps**2 - span.to_mps**2) / (2.0 * span.distance_m)),
    }


def _short(value: float) -> float:
    """Return a value to a tenth of a millimetre, millisecond or the like."""
    return round(value, 4)
