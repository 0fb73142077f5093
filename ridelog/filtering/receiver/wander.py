"""How far bare positions wander by themselves within a second, as even riding shows it.

A receiver's own filter makes the errors of neighbouring positions alike, so that they pass for
travel. No reported speed tells the difference, but evenness does: white errors bend a track as much
over a short time as over one twice as long, a wander bends it twice as much, squared.
"""

import numpy as np

from ridelog.core.track import BoolArray, FloatArray

# The shorter of both times: within it a machine's own acceleration changes by little. Own choice.
_SHORT_S, _LONGEST_SHORT_S = 0.2, 0.42
# Of a ride's stretches this share is ridden so evenly that errors alone bend them. Own choice.
_EVEN_SHARE = 0.2
_LEAST_STRETCHES = 100
# White errors show this much more over the longer time once in some hundred logs. Own choice.
_PLAINLY = 1.3
# Rounding to more than this is most of what is seen. Own choice. [m]
_COARSE_M = 0.12


def position_wander(
    position_m: FloatArray, breaks: BoolArray, interval_s: float, step_m: float
) -> float:
    """Return what a position walks by itself in a second, one axis. [m]

    Parameters
    ----------
    position_m : ndarray, shape (m, 2)
        Fixes in time order, about evenly spaced.
    breaks : ndarray of bool, shape (m - 1,)
        Intervals across which nothing is compared.
    interval_s, step_m : float
        Their usual spacing, and the step in which they are written. [s], [m]

    Returns
    -------
    float
        0 where positions show white errors only; NaN where the log cannot tell: fixes too far
        apart, too few, or too coarse.

    Source
    ------
    Own derivation: receiver (8) and (9).
    """
    n = max(1, round(_SHORT_S / interval_s))
    if n * interval_s > _LONGEST_SHORT_S or step_m > _COARSE_M:
        return float("nan")
    # A receiver that repeats a position holds it: that is no evenness.
    told = ~breaks & (np.diff(position_m, axis=0) != 0.0).any(axis=1)
    short, long = (_bend(position_m, told, lag) for lag in (n, 2 * n))
    if not np.isfinite(short + long):
        return float("nan")
    if long < _PLAINLY * short:
        return 0.0
    return float(np.sqrt((long - short) / (6.0 * n * interval_s)))


def _bend(position_m: FloatArray, told: BoolArray, lag: int) -> float:
    """Return the variance of third differences over a lag where the ride is even, one axis."""
    if len(position_m) <= 3 * lag:
        return float("nan")
    bend = (
        position_m[3 * lag :]
        - 3.0 * position_m[2 * lag : -lag]
        + 3.0 * position_m[lag : -2 * lag]
        - position_m[: -3 * lag]
    )
    count = np.concatenate([[0], np.cumsum(told)])
    whole = count[3 * lag :] - count[: -3 * lag] == 3 * lag
    if whole.sum() < _LEAST_STRETCHES:
        return float("nan")
    square = float(np.quantile((bend[whole] ** 2).sum(axis=1), _EVEN_SHARE))
    return float(square / (-2.0 * np.log1p(-_EVEN_SHARE)))
