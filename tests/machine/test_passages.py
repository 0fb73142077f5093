"""Means of passages: directions weigh alike, and one alone is corrected by what both show."""

import numpy as np
import pytest

from ridelog.machine.passages import Passage, mean_curve

GRID = np.linspace(1.0, 6.0, 11)
MIDDLE = 0.5 * (GRID[1:] + GRID[:-1])
TRUTH = 2.0 - 0.2 * MIDDLE


def _passage(shift: float, course: float, *, upto: float = 9.0, seed: int = 0) -> Passage:
    rng = np.random.default_rng(seed)
    rate = (TRUTH + shift)[:, None] + np.zeros((1, 41))
    rate[:, 1:] += 0.02 * rng.standard_normal((len(MIDDLE), 40))
    rate[MIDDLE > upto] = np.nan
    return Passage(rate, course)


def test_both_directions_count_half_however_many_runs() -> None:
    runs = [_passage(0.1, 0.3, seed=1), _passage(0.1, 0.3, seed=2), _passage(-0.1, 0.3 + np.pi)]
    found = mean_curve(runs, GRID)
    assert found is not None
    assert found.accel_mps2 == pytest.approx(TRUTH, abs=0.015)
    # Two runs one way (0.02² / 2) and one the other (0.02²), a quarter of each.
    assert np.diag(found.covariance).mean() == pytest.approx(0.25 * 1.5 * 0.02**2, rel=0.3)


def test_speeds_of_one_direction_are_corrected_by_the_difference_of_both() -> None:
    runs = [_passage(0.1, 0.3), _passage(-0.1, 0.3 + np.pi, upto=4.0, seed=3)]
    found = mean_curve(runs, GRID)
    assert found is not None
    assert found.accel_mps2 == pytest.approx(TRUTH, abs=0.03)
    sd = np.sqrt(np.diag(found.covariance))
    assert sd[-1] > 2.0 * sd[0]
    assert sd[-1] < 0.06


def test_one_direction_alone_is_widened() -> None:
    found = mean_curve([_passage(0.1, 0.3)], GRID)
    assert found is not None
    assert found.accel_mps2 == pytest.approx(TRUTH + 0.1, abs=0.02)
    assert np.sqrt(found.covariance[0, 0]) > 0.04
    # Wind is common to all speeds.
    assert found.covariance[0, -1] > 0.5 * found.covariance[0, 0]


def test_nothing_gives_nothing() -> None:
    assert mean_curve([], GRID) is None
    assert mean_curve([_passage(0.0, 0.0, upto=0.0)], GRID) is None
