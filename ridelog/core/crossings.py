"""Drawn courses, all columns at once: how far, when a value is reached, values at own times."""

import numpy as np

from ridelog.core.track import FloatArray


def cumulative_trapezoid(time_s: FloatArray, rate: FloatArray) -> FloatArray:
    """Return the integral of a rate since the first instant, by the trapezoidal rule.

    scipy.integrate has the same, but takes long to load; the tests compare the two.

    Parameters
    ----------
    time_s : ndarray, shape (m,) or that of ``rate``
        Instants. [s]
    rate : ndarray, shape (m,) or (m, k)
        In some unit a second.

    Returns
    -------
    ndarray, shape of ``rate``
        0 in the first row.
    """
    step = np.diff(time_s, axis=0)
    total = np.zeros_like(rate)
    mean = 0.5 * (rate[1:] + rate[:-1])
    np.cumsum(mean * step.reshape(step.shape + (1,) * (rate.ndim - step.ndim)), 0, out=total[1:])
    return total


def at_own_times(time_s: FloatArray, values: FloatArray, at_s: FloatArray) -> FloatArray:
    """Return each column's value at its own instant, linear between the grid's instants.

    Parameters
    ----------
    time_s : ndarray, shape (m,)
        Even grid of instants. [s]
    values : ndarray, shape (m, k)
        What is looked up, in its unit.
    at_s : ndarray, shape (k,)
        Beyond the grid its ends count. [s]

    Returns
    -------
    ndarray, shape (k,)
        NaN where the instant is.
    """
    known = np.isfinite(at_s)
    place = (np.where(known, at_s, time_s[0]) - time_s[0]) / (time_s[1] - time_s[0])
    place = np.clip(place, 0, len(time_s) - 1)
    left = np.minimum(place.astype(np.int64), len(time_s) - 2)
    column = np.arange(values.shape[1])
    before, after = values[left, column], values[left + 1, column]
    return np.where(known, before + (place - left) * (after - before), np.nan)


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
