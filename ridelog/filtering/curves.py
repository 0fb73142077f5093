"""Motion between instants: cubic Hermite curves through states and the errors drawn about them.

Velocity follows from velocities and accelerations at both ends, position from positions and their
rates (velocity plus drift), acceleration is the velocity curve's derivative.
"""

from collections.abc import Callable, Sequence

import numpy as np

from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.motion import Paths

# Every interval is taken as if it held as many instants of the grid as the fullest one, all in one
# product, unless that is so many times the work: then one after the other. Own choice, either way
# is the same sum.
_FULLEST = 4
# How far a state may lie to one side on each of the last draws: (n, d, 2) and (count,).
Side = tuple[FloatArray, FloatArray]
# Makes weights of shares and lengths of intervals.
Weigh = Callable[[FloatArray, FloatArray], FloatArray]


def interpolated(
    time_s: FloatArray,
    states: FloatArray,
    errors: Sequence[FloatArray],
    grid_s: FloatArray,
    *,
    sides: Sequence[Side] = (),
) -> Paths:
    """Return paths on a grid, made when they are first asked for.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Instants. [s]
    states : ndarray, shape (n, 4 or more, 2)
        About which errors scatter; the first column is theirs alone.
    errors : sequence of ndarray, shape (n, d, 2, count)
        Drawn errors, whose columns follow one another.
    grid_s : ndarray, shape (m,)
        Where the curves are wanted, in rising order. [s]
    sides : sequence of (ndarray, ndarray)
        Sizes by which the last of the errors lie to one side besides, and each column's share.
    """
    right = np.clip(np.searchsorted(time_s, grid_s, side="right"), 1, len(time_s) - 1)
    left = right - 1
    span = time_s[right] - time_s[left]
    u = (grid_s - time_s[left]) / span
    drawn = _Drawn(left, states, errors, sides)
    return Paths(
        grid_s,
        lambda: drawn.quantity(curve(u, span), 0, (1, 3)),
        lambda: drawn.quantity(curve(u, span), 1, (2,)),
        lambda: drawn.quantity(rise(u, span), 1, (2,)),
    )


def curve(u: FloatArray, span: FloatArray) -> FloatArray:
    """Return the weights of value and rate before and of both after, at shares u of intervals."""
    weights = np.empty((len(u), 4))
    rest = 1.0 - u
    weights[:, 2] = u * u * (3.0 - 2.0 * u)
    weights[:, 0] = 1.0 - weights[:, 2]
    weights[:, 1] = u * rest * rest * span
    weights[:, 3] = -u * u * rest * span
    return weights


def rise(u: FloatArray, span: FloatArray) -> FloatArray:
    """Return the same for the curve's derivative."""
    weights = np.empty((len(u), 4))
    rest = 1.0 - u
    weights[:, 2] = 6.0 * u * rest / span
    weights[:, 0] = -weights[:, 2]
    weights[:, 1] = rest * (1.0 - 3.0 * u)
    weights[:, 3] = u * (3.0 * u - 2.0)
    return weights


class _Drawn:
    """States and errors beside the grid's instants, of which any quantity is made."""

    def __init__(
        self,
        left: IntArray,
        states: FloatArray,
        errors: Sequence[FloatArray],
        sides: Sequence[Side],
    ) -> None:
        self._left = left
        self._states = states
        self._errors = errors
        self._sides = sides

    def quantity(self, weights: FloatArray, value: int, rate: tuple[int, ...]) -> FloatArray:
        """Return a curve's value on all columns, shape (m, 2, columns).

        ``weights``, shape (m, 4), are those of the number ``value`` of the state before, of the sum
        of the numbers ``rate``, and of both after.
        """
        middle = self._weighed(self._states, weights, value, rate)
        count = 1 + sum(each.shape[3] for each in self._errors)
        out = np.empty((len(weights), 2, count))
        out[:, :, 0] = middle
        stop = first = 1
        for error in self._errors:
            n, d, axes, columns = error.shape
            wide = np.zeros((len(weights), 2, d))
            wide[:, :, value] = weights[:, ::2]
            for number in rate:
                wide[:, :, number] = weights[:, 1::2]
            flat = np.ascontiguousarray(error).reshape(n * d, axes * columns)
            found = _by_interval(self._left, wide.reshape(-1, 2 * d), flat, d)
            first, stop = stop, stop + columns
            np.add(
                found.reshape(len(found), axes, columns),
                middle[:, :, None],
                out=out[:, :, first:stop],
            )
        for size, share in self._sides:
            side = self._weighed(size, weights, value, rate)
            out[:, :, first:stop] += side[:, :, None] * share
        return out

    def _weighed(
        self, states: FloatArray, weights: FloatArray, value: int, rate: tuple[int, ...]
    ) -> FloatArray:
        rates = states[:, rate[0]]
        for number in rate[1:]:
            rates = rates + states[:, number]
        total: FloatArray = weights[:, :1] * states[self._left, value]
        total += weights[:, 1:2] * rates[self._left]
        total += weights[:, 2:3] * states[self._left + 1, value]
        total += weights[:, 3:] * rates[self._left + 1]
        return total


def _by_interval(left: IntArray, weights: FloatArray, flat: FloatArray, d: int) -> FloatArray:
    """Return sums of the 2 d numbers of two neighbouring instants, shape (m, columns).

    Weights have the shape (m, 2 d), the numbers of all instants (n d, columns); ``left`` rises.
    """
    if len(flat) < 2 * d:
        # Between one instant and itself there is no curve.
        return np.full((len(left), flat.shape[1]), np.nan)
    # Two instants lie one behind the other: all of an interval is one product of matrices.
    number, column = flat.strides
    shape = (len(flat) // d - 1, 2 * d, flat.shape[1])
    every: FloatArray = np.ndarray(shape, flat.dtype, flat, strides=(d * number, number, column))
    windows = every[left[0] : left[-1] + 1]
    begins = np.concatenate([[0], np.flatnonzero(np.diff(left)) + 1])
    there = left[begins] - left[0]
    counts = np.diff(begins, append=len(left))
    fullest = int(counts.max())
    if fullest * len(windows) <= _FULLEST * len(left):
        place = np.arange(len(left)) - np.repeat(begins, counts)
        padded = np.zeros((len(windows), fullest, 2 * d))
        padded[left - left[0], place] = weights
        total = padded @ windows
        if fullest * len(windows) == len(left):
            return total.reshape(len(left), flat.shape[1])
        whole: FloatArray = total[left - left[0], place]
        return whole
    total = np.empty((len(left), flat.shape[1]))
    for at, first, count in zip(there.tolist(), begins.tolist(), counts.tolist(), strict=True):
        np.matmul(weights[first : first + count], windows[at], out=total[first : first + count])
    return total
