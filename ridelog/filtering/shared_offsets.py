"""Positions displaced together for a moment, in logs that report no speed and have few fixes.

Two readings of the same fixes are weighed: the machine moved so, changing its acceleration as hard
as tyres allow, or these fixes share a displacement. The second is taken where its evidence, with
how seldom that happens, is the greater: METHOD.md, filtering (9) and (10).
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.observations import Observations

# No vehicle of this kind changes its speed faster; tyre friction of 0.9 g is 9 m/s² (standards
# table of skid tests: 0.58-0.88, FME report for The Oregonian, 2007).
HARDEST_MPS2 = 9.0
# White jerk that changes the acceleration by as much as that within a second once in twenty (two
# standard deviations): filtering (9). The result depends on its fourth root. [m²/s⁵]
_JERK = (HARDEST_MPS2 / 2.0) ** 2
# Closer fixes show a leap by itself: what a machine can do between them, half of 9 m/s² times the
# square of it, is 0.4 m. Own choice, the same as from which instants stand between fixes. [s]
_LEAST_INTERVAL_S = 0.3
# Fixes that may share a displacement; fixes on either side that say how the machine went on, and
# how many of them must be believed. Own choices, filtering (10): more cost time and are blurred by
# what the machine itself does.
_LONGEST, _BESIDE, _LEAST_BESIDE = 4, 4, 2
# A displacement begins at one fix in a hundred and is of this size per axis: own choice. Only their
# logarithms count. [m]
_SHARE, _SIZE_M = 0.01, 10.0
# Little is known of where a window begins: position, velocity, acceleration. Own choice, so wide
# that it tells nothing. [m, m/s, m/s²]
_START_SD = (100.0, 30.0, 5.0)
# No position is believed better than this: own choice.
_LEAST_NOISE_M = 0.05
# Finding one may uncover another beside it. Own choice: a round that finds none is the last.
_ROUNDS = 3
# Median absolute deviation of a normal variable, its quantile of 3/4; sum of the squares of
# 1, -3, 3, -1: both exact.
MAD, _THIRD = 0.6745, 20.0


def find_shared_offsets(seen: Observations, good: BoolArray) -> BoolArray:
    """Return which fixes are displaced, alone or together with up to three neighbours, shape (m,).

    Parameters
    ----------
    seen : Observations
        Fixes without reported velocities.
    good : ndarray of bool, shape (m,)
        Positions that have not been left out already.

    Source
    ------
    Own derivation: filtering (9) and (10).
    """
    shared = np.zeros(len(good), dtype=bool)
    if seen.usual_interval_s < _LEAST_INTERVAL_S or len(good) < _LONGEST + 2 * _BESIDE:
        return shared
    noise = _noise(seen)
    told = good & ~seen.held & ~seen.slides
    for _ in range(_ROUNDS):
        odds = np.stack([_log_odds(seen, told, noise, 1 + more) for more in range(_LONGEST)])
        length = 1 + np.argmax(odds, axis=0)
        best = odds.max(axis=0)
        starts = np.flatnonzero(best > 0.0)
        if not len(starts):
            break
        for start in starts:
            # Windows that overlap explain the same leaps: the likeliest explains them.
            near = best[max(0, start - _BESIDE) : start + length[start] + _BESIDE]
            if best[start] == near.max():
                shared[start : start + length[start]] = True
        told &= ~shared
    return shared


def _noise(seen: Observations) -> float:
    """Return the usual white error of a position, from what is seen of it across the travel. [m]

    Along the travel every start and stop would count as noise; across it only turns do.
    """
    third = np.diff(seen.position_m, n=3, axis=0)
    east, north = (seen.position_m[3:] - seen.position_m[:-3]).T
    across = np.abs(third[:, 0] * north - third[:, 1] * east) / np.maximum(
        np.hypot(east, north), 1e-9
    )
    usual = float(np.median(across)) / MAD / _THIRD**0.5
    return float(max(usual, _LEAST_NOISE_M, seen.position_step_m))


def _log_odds(seen: Observations, told: BoolArray, noise_m: float, length: int) -> FloatArray:
    """Return the log odds that each fix begins a displacement of so many fixes, shape (m,)."""
    m = len(told)
    odds = np.full(m, -np.inf)
    rows = sliding_window_view(np.arange(-_BESIDE, m + _BESIDE), length + 2 * _BESIDE)
    start = np.arange(len(rows))
    inside = (rows >= 0) & (rows < m)
    rows = np.clip(rows, 0, m - 1)
    piece = np.concatenate([[0], np.cumsum(seen.breaks)])
    known = inside & told[rows] & (piece[rows] == piece[start][:, None])
    within = slice(_BESIDE, _BESIDE + length)
    enough = (
        known[:, within].all(axis=1)
        & (known[:, :_BESIDE].sum(axis=1) >= _LEAST_BESIDE)
        & (known[:, within.stop :].sum(axis=1) >= _LEAST_BESIDE)
    )
    rows, known, start = rows[enough], known[enough], start[enough]
    if not len(rows):
        return odds
    # What is not known of a window has no part in it: nothing ties it to the rest.
    begin_s = np.where(known, seen.time_s[rows], np.inf).min(axis=1, keepdims=True)
    covariance = _hard_motion(np.where(known, seen.time_s[rows] - begin_s, 0.0))
    covariance *= known[:, :, None] & known[:, None, :]
    place = np.arange(rows.shape[1])
    noise = (noise_m * seen.factor[rows]) ** 2
    covariance[:, place, place] += np.where(known, noise, 1.0)
    columns = np.zeros((*rows.shape, 3))
    columns[:, within, 0] = 1.0
    columns[:, :, 1:] = np.where(
        known[:, :, None], seen.position_m[rows] - seen.position_m[start][:, None], 0.0
    )
    solved = np.linalg.solve(covariance, columns)[:, within].sum(axis=1)
    precision, pull = solved[:, 0], solved[:, 1:]
    gain = 0.5 * (pull**2).sum(axis=1) / (precision + _SIZE_M**-2)
    # Two axes, each with half the logarithm of what the size leaves open.
    odds[start] = gain - np.log1p(precision * _SIZE_M**2) + np.log(_SHARE / _LONGEST)
    return odds


def _hard_motion(time_s: FloatArray) -> FloatArray:
    """Return the covariance of one axis' positions at times from 0 on, shape (w, n, n)."""
    first = np.minimum(time_s[:, :, None], time_s[:, None, :])
    apart = np.maximum(time_s[:, :, None], time_s[:, None, :]) - first
    # Filtering (9): the integral of (t - u)^2 (s - u)^2 / 4 over u from 0 to the earlier instant.
    shape = first**3 * (first**2 / 5.0 + first * apart / 2.0 + apart**2 / 3.0) / 4.0
    covariance: FloatArray = _JERK * shape
    for power, (sd, divisor) in enumerate(zip(_START_SD, (1.0, 1.0, 2.0), strict=True)):
        spread = time_s**power * sd / divisor
        covariance += spread[:, :, None] * spread[:, None, :]
    return covariance
