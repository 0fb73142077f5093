"""How noisy a reported velocity is over the times that count, whatever it shows from fix to fix.

A receiver's own filter makes the errors of neighbouring fixes alike. From fix to fix they then look
small, but their mean over a second falls more slowly than that of independent ones.
"""

from statistics import NormalDist

import numpy as np

from ridelog.core.track import FloatArray

# Means over so long: most of a receiver's own memory lies within, and a rider's hand changes the
# acceleration little over three of them. Own choice. [s]
_MEAN_S = 0.4
# Of a ride's stretches this share is ridden so evenly that noise alone bends them. Own choice.
_EVEN_SHARE = 0.2
_LEAST_STRETCHES = 40


def noise_of_means(
    velocity_mps: FloatArray, interval_s: float, ratio: FloatArray | None = None
) -> float:
    """Return the white noise, one axis, that gives means of a velocity the noise that they show.

    Parameters
    ----------
    velocity_mps : ndarray, shape (m, 2)
        Fixes in time order, about evenly spaced; NaN where nothing is reported.
    interval_s : float
        Their usual spacing. [s]
    ratio : ndarray, shape (m,), optional
        Noise of each fix relative to the usual one, whose noise is then returned; all alike if
        left out.

    Returns
    -------
    float
        0 where means hold less than two fixes, or there are too few of them. [m/s]

    Source
    ------
    Own derivation: receiver (10).
    """
    n = round(_MEAN_S / interval_s)
    if n < 2 or len(velocity_mps) < 3 * n:
        return 0.0
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(np.nan_to_num(velocity_mps), axis=0)])
    mean = (total[n:] - total[:-n]) / n
    count = np.concatenate([[0], np.cumsum(np.isfinite(velocity_mps[:, 0]))])
    bend = mean[2 * n :] - 2.0 * mean[n:-n] + mean[: -2 * n]
    known = count[3 * n :] - count[: -3 * n] == 3 * n
    if ratio is not None:
        bend = bend / _share_of_usual(ratio, n)[:, None]
    if known.sum() < _LEAST_STRETCHES * n:
        return 0.0
    # A throttle bends it along the way and steering across: errors do both alike.
    middle = mean[n:-n][known]
    ahead = middle / np.maximum(np.hypot(middle[:, 0], middle[:, 1]), 1e-9)[:, None]
    along = (bend[known] * ahead).sum(axis=1)
    across = bend[known, 0] * ahead[:, 1] - bend[known, 1] * ahead[:, 0]
    square = min(float(np.quantile(each**2, _EVEN_SHARE)) for each in (along, across))
    return float((n * square / 6.0) ** 0.5 / NormalDist().inv_cdf(0.5 + 0.5 * _EVEN_SHARE))


def _share_of_usual(ratio: FloatArray, n: int) -> FloatArray:
    """Return how noisy each bend of three means is beside that of usual fixes, receiver (10)."""
    total = np.concatenate([[0.0], np.cumsum(ratio**2)])
    square = total[n:] - total[:-n]
    sides = square[2 * n :] + square[: -2 * n]
    share: FloatArray = np.sqrt((sides + 4.0 * square[n:-n]) / (6.0 * n))
    return share
