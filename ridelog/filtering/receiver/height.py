"""What the heights of a log tell about the receiver: how fast its positions drift.

A machine on wheels climbs slowly and evenly; a receiver's height drifts as its position does, only
more. So where no reported speed can show the drift of the position, the height can.
"""

import numpy as np

from ridelog.core.track import FloatArray

# The drift that matters lasts seconds: shorter is white noise, longer is harmless drift.
SHORT_DRIFT_TIME_S = 3.0
# Lags from the length of the figure that suffers most, one second, to somewhat more than the time
# itself. All of them count: a receiver that works in steps of its own is blind at that lag.
_SHORTEST_LAG_S, _LONGEST_LAG_S = 1.0, 4.0
# Height is about 1.7 times worse than position: common practice, no source.
_HEIGHT_TO_POSITION = 1.7
# It comes in spells, so the mean counts, not the median; the largest 2 % may be jumps.
_KEPT = 0.98
_LEAST_DIFFERENCES = 30
# White heights make the differences of all lags alike, within receiver (9); what is less than 1.6
# times the white part is too small to matter however well it is known.
_PLAINLY, _PLAINLY_OF_FEW = 1.6, 6.0


def position_drift(time_s: FloatArray, height_m: FloatArray) -> float:
    """Return the standard deviation per axis of the velocity at which positions drift.

    Parameters
    ----------
    time_s, height_m : ndarray, shape (m,)
        Fixes in time order, about evenly spaced. [s], [m]

    Returns
    -------
    float
        0 where the heights are too few or show nothing. [m/s]

    Source
    ------
    Own derivation: receiver (8) and (9); the integrated process is textbook.
    """
    known = np.isfinite(height_m)
    time_s, height_m = time_s[known], height_m[known]
    if len(time_s) < _LEAST_DIFFERENCES:
        return 0.0
    usual = float(np.median(np.diff(time_s)))
    first = max(2, int(np.ceil(_SHORTEST_LAG_S / usual - 1e-6)))
    lags = np.arange(first, int(_LONGEST_LAG_S / usual + 1e-6) + 1)
    white = _mean_square(time_s, height_m, 1, usual)
    if not len(lags) or white is None:
        return 0.0
    squares, found = [], []
    for lag in lags[:: max(1, len(lags) // 10)].tolist():
        square = _mean_square(time_s, height_m, lag, usual)
        if square is None:
            return 0.0
        found.append(square)
        squares.append((square - white) / (_second(lag * usual) - _second(usual)))
    fewest = len(time_s) - 2 * int(lags[-1])
    if np.mean(found) < max(_PLAINLY, 1.0 + _PLAINLY_OF_FEW / fewest**0.5) * white:
        return 0.0
    square = max(float(np.mean(squares)), 0.0)
    return float(np.sqrt(square)) / _HEIGHT_TO_POSITION


def _mean_square(
    time_s: FloatArray, height_m: FloatArray, lag: int, usual_s: float
) -> float | None:
    """Return the mean squared second difference over a lag without jumps; None of too few."""
    change = height_m[2 * lag :] - 2.0 * height_m[lag:-lag] + height_m[: -2 * lag]
    even = time_s[2 * lag :] - time_s[: -2 * lag] < 2.5 * lag * usual_s
    if even.sum() < _LEAST_DIFFERENCES:
        return None
    squares = np.sort(change[even] ** 2)
    return float(np.mean(squares[: round(_KEPT * len(squares))]))


def _second(lag_s: float) -> float:
    return 4.0 * _growth(lag_s) - _growth(2.0 * lag_s)


def _growth(lag_s: float) -> float:
    ratio = lag_s / SHORT_DRIFT_TIME_S
    return float(2.0 * SHORT_DRIFT_TIME_S**2 * (ratio - 1.0 + np.exp(-ratio)))
