"""How published procedures round and accept their figures: speed of two tests, deceleration.

Method and yardstick only: a log is no type approval. Sources are quoted at each function.
"""

import math
from dataclasses import dataclass

from ridelog.core.units import MPS_PER_KMH

# eKFV Annex, no. 2.1.2: no value may differ from another by more than this.
TESTS_WITHIN = 0.10
# eKFV Annex, no. 2.2.3: stops in a row with all brakes.
LEAST_STOPS = 5
# eKFV § 4 (1): both brakes together; each alone this share of it.
ALL_BRAKES_MPS2, ONE_BRAKE_SHARE = 3.5, 0.44
# StVZO § 41 (4): motor vehicles except motorcycles; (4a): design speed up to 25 km/h.
FASTER_MPS2, SLOW_UP_TO_MPS = 5.0, 25.0 * MPS_PER_KMH


@dataclass(frozen=True)
class Yardstick:
    """A published least deceleration with its source, and that of one brake alone."""

    least_mps2: float
    one_brake_mps2: float
    source: str


def yardstick_for(top_mps: float) -> Yardstick:
    """Return the least deceleration that German rules ask of vehicles of a design speed.

    Source
    ------
    eKFV § 4 (1); StVZO § 41 (4) and (4a): 3.5 m/s² up to 25 km/h, 5.0 m/s² above, motorcycles
    excepted; one brake alone 44 % of it.
    """
    if top_mps <= SLOW_UP_TO_MPS:
        return Yardstick(
            ALL_BRAKES_MPS2,
            ONE_BRAKE_SHARE * ALL_BRAKES_MPS2,
            "eKFV § 4 (1) and StVZO § 41 (4a): vehicles up to 25 km/h",
        )
    return Yardstick(
        FASTER_MPS2,
        ONE_BRAKE_SHARE * FASTER_MPS2,
        "StVZO § 41 (4): motor vehicles above 25 km/h, motorcycles excepted",
    )


def speed_of_tests_kmh(
    first_mps: tuple[float, float], second_mps: tuple[float, float]
) -> int | None:
    """Return the top speed of two tests, each in both directions, as the procedure rounds it.

    Parameters
    ----------
    first_mps, second_mps : pair of float
        Speeds there and back of each test. [m/s]

    Returns
    -------
    int or None
        Whole km/h nearest the arithmetic mean, exact halves upward; None if the lowest speed lies
        more than 10 % below the highest. [km/h]

    Source
    ------
    eKFV (BGBl. I 2019 p. 756), Annex, no. 2.1.2. From what the 10 % count is not said there; the
    highest speed is the stricter reading of "may not differ".
    """
    speeds = (*first_mps, *second_mps)
    if max(speeds) - min(speeds) > TESTS_WITHIN * max(speeds) + 1e-9:
        return None
    return int(half_up(sum(speeds) / len(speeds) / MPS_PER_KMH, 0))


def rounded_decel_mps2(decel_mps2: float) -> float:
    """Return a deceleration to one decimal, as the eKFV Annex, no. 2.2.4, gives it."""
    return half_up(decel_mps2, 1)


def rounded_distance_m(distance_m: float) -> float:
    """Return a stopping distance to two decimals, as the eKFV Annex, no. 2.2.2, asks."""
    return half_up(distance_m, 2)


def half_up(value: float, decimals: int) -> float:
    """Return a figure rounded, exact halves upward (Python's own goes to even)."""
    scale = 10.0**decimals
    # A half that binary cannot hold may stand a hair below it.
    return math.floor(value * scale + 0.5 + 1e-9) / scale
