"""Least squares with no negative number in the solution, for the few unknowns that figures have."""

import numpy as np

from ridelog.core.track import FloatArray

# Steps for each unknown, own choice: Lawson and Hanson need about one half for most problems.
_MOST_STEPS = 30
# What is left of a gradient by rounding, of the size of what it is summed of. Own choice: some
# hundred times the last digit.
_ROUNDING = 1e-13


def nonnegative_least_squares(matrix: FloatArray, aim: FloatArray) -> FloatArray:
    """Return the x >= 0 for which ``matrix`` x is nearest to ``aim``, shape (k,).

    ``matrix`` has the shape (m, k), ``aim`` (m,). ArithmeticError if it is not found.

    Source
    ------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, Prentice-Hall 1974, chapter 23,
    algorithm NNLS (from memory).
    """
    count = matrix.shape[1]
    found, free = np.zeros(count), np.zeros(count, dtype=bool)
    barred = np.zeros(count, dtype=bool)
    size = np.abs(matrix)
    for _ in range(_MOST_STEPS * count):
        pull = matrix.T @ (aim - matrix @ found)
        pull -= _ROUNDING * (size.T @ (size @ found + np.abs(aim)))
        pull[free | barred] = 0.0
        if not (pull > 0.0).any():
            return found
        new = int(np.argmax(pull))
        free[new] = True
        while True:
            wanted = np.zeros(count)
            wanted[free] = np.linalg.lstsq(matrix[:, free], aim, rcond=None)[0]
            low = free & (wanted <= 0.0)
            if not low.any():
                break
            # As far towards it as none becomes negative: the first that is 0 stays so.
            # What is wanted lies below what is found, unless both are 0: then no step is left.
            steps = np.full(count, np.inf)
            steps[low] = found[low] / np.where(found[low] > 0.0, found[low] - wanted[low], 1.0)
            free[steps <= steps.min()] = False
            found += float(steps.min()) * (wanted - found)
            found[~free] = 0.0
        found = wanted
        # What rounding alone let in would be let in for ever.
        barred = np.where(free[new], False, barred)
        barred[new] = not free[new]
    raise ArithmeticError("no solution without negative numbers was found")
