"""How much a rolling run must gain, on speeds written out here."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.acceleration.runs import find_runs


def ridden(*levels: float) -> Any:
    """Return a ride straight north at 10 Hz from level to level of speed, 2 m/s in a second."""
    pieces = [np.full(30, levels[0])]
    for before, after in zip(levels, levels[1:], strict=False):
        steps = max(round(5.0 * abs(after - before)), 1)
        pieces += [before + (after - before) * np.arange(1, steps + 1) / steps, np.full(30, after)]
    speed = np.concatenate(pieces)
    count = len(speed)
    time_s = 0.1 * np.arange(count)
    none = np.zeros(count)

    def known_between(start_s: float, end_s: float) -> np.ndarray:
        return np.flatnonzero((time_s >= start_s) & (time_s <= end_s))

    return SimpleNamespace(
        track=SimpleNamespace(time_s=time_s), speed_mps=speed, speed_sd_mps=none + 0.02,
        east_m=none, north_m=0.1 * np.cumsum(speed), flags=np.zeros(count, dtype=np.uint32),
        pieces=(SimpleNamespace(start_s=0.0, end_s=float(time_s[-1])),), settled_s=0.0,
        known_between=known_between, rate_hz=10.0, speed_source="reported",
        noise=SimpleNamespace(position_white_m=0.1),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("levels", "gained"),
    [
        # 0.35 of 16 m/s are 5.6 m/s, and more than 2 m/s.
        ((9.0, 1.5, 6.9, 1.5, 16.0), [14.5]), ((9.0, 1.5, 7.3, 1.5, 16.0), [5.8, 14.5]),
        # 0.35 of 5 m/s are less than 2 m/s, which it takes at least.
        ((4.0, 1.5, 3.4, 1.5, 5.0), [3.5]), ((4.0, 1.5, 3.6, 1.5, 5.0), [2.1, 3.5]),
    ],
)  # fmt: skip
def test_a_rolling_run_gains_a_third_of_the_highest_speed(
    levels: tuple[float, ...], gained: list[float]
) -> None:
    runs = find_runs(ridden(*levels))
    assert not any(run.standing for run in runs)
    assert [run.top_mps - run.low_mps for run in runs] == pytest.approx(gained)
