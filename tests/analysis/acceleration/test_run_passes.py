"""When a drawn run passes a speed, along straight lines; and which way runs go."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.acceleration.measure import _full_throttle, _sides
from ridelog.analysis.acceleration.runs import RunDraws


def run(speed: np.ndarray, start_s: float, *, standing: bool = False) -> RunDraws:
    """Return one drawn course, a speed every half second."""
    kept: Any = SimpleNamespace(standing=standing)
    time_s = 0.5 * np.arange(len(speed), dtype=np.float64)
    return RunDraws(kept, np.array([start_s]), np.asarray(time_s), speed[:, None])


def test_a_speed_that_is_exceeded_from_the_first_instant_is_passed_when_it_rises_again() -> None:
    """3 m/s, down to 1 at 1 s, up to 4 at 2.5 s by 1 m/s each half second: 2 m/s at 1.5 s."""
    draws = run(np.array([3.0, 2.0, 1.0, 2.0, 3.0, 4.0]), 0.0)
    found = draws.passes(np.array([1.5, 2.5, 3.5, 4.5]))[:, 0]
    assert found[:3] == pytest.approx([1.25, 1.75, 2.25])
    assert np.isnan(found[3])


def test_what_rose_before_the_start_is_not_of_the_run() -> None:
    """3 m/s, a dip to 1 that ends before 1.4 s, and another: only the second is after it began."""
    draws = run(np.array([3.0, 1.0, 3.0, 3.0, 1.0, 3.0]), 1.2)
    assert draws.passes(np.array([2.0]))[0, 0] == pytest.approx(2.25)
    assert np.isnan(run(np.array([3.0, 1.0, 3.0, 3.0]), 1.2).passes(np.array([2.0]))[0, 0])


def test_a_speed_below_the_first_is_first_reached_on_the_way_up() -> None:
    draws = run(np.array([0.0, 1.0, 3.0, 2.0, 5.0]), 0.0)
    assert draws.passes(np.array([0.5, 2.0, 4.0]))[:, 0] == pytest.approx(
        [0.25, 0.75, 1.5 + 0.5 * 2.0 / 3.0]
    )


@pytest.mark.parametrize("turned", [0.0, 0.7, 2.0, -1.3, 3.1])
def test_which_way_runs_go(turned: float) -> None:
    """Along the axis, against it, and more than 30 degrees off it, however the axis lies."""
    ways = np.radians([0.0, 5.0, 180.0, 29.0, 151.5, 90.0, 60.0]) + turned
    # Many along the axis hold it in place.
    side = _sides([*([turned] * 40), *ways.tolist()])[40:]
    assert (side * side[0]).tolist() == [1.0, 1.0, -1.0, 1.0, -1.0, 0.0, 0.0]
    assert _sides([]).tolist() == []


def test_runs_that_pull_less_than_seven_tenths_are_left_out() -> None:
    full = np.array([3.0, 2.5, 2.0, 1.5])
    none = np.full(4, np.nan)
    found = _full_throttle(np.array([full, 0.71 * full, 0.69 * full, none]))
    assert found.tolist() == [True, True, False, False]
    # A jump at one speed does not make a run a hard one; runs without a common speed say nothing.
    odd = full * np.array([9.0, 1.0, 1.0, 1.0])
    assert _full_throttle(np.array([full, odd])).tolist() == [True, True]
    apart = np.array([[3.0, np.nan], [np.nan, 1.0]])
    assert _full_throttle(apart).tolist() == [True, True]
