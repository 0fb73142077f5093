"""Two-sample t against published examples: NIST/SEMATECH, NAG, NIST StRD."""

import pytest

from ridelog.compare.difference import Contrast, ErrorOf, Summary, shared_scatter, welch

# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3, data set AUTO83B: miles per gallon of
# cars from the U.S. (249) and from Japan (79), as printed.
US = Summary(249, 20.14458, 6.41470)
JAPAN = Summary(79, 30.48101, 6.10771)
# NAG Library, G07CAF, example results: n, mean, standard deviation as printed.
NAG_ONE = Summary(4, 25.00, 0.8185)
NAG_TWO = Summary(8, 21.00, 4.208)


def _t(contrast: Contrast) -> float:
    return contrast.difference / contrast.standard_error


def _p_value(contrast: Contrast) -> float:
    return 2.0 * ErrorOf(contrast.difference, 0.0, 0.0, contrast).tail(abs(contrast.difference))


def test_nist_pooled() -> None:
    contrast = shared_scatter(JAPAN, US)
    # Printed: T = -12.62059, 326 degrees of freedom, 95 % from -11.9477 to -8.7252.
    assert _t(contrast) == pytest.approx(-12.62059, abs=5e-5)
    assert contrast.freedom == 326
    assert contrast.difference - contrast.reach(0.95) == pytest.approx(-11.9477, abs=5e-4)
    assert contrast.difference + contrast.reach(0.95) == pytest.approx(-8.7252, abs=5e-4)


def test_nist_welch() -> None:
    # Boost.Math documentation, two-sample t on the same data, as printed.
    contrast = welch(JAPAN, US)
    assert _t(contrast) == pytest.approx(-12.94627, abs=5e-5)
    assert contrast.freedom == pytest.approx(136.87499, abs=5e-5)
    assert _p_value(contrast) == pytest.approx(1.571e-25, rel=5e-4)


def test_nag_welch_and_pooled_disagree() -> None:
    contrast = welch(NAG_TWO, NAG_ONE)
    # Printed: t 2.5922, 8.0 degrees of freedom, p 0.0320, 95 % from 0.4410 to 7.5590. The standard
    # deviations are printed to four digits, which moves t by 2 in its fourth decimal.
    assert _t(contrast) == pytest.approx(2.5922, abs=2e-4)
    assert contrast.freedom == pytest.approx(8.0, abs=0.05)
    assert _p_value(contrast) == pytest.approx(0.0320, abs=5e-5)
    assert contrast.difference - contrast.reach(0.95) == pytest.approx(0.4410, abs=1e-3)
    assert contrast.difference + contrast.reach(0.95) == pytest.approx(7.5590, abs=1e-3)
    pooled = shared_scatter(NAG_TWO, NAG_ONE)
    assert _t(pooled) == pytest.approx(1.8403, abs=2e-4)
    assert pooled.freedom == 10
    assert _p_value(pooled) == pytest.approx(0.0955, abs=5e-5)


def test_numacc3_keeps_its_deviation() -> None:
    # NIST StRD, NumAcc3: 1001 values about 1000000.2; mean 1000000.2 and deviation 0.1, certified.
    values = [1000000.2] + [1000000.1, 1000000.3] * 500
    summary = Summary.of(values)
    assert summary.mean == pytest.approx(1000000.2, rel=1e-15)
    assert summary.sd == pytest.approx(0.1, rel=1e-9)
    # What the certified value is for: squares of the raw values lose it.
    naive = (sum(v * v for v in values) - sum(values) ** 2 / 1001) / 1000
    assert naive != pytest.approx(0.01, rel=1e-3)
