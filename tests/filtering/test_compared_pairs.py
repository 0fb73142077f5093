"""Which fixes are compared with which, where a log ends in another place, and what drifts."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.filtering.agreement import _pairs
from ridelog.filtering.outliers import _steps_and_edges


def test_fixes_are_compared_over_the_whole_window() -> None:
    """Ten fixes a second: the last one within a second is the tenth after."""
    found = _pairs(0.1 * np.arange(61.0), np.arange(61), 1.0)
    assert found is not None
    first, last = found
    # At the end the window is cut, and counts while it is longer than a half.
    assert set(range(50)) <= set(first.tolist()) <= set(range(56))
    assert last.tolist() == [min(each + 10, 60) for each in first.tolist()]


def test_neighbours_further_apart_than_the_window_are_compared_once() -> None:
    times = 1.2 * np.arange(5.0)
    found = _pairs(times, np.arange(5), 1.0)
    assert found is not None
    assert [each.tolist() for each in found] == [[0, 1, 2, 3], [1, 2, 3, 4]]
    # By a longer window they are not: the first one has done it.
    assert _pairs(2.5 * np.arange(5.0), np.arange(5), 2.0) is None
    # Two days of one log have nothing to compare.
    assert _pairs(np.array([0.0, 90_000.0]), np.arange(2), 1.0) is None


@pytest.mark.parametrize(
    ("leap", "lost", "step"),
    [
        (95, range(96, 100), False), (98, range(99, 100), False), (3, range(4), False),
        (0, range(1), False), (94, range(0), True), (4, range(0), True), (50, range(0), True),
    ],
)  # fmt: skip
def test_a_few_fixes_beyond_a_leap_at_an_edge_are_left_out_whole(
    leap: int, lost: range, step: bool
) -> None:
    """Of a hundred fixes up to four at either end; more are another place that is believed."""
    seen: Any = SimpleNamespace(time_s=np.arange(100.0), breaks=np.zeros(99, dtype=bool))
    leaps, good, steps = np.zeros(99, dtype=bool), np.ones(100, dtype=bool), np.zeros(99, bool)
    leaps[leap] = True
    _steps_and_edges(seen, leaps, good, steps)
    assert np.flatnonzero(~good).tolist() == list(lost)
    assert np.flatnonzero(steps).tolist() == ([leap] if step else [])


def test_each_piece_of_a_log_has_edges_of_its_own() -> None:
    breaks = np.zeros(99, dtype=bool)
    breaks[49] = True
    seen: Any = SimpleNamespace(time_s=np.arange(100.0), breaks=breaks)
    leaps, good, steps = np.zeros(99, dtype=bool), np.ones(100, dtype=bool), np.zeros(99, bool)
    leaps[[47, 51]] = True
    _steps_and_edges(seen, leaps, good, steps)
    assert np.flatnonzero(~good).tolist() == [48, 49, 50, 51]
    assert not steps.any()
