"""Machines that changed over a season: compare (15) to (17)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.stats import rankdata

from ridelog.analysis.figure import HEADLINE_WEIGHT, HIGHER, LOWER
from ridelog.compare.difference import Summary, shared_scatter, welch
from ridelog.compare.verdict import step_down
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, TIME, Quantity
from ridelog.core.track import FloatArray

# With fewer rides no order of them is rare enough to be told from chance among several figures:
# of seven the clearest change has the chance 0.10, of eight 0.03, both exact by all orders.
LEAST_RIDES = 8
# Orders drawn for the chance of an order; a test's own chance of 1 % is then known to a tenth:
# derived, sqrt(0.01 / 9999). Own choice: more cost time.
_ORDERS = 9999


@dataclass(frozen=True)
class Watched:
    """A figure that is watched over a season: its name, title, quantity, and which way is bad."""

    name: str
    title: str
    quantity: Quantity
    better: str
    weight: float = 1.0


WATCHED = (
    Watched("best_1s_mps", "fastest second", SPEED, HIGHER, HEADLINE_WEIGHT),
    Watched("two_way_mps", "mean of both directions", SPEED, HIGHER, HEADLINE_WEIGHT),
    Watched("0-20 km/h", "0 to 20 km/h", TIME, LOWER),
    Watched("mean_braking_mps2", "mean braking", ACCELERATION, HIGHER),
)


@dataclass(frozen=True)
class Drift:
    """What the rides of one machine say of one figure, in the order in which they were ridden.

    values : of every ride that tells it. first_after : number of the first ride after the change,
    if there was one. p_value : how often rides of an unchanged machine look as much like one.
    drifted : whether that is rare enough among all figures of the machine, and the change is for
    the worse; ``improved`` the same for the better. before, after : means; difference : after less
    before.
    """

    watched: Watched
    values: FloatArray
    first_after: int
    p_value: float
    drifted: bool
    improved: bool
    before: float
    after: float
    difference: Estimate


def drifts_of(figures: Mapping[str, Sequence[float]]) -> tuple[Drift, ...]:
    """Return what became of one machine's figures.

    ``figures`` has the values of each watched figure in order of time, NaN where a ride does not
    tell it. Figures told by fewer than LEAST_RIDES rides are left out.
    """
    told = []
    for watched in WATCHED:
        values = np.asarray(figures.get(watched.name, ()), dtype=np.float64)
        values = values[np.isfinite(values)]
        if len(values) >= LEAST_RIDES:
            told.append((watched, values, *change_point(values)))
    tested = step_down([p for *_, p in told], [watched.weight for watched, *_ in told])
    found = []
    for (watched, values, first_after, p_value), test in zip(told, tested, strict=True):
        one, two = Summary.of(list(values[:first_after])), Summary.of(list(values[first_after:]))
        both = min(one.count, two.count) > 1
        contrast = welch(one, two) if both else shared_scatter(one, two)
        reach = contrast.reach(LEVEL)
        moved = contrast.difference
        worse = moved < 0.0 if watched.better == HIGHER else moved > 0.0
        found.append(
            Drift(
                watched,
                values,
                first_after,
                p_value,
                test.shown and worse,
                test.shown and not worse,
                one.mean,
                two.mean,
                Estimate(moved, moved - reach, moved + reach),
            )
        )
    return tuple(found)


def change_point(values: FloatArray) -> tuple[int, float]:
    """Return the first value after the likeliest change, and the chance of one so clear.

    Source
    ------
    Pettitt (1979), A non-parametric approach to the change-point problem, Applied Statistics 28(2),
    126-135; the chance by drawing orders instead of his approximation, which is rough for few.
    """
    n = len(values)
    reach = np.abs(_sums(rankdata(values)[None, :])[0])
    first_after = int(np.argmax(reach)) + 1
    as_clear = int(np.count_nonzero(_reaches(n) >= reach.max() - 1e-9))
    return first_after, (as_clear + 1) / (_ORDERS + 1)


def _sums(ranks: FloatArray) -> FloatArray:
    """Return Pettitt's U after each value but the last, compare (15)."""
    n = ranks.shape[1]
    summed: FloatArray = 2.0 * np.cumsum(ranks, axis=1) - np.arange(1, n + 1) * (n + 1)
    return summed[:, :-1]


@cache
def _reaches(n: int) -> FloatArray:
    """Return the greatest |U| of drawn orders of n values."""
    random = np.random.default_rng(n)
    orders = random.permuted(np.tile(np.arange(1.0, n + 1.0), (_ORDERS, 1)), axis=1)
    reaches: FloatArray = np.abs(_sums(orders)).max(axis=1)
    return reaches
