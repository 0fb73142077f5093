"""Routines of scipy taken by themselves are those that its packages give."""

import subprocess
import sys

import numpy as np
import pytest
from scipy.optimize import nnls
from scipy.special import ndtri

from ridelog.core import compiled
from ridelog.core.interval import even_normals
from ridelog.core.nonnegative import nonnegative_least_squares

# Before and after the package is there; then it must take the module that was loaded by itself.
_ALONE = """
import sys
from ridelog.core.compiled import routine
alone = routine("scipy.linalg.lapack", "dpbtrf", "scipy.linalg._flapack")
assert "scipy.linalg" not in sys.modules
import scipy.linalg, scipy.linalg.lapack, scipy.special
assert scipy.linalg.lapack.dpbtrf is alone
assert routine("scipy.linalg.lapack", "dpbtrf", "scipy.linalg._flapack") is alone
assert scipy.linalg.cholesky_banded([[0, 1.0], [4, 5]])[1][0] == 2.0
"""


def test_a_routine_comes_without_its_package_and_the_package_takes_it() -> None:
    subprocess.run([sys.executable, "-c", _ALONE], check=True)


@pytest.mark.parametrize("elsewhere", ["scipy.linalg._nowhere", "scipy.special._ufuncs"])
def test_a_routine_that_is_elsewhere_comes_with_its_package(
    monkeypatch: pytest.MonkeyPatch, elsewhere: str
) -> None:
    from scipy.linalg.lapack import dpbtrf

    monkeypatch.delitem(sys.modules, "scipy.linalg.lapack")
    assert compiled.routine("scipy.linalg.lapack", "dpbtrf", elsewhere) is dpbtrf


def test_least_squares_without_negative_numbers_are_those_of_a_reference_library() -> None:
    # scipy.optimize.nnls, another implementation of Lawson and Hanson's algorithm.
    random = np.random.default_rng(0)
    for number in range(300):
        rows, count = random.integers(2, 60), random.integers(1, 25)
        matrix = random.normal(size=(rows, count)) * 10.0 ** random.uniform(-3, 3, size=count)
        aim = random.normal(size=rows)
        if number % 3 == 0:  # columns that are alike, or nothing to reach
            matrix[:, random.integers(count)] = matrix[:, 0]
        if number % 7 == 0:
            aim = np.zeros(rows) if number % 2 else matrix[:, 0]
        found, (_, rest) = nonnegative_least_squares(matrix, aim), nnls(matrix, aim)
        assert (found >= 0.0).all()
        assert np.linalg.norm(matrix @ found - aim) == pytest.approx(rest, abs=1e-8)


def test_even_normals_are_quantiles_of_the_normal_distribution() -> None:
    found = even_normals(401, 3)
    assert np.sort(found) == pytest.approx(ndtri((np.arange(401) + 0.5) / 401), abs=1e-12)
    with pytest.raises(ValueError, match="read-only"):
        found[0] = 0.0
