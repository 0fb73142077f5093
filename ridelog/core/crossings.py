"""When drawn courses first reach a value: for all columns and all values in one search."""

import numpy as np

from ridelog.core.track import FloatArray


def first_reached(
    time_s: FloatArray, highest: FloatArray, values: FloatArray, goals: FloatArray
) -> FloatArray:
    """Return when each column of values first reaches each goal.

    Linear between the last value below and the first one that is not.

    Parameters
    ----------
    time_s : ndarray, shape (m,)
        Grid of instants. [s]
    highest : ndarray, shape (m, k)
        The highest of ``values`` so far.
    values : ndarray, shape (m, k)
        What should reach the goals.
    goals : ndarray, shape (n,)
        Values that are looked for, in their unit.

    Returns
    -------
    ndarray, shape (n, k)
        NaN where a column never reaches a goal or begins beyond it. [s]
    """
    count, columns = values.shape
    column = np.arange(columns)
    # Each column lies above the one before, so that all of them are searched as one rising row.
    lowest = float(highest[0].min())
    apart = float(highest[-1].max()) - lowest + 1.0
    row = (highest - lowest + apart * column).T.ravel()
    aim = np.minimum(goals - lowest, apart - 0.5)[:, None] + apart * column
    place = np.searchsorted(row, aim) - count * column
    right = np.clip(place, 1, count - 1)
    low, high = values[right - 1, column], values[right, column]
    span = np.where(high > low, high - low, 1.0)
    share = (goals[:, None] - low) / span
    found = time_s[right - 1] + share * (time_s[right] - time_s[right - 1])
    return np.where((place > 0) & (place < count), found, np.nan)
