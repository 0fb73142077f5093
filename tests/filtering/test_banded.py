"""The block algebra against dense linear algebra."""

import numpy as np
import pytest

from ridelog.core.track import FloatArray
from ridelog.filtering.banded import BandedFactor


def _random_chain(n: int, d: int, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    random = np.random.default_rng(seed)
    factor = random.normal(size=(n, d, d))
    diagonal = factor @ np.swapaxes(factor, 1, 2) + 12.0 * np.eye(d)
    lower = random.normal(size=(max(n - 1, 0), d, d))
    dense = np.zeros((n * d, n * d))
    for k in range(n):
        dense[k * d : (k + 1) * d, k * d : (k + 1) * d] = diagonal[k]
    for k in range(n - 1):
        dense[(k + 1) * d : (k + 2) * d, k * d : (k + 1) * d] = lower[k]
        dense[k * d : (k + 1) * d, (k + 1) * d : (k + 2) * d] = lower[k].T
    return diagonal, lower, dense


@pytest.mark.parametrize("n", [1, 2, 3, 23, 24, 25, 100])
@pytest.mark.parametrize("d", [4, 5])
def test_selected_inverse_agrees_with_the_dense_inverse(n: int, d: int) -> None:
    diagonal, lower, dense = _random_chain(n, d, 10 * n + d)
    blocks, beside = BandedFactor(diagonal, lower).selected_inverse()
    inverse = np.linalg.inv(dense)
    for k in range(n):
        np.testing.assert_allclose(
            blocks[k], inverse[k * d : (k + 1) * d, k * d : (k + 1) * d], atol=1e-13
        )
    for k in range(n - 1):
        np.testing.assert_allclose(
            beside[k], inverse[(k + 1) * d : (k + 2) * d, k * d : (k + 1) * d], atol=1e-13
        )


def test_solve_agrees_with_the_dense_solution() -> None:
    diagonal, lower, dense = _random_chain(9, 5, 1)
    right = np.random.default_rng(2).normal(size=(9, 5, 2))
    solution = BandedFactor(diagonal, lower).solve(right)
    expected = np.linalg.solve(dense, right.reshape(45, 2)).reshape(9, 5, 2)
    np.testing.assert_allclose(solution, expected, atol=1e-13)


def test_draws_have_the_inverse_as_covariance() -> None:
    diagonal, lower, dense = _random_chain(4, 4, 3)
    noise = np.random.default_rng(4).standard_normal((4, 4, 60_000))
    draws = BandedFactor(diagonal, lower).draw(noise)
    covariance = np.cov(draws.reshape(16, -1))
    expected = np.linalg.inv(dense)
    # The standard error of a variance from 60,000 draws is 0.6 %.
    np.testing.assert_allclose(covariance, expected, atol=0.03 * expected.max())


@pytest.mark.parametrize("first", [0, 1, 4, 5, 6])
def test_draws_from_an_instant_on_are_the_last_ones_of_a_whole_draw(first: int) -> None:
    diagonal, lower, dense = _random_chain(7, 5, 6)
    noise = np.random.default_rng(7).standard_normal((7 - first, 5, 20_000))
    draws = BandedFactor(diagonal, lower).draw(noise, first)
    assert draws.shape == (7 - first, 5, 20_000)
    expected = np.linalg.inv(dense)[5 * first :, 5 * first :]
    covariance = np.cov(draws.reshape(5 * (7 - first), -1))
    np.testing.assert_allclose(covariance, expected, atol=0.05 * expected.max())


def test_the_last_pivot_is_the_schur_complement() -> None:
    diagonal, lower, dense = _random_chain(6, 4, 8)
    expected = np.linalg.inv(np.linalg.inv(dense)[-4:, -4:])
    np.testing.assert_allclose(BandedFactor(diagonal, lower).last_pivot(), expected, atol=1e-12)


def test_a_matrix_that_is_not_positive_definite_is_refused() -> None:
    diagonal, lower, _ = _random_chain(4, 4, 5)
    with pytest.raises(np.linalg.LinAlgError):
        BandedFactor(-diagonal, lower)
