"""The best second of a reverse, on fixes whose true motion is written out here."""

import numpy as np
import pytest
from simulate.profiles import change

from ridelog.analysis.reverse.boundaries import GRID_S, Edge, edge_of
from ridelog.analysis.reverse.evidence import Projection
from ridelog.analysis.reverse.full_model import (
    _BUILD,
    _NEVER,
    POSSIBLE,
    _drawn,
    _possible,
    possible_best_mps,
)
from ridelog.core.track import FloatArray

STEP_S = 0.01


def moved(top_mps: float, held_s: float) -> tuple[FloatArray, float, float]:
    """Return signed speeds, and when the reverse begins and ends."""
    pieces = [
        change(4.0, 0.0, 2.0, 0.2, 0.2)[0],
        np.zeros(120),
        change(0.0, -top_mps, 1.0, 0.3, 0.3)[0],
        np.full(int(held_s / STEP_S), -top_mps),
        change(-top_mps, 0.0, 1.1, 0.3, 0.3)[0],
        np.zeros(120),
        change(0.0, 4.0, 1.5, 0.2, 0.3)[0],
    ]
    speed = np.concatenate(pieces)
    back = np.flatnonzero(speed < -1e-9)
    return speed, STEP_S * float(back[0]), STEP_S * float(back[-1])


def best_and_truth(top_mps: float, held_s: float, seed: int) -> tuple[FloatArray, float]:
    """Return possible best seconds from positions at 5 Hz, 0.15 m, and the true one."""
    rng = np.random.default_rng(seed)
    speed, start_s, end_s = moved(top_mps, held_s)
    time_s, way = STEP_S * np.arange(float(len(speed))), STEP_S * np.cumsum(speed)
    at_s = np.arange(0.0, time_s[-1], 0.2)
    along = Projection(
        time_s=at_s,
        way_m=np.interp(at_s, time_s, way) + 0.15 * rng.standard_normal(len(at_s)),
        speed_mps=np.full(len(at_s), np.nan),
        crawling=np.zeros(len(at_s), dtype=bool),
        path_time_s=time_s,
        path_mps=speed,
        white_m=0.15,
        drift_mps=0.02,
        white_mps=np.inf,
        slow_mps=0.0,
        walk_m=0.0,
    )
    ends = [
        edge_of(along, near_s, side, end_s - start_s)
        for near_s, side in ((start_s, -1), (end_s, 1))
    ]
    assert ends[0] is not None and ends[1] is not None
    best = possible_best_mps(along, ends[0], ends[1])
    assert best is not None and best.shape == (POSSIBLE,)
    return best, float((way[:-100] - way[100:]).max())


@pytest.mark.parametrize(("top_mps", "held_s"), [(0.7, 3.0), (1.5, 4.0), (2.0, 0.0), (3.5, 3.0)])
def test_the_best_second_of_held_and_peaked_reverses(top_mps: float, held_s: float) -> None:
    off = []
    for seed in range(3):
        best, true = best_and_truth(top_mps, held_s, seed)
        off.append(np.median(best) - true)
        assert abs(off[-1]) < 3.5 * best.std()
    # A smoother reads the peaked one 0.2 m/s low.
    assert np.mean(off) == pytest.approx(0.0, abs=0.12)


def test_the_same_fixes_give_the_same_digits() -> None:
    assert np.array_equal(best_and_truth(1.5, 2.0, 7)[0], best_and_truth(1.5, 2.0, 7)[0])


def test_positions_that_walk_with_the_speed_are_not_counted_twice() -> None:
    """Speed errs by 0.15 m/s for half a second at its best; positions, its integral, agree."""
    speed, start_s, end_s = moved(1.5, 4.0)
    time_s = STEP_S * np.arange(float(len(speed)))
    middle = 0.5 * (start_s + end_s)
    told = speed - 0.15 * (np.abs(time_s - middle) < 0.5)
    at_s = np.arange(0.0, time_s[-1], 0.1)
    rng = np.random.default_rng(4)
    read = np.interp(at_s, time_s, told) + 0.05 * rng.standard_normal(len(at_s))
    spreads = []
    for walk_m in (0.0, 0.05 * (5.0 * 0.1) ** 0.5):
        along = Projection(
            time_s=at_s,
            way_m=np.interp(at_s, time_s, STEP_S * np.cumsum(told)),
            speed_mps=read,
            crawling=np.zeros(len(at_s), dtype=bool),
            path_time_s=time_s,
            path_mps=speed,
            white_m=0.01,
            drift_mps=0.04,
            white_mps=0.05,
            slow_mps=0.03,
            walk_m=walk_m,
        )
        ends = [edge_of(along, start_s, -1, end_s - start_s), edge_of(along, end_s, 1, 4.0)]
        assert ends[0] is not None and ends[1] is not None
        best = possible_best_mps(along, ends[0], ends[1])
        assert best is not None
        spreads.append(float(np.ptp(np.quantile(best, [0.05, 0.95]))))
    assert spreads[1] > 1.2 * spreads[0]


@pytest.mark.parametrize(
    ("pull_s", "brake_s", "possible"),
    [
        (0.3, 0.3, True), (6.0, 6.0, True), (0.3, 6.0, True), (1.0, 2.0, True),
        (0.25, 2.0, False), (2.0, 0.25, False), (6.05, 2.0, False), (2.0, 6.05, False),
    ],
)  # fmt: skip
def test_pull_and_brake_last_from_a_third_of_a_second_to_six(
    pull_s: float, brake_s: float, possible: bool
) -> None:
    """METHOD.md of reverse, (8): a length outside is none, whichever of the two it is."""
    pull, brake = round(pull_s / GRID_S), round(brake_s / GRID_S)
    row = [0, pull, pull + 100, pull + 100 + brake, -_NEVER, _NEVER, 0]
    assert _possible(np.array([row])).tolist() == [possible]


def test_pull_is_over_before_the_brake_and_other_travel_is_outside() -> None:
    right = [0, 20, 60, 90, 0, 90, 0]
    wrong = [
        [0, 20, 20 + _BUILD - 1, 90, 0, 90, 0], [0, 20, 60, 90, 1, 90, 0],
        [0, 20, 60, 90, 0, 89, 0], [0, 20, 60, 90, 0, 90, -1], [0, 20, 60, 90, 0, 90, 6],
    ]  # fmt: skip
    assert _possible(np.array([right, *wrong])).tolist() == [True] + 5 * [False]
    assert _possible(np.array([[0, 20, 20 + _BUILD, 90, 0, 90, 5]])).all()


def test_where_no_other_travel_is_known_it_is_far_outside() -> None:
    """Ends that leave one choice: at 0 and 8 s, 1 s of pull and brake, nothing before or after."""

    def end(at_s: float) -> Edge:
        one = np.array([at_s])
        return Edge(at_s, one, one * np.nan, np.ones(1), 0.0 * one)

    drawn = _drawn(end(0.0), end(8.0), np.random.default_rng(1))
    assert drawn is not None
    assert (drawn[0][:, 4] == -_NEVER).all() and (drawn[0][:, 5] == _NEVER).all()
    assert (drawn[0][:, 0] == 0).all() and (drawn[0][:, 3] == round(8.0 / GRID_S)).all()
