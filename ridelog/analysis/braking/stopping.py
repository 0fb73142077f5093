"""How far the machine goes before it stands, as it was braked here, and what road rules ask of it.

Method and comparison only: a log is no type approval.
"""

from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis.braking.measure import Braking, Brakings
from ridelog.analysis.settings import REACTION_S
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.interval import estimate
from ridelog.core.track import FloatArray
from ridelog.core.units import MPS_PER_KMH

# Stops from below this share of the ride's best second are not stops from speed. Own choice.
_FROM_SPEED = 0.5
# Only brakings that begin at this share of the fastest one's speed tell how the machine stops; own
# choice: slower ones are often gentle, stricter leaves few to take the median of.
_FAST_SHARE = 0.5
# A braking that rolls on tells as much if it takes off this share of its speed: own choice, three
# quarters of its energy; less is a dab before a bend.
_SHED_SHARE = 0.5
# eKFV Annex, no. 2.2.3: stops in a row with all brakes.
_STOPS_ASKED = 5
# eKFV § 4 (1) and StVZO § 41 (4a): one brake alone gives this share of what all must give.
_ONE_BRAKE_SHARE = 0.44
_SEED = 20261125


@dataclass(frozen=True)
class RequiredBraking:
    """The least deceleration that a rule asks of all brakes and of one, after so many stops."""

    least_mps2: float
    one_brake_mps2: float
    stops_asked: int
    source: str


@dataclass(frozen=True)
class StoppingDistance:
    """The distance from seeing a reason to stop until rest, METHOD.md of braking, (6).

    Attributes
    ----------
    from_mps : speed it is projected from, the fastest second of the ride.
    reaction_s, reaction_m : time and distance until the brake is touched.
    braking_m, stopping_distance_m : distance under the brake, and with the reaction.
    decel_mps2 : usual mean deceleration, the median over ``brakings``.
    brakings : how many it is the median of.
    fastest_braking_mps : highest speed from which the ride shows a braking.
    required : what a rule asks of a vehicle as fast.
    """

    from_mps: float
    reaction_s: float
    reaction_m: float
    braking_m: Estimate
    stopping_distance_m: Estimate
    decel_mps2: Estimate
    brakings: int
    fastest_braking_mps: float
    required: RequiredBraking

    def under_brake_m(self, speed_mps: float) -> float:
        """Return the distance under the brake from another speed: it grows with the square. [m]"""
        return self.braking_m.value * (speed_mps / self.from_mps) ** 2


def required_of(top_mps: float) -> RequiredBraking:
    """Return what German rules ask of the brakes of vehicles of a design speed.

    Source
    ------
    StVZO § 41 (4): motor vehicles except motorcycles 5.0 m/s², with a design speed of up to
    25 km/h 3.5 m/s²; (4a): with a part failed 44 % of it. eKFV § 4 (1): 3.5 m/s² and 44 % of it.
    """
    if top_mps <= 25.0 * MPS_PER_KMH:
        least, source = 3.5, "eKFV § 4 (1); StVZO § 41 (4) and (4a), slow motor vehicles"
    else:
        least, source = 5.0, "StVZO § 41 (4) and (4a), motor vehicles except motorcycles"
    return RequiredBraking(least, _ONE_BRAKE_SHARE * least, _STOPS_ASKED, source)


def with_stopping(
    brakings: Brakings, best: Estimate | None, *, reaction_s: float = REACTION_S
) -> Brakings:
    """Return brakings with the mean over stops from speed and the stopping distance.

    Both are from the fastest second of the ride, ``best``; None where it is not known. [m/s]
    """
    least = _FROM_SPEED * best.value if best is not None else 0.0
    stops = tuple(one for one in brakings.stops if one.from_mps >= least)
    return replace(
        brakings,
        stops_from_speed=stops,
        mean_mps2=estimate(np.mean([s.decel_columns for s in stops], axis=0)) if stops else None,
        stopping=project_stop(brakings, best, reaction_s=reaction_s),
    )


def project_stop(
    brakings: Brakings, best: Estimate | None, *, reaction_s: float = REACTION_S
) -> StoppingDistance | None:
    """Return the stopping distance from the fastest second; arguments as ``with_stopping``.

    The median of the brakings counts, since a rider in need is seldom at his best. None without
    a top speed or without a braking that takes off half of its speed.
    """
    telling = _telling(brakings)
    if best is None or best.value <= 0.0 or not telling:
        return None
    columns: FloatArray = np.median(np.stack([b.decel_columns for b in telling]), axis=0)
    decel = estimate(columns)
    speed = _speed_columns(best, len(columns))
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = np.where(columns > 0.0, speed**2 / (2.0 * columns), np.nan)
    braking = estimate(distance, smallest=0.0)
    whole = estimate(distance + speed * reaction_s, smallest=0.0)
    if decel is None or braking is None or whole is None:
        return None
    return StoppingDistance(
        from_mps=best.value,
        reaction_s=reaction_s,
        reaction_m=best.value * reaction_s,
        braking_m=braking,
        stopping_distance_m=whole,
        decel_mps2=decel,
        brakings=len(telling),
        fastest_braking_mps=max(b.from_mps for b in telling),
        required=required_of(best.value),
    )


def _telling(brakings: Brakings) -> list[Braking]:
    shed = [b for b in brakings.each if b.to_mps <= (1.0 - _SHED_SHARE) * b.from_mps]
    fastest = max((b.from_mps for b in shed), default=0.0)
    return [b for b in shed if b.from_mps >= _FAST_SHARE * fastest]


def _speed_columns(best: Estimate, columns: int) -> FloatArray:
    """Return the top speed with its error by lot, in the layout of ``Paths``.

    It was measured elsewhere on the ride than the brakings, so the errors are independent. The
    sharp draws carry none: a square gains nothing worth freeing it from at a few per cent.
    """
    draws = (columns - 1) // 2
    lot = np.random.default_rng([_SEED, columns]).standard_normal(draws)
    # Interval ends swap sides in ``estimate``: an error upward means a truth below.
    side = np.where(lot > 0.0, best.value - best.low, best.high - best.value) / QUANTILE
    speed = np.full(columns, best.value)
    speed[1 + draws :] += lot * side
    result: FloatArray = np.maximum(speed, 0.0)
    return result
