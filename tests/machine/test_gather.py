"""What is read at the top of a run, and what a gap before it leaves."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.core.estimate import Estimate
from ridelog.filtering.motion import Motion, Paths, Piece
from ridelog.machine.calibration_data import near_top_of


class _Steady:
    """A motion along east that gains 0.1 m/s², in two pieces with a gap between."""

    pieces = (Piece(0.0, 10.0), Piece(12.0, 30.0))

    def paths(self, start_s: float, end_s: float, *, spacing_s: float) -> Paths:
        middle = 0.5 * (start_s + end_s)
        assert any(p.start_s <= middle <= p.end_s for p in self.pieces), "asked inside the gap"
        time_s = np.linspace(start_s, end_s, round((end_s - start_s) / spacing_s) + 1)
        velocity = np.zeros((len(time_s), 2, 5))
        velocity[:, 0] = (5.0 + 0.1 * time_s)[:, None]
        return Paths(time_s, np.zeros_like(velocity), velocity, np.zeros_like(velocity))


def _top(at_s: float) -> TopSpeed:
    best = Estimate(7.0, 6.9, 7.1)
    none: dict[str, Any] = dict.fromkeys(TopSpeed.__dataclass_fields__)
    return cast(
        TopSpeed, SimpleNamespace(**{**none, "best_1s_mps": best, "at_s": at_s, "two_way_runs": ()})
    )


@pytest.mark.parametrize("at_s", [11.5, 12.0, 12.9])
def test_a_gap_just_before_the_best_second_leaves_nothing(at_s: float) -> None:
    assert near_top_of(cast(Motion, _Steady()), _top(at_s)) == ()


@pytest.mark.parametrize("at_s", [13.2, 20.0, 29.0])
def test_speed_and_trend_of_the_last_seconds(at_s: float) -> None:
    (end,) = near_top_of(cast(Motion, _Steady()), _top(at_s))
    assert end.accel_mps2 == pytest.approx(0.1)
    assert end.speed_mps == pytest.approx(5.0 + 0.1 * (at_s - 0.25), abs=0.06)
