"""Linear algebra of a chain of small blocks: factor, solve, draw, and the variances that matter.

A ride of n instants with d numbers each gives a symmetric block-tridiagonal precision matrix.
LAPACK's banded Cholesky solves it in time and memory proportional to n; the blocks of its inverse
on and beside the diagonal come from its factor, piece of the chain beside piece.
"""

import numpy as np

from ridelog.core.compiled import routine
from ridelog.core.track import FloatArray

_pbtrf, _pbtrs = (
    routine("scipy.linalg.lapack", name, "scipy.linalg._flapack") for name in ("dpbtrf", "dpbtrs")
)

# Blocks of a piece of the chain: own choice, which trades steps one after the other against numbers
# side by side.
_PIECE = 24


def band_of(diagonal: FloatArray, lower: FloatArray) -> FloatArray:
    """Return LAPACK's lower band storage of a block-tridiagonal matrix.

    Parameters
    ----------
    diagonal : ndarray, shape (n, d, d)
        Symmetric diagonal blocks.
    lower : ndarray, shape (n - 1, d, d)
        Blocks below the diagonal: ``lower[k]`` couples block k + 1 (rows) with k (columns).

    Returns
    -------
    ndarray, shape (2 d, n d)
        Row i holds the i-th subdiagonal.
    """
    n, d = diagonal.shape[:2]
    band = np.zeros((2 * d, n * d))
    for column in range(d):
        for row in range(column, d):
            band[row - column, column::d] = diagonal[:, row, column]
        for row in range(d):
            band[d + row - column, column : (n - 1) * d : d] = lower[:, row, column]
    return band


