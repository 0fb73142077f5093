"""From the figure of every drawn path to one estimate: the project's only maker of intervals."""

from dataclasses import replace
from functools import cache
from statistics import NormalDist

import numpy as np

from ridelog.core.estimate import LEVEL, QUANTILE, Estimate
from ridelog.core.track import FloatArray, IntArray

# With more undefined columns than this share, the figure itself is in doubt. Own choice.
_UNDEFINED_SHARE = 0.1
# How much further from its value a bound lies that is missed half as often: the ratio of two
# quantiles of the normal distribution, exact.
_SURER = NormalDist().inv_cdf(0.75 + 0.25 * LEVEL) / QUANTILE
# The golden ratio, exact: its multiples lie evenly in 0 to 1 (Weyl 1916, from memory).
_GOLDEN = (5.0**0.5 - 1.0) / 2.0
# A residual below this is rounding.
_NO_RESIDUAL = 1e-9


def estimate(
    figures: FloatArray, *, smallest: float = -np.inf, largest: float = np.inf
) -> Estimate | None:
    """Return a figure's estimate from its values on all columns of ``Paths``.

    The fitted path's own figure is freed from the bias that choosing (a maximum, a first crossing)
    brings: what the sharp draws add to the fitted path, the fitted path has added to the truth.
    The half widths are the one-sided root mean squares of the cautious draws about their mean,
    times the normal quantile of the level: core (1) and (2).

    ``figures``, shape (1 + 2 draws,), are those of the fitted path, the sharp draws and the
    cautious draws, NaN where the figure does not exist; ``smallest`` and ``largest`` are bounds
    that it cannot pass by its nature, such as 0 for a distance. None if the fitted path has no such
    figure, or more than a tenth of the draws have none.
    """
    free = _free_of_bias(figures)
    return None if free is None else _around(*free, smallest, largest)


def ordered_estimates(columns: FloatArray, *, smallest: float = -np.inf) -> list[Estimate | None]:
    """Return the estimates of a figure and of its parts, which by their nature cannot exceed it.

    Each is freed from bias as in ``estimate``. Where that breaks the order, the values are the
    nearest ones that keep it, in the metric of the cautious draws' covariance: the most likely
    ones, if errors are normal. Each interval moves with its value; what bounds the whole from
    above then bounds its parts, and what bounds a part from below bounds the whole, if it is twice
    as sure. Derivation: top_speed (3) to (7).

    ``columns``, shape (figures, 1 + 2 draws), has a row as for ``estimate`` for each, the whole
    first, in whose order the estimates are returned; None as for ``estimate``, and for all if there
    is no whole.
    """
    free = [_free_of_bias(each) for each in columns]
    result: list[Estimate | None] = [None] * len(columns)
    if free[0] is None:
        return result
    known = [number for number, each in enumerate(free) if each is not None]
    values = np.array([max(each[0], smallest) for each in free if each is not None])
    values = np.maximum(_in_order(values, columns[known]), smallest)
    reaches = [each[1] for each in free if each is not None]
    found = [
        _around(float(value), reach, smallest, np.inf)
        for value, reach in zip(values, reaches, strict=True)
    ]
    surely = [float(value) - _SURER * reach for value, reach in zip(values, reaches, strict=True)]
    whole = replace(found[0], low=max(found[0].low, *surely))
    for number, each in zip(known, found, strict=True):
        result[number] = replace(
            each, low=min(each.low, whole.low), high=min(each.high, whole.high)
        )
    result[0] = whole
    return result


def _free_of_bias(figures: FloatArray) -> tuple[float, float] | None:
    """Return a figure's value and the half width of its interval, None as ``estimate`` does."""
    draws = (len(figures) - 1) // 2
    fitted = float(figures[0])
    sharp, cautious = figures[1 : 1 + draws], figures[1 + draws :]
    if not np.isfinite(fitted):
        return None
    known = np.isfinite(figures)
    undefined = len(figures) - int(np.count_nonzero(known))
    if undefined > _UNDEFINED_SHARE * (len(figures) - 1):
        return None
    if undefined:
        sharp, cautious = sharp[known[1 : 1 + draws]], cautious[known[1 + draws :]]
    value = 2.0 * fitted - float(sharp.mean())
    spread = cautious - cautious.mean()
    above, below = spread[spread > 0], spread[spread < 0]
    reach = QUANTILE * max(
        (float(side @ side / len(side)) ** 0.5 for side in (above, below) if len(side)), default=0.0
    )
    return value, reach


def _around(value: float, reach: float, smallest: float, largest: float) -> Estimate:
    # Bounded before the widths are added: a machine at rest keeps the width of its interval.
    value = float(np.clip(value, smallest, largest))
    low, high = value - reach, value + reach
    return Estimate(value, min(value, max(low, smallest)), max(value, min(high, largest)), LEVEL)


