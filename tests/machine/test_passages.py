"""Means of passages: each direction by itself, along the line on which most are ridden."""

import numpy as np
import pytest

from ridelog.machine.passages import Passage, axis_of, curve_by_way, way_of

GRID = np.linspace(1.0, 6.0, 11)
MIDDLE = 0.5 * (GRID[1:] + GRID[:-1])
TRUTH = 2.0 - 0.2 * MIDDLE


def _passage(shift: float, course: float, *, upto: float = 9.0, seed: int = 0) -> Passage:
    rng = np.random.default_rng(seed)
    rate = (TRUTH + shift)[:, None] + np.zeros((1, 41))
    rate[:, 1:] += 0.02 * rng.standard_normal((len(MIDDLE), 40))
    rate[MIDDLE > upto] = np.nan
    return Passage(rate, course)


def test_each_direction_has_its_own_mean() -> None:
    runs = [_passage(0.1, 0.3, seed=1), _passage(0.1, 0.3, seed=2), _passage(-0.1, 0.3 + np.pi)]
    found = curve_by_way(runs, GRID, 0.3)
    assert found is not None
    there, back = found.ways == 1.0, found.ways == -1.0
    assert found.accel_mps2[there] == pytest.approx(TRUTH + 0.1, abs=0.03)
    assert found.accel_mps2[back] == pytest.approx(TRUTH - 0.1, abs=0.03)
    sd = np.diag(found.covariance)
    assert sd[there].mean() == pytest.approx(0.5 * 0.02**2, rel=0.5)
    assert found.covariance[np.ix_(there, back)] == pytest.approx(0.0)


def test_speeds_that_one_direction_alone_passed_are_its_own() -> None:
    runs = [_passage(0.1, 0.3), _passage(-0.1, 0.3 + np.pi, upto=4.0, seed=3)]
    found = curve_by_way(runs, GRID, 0.3)
    assert found is not None
    assert found.speed_mps[found.ways == -1.0].max() < 4.0 < found.speed_mps.max()


def test_the_axis_is_the_line_whichever_way_along_it() -> None:
    courses = np.array([0.4, 0.4 + np.pi, 0.38, 0.42 - np.pi])
    assert axis_of(courses) == pytest.approx(0.4, abs=0.01)
    assert way_of(0.4 + np.pi, 0.4) == -1.0
    assert way_of(0.4 + 0.5 * np.pi, 0.4) == 0.0


def test_nothing_gives_nothing() -> None:
    assert curve_by_way([], GRID, 0.0) is None
    assert curve_by_way([_passage(0.0, 0.0, upto=0.0)], GRID, 0.0) is None
