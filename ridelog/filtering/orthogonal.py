"""The chain of blocks factored by orthogonal transformations, for rides that cost Cholesky digits.

The sum of squares of whitened rows is minimised as it stands, without forming the precision matrix,
whose condition is the square of the rows'. Every odd instant is eliminated at once, then every odd
one of those that are left, and so on: log2(n) whole-array steps. Derivation: filtering (23), (24).

Source
------
S. Gargir and S. Toledo, "Parallel-in-time Kalman smoothing using orthogonal transformations", 2025
(odd-even elimination by QR; from memory); N. J. Higham, Accuracy and Stability of Numerical
Algorithms, 2nd ed., SIAM 2002, section 19.4 (rows sorted by size).
"""

from typing import NamedTuple

import numpy as np

from ridelog.core.track import FloatArray


class Rows(NamedTuple):
    """Whitened rows: each says that its product with the states is a number, give or take 1.

    own : on one instant, shape (r, d + 2, n); the last two columns are what it says, east, north.
    joint : on an instant and the next one, which say 0, shape (d, 2 d, n - 1).
    """

    own: FloatArray
    joint: FloatArray


class _Level(NamedTuple):
    """What eliminating every odd instant has left: root x + left x_left + right x_right = said."""

    root: FloatArray
    left: FloatArray
    right: FloatArray
    said: FloatArray


class OrthogonalFactor:
    """The triangular factor of a chain's whitened rows, instants last in memory."""

    def __init__(self, rows: Rows) -> None:
        self.d, self.n = rows.own.shape[1] - 2, rows.own.shape[2]
        d = self.d
        own, joint = _triangle(rows.own, d), np.zeros((d, 2 * d + 2, max(self.n - 1, 0)))
        joint[:, : 2 * d] = rows.joint
        self._levels: list[_Level] = []
        while own.shape[2] > 1:
            level, own, joint = _halved(own, joint)
            self._levels.append(level)
        self._last = own

    def states(self) -> FloatArray:
        """Return the most probable states, shape (n, d, 2)."""
        return self._back([level.said for level in self._levels], self._last[:, self.d :])

    def draw(self, noise: FloatArray) -> FloatArray:
        """Return draws of zero mean, the inverse precision as covariance, shape (n, d, count).

        noise : ndarray, shape (n, d, count), standard normal.
        """
        along, said = np.moveaxis(noise, 0, 2), []
        for _ in self._levels:
            said.append(along[:, :, 1::2])
            along = along[:, :, 0::2]
        return self._back(said, along)

    def _back(self, said: list[FloatArray], last: FloatArray) -> FloatArray:
        """Return the states of a right-hand side, shape (n, d, k)."""
        states = _solved(self._last[:, : self.d], last)
        for level, own in zip(reversed(self._levels), reversed(said), strict=True):
            odds, inner = own.shape[2], states.shape[2] - 1
            rest = own - _product(level.left, states[:, :, :odds])
            rest[:, :, :inner] -= _product(level.right[:, :, :inner], states[:, :, 1:])
            states = _woven(states, _solved(level.root, rest))
        return np.moveaxis(states, 2, 0)

    def log_pivots(self) -> FloatArray:
        """Return what each instant adds to the logarithm of the precision's determinant, (n,)."""
        pivots = _log_pivots(self._last)
        for level in reversed(self._levels):
            pivots = _woven(pivots, _log_pivots(level.root))
        return pivots

    def selected_inverse(self) -> tuple[FloatArray, FloatArray]:
        """Return the covariance's blocks (k, k), (n, d, d), and (k + 1, k): filtering (15)."""
        unit = np.eye(self.d)[:, :, None]
        root = _solved(self._last[:, : self.d], unit)
        blocks, beside = _product(root, _turned(root)), np.zeros((self.d, self.d, 0))
        for level in reversed(self._levels):
            odds, inner = level.root.shape[2], blocks.shape[2] - 1
            left, right = _solved(level.root, level.left), _solved(level.root, level.right)
            right = right[:, :, :inner]
            to_left = -_product(left, blocks[:, :, :odds])
            to_left[:, :, :inner] -= _product(right, beside)
            to_right = -_product(left[:, :, :inner], _turned(beside))
            to_right -= _product(right, blocks[:, :, 1:])
            root = _solved(level.root, unit)
            own = _product(root, _turned(root)) - _product(to_left, _turned(left))
            own[:, :, :inner] -= _product(to_right, _turned(right))
            blocks = _woven(blocks, 0.5 * (own + _turned(own)))
            beside = _woven(to_left, _turned(to_right))
        return np.moveaxis(blocks, 2, 0), np.moveaxis(beside, 2, 0)


