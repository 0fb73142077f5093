"""Runs of True are found with their ends, at the edges too."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ridelog.core.spans import runs_of


@given(st.lists(st.booleans(), max_size=40))
def test_runs_are_all_of_what_is_true_and_never_touch(values: list[bool]) -> None:
    runs = runs_of(np.array(values, dtype=bool))
    assert [place for first, stop in runs for place in range(first, stop)] == [
        place for place, value in enumerate(values) if value
    ]
    assert all(stop < following for (_, stop), (following, _) in zip(runs, runs[1:], strict=False))
