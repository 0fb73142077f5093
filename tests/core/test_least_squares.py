"""Small solvers against scipy's, which are the same methods."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import nnls

from ridelog.core.least_squares import non_negative, without_overshoot


@pytest.mark.parametrize("columns", [1, 2, 3, 5])
def test_non_negative_least_squares_agree_with_scipy(columns: int) -> None:
    random = np.random.default_rng(columns)
    bound = 0
    for _ in range(200):
        matrix = random.normal(size=(12, columns)) + random.normal() * random.normal(size=(12, 1))
        aim = random.normal(size=12)
        expected = nnls(matrix, aim)[0]
        np.testing.assert_allclose(non_negative(matrix, aim), expected, atol=1e-9)
        bound += int(np.count_nonzero(expected == 0.0))
    # Some numbers were free and some were not: both were tried.
    assert 0 < bound < 200 * columns


def test_nothing_to_gain_leaves_all_at_zero() -> None:
    matrix = np.array([[1.0, 2.0], [3.0, 1.0]])
    np.testing.assert_array_equal(non_negative(matrix, np.array([-1.0, -1.0])), [0.0, 0.0])
    np.testing.assert_array_equal(non_negative(np.zeros((3, 2)), np.ones(3)), [0.0, 0.0])


@pytest.mark.parametrize("places", [2, 3, 4, 9])
def test_curves_without_overshoot_agree_with_scipy(places: int) -> None:
    random = np.random.default_rng(places)
    at = np.cumsum(random.uniform(0.1, 2.0, places))
    values = random.normal(size=(places, 300))
    values[1, :50] = values[0, :50]
    wanted = np.linspace(at[0] - 0.5, at[-1] + 0.5, 101)
    expected = PchipInterpolator(at, values, axis=0, extrapolate=False)(wanted)
    np.testing.assert_allclose(without_overshoot(at, values, wanted), expected, atol=1e-12)
    np.testing.assert_allclose(without_overshoot(at, values, at), values, atol=1e-12)
