"""Routines of scipy taken by themselves are those that its packages give."""

import subprocess
import sys

import numpy as np
import pytest
from scipy.special import ndtri

from ridelog.core import compiled
from ridelog.core.interval import even_normals

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


def test_even_normals_are_quantiles_of_the_normal_distribution() -> None:
    found = even_normals(401, 3)
    assert np.sort(found) == pytest.approx(ndtri((np.arange(401) + 0.5) / 401), abs=1e-12)
    with pytest.raises(ValueError, match="read-only"):
        found[0] = 0.0