def _halved(own: FloatArray, joint: FloatArray) -> tuple[_Level, FloatArray, FloatArray]:
    """Eliminate every odd instant: what that leaves of them, and the chain of the even ones."""
    d, count = len(own), own.shape[2]
    odds, inner = count // 2, (count - 1) // 2
    before, after = joint[:, :, 0::2], joint[:, :, 1::2]
    # Columns: the odd instant, its left and right neighbours, what is said.
    rows = np.zeros((3 * d, 3 * d + 2, odds))
    rows[:d, d : 2 * d], rows[:d, :d] = before[:, :d], before[:, d : 2 * d]
    rows[:d, 3 * d :] = before[:, 2 * d :]
    rows[d : 2 * d, :d, :inner] = after[:, :d]
    rows[d : 2 * d, 2 * d :, :inner] = after[:, d:]
    rows[2 * d :, :d], rows[2 * d :, 3 * d :] = own[:, :d, 1::2], own[:, d:, 1::2]
    rows = _sorted(rows)
    _eliminate(rows, d)
    level = _Level(rows[:d, :d], rows[:d, d : 2 * d], rows[:d, 2 * d : 3 * d], rows[:d, 3 * d :])
    # Of what is left, d rows keep both neighbours, the others the right one alone.
    between = _sorted(rows[d:, d:])
    _eliminate(between, d)
    more = np.zeros(((2 + odds - inner) * d, d + 2, count - odds))
    more[:d] = own[:, :, 0::2]
    more[d : 2 * d, :, 1 : inner + 1] = between[d:, d:, :inner]
    if odds > inner:
        # The last of an even number has no right neighbour: what is left says all of its left one.
        more[2 * d :, :d, -1] = between[:d, :d, -1]
        more[2 * d :, d:, -1] = between[:d, 2 * d :, -1]
    return level, _triangle(more, d), between[:d, :, :inner]


def _triangle(rows: FloatArray, d: int) -> FloatArray:
    """Return the first d rows of rows (r, columns, m) made triangular, copied."""
    if len(rows) < d:
        rows = np.concatenate([rows, np.zeros((d - len(rows), *rows.shape[1:]))])
    rows = _sorted(rows)
    _eliminate(rows, d)
    return rows[:d]


def _sorted(rows: FloatArray) -> FloatArray:
    """Return rows, the largest first: small ones then keep their digits beside large ones."""
    size = np.abs(rows[:, :-2]).max(axis=1)
    order = np.argsort(-size, axis=0, kind="stable")
    return np.take_along_axis(rows, order[:, None], axis=0)


def _eliminate(rows: FloatArray, count: int) -> None:
    """Make the first columns triangular by Householder reflections in place, (r, columns, m)."""
    for k in range(count):
        column = rows[k:, k].copy()
        length = np.sqrt((column**2).sum(axis=0))
        length = np.where(column[0] > 0.0, -length, length)
        column[0] -= length
        # Half the square of the reflection's normal; 0 where there is nothing to eliminate.
        half = -length * column[0]
        scale = np.divide(1.0, half, out=np.zeros_like(half), where=half > 0.0)
        along = np.einsum("rm,rcm->cm", column, rows[k:, k + 1 :]) * scale
        rows[k:, k + 1 :] -= column[:, None] * along
        rows[k, k] = length
        rows[k + 1 :, k] = 0.0


def _solved(root: FloatArray, right: FloatArray) -> FloatArray:
    """Return R^-1 B for upper triangles (d, d, m) and right-hand sides (d, k, m)."""
    d = len(root)
    solved = np.empty((d, right.shape[1], root.shape[2]))
    for row in range(d - 1, -1, -1):
        rest = right[row] - np.einsum("jm,jkm->km", root[row, row + 1 :], solved[row + 1 :])
        solved[row] = rest / root[row, row]
    return solved


def _woven(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return two arrays woven into one along the last axis."""
    count = first.shape[-1] + second.shape[-1]
    both = np.empty((*first.shape[:-1], count))
    both[..., 0::2], both[..., 1::2] = first, second
    return both


def _log_pivots(root: FloatArray) -> FloatArray:
    d = len(root)
    pivots: FloatArray = 2.0 * np.log(np.abs(root[range(d), range(d)])).sum(axis=0)
    return pivots


def _turned(blocks: FloatArray) -> FloatArray:
    return np.swapaxes(blocks, 0, 1)


def _product(left: FloatArray, right: FloatArray) -> FloatArray:
    product: FloatArray = np.einsum("ijm,jkm->ikm", left, right)
    return product
