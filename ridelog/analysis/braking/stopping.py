"""How far the machine would go before it stands, from its top speed, as it was braked here."""

import numpy as np

from ridelog.analysis.braking.measure import Braking, Brakings, StoppingDistance
from ridelog.analysis.settings import REACTION_S
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.interval import estimate
from ridelog.core.track import FloatArray

# Only brakings that begin at this share of the fastest one's speed tell how the machine stops.
_FAST_SHARE = 0.5
# A braking that rolls on tells as much if it takes off this share of its speed.
_SHED_SHARE = 0.5
_SEED = 20261125


def project_stop(
    brakings: Brakings, top: Estimate | None, *, reaction_s: float = REACTION_S
) -> StoppingDistance | None:
    """Return the stopping distance from the top speed, v t + v² / (2 a).

    Parameters
    ----------
    brakings : Brakings
        What the ride shows; its median counts, since a rider in need is seldom at his best.
    top : Estimate or None
        Top speed of the ride. [m/s]
    reaction_s : float
        Time until the brake is touched. [s]

    Returns
    -------
    StoppingDistance or None
        None without a top speed or without a braking that takes off half of its speed.
    """
    telling = _telling(brakings)
    if top is None or top.value <= 0.0 or not telling:
        return None
    columns: FloatArray = np.median(np.stack([b.decel_columns for b in telling]), axis=0)
    decel = estimate(columns)
    speed = _speed_columns(top, len(columns))
    with np.errstate(divide="ignore", invalid="ignore"):
        way = np.where(columns > 0.0, speed**2 / (2.0 * columns), np.nan)
    braking = estimate(way, smallest=0.0)
    whole = estimate(way + speed * reaction_s, smallest=0.0)
    if decel is None or braking is None or whole is None:
        return None
    return StoppingDistance(
        from_mps=top.value,
        reaction_s=reaction_s,
        decel=decel,
        brakings=len(telling),
        reaction_m=top.value * reaction_s,
        braking=braking,
        whole=whole,
        fastest_mps=max(b.from_mps for b in telling),
    )


def _telling(brakings: Brakings) -> list[Braking]:
    shed = [b for b in brakings.each if b.to_mps <= (1.0 - _SHED_SHARE) * b.from_mps]
    if not shed:
        return []
    fastest = max(b.from_mps for b in shed)
    return [b for b in shed if b.from_mps >= _FAST_SHARE * fastest]


def _speed_columns(top: Estimate, columns: int) -> FloatArray:
    """Return the top speed with its error by lot, in the layout of ``Paths``.

    It was measured elsewhere on the ride than the brakings, so the errors are independent. The
    sharp draws carry none: a square gains nothing worth freeing it from at a few per cent.
    """
    draws = (columns - 1) // 2
    lot = np.random.default_rng([_SEED, columns]).standard_normal(draws)
    # Interval ends swap sides in ``estimate``: an error upward means a truth below.
    side = np.where(lot > 0.0, top.value - top.low, top.high - top.value) / QUANTILE
    speed = np.full(columns, top.value)
    speed[1 + draws :] += lot * side
    result: FloatArray = np.maximum(speed, 0.0)
    return result
