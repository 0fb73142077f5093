"""A stretch of a start's model must hold some position, or its equations have no solution."""

import numpy as np
import pytest

from ridelog.filtering.standing_start.models import _anchored


@pytest.mark.parametrize(
    ("steps", "seen", "kept"),
    [
        # As found: two rejected stretches at the beginning.
        ([0, 1, 0, 1, 0], [0, 0, 0, 0, 1, 1], [0, 0, 0, 0, 0]),
        ([0, 1, 0, 1, 0], [1, 0, 0, 0, 1, 1], [0, 1, 0, 0, 0]),
        ([0, 1, 0, 1, 0], [1, 0, 1, 0, 1, 1], [0, 1, 0, 1, 0]),
        ([0, 1, 0, 1, 0], [1, 1, 1, 0, 0, 0], [0, 1, 0, 0, 0]),
        ([0, 0, 0], [0, 0, 0, 0], [0, 0, 0]),
        ([1, 1, 1], [1, 1, 1, 1], [1, 1, 1]),
    ],
)
def test_no_stretch_floats(steps: list[int], seen: list[int], kept: list[int]) -> None:
    found = _anchored(np.array(steps, dtype=bool), np.array(seen, dtype=bool))
    assert found.astype(int).tolist() == kept
    # Every stretch between the steps that are left has a position, if there is any at all.
    parts = np.split(np.array(seen), np.flatnonzero(found) + 1)
    assert all(part.any() for part in parts) or not any(seen)
