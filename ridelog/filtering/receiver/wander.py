"""How far bare positions wander by themselves within a second, as even riding shows it.

A receiver's own filter makes the errors of neighbouring positions alike, so that they pass for
travel. No reported speed tells the difference, but evenness does: white errors bend a track as much
over a short time as over one twice as long, a wander bends it twice as much, squared.
"""

from statistics import NormalDist

import numpy as np

from ridelog.core.track import BoolArray, FloatArray

# The shorter of both times: within it a machine's own acceleration changes by little. Own choice.
_SHORT_S, _LONGEST_SHORT_S = 0.2, 0.42
# Of a ride's stretches this share is ridden so evenly that errors alone bend them. Own choice.
_EVEN_SHARE = 0.2
_LEAST_STRETCHES = 100
# The fewest of which that share is one: derived.
_LEAST_FEW = round(1.0 / _EVEN_SHARE)
# White errors show this much more over the longer time once in some hundred logs. Own choice.
_PLAINLY = 1.3
# Rounding to more than this is most of what is seen. Own choice. [m]
_COARSE_M = 0.12
# White errors may hide a wander up to this: as much as drift is taken to move a position in a
# second, filtering (what is assumed). Own choice. [m]
_MATTERS_M = 0.045
# The longer time at which slow riding shows what wander there is: own choice, the second that a
# figure is about and half as much again; curves and throttle show in what lasts longer.
_LONG_S, _LONGEST_LONG_S = 1.5, 2.1
# What a hand steers about its way, one standard deviation: own choice, three degrees. [rad]
_HAND_RAD = 0.05
# Slow riding: above what nobody keeps up for seconds, below walking pace (6 km/h, as in braking).
# Own choices, as is the share of a ride's travel that must be slow for it to stand for the ride.
_SLOWEST_MPS, _WALK_MPS, _MOSTLY = 0.3, 1.7, 0.5
# Stretches side by side, from which a variance is told to a half. Own choice.
_LEAST_APART = 8
# A track that turns more than this between the first and the last third is a curve: own choice. [1]
_STRAIGHT_COS = 0.5


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
        0 where positions show white errors only, small enough to hide no more; NaN where the log
        cannot tell: fixes too far apart, too few, too noisy or too coarse.

    Source
    ------
    Own derivation: receiver (8) and (9).
    """
    lag_s, short, long, stretches = _bends(position_m, breaks, interval_s, step_m)
    if stretches < _LEAST_STRETCHES:
        return float("nan")
    if long >= _PLAINLY * short:
        return float(np.sqrt((long - short) / (6.0 * lag_s)))
    hidden_m = float(np.sqrt((_PLAINLY - 1.0) * short / (6.0 * lag_s)))
    return 0.0 if hidden_m <= _MATTERS_M else float("nan")


def wander_of_few(
    position_m: FloatArray, breaks: BoolArray, interval_s: float, step_m: float
) -> float:
    """Return what a position of a short log walks by itself in a second, as its few fixes show it.

    Rough, and asked of a log that is too short for ``position_wander``, whose arguments it takes:
    none at all is further from the truth. 0 where that one can tell, or nothing is seen. [m]
    """
    lag_s, short, long, stretches = _bends(position_m, breaks, interval_s, step_m)
    if not _LEAST_FEW <= stretches < _LEAST_STRETCHES:
        return 0.0
    return float(np.sqrt(max(long - short, 0.0) / (6.0 * lag_s)))


def _bends(
    position_m: FloatArray, breaks: BoolArray, interval_s: float, step_m: float
) -> tuple[float, float, float, int]:
    """Return the shorter time, how even riding bends over it and over both, and its stretches.

    In s and m² an axis; no stretches where fixes are too far apart or too coarse.
    """
    n = max(1, round(_SHORT_S / interval_s))
    if n * interval_s > _LONGEST_SHORT_S or step_m > _COARSE_M:
        return n * interval_s, float("nan"), float("nan"), 0
    # A receiver that repeats a position holds it: that is no evenness.
    told = ~breaks & (np.diff(position_m, axis=0) != 0.0).any(axis=1)
    (short, _), (long, stretches) = (_bend(position_m, told, lag) for lag in (n, 2 * n))
    return n * interval_s, short, long, stretches


def _bend(position_m: FloatArray, told: BoolArray, lag: int) -> tuple[float, int]:
    """Return the variance of third differences over a lag where the ride is even, one axis.

    And of how many stretches it is.
    """
    if len(position_m) <= 3 * lag:
        return float("nan"), 0
    bend = (
        position_m[3 * lag :]
        - 3.0 * position_m[2 * lag : -lag]
        + 3.0 * position_m[lag : -2 * lag]
        - position_m[: -3 * lag]
    )
    count = np.concatenate([[0], np.cumsum(told)])
    whole = count[3 * lag :] - count[: -3 * lag] == 3 * lag
    if not whole.any():
        return float("nan"), 0
    square = float(np.quantile((bend[whole] ** 2).sum(axis=1), _EVEN_SHARE))
    return float(square / (-2.0 * np.log1p(-_EVEN_SHARE))), int(whole.sum())


def wander_at_slow_pace(
    position_m: FloatArray, breaks: BoolArray, interval_s: float, step_m: float
) -> float:
    """Return what a position walks by itself in a second beyond what a hand steers, one axis. [m]

    Only slow riding tells: at 1 m/s a hand moves a machine sideways by some centimetres in the time
    in which at 10 m/s it moves it by a metre.

    Parameters
    ----------
    position_m, breaks, interval_s, step_m
        As for ``position_wander``.

    Returns
    -------
    float
        0 where nothing is seen beyond steering and throttle.

    Source
    ------
    Own derivation: receiver (9a).
    """
    n = max(1, round(_LONG_S / interval_s))
    if n * interval_s > _LONGEST_LONG_S or step_m > _COARSE_M:
        return 0.0
    told = ~breaks & (np.diff(position_m, axis=0) != 0.0).any(axis=1)
    (short, _), (long, pace_mps) = (
        _bend_in_motion(position_m, told, lag, interval_s) for lag in (n, 2 * n)
    )
    # A sine of period 2 lag bends most: 8 times its height.
    lag_s = 2 * n * interval_s
    steered = 0.5 * (8.0 * 2.0**0.5 * _HAND_RAD * pace_mps * lag_s / np.pi) ** 2
    if not long - steered > _PLAINLY * short:
        return 0.0
    return float(np.sqrt((long - steered - short) / (3.0 * lag_s)))


def _bend_in_motion(
    position_m: FloatArray, told: BoolArray, lag: int, interval_s: float
) -> tuple[float, float]:
    """Return the variance of third differences of even riding, one axis, and its pace. [m/s]

    Throttle and brake bend a track along the way, steering across: errors both alike, so the lesser
    of the two.
    """
    if len(position_m) <= 3 * lag:
        return float("nan"), float("nan")
    way = position_m[lag:] - position_m[:-lag]
    first, middle, last = way[: -2 * lag], way[lag:-lag], way[2 * lag :]
    bend, chord = last - 2.0 * middle + first, first + middle + last
    paces = np.stack([np.hypot(*third.T) for third in (first, middle, last)]) / (lag * interval_s)
    count = np.concatenate([[0], np.cumsum(told)])
    ridden = (count[3 * lag :] - count[: -3 * lag] == 3 * lag) & (paces[1] > _SLOWEST_MPS)
    slow = ridden & (paces > _SLOWEST_MPS).all(axis=0) & (paces < _WALK_MPS).all(axis=0)
    if slow.sum() < _MOSTLY * ridden.sum():
        return float("nan"), float("nan")
    cosine = (first * last).sum(axis=1) / np.maximum(np.hypot(*first.T) * np.hypot(*last.T), 1e-9)
    ridden = slow & (cosine > _STRAIGHT_COS)
    if ridden.sum() < _LEAST_APART * 3 * lag:
        return float("nan"), float("nan")
    ahead = chord[ridden] / np.hypot(*chord[ridden].T)[:, None]
    along = (bend[ridden] * ahead).sum(axis=1)
    across = bend[ridden, 0] * ahead[:, 1] - bend[ridden, 1] * ahead[:, 0]
    limits = [np.quantile(np.abs(each), _EVEN_SHARE) for each in (along, across)]
    evener = across if limits[1] <= limits[0] else along
    usual_pace = np.median(paces[1, ridden][np.abs(evener) <= min(limits)])
    return float((min(limits) / NormalDist().inv_cdf(0.5 + 0.5 * _EVEN_SHARE)) ** 2), float(
        usual_pace
    )
