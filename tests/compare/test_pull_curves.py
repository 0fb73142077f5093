"""Pull curves of both sides and where they cross, on curves known by formula."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.acceleration.measure import HALF_STEP_MPS, AccelerationCurve
from ridelog.compare.comparison import Comparison
from ridelog.compare.curves import PullCurves, pull_curves_of
from ridelog.core.estimate import Estimate
from ridelog.core.track import FloatArray

pytest_plugins = ("thin_rides",)

SPEED = np.arange(1.5, 9.01, 0.5)


def ride(pull: np.ndarray, sd: float = 0.03) -> tuple[Estimate | None, ...]:
    return tuple(Estimate(float(a), float(a) - 1.645 * sd, float(a) + 1.645 * sd) for a in pull)


def curves_of(speed: FloatArray, before: Any, after: Any) -> PullCurves | None:
    return pull_curves_of(speed, before, after, (speed, before, after))


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
        curves = curves_of(SPEED, *sides(rng))
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
    curves = curves_of(SPEED, same[:3], same[3:])
    assert curves is not None and curves.crossing is None
    higher = [ride(2.5 - 0.1 * SPEED) for _ in range(3)]
    curves = curves_of(SPEED, same[:3], higher)
    assert curves is not None and curves.crossing is None
    assert all(each.difference.low > 0.0 for each in curves.differences)


def test_crossing_by_hand() -> None:
    # Differences +0.2 and -0.2 half a metre a second apart: the crossing lies in the middle.
    speed = np.array([2.0, 2.5])
    curves = curves_of(
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
    curves = curves_of(np.array([2.0, 3.0, 4.0]), [one, one], [one, gap])
    assert curves is not None
    assert curves.speed_mps.tolist() == [2.0, 4.0]
    assert curves_of(np.array([2.0, 3.0]), [one[:2]], [(None, one[0])]) is None


def with_kink(speed: FloatArray, kink_mps: float) -> FloatArray:
    """A current limit up to the kink, then motor speed: 2 m/s2, falling by 0.3 a m/s."""
    return 2.0 - 0.3 * np.maximum(speed - kink_mps, 0.0)


def measured(like: AccelerationCurve, kink_mps: float) -> AccelerationCurve:
    """The curve as measured: 1 m/s over the time that it takes, every half a metre a second."""
    speed = np.arange(1.5, 9.01, 0.5)
    inside = speed[:, None] + np.linspace(-HALF_STEP_MPS, HALF_STEP_MPS, 2001)
    pull = 1.0 / np.mean(1.0 / with_kink(inside, kink_mps), axis=1)
    return replace(like, speed_mps=speed, columns=np.repeat(pull[:, None], 3, axis=1))


@pytest.mark.parametrize("kink_mps", [5.5, 5.75, 6.0, 6.13])
def test_the_width_of_the_windows_is_undone(thin_comparison: Comparison, kink_mps: float) -> None:
    like = thin_comparison.before[0]["acceleration"]
    curve, fine = measured(like, kink_mps), np.arange(2.0, 8.5, 0.05)
    sharp = curve.sharp(fine)[:, 0]
    rounded = np.interp(fine, curve.speed_mps, curve.columns[:, 0])
    true, near = with_kink(fine, kink_mps), np.abs(fine - kink_mps) < 1.0
    wrong = [np.sqrt(np.mean((each - true)[near] ** 2)) for each in (sharp, rounded)]
    assert wrong[0] < 0.5 * wrong[1]
    assert np.abs(sharp - true)[~near & (fine < 8.0)].max() < 0.005
    assert np.isnan(curve.sharp(np.array([1.0, 9.5]))).all()


def test_a_speed_that_is_not_known_is_bridged(thin_comparison: Comparison) -> None:
    curve = measured(thin_comparison.before[0]["acceleration"], 20.0)
    columns = curve.columns.copy()
    columns[4] = np.nan
    holed = replace(curve, columns=columns)
    assert np.allclose(holed.sharp(np.array([3.3, 3.5, 3.9])), 2.0)
    columns[:-1] = np.nan
    assert np.isnan(holed.sharp(np.array([3.3]))).all()