class BandedFactor:
    """The Cholesky factor of a block-tridiagonal precision matrix.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the matrix is not positive definite in double precision.
    """

    def __init__(self, diagonal: FloatArray, lower: FloatArray) -> None:
        self.n, self.d = diagonal.shape[:2]
        self._factor, failed = _pbtrf(band_of(diagonal, lower), lower=1, overwrite_ab=1)
        if failed:
            raise np.linalg.LinAlgError("not positive definite")

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the solution for right-hand sides of shape (n, d, k), same shape."""
        flat = right.reshape(self.n * self.d, -1)
        solution, _ = _pbtrs(self._factor, flat, lower=1)
        return np.asarray(solution).reshape(right.shape)

    def log_pivots(self) -> FloatArray:
        """Return what each instant adds to the logarithm of the determinant, shape (n,)."""
        pivots: FloatArray = 2.0 * np.log(self._factor[0]).reshape(self.n, self.d).sum(axis=1)
        return pivots

    def last_pivot(self) -> FloatArray:
        """Return what the diagonal's last block has become once all others are eliminated."""
        last = self._factor[:, -self.d :]
        place = np.subtract.outer(np.arange(self.d), np.arange(self.d))
        triangle = np.where(place >= 0, last[np.maximum(place, 0), np.arange(self.d)], 0.0)
        pivot: FloatArray = triangle @ triangle.T
        return pivot

    def draw(self, noise: FloatArray, first: int = 0) -> FloatArray:
        """Return draws of zero mean, the inverse as covariance, shape (m, d, count).

        If the matrix is L L', the solution x of L' x = z with z standard normal has covariance
        L'^-1 L^-1, the inverse. It is found from the end: instants before ``first`` cost nothing.

        Parameters
        ----------
        noise : ndarray, shape (m, d, count)
            Standard normal numbers.
        first : int
            The first of m instants, which are the chain's last ones.
        """
        inverse, gain = self.backwards(first, len(noise))
        drawn: FloatArray = inverse @ noise
        after, step = drawn[-1], np.empty(noise.shape[1:])
        # Instant by instant: what numpy does around each small product counts as much as it.
        for onto, here in zip(gain[-2::-1], drawn[-2::-1], strict=True):
            np.dot(onto, after, out=step)
            here += step
            after = here
        return drawn

    def backwards(self, first: int, instants: int) -> tuple[FloatArray, FloatArray]:
        """Return what makes an instant of numbers and of the next instant, each (m, d, d)."""
        d = self.d
        band = self._factor[:, first * d : (first + instants) * d]
        beside, inverse = np.empty((instants, d, d)), np.zeros((d, d, instants))
        # Back substitution, numbers before instants: one by one they take three times as long.
        for row in reversed(range(d)):
            beside[:, row] = band[d - row : 2 * d - row, row::d].T
            inverse[row, row] = 1.0 / band[0, row::d]
            for column in range(row + 1, d):
                between = slice(row + 1, column + 1)
                inverse[row, column] = -inverse[row, row] * (
                    band[1 : column - row + 1, row::d] * inverse[between, column]
                ).sum(axis=0)
        turned = np.ascontiguousarray(np.moveaxis(inverse, 2, 0))
        gain: FloatArray = -turned @ beside
        return turned, gain

    def selected_inverse(self) -> tuple[FloatArray, FloatArray]:
        """Return the inverse's blocks on the diagonal and directly below it.

        Shapes (n, d, d) and (n - 1, d, d), the latter blocks (k + 1, k). The chain is cut into
        pieces that are gone through side by side: filtering (14).
        """
        n, length = self.n, min(_PIECE, self.n)
        own, gain = self._steps_back(length)
        # What all steps of a piece make of the block after it.
        added, carried = own[-1], gain[-1]
        for here, onto in zip(own[-2::-1], gain[-2::-1], strict=True):
            added = here + _turned_product(_product(onto, added), onto)
            carried = _product(onto, carried)
        after = self._behind_pieces(added, carried)
        beside = np.empty_like(gain)
        for here, onto, below in zip(own[::-1], gain[::-1], beside[::-1], strict=True):
            np.einsum("ijm,kjm->ikm", after, onto, out=below)
            here += _product(onto, below)
            after = here
        return _in_order(own)[:n], _in_order(beside)[: n - 1]

    def _steps_back(self, length: int) -> tuple[FloatArray, FloatArray]:
        """Return the own part of every block, and its gain on the next, (length, d, d, pieces)."""
        n, d = self.n, self.d
        pieces = -(-n // length)
        columns = np.zeros((pieces * length, d, 2 * d))
        columns[:n] = self._factor.T.reshape(n, d, 2 * d)
        columns[n:, :, 0] = 1.0
        # Numbers before pieces in memory, where whole-array steps are fastest.
        split = columns.reshape(pieces, length, d, 2 * d).transpose(1, 2, 3, 0)
        below = np.ascontiguousarray(split)
        inverse = np.zeros((length, d, d, pieces))
        beside = np.empty((length, d, d, pieces))
        for row in reversed(range(d)):
            beside[:, row] = below[:, row, d - row : 2 * d - row]
            np.divide(1.0, below[:, row, 0], out=inverse[:, row, row])
            for column in range(row + 1, d):
                total = below[:, row, 1] * inverse[:, row + 1, column]
                for between in range(row + 2, column + 1):
                    total += below[:, row, between - row] * inverse[:, between, column]
                total *= inverse[:, row, row]
                np.negative(total, out=inverse[:, row, column])
        gain = np.einsum("mijc,mjkc->mikc", inverse, beside)
        np.negative(gain, out=gain)
        # Behind the last block there is none.
        gain[(n - 1) % length, :, :, (n - 1) // length] = 0.0
        return np.einsum("mijc,mkjc->mikc", inverse, inverse), gain

    def _behind_pieces(self, added: FloatArray, carried: FloatArray) -> FloatArray:
        """Return the inverse's diagonal block behind each piece, shape (d, d, pieces)."""
        steps = [np.ascontiguousarray(np.moveaxis(each, 2, 0)) for each in (added, carried)]
        block, found = np.zeros((self.d, self.d)), np.empty_like(steps[0])
        for place in reversed(range(len(found))):
            found[place] = block
            own, gain = steps[0][place], steps[1][place]
            block = own + gain @ block @ gain.T
        return np.ascontiguousarray(np.moveaxis(found, 0, 2))


def _product(left: FloatArray, right: FloatArray) -> FloatArray:
    product: FloatArray = np.einsum("ijm,jkm->ikm", left, right)
    return product


def _turned_product(left: FloatArray, right: FloatArray) -> FloatArray:
    product: FloatArray = np.einsum("ijm,kjm->ikm", left, right)
    return product


def _in_order(split: FloatArray) -> FloatArray:
    """Return blocks (length, d, d, pieces) in the order of the chain, numbers first in memory."""
    length, d, _, pieces = split.shape
    joined = split.transpose(1, 2, 3, 0).reshape(d, d, pieces * length)
    return np.moveaxis(joined, 2, 0)
