"""Indices come as often as their weights ask, and hardly others when a weight moves a little."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.core.interval import evenly_chosen, systematic


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


@pytest.mark.parametrize("first_weight", [0.3, 0.5, 0.9])
def test_entries_are_chosen_in_proportion(first_weight: float) -> None:
    # Two kinds of entries side by side: as many of each are chosen as their weights ask.
    weight = np.tile([first_weight, 1.0], 300)
    chosen = evenly_chosen(weight, 300)
    assert len(np.unique(chosen)) == len(chosen) == 300 and (np.diff(chosen) > 0).all()
    share = np.mean(chosen % 2 == 0)
    assert abs(share - first_weight / (1.0 + first_weight)) < 0.02


@given(st.integers(0, 599), st.floats(0.1, 1.0), st.integers(0, 2**32 - 1))
def test_one_weight_changes_one_entry_at_most(place: int, value: float, seed: int) -> None:
    weight = np.random.default_rng(seed).uniform(0.1, 1.0, 600)
    other = weight.copy()
    other[place] = value
    changed = np.setdiff1d(evenly_chosen(weight, 300), evenly_chosen(other, 300))
    assert len(changed) <= 1
