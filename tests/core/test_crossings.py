"""Sums and values along drawn courses against numpy's and scipy's own."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid as scipys

from ridelog.core.crossings import at_own_times, cumulative_trapezoid


@given(st.integers(0, 2**32 - 1), st.integers(2, 40))
def test_the_running_integral_is_scipys(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    time_s, rate = np.cumsum(rng.uniform(0.05, 2.0, count)), rng.normal(size=(count, 3))
    expected = scipys(rate, time_s, axis=0, initial=0)
    np.testing.assert_allclose(cumulative_trapezoid(time_s, rate), expected, atol=1e-12)
    np.testing.assert_allclose(cumulative_trapezoid(time_s, rate[:, 1]), expected[:, 1], atol=1e-12)
    own = np.stack([time_s] * 3, axis=1)
    np.testing.assert_allclose(cumulative_trapezoid(own, rate), expected, atol=1e-12)


@given(st.integers(0, 2**32 - 1))
def test_values_at_own_times_are_numpys(seed: int) -> None:
    rng = np.random.default_rng(seed)
    time_s, values = 3.0 + 0.05 * np.arange(30.0), rng.normal(size=(30, 8))
    at_s = np.append(rng.uniform(2.5, 5.0, 7), np.nan)
    expected = [np.interp(t, time_s, column) for t, column in zip(at_s, values.T, strict=True)]
    np.testing.assert_allclose(at_own_times(time_s, values, at_s), expected, atol=1e-9)
