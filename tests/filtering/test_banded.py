"""The block algebra against dense linear algebra."""

import numpy as np
import pytest

from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.shared_end import SharedEnd, alike_from_the_end


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


def _ending_alike(short: int, seed: int) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return three chains, one behind the other, of which the last dozen blocks are the same."""
    random = np.random.default_rng(seed)
    lengths = np.array([short, short + 3, short + 1]) + 12
    edges = np.concatenate([[0], np.cumsum(lengths)])
    diagonal, lower, _ = _random_chain(int(edges[-1]), 5, int(random.integers(1000)))
    lower[edges[1:-1] - 1] = 0.0
    for stop in edges[2:]:
        diagonal[stop - 12 : stop] = diagonal[edges[1] - 12 : edges[1]]
        lower[stop - 12 : stop - 1] = lower[edges[1] - 12 : edges[1] - 1]
    return diagonal, lower, edges


@pytest.mark.parametrize("short", [1, 6])
def test_chains_that_end_alike_are_solved_and_drawn_as_each_by_itself(short: int) -> None:
    diagonal, lower, edges = _ending_alike(short, short)
    alike = alike_from_the_end(diagonal, lower, edges)
    assert alike == 12
    shared, plain = SharedEnd(diagonal, lower, edges, alike), BandedFactor(diagonal, lower)
    right = np.random.default_rng(1).normal(size=(int(edges[-1]), 5, 2))
    np.testing.assert_allclose(shared.solve(right), plain.solve(right), atol=1e-13)
    found, wanted = (np.add.reduceat(one.log_pivots(), edges[:-1]) for one in (shared, plain))
    np.testing.assert_allclose(found, wanted, rtol=1e-13)

    noise = np.random.default_rng(2).normal(size=(20, 5, 2, 7))
    chosen, columns = np.array([0, 2]), [slice(0, 3), slice(3, 7)]
    for late in (-1, 0, 1, 7):
        wanted = np.array([short, short + 1]) + late
        if wanted.min() < 1:
            continue
        drawn = shared.draw(chosen, columns, noise, wanted)
        assert drawn is not None and len(drawn) == wanted.max()
        for chain, column, count in zip(chosen, columns, wanted, strict=True):
            piece = slice(int(edges[chain]), int(edges[chain + 1]))
            turned = np.swapaxes(lower[piece.start : piece.stop - 1], 1, 2)[::-1]
            alone = BandedFactor(diagonal[piece][::-1], turned)
            numbers = noise[:count, :, :, column].reshape(count, 5, -1)
            own = alone.draw(numbers, piece.stop - piece.start - count)[::-1]
            np.testing.assert_allclose(
                drawn[:count, :, :, column].reshape(own.shape), own, atol=1e-12
            )
    # One end is wanted and the other is not: nothing is shared.
    assert shared.draw(chosen, columns, noise, np.array([short, short + 3])) is None


def test_ends_that_differ_anywhere_are_not_alike() -> None:
    diagonal, lower, edges = _ending_alike(4, 3)
    # A block below the diagonal leads into the first block that is alike.
    for blocks, place, left in ((diagonal, 9, 8), (lower, 10, 9)):
        place = int(edges[2]) - place
        blocks[place, 0, 0] += 1e-12
        assert alike_from_the_end(diagonal, lower, edges) == left
        blocks[place, 0, 0] -= 1e-12
    assert alike_from_the_end(diagonal, lower, edges[:2]) == 0
    diagonal[int(edges[2]) - 3] *= 1.1
    assert alike_from_the_end(diagonal, lower, edges) == 0
