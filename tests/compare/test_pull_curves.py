"""Pull curves of both sides and where they cross, on curves known by formula."""

import numpy as np
import pytest

from ridelog.analysis.result import Estimate
from ridelog.compare.pull_curves import pull_curves_of

SPEED = np.arange(1.5, 9.01, 0.5)


def ride(pull: np.ndarray, sd: float = 0.03) -> tuple[Estimate | None, ...]:
    return tuple(Estimate(float(a), float(a) - 1.645 * sd, float(a) + 1.645 * sd) for a in pull)


def sides(rng: np.random.Generator) -> tuple[list[tuple[Estimate | None, ...]], ...]:
    """Two straight lines that cross at 6 m/s, rides differing by 0.03 m/s² as a whole."""
    before, after = 2.0 - 0.1 * SPEED, 2.6 - 0.2 * SPEED
    return tuple(
        [ride(curve + rng.normal(0.0, 0.03) + rng.normal(0.0, 0.01, len(SPEED))) for _ in range(3)]
        for curve in (before, after)
    )


def test_crossing_is_found_and_its_interval_holds() -> None:
    rng = np.random.default_rng(4)
    held, found = 0, 0
    for _ in range(100):
        curves = pull_curves_of(SPEED, *sides(rng))
        assert curves is not None
        if curves.crossing is None:
            continue
        found += 1
        at = curves.crossing.speed_mps
        assert curves.crossing.harder_below
        assert abs(at.value - 6.0) < 1.5
        held += at.low <= 6.0 <= at.high
    assert found >= 95
    assert held / found >= 0.85


def test_no_crossing_without_doubt_on_both_sides() -> None:
    rng = np.random.default_rng(5)
    same = [ride(2.0 - 0.1 * SPEED + rng.normal(0.0, 0.03)) for _ in range(6)]
    curves = pull_curves_of(SPEED, same[:3], same[3:])
    assert curves is not None and curves.crossing is None
    higher = [ride(2.5 - 0.1 * SPEED) for _ in range(3)]
    curves = pull_curves_of(SPEED, same[:3], higher)
    assert curves is not None and curves.crossing is None
    assert all(each.difference.low > 0.0 for each in curves.differences)


def test_crossing_by_hand() -> None:
    # Differences +0.2 and -0.2 half a metre a second apart: the crossing lies in the middle.
    speed = np.array([2.0, 2.5])
    curves = pull_curves_of(
        speed,
        [ride(np.array([1.0, 1.0])), ride(np.array([1.0, 1.0]))],
        [ride(np.array([1.2, 0.8])), ride(np.array([1.2, 0.8]))],
    )
    assert curves is not None and curves.crossing is not None
    at = curves.crossing.speed_mps
    assert at.value == pytest.approx(2.25)
    # The intervals reach 1.645 * 0.03 either way: 0.2 -> 0.15 and so on, 1.25 m/s for 1 m/s².
    assert at.low == pytest.approx(2.25 - 1.25 * 1.645 * 0.03, abs=1e-3)
    assert at.high == pytest.approx(2.25 + 1.25 * 1.645 * 0.03, abs=1e-3)


def test_a_speed_that_one_ride_does_not_hold_is_left_out() -> None:
    one = ride(np.array([1.0, 1.0, 1.0]))
    gap = (one[0], None, one[2])
    curves = pull_curves_of(np.array([2.0, 3.0, 4.0]), [one, one], [one, gap])
    assert curves is not None
    assert curves.speed_mps.tolist() == [2.0, 4.0]
    assert pull_curves_of(np.array([2.0, 3.0]), [one[:2]], [(None, one[0])]) is None
