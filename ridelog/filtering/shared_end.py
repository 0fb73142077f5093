"""Chains of small blocks that end alike, factored, solved and drawn with their common end once.

The models of one start differ up to its throttle's opening; the fixes after it say the same in all
of them. So their equations are eliminated from the end, where that is one elimination for all.
"""

from collections.abc import Sequence

import numpy as np

from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.banded import BandedFactor

# A shorter common end gains nothing: own choice.
_LEAST_ALIKE = 8


class SharedEnd:
    """The Cholesky factor of several chains, one behind the other, from their ends on.

    Parameters
    ----------
    diagonal, lower : ndarray, shapes (n, d, d), (n - 1, d, d)
        As for ``BandedFactor``; blocks below the diagonal between two chains are 0.
    edges : ndarray, shape (c + 1,)
        Where each chain begins.
    alike : int
        How many last blocks all chains have in common, as ``alike_from_the_end`` tells.

    Raises
    ------
    numpy.linalg.LinAlgError
        If a matrix is not positive definite in double precision.
    """

    def __init__(
        self, diagonal: FloatArray, lower: FloatArray, edges: IntArray, alike: int
    ) -> None:
        self.n, self.d = diagonal.shape[:2]
        self._alike, stops = alike, edges[1:]
        # In time order: places of the ends, (c, alike), and of all before them.
        self._ends = stops[:, None] - alike + np.arange(alike)
        rest = np.ones(self.n, dtype=bool)
        rest[self._ends] = False
        self._rest = np.flatnonzero(rest)
        self._heads = np.concatenate([[0], np.cumsum(np.diff(edges) - alike)])
        end = self._ends[0]
        turned = np.swapaxes(lower[end[:-1]], 1, 2)[::-1]
        self._end = BandedFactor(np.ascontiguousarray(diagonal[end])[::-1], turned)
        self._root, self._gain = self._end.backwards(0, alike)
        # What eliminating the end leaves in the block before it.
        first = self._ends[:, 0]
        reach = self._root[-1].T @ lower[first - 1]
        self._onto_end = -self._root[-1] @ reach
        heads, below = np.ascontiguousarray(diagonal[self._rest]), lower[self._rest[:-1]]
        last = self._heads[1:] - 1
        heads[last] -= np.swapaxes(reach, 1, 2) @ reach
        below[last[:-1]] = 0.0
        self._head = BandedFactor(heads[::-1], np.swapaxes(below, 1, 2)[::-1])

    def log_pivots(self) -> FloatArray:
        """Return what each instant adds to the logarithm of the determinant, shape (n,)."""
        pivots = np.empty(self.n)
        pivots[self._rest] = self._head.log_pivots()[::-1]
        pivots[self._ends] = self._end.log_pivots()[::-1]
        return pivots

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the solution for right-hand sides of shape (n, d, k), same shape."""
        count, chains = right.shape[2], len(self._ends)
        # Of the ends all chains side by side, the last instant first.
        ends = right[self._ends[:, ::-1]].transpose(1, 2, 0, 3)
        shape = ends.shape
        sides = np.ascontiguousarray(ends).reshape(self._alike, self.d, chains * count)
        for onto, here, after in zip(self._gain[:-1], sides[:-1], sides[1:], strict=True):
            after += onto.T @ here
        heads = right[self._rest]
        last = self._heads[1:] - 1
        passed = np.moveaxis(sides[-1].reshape(self.d, chains, count), 1, 0)
        heads[last] += np.swapaxes(self._onto_end, 1, 2) @ passed
        heads = self._head.solve(heads[::-1])[::-1]
        solved = self._root @ (np.swapaxes(self._root, 1, 2) @ sides)
        solved[-1] += np.moveaxis(self._onto_end @ heads[last], 0, 1).reshape(self.d, -1)
        for onto, here, before in zip(
            self._gain[-2::-1], solved[-2::-1], solved[:0:-1], strict=True
        ):
            here += onto @ before
        found = np.empty_like(right)
        found[self._rest] = heads
        found[self._ends[:, ::-1]] = solved.reshape(shape).transpose(2, 0, 1, 3)
        return found

    def draw(
        self, chosen: IntArray, columns: Sequence[slice], noise: FloatArray, wanted: IntArray
    ) -> FloatArray | None:
        """Return draws of zero mean of some chains' first instants, (m, d, 2, columns).

        The inverse is their covariance, and they are those that ``BandedFactor`` makes of each
        chain turned about; 0 beyond the instants wanted. None if the wanted ends are not alike.

        Parameters
        ----------
        chosen : ndarray of int
            Which chains.
        columns : sequence of slice
            Of the noise, for each of them; together all columns.
        noise : ndarray, shape (m, d, 2, columns)
            Standard normal; the first row goes to the last instant that is wanted.
        wanted : ndarray of int
            How many instants of each, m at most.
        """
        own = np.diff(self._heads)[chosen]
        late = np.maximum(wanted - own, 0)
        if np.ptp(late):
            return None
        common, total = int(late[0]), noise.shape[3]
        root, gain = self._head.backwards(0, len(self._rest))
        drawn = np.empty((int(wanted.max()), self.d, 2, total))
        drawn[wanted.min() :] = 0.0
        start = np.empty((self.d, 2, total))
        for chain, column, length in zip(chosen, columns, np.minimum(wanted, own), strict=True):
            # From the first instant on, which is eliminated last.
            here = _back(len(self._rest) - 1 - int(self._heads[chain]), int(length))
            numbers = noise[common : common + length, :, :, column][::-1]
            head = root[here] @ numbers.reshape(length, self.d, -1)
            for onto, before, after in zip(gain[here][1:], head[:-1], head[1:], strict=True):
                after += onto @ before
            drawn[:length, :, :, column] = head.reshape(length, self.d, 2, -1)
            if common:
                passed = self._onto_end[chain] @ head[-1]
                start[:, :, column] = passed.reshape(self.d, 2, -1)
        if common:
            numbers = noise[:common][::-1].reshape(common, self.d, -1)
            here = _back(self._alike - 1, common)
            ends = self._root[here] @ numbers
            ends[0] += start.reshape(self.d, -1)
            for onto, before, after in zip(self._gain[here][1:], ends[:-1], ends[1:], strict=True):
                after += onto @ before
            ends = ends.reshape(common, self.d, 2, total)
            for column, length in zip(columns, own, strict=True):
                drawn[length : length + common, :, :, column] = ends[:, :, :, column]
        return drawn


def _back(place: int, count: int) -> slice:
    """Return so many places from one on backwards."""
    return slice(place, None if place < count else place - count, -1)


def alike_from_the_end(diagonal: FloatArray, lower: FloatArray, edges: IntArray) -> int:
    """Return how many last blocks of all chains are the same number for number, 0 if too few.

    At least one block of each chain is left before them.
    """
    if len(edges) < 3:
        return 0
    reach = int(np.diff(edges).min()) - 1
    if reach < _LEAST_ALIKE:
        return 0
    places = edges[1:, None] - 1 - np.arange(reach)
    same = (diagonal[places] == diagonal[places[0]]).all(axis=(0, 2, 3))
    # A block below the diagonal leads from an instant to the one after it.
    beside = (lower[places[:, 1:]] == lower[places[0, 1:]]).all(axis=(0, 2, 3))
    same[1:] &= beside
    alike = reach if same.all() else int(np.argmin(same))
    return alike if alike >= _LEAST_ALIKE else 0