def _in_order(values: FloatArray, columns: FloatArray) -> FloatArray:
    """Return the nearest values of which the first is the largest, shape (k,).

    Source
    ------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, Prentice-Hall 1974, chapter 23,
    algorithm LDP: least distance programming by non-negative least squares (from memory).
    """
    gap = values[0] - values[1:]
    if not (gap < 0.0).any():
        return values
    draws = (columns.shape[1] - 1) // 2
    errors = columns[:, 1 + draws :]
    errors = errors[:, np.isfinite(errors).all(axis=0)]
    result = values.copy()
    if errors.size:
        # Loads slowly, and only figures out of order need it.
        from scipy.optimize import nnls

        errors = errors - errors.mean(axis=1, keepdims=True)
        # The shortest u of which values + errors u are in order, (5): G u >= h, with
        matrix, least = errors[0] - errors[1:], -gap
        both = np.vstack([matrix.T, least])
        # Each condition in a unit of its own: one of 1e-308 beside one of 1 has no solution in
        # floating point, and as a condition it is the same in any unit.
        both = both / np.where(both.any(axis=0), np.abs(both).max(axis=0), 1.0)
        aim = np.append(np.zeros(len(both) - 1), 1.0)
        rest = both @ nnls(both, aim)[0] - aim
        # No residual: no u does, since the draws of a gap have no spread.
        if rest[-1] < -_NO_RESIDUAL:
            result -= errors @ (rest[:-1] / rest[-1])
    # Rounding, or what no u brought into order.
    result[1:] = np.minimum(result[1:], result[0])
    return result


@cache
def even_normals(count: int, seed: int) -> FloatArray:
    """Return normal deviations spread evenly in probability, shuffled, shape (count,).

    A spread that has nothing to do with the draws is laid over them so: without a draw's luck. They
    are made once, and not to be written to.
    """
    rank = np.random.default_rng(seed).permutation(count)
    in_order = np.array([NormalDist().inv_cdf((place + 0.5) / count) for place in range(count)])
    result: FloatArray = in_order[rank]
    result.flags.writeable = False
    return result


def estimate_of_possible(values: FloatArray) -> Estimate | None:
    """Return a figure's estimate from its values on equally likely possible truths.

    Unlike ``estimate`` the values are possible truths (machines drawn from a posterior), not a
    fitted path with errors about it: the median and the quantiles that leave out as much on
    either side are the estimate.

    ``values``, shape (n,), is NaN where a possible truth has no such figure; None if more than a
    tenth have none.
    """
    known = values[np.isfinite(values)]
    if len(known) < (1.0 - _UNDEFINED_SHARE) * len(values) or not len(known):
        return None
    # Linear between the sorted values, as numpy's quantiles, which take ten times as long.
    place = np.array([0.5 - 0.5 * LEVEL, 0.5, 0.5 + 0.5 * LEVEL]) * (len(known) - 1)
    low, middle, high = np.interp(place, np.arange(len(known)), np.sort(known))
    return Estimate(float(middle), float(low), float(high), LEVEL)


def systematic(weight: FloatArray, count: int, random: np.random.Generator) -> IntArray:
    """Return indices drawn by weight, evenly spaced in probability, in rising order.

    Fewer of them show a distribution than by lot: each comes as often as its weight asks, give or
    take one.

    ``weight``, shape (n,), is not negative and not all 0; its sum does not matter. ``random`` says
    where the first of ``count`` indices lies.

    Source
    ------
    J. Carpenter, P. Clifford and P. Fearnhead, "Improved particle filter for nonlinear problems",
    IEE Proc. Radar, Sonar Navig. 146 (1999) 2-7 (systematic sampling; from memory).
    """
    total = np.cumsum(weight)
    places = (np.arange(count) + random.random()) / count
    return np.searchsorted(total / total[-1], places).astype(np.int64)


def evenly_chosen(weight: FloatArray, count: int) -> IntArray:
    """Return indices of different entries, each as likely as its weight asks, in rising order.

    Each entry has a number of its own, and those whose number is smallest beside their weight are
    taken: a weight that moves by a hair changes at most one of them, where adding the weights up
    would move all that follow. The numbers lie evenly among neighbours, so that neighbours that
    are alike are taken in turn.

    Parameters
    ----------
    weight : ndarray, shape (n,)
        Positive; an entry with more than n / count of their mean comes less often than it should.
    count : int
        How many indices, at most n.

    Source
    ------
    E. Ohlsson, "Sequential Poisson sampling", Journal of Official Statistics 14 (1998) 149-162;
    numbers by the golden ratio: H. Weyl, Math. Ann. 77 (1916) 313-352 (both from memory).
    """
    own = (np.arange(1, len(weight) + 1) * _GOLDEN) % 1.0
    order = np.argsort(own / weight, kind="stable")
    return np.sort(order[:count])
