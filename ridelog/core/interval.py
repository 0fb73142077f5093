"""From the figure of every drawn path to one estimate: the project's only maker of intervals."""

import numpy as np
from scipy.special import ndtri

from ridelog.core.estimate import LEVEL, QUANTILE, Estimate
from ridelog.core.track import FloatArray

# With more undefined columns than this share, the figure itself is in doubt.
_UNDEFINED_SHARE = 0.1


def estimate(
    figures: FloatArray, *, smallest: float = -np.inf, largest: float = np.inf
) -> Estimate | None:
    """Return a figure's estimate from its values on all columns of ``Paths``.

    The fitted path's own figure is freed from the bias that choosing (a maximum, a first crossing)
    brings: what the sharp draws add to the fitted path, the fitted path has added to the truth.
    The half widths are the one-sided root mean squares of the cautious draws about their mean,
    times the normal quantile of the level: core (1) and (2).

    Parameters
    ----------
    figures : ndarray, shape (1 + 2 draws,)
        Fitted path, sharp draws, cautious draws; NaN where the figure does not exist.
    smallest, largest : float
        Bounds that the figure cannot pass by its nature, such as 0 for a distance.

    Returns
    -------
    Estimate or None
        None if the fitted path has no such figure, or more than a tenth of the draws have none.
    """
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
    # Bounded before the widths are added: a machine at rest keeps the width of its interval.
    value = float(np.clip(2.0 * fitted - float(sharp.mean()), smallest, largest))
    spread = cautious - cautious.mean()
    above, below = spread[spread > 0], spread[spread < 0]
    reach = QUANTILE * max(
        (float(side @ side / len(side)) ** 0.5 for side in (above, below) if len(side)),
        default=0.0,
    )
    low, high = value - reach, value + reach
    return Estimate(value, min(value, max(low, smallest)), max(value, min(high, largest)), LEVEL)


def even_normals(count: int, seed: int) -> FloatArray:
    """Return normal deviations spread evenly in probability, shuffled, shape (count,).

    A spread that has nothing to do with the draws is laid over them so: without a draw's luck.
    """
    rank = np.random.default_rng(seed).permutation(count)
    result: FloatArray = ndtri((rank + 0.5) / count)
    return result


def estimate_of_possible(values: FloatArray) -> Estimate | None:
    """Return a figure's estimate from its values on equally likely possible truths.

    Unlike ``estimate`` the values are possible truths (machines drawn from a posterior), not a
    fitted path with errors about it: the median and the quantiles that leave out as much on
    either side are the estimate.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where a possible truth has no such figure.

    Returns
    -------
    Estimate or None
        None if more than a tenth have no such figure.
    """
    known = values[np.isfinite(values)]
    if len(known) < (1.0 - _UNDEFINED_SHARE) * len(values) or not len(known):
        return None
    # Linear between the sorted values, as numpy's quantiles, which take ten times as long.
    place = np.array([0.5 - 0.5 * LEVEL, 0.5, 0.5 + 0.5 * LEVEL]) * (len(known) - 1)
    low, middle, high = np.interp(place, np.arange(len(known)), np.sort(known))
    return Estimate(float(middle), float(low), float(high), LEVEL)
