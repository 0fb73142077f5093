"""How strongly each instant of a ride speaks for each kind of phase, and the likeliest sequence."""

import numpy as np
from scipy.special import ndtr

from ridelog.analysis.braking.corners import coasting_limit_mps2, smoothed
from ridelog.analysis.fitted import FittedPath
from ridelog.core.track import FloatArray, IntArray

# Kinds that motion alone tells; launches and reverse are named afterwards.
LIKELY = ("standstill", "pull", "steady", "coasting", "braking", "turning")
# What each kind looks like. A machine at rest stirs by centimetres a second, a steady hand by
# 0.15 m/s² and 0.06 rad/s (grades of 1 or 2 %, small corrections); pulls end at 6 m/s² and brakings
# at 10 (a tyre's grip), turns at 2.5 rad/s: common practice, no source.
_REST_MPS, _REST_MPS2 = 0.06, 0.10
_STEADY_MPS2, _STEADY_RADPS = 0.15, 0.06
_PULL_MPS2, _BRAKE_MPS2, _TURN_RADPS = (0.15, 6.0), 10.0, (0.12, 2.5)
_ROLL_MPS2 = 0.06
# A turn may be ridden at any acceleration of this size.
_TURNING_MPS2 = 0.7
_FASTEST_MPS = 60.0
# Means are taken over this long or this many intervals between fixes.
_WIDTH_S, _WIDTH_INTERVALS = 0.4, 1.0
# Turns last longer than changes of speed, and slow ones need the longer mean to be seen.
_TURN_WIDTH_S = 1.2
# Errors of neighbouring instants are alike over about this long, so that they count as one.
_ALIKE_S = 0.5
# A change of kind costs this, in logarithms of odds: riders change what they do every few seconds.
_CHANGE_COST = 5.0
# No instant is proof: kinds that look impossible keep these odds against the likeliest.
_DOUBT = 1e-3


def log_odds(path: FittedPath, speed_sd_mps: float, rate_hz: float) -> FloatArray:
    """Return the logarithm of each instant's likelihood under each kind, shape (m, 6).

    Parameters
    ----------
    path : FittedPath
        The most probable motion over a piece.
    speed_sd_mps : float
        Usual uncertainty of its speed. [m/s]
    rate_hz : float
        Fixes a second. [Hz]
    """
    spacing = float(path.time_s[1] - path.time_s[0])
    width_s = max(_WIDTH_S, _WIDTH_INTERVALS / rate_hz)
    width = max(1, round(width_s / spacing))
    speed = path.speed_mps
    turn_width_s = max(_TURN_WIDTH_S, width_s)
    accel = smoothed(path.accel_mps2, width)
    yaw = np.abs(smoothed(path.yaw_rate_radps, max(1, round(turn_width_s / spacing))))
    # Means over a width are differences of two velocities, along and across, by it.
    accel_sd = np.full_like(speed, np.sqrt(2.0) * speed_sd_mps / width_s)
    yaw_sd = np.sqrt(2.0) * speed_sd_mps / turn_width_s / np.maximum(speed, 0.3)
    speed_sd = np.full_like(speed, speed_sd_mps)
    limit = coasting_limit_mps2(speed)

    moving = _between(speed, 0.15, _FASTEST_MPS, speed_sd)
    straight = 2.0 * _normal(yaw, np.hypot(_STEADY_RADPS, yaw_sd))
    rest = 2.0 * _normal(speed, np.hypot(_REST_MPS, speed_sd))
    rest *= _normal(accel, np.hypot(_REST_MPS2, accel_sd))
    kinds = [
        # Where the machine rests its course is noise: any rate of turn is as likely.
        rest * _between(yaw, 0.0, _TURN_RADPS[1], yaw_sd),
        moving * straight * _between(accel, *_PULL_MPS2, accel_sd),
        moving * straight * _normal(accel, np.hypot(_STEADY_MPS2, accel_sd)),
        moving * straight * _between(-accel, _ROLL_MPS2, limit, accel_sd),
        # Braking goes on in a bend.
        moving * _between(-accel, limit, _BRAKE_MPS2, accel_sd)
        * _between(yaw, 0.0, _TURN_RADPS[1], yaw_sd),
        moving * _between(yaw, *_TURN_RADPS, yaw_sd)
        * _normal(accel, np.hypot(_TURNING_MPS2, accel_sd)),
    ]  # fmt: skip
    likelihood = np.stack(kinds, axis=1)
    best = likelihood.max(axis=1, keepdims=True)
    share = likelihood / np.maximum(best, 1e-300) + _DOUBT
    odds: FloatArray = np.log(share) * min(1.0, spacing / _ALIKE_S)
    return odds


def most_probable(odds: FloatArray) -> IntArray:
    """Return the kind of each instant in the likeliest sequence (Viterbi), shape (m,).

    Source
    ------
    A. J. Viterbi, "Error bounds for convolutional codes and an asymptotically optimum decoding
    algorithm", IEEE Trans. Inf. Theory 13 (1967) 260-269.
    """
    totals = np.empty_like(odds)
    total = np.zeros(odds.shape[1])
    for here, odd in zip(totals, odds, strict=True):
        total = np.maximum(total, total.max() - _CHANGE_COST, out=here)
        total += odd
    # Backwards, each kind goes on until another one pays for the change.
    best = totals.argmax(axis=1)
    pays = totals < totals.max(axis=1, keepdims=True) - _CHANGE_COST
    chosen = np.empty(len(odds), dtype=np.int64)
    kind = best[-1]
    for instant in range(len(odds) - 1, 0, -1):
        chosen[instant] = kind
        if pays[instant - 1, kind]:
            kind = best[instant - 1]
    chosen[0] = kind
    return chosen


def _between(
    value: FloatArray, low: FloatArray | float, high: FloatArray | float, sd: FloatArray
) -> FloatArray:
    """Return the density of a value anywhere between two bounds, seen with an error."""
    spread = np.maximum(sd, 1e-6)
    inside = ndtr((value - low) / spread) - ndtr((value - high) / spread)
    result: FloatArray = np.maximum(inside, 0.0) / (high - low)
    return result


def _normal(value: FloatArray, sd: FloatArray) -> FloatArray:
    result: FloatArray = np.exp(-0.5 * (value / sd) ** 2) / (np.sqrt(2.0 * np.pi) * sd)
    return result
