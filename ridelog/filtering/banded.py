"""Linear algebra of a chain of small blocks: factor, solve, draw, and the variances that matter.

A ride of n instants with d numbers each gives a symmetric block-tridiagonal precision matrix.
LAPACK's banded Cholesky solves it in time and memory proportional to n; the blocks of its inverse
on and beside the diagonal come from block cyclic reduction, whose steps are whole-array products.
"""

import numpy as np

from ridelog.core.compiled import routine
from ridelog.core.track import FloatArray

_pbtrf, _pbtrs = (
    routine("scipy.linalg.lapack", name, "scipy.linalg._flapack") for name in ("dpbtrf", "dpbtrs")
)


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
        inverse, gain = self._backwards(first, len(noise))
        drawn: FloatArray = inverse @ noise
        after, step = drawn[-1], np.empty(noise.shape[1:])
        # Instant by instant: what numpy does around each small product counts as much as it.
        for onto, here in zip(gain[-2::-1], drawn[-2::-1], strict=True):
            np.dot(onto, after, out=step)
            here += step
            after = here
        return drawn

    def _backwards(self, first: int, instants: int) -> tuple[FloatArray, FloatArray]:
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


def selected_inverse(diagonal: FloatArray, lower: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the inverse's blocks on the diagonal and directly below it.

    By block cyclic reduction, filtering (14) and (15): the cost is proportional to n, with log2(n)
    whole-array steps.

    Parameters
    ----------
    diagonal : ndarray, shape (n, d, d)
        Symmetric diagonal blocks of a positive definite matrix.
    lower : ndarray, shape (n - 1, d, d)
        Blocks (k + 1, k).

    Returns
    -------
    (ndarray, ndarray)
        Blocks (k, k), shape (n, d, d), and (k + 1, k), shape (n - 1, d, d).

    Source
    ------
    Buzbee, Golub and Nielson, "On direct methods for solving Poisson's equations", SIAM J. Numer.
    Anal. 7 (1970) 627-656; the way back is an own derivation, filtering (15).
    """
    # Without enough digits they are not finite: the caller asks what they are worth.
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        blocks, beside = _selected(_numbers_apart(diagonal), _numbers_apart(lower))
    return np.moveaxis(blocks, 2, 0), np.moveaxis(beside, 2, 0)


def _numbers_apart(blocks: FloatArray) -> FloatArray:
    """Return blocks with the chain along the last axis, where whole-array steps are fastest."""
    return np.ascontiguousarray(np.moveaxis(blocks, 0, 2))


def _selected(diagonal: FloatArray, lower: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what selected_inverse does, shapes (d, d, n) and (d, d, n - 1)."""
    if diagonal.shape[2] == 1:
        rows = np.concatenate([diagonal, np.eye(len(diagonal))[:, :, None]], axis=1)
        _eliminate(rows)
        root = rows[:, len(diagonal) :]
        return _product(_turned(root), root), lower
    even, odd = diagonal[:, :, 0::2].copy(), diagonal[:, :, 1::2]
    from_left, to_right = lower[:, :, 0::2], lower[:, :, 1::2]  # couple j - 1 to j, j to j + 1
    d, pairs, inner = len(odd), odd.shape[2], to_right.shape[2]
    # With the odd blocks C C', everything that eliminates them is made of C^-1 and C^-1 times
    # their couplings: products with the blocks' inverses would lose digits.
    beside_odd = np.zeros((d, 4 * d, pairs))
    beside_odd[:, :d] = odd
    beside_odd[range(d), range(d, 2 * d)] = 1.0
    beside_odd[:, 2 * d : 3 * d] = from_left
    beside_odd[:, 3 * d :, :inner] = np.swapaxes(to_right, 0, 1)
    _eliminate(beside_odd)
    root, left, right = (beside_odd[:, i * d : (i + 1) * d] for i in (1, 2, 3))
    right = right[:, :, :inner]
    even[:, :, :pairs] -= _product(_turned(left), left)
    even[:, :, 1 : inner + 1] -= _product(_turned(right), right)
    kept, kept_beside = _selected(even, -_product(_turned(right), left[:, :, :inner]))

    # An odd block is -gain_left times its left neighbour -gain_right times its right one.
    back = _turned(root)
    gain_left, gain_right = _product(back, left), _product(back[:, :, :inner], right)
    left_cross = _product(gain_left, kept[:, :, :pairs])
    left_cross[:, :, :inner] += _product(gain_right, kept_beside[:, :, :inner])
    right_cross = _product(gain_left[:, :, :inner], _turned(kept_beside)[:, :, :inner])
    right_cross += _product(gain_right, kept[:, :, 1 : inner + 1])
    eliminated = _product(back, root)
    eliminated += _product(left_cross, _turned(gain_left))
    eliminated[:, :, :inner] += _product(right_cross, _turned(gain_right))

    blocks, beside = np.empty_like(diagonal), np.empty_like(lower)
    blocks[:, :, 0::2] = kept
    blocks[:, :, 1::2] = 0.5 * (eliminated + _turned(eliminated))
    beside[:, :, 0::2] = -left_cross
    beside[:, :, 1::2] = -_turned(right_cross)
    return blocks, beside


def _turned(blocks: FloatArray) -> FloatArray:
    return np.swapaxes(blocks, 0, 1)


def _product(left: FloatArray, right: FloatArray) -> FloatArray:
    product: FloatArray = np.einsum("ijn,jkn->ikn", left, right)
    return product


def _eliminate(beside: FloatArray) -> None:
    """Turn (C C', B), the first block square, into (., C^-1 B) in place, shape (d, many, m)."""
    for k in range(len(beside)):
        beside[k, k:] /= np.sqrt(beside[k, k])
        for row in range(k + 1, len(beside)):
            beside[row, k + 1 :] -= beside[k, row] * beside[k, k + 1 :]
