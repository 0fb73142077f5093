"""Two small problems whose usual solvers take longer to load than to solve."""

import numpy as np

from ridelog.core.track import FloatArray

# A gradient below so many roundings of the sums behind it is none. Own choice.
_ROUNDINGS = 10.0


def non_negative(matrix: FloatArray, aim: FloatArray) -> FloatArray:
    """Return the x >= 0 of least |matrix x - aim|, shape (k,); few columns, none near-multiples.

    Source
    ------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, Prentice-Hall 1974, chapter 23,
    algorithm NNLS (from memory).
    """
    count = matrix.shape[1]
    found, free = np.zeros(count), np.zeros(count, dtype=bool)
    nothing = _ROUNDINGS * max(matrix.shape) * np.spacing(1.0) * np.abs(matrix).sum(axis=0).max()
    # Every set of free numbers is met at most once: this many are more than it takes.
    for _ in range(2**count):
        gradient = np.where(free, -np.inf, matrix.T @ (aim - matrix @ found))
        if gradient.max(initial=-np.inf) <= nothing:
            break
        free[int(gradient.argmax())] = True
        while True:
            tried = np.zeros(count)
            tried[free] = np.linalg.lstsq(matrix[:, free], aim, rcond=None)[0]
            stuck = free & (tried <= 0.0)
            if not stuck.any():
                break
            # As far as the first of them lets go; that one is bound again.
            share = found[stuck] / (found[stuck] - tried[stuck])
            found = found + float(share.min()) * (tried - found)
            free[np.flatnonzero(stuck)[share == share.min()]] = False
            found[~free] = 0.0
        found = tried
    return found


def without_overshoot(at: FloatArray, values: FloatArray, wanted: FloatArray) -> FloatArray:
    """Return columns of values between their places by cubics that rise and fall with them.

    Parameters
    ----------
    at : ndarray, shape (n,)
        Places in rising order, two or more.
    values : ndarray, shape (n, k)
        What is known there.
    wanted : ndarray, shape (m,)
        Places; NaN comes back for those outside.

    Returns
    -------
    ndarray, shape (m, k)

    Source
    ------
    F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise cubic
    interpolants", SIAM J. Sci. Stat. Comput. 5 (1984) 300-304; the slopes at both ends: C. Moler,
    Numerical Computing with MATLAB, SIAM 2004, chapter 3 (both from memory).
    """
    step = np.diff(at)[:, None]
    rise = np.diff(values, axis=0) / step
    slope = np.empty_like(values)
    slope[[0, -1]] = rise[[0, -1]]
    if len(at) > 2:
        alike = rise[:-1] * rise[1:] > 0.0
        early, late = step[1:] * 2.0 + step[:-1], step[1:] + 2.0 * step[:-1]
        one, other = (np.where(alike, each, 1.0) for each in (rise[:-1], rise[1:]))
        slope[1:-1] = np.where(alike, (early + late) / (early / one + late / other), 0.0)
        slope[0] = _slope_at_end(step[0], step[1], rise[0], rise[1])
        slope[-1] = _slope_at_end(step[-1], step[-2], rise[-1], rise[-2])
    left = np.clip(np.searchsorted(at, wanted, side="right") - 1, 0, len(at) - 2)
    length = step[left]
    share = ((wanted - at[left])[:, None]) / length
    result: FloatArray = (
        values[left] * (1.0 + 2.0 * share) * (1.0 - share) ** 2
        + values[left + 1] * share**2 * (3.0 - 2.0 * share)
        + length * share * (1.0 - share) * (slope[left] * (1.0 - share) - slope[left + 1] * share)
    )
    result[(wanted < at[0]) | (wanted > at[-1])] = np.nan
    return result


def _slope_at_end(
    near: FloatArray, next_one: FloatArray, rise: FloatArray, next_rise: FloatArray
) -> FloatArray:
    """Return the slope at an end from the two steps beside it, never beyond what keeps the rise."""
    slope = ((2.0 * near + next_one) * rise - near * next_rise) / (near + next_one)
    bent = (np.sign(rise) != np.sign(next_rise)) & (np.abs(slope) > 3.0 * np.abs(rise))
    return np.where(np.sign(slope) != np.sign(rise), 0.0, np.where(bent, 3.0 * rise, slope))
