"""Every index comes as often as its weight asks, give or take one."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ridelog.core.interval import systematic


@given(
    st.lists(st.integers(0, 20), min_size=1, max_size=30).filter(any),
    st.integers(1, 200),
    st.integers(0, 2**32 - 1),
)
def test_indices_come_in_proportion(weights: list[int], count: int, seed: int) -> None:
    weight = np.array(weights, dtype=np.float64)
    drawn = systematic(weight, count, np.random.default_rng(seed))
    assert len(drawn) == count and (np.diff(drawn) >= 0).all()
    often = np.bincount(drawn, minlength=len(weight))
    assert (np.abs(often - count * weight / weight.sum()) < 1.0 + 1e-9).all()
    assert (often[weight == 0.0] == 0).all()
