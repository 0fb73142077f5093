"""The ends of a reverse, found on fixes whose true motion is written out here."""

import numpy as np
import pytest
from simulate.profiles import change

from ridelog.analysis.reverse.boundaries import edge_of
from ridelog.analysis.reverse.evidence import Projection
from ridelog.core.track import FloatArray

STAND_S, HELD_S, STEP_S = 1.2, 4.0, 0.01


def moved() -> tuple[FloatArray, FloatArray, float, float]:
    """Return times and signed speeds, and when the reverse begins and ends."""
    pieces = [
        change(4.0, 0.0, 2.0, 0.2, 0.2)[0],
        np.zeros(int(STAND_S / STEP_S)),
        change(0.0, -1.2, 0.9, 0.3, 0.3)[0],
        np.full(int(HELD_S / STEP_S), -1.2),
        change(-1.2, 0.0, 1.1, 0.3, 0.3)[0],
        np.zeros(int(STAND_S / STEP_S)),
        change(0.0, 4.0, 1.5, 0.2, 0.3)[0],
    ]
    speed = np.concatenate(pieces)
    time_s = STEP_S * np.arange(float(len(speed)))
    back = np.flatnonzero(speed < -1e-9)
    return time_s, speed, float(time_s[back[0]]), float(time_s[back[-1]])


def seen(rate_hz: float, white_m: float, *, reported: bool, seed: int = 3) -> Projection:
    """Return what a receiver without slow errors shows of it."""
    rng = np.random.default_rng(seed)
    time_s, speed, *_ = moved()
    way = STEP_S * np.cumsum(speed)
    at_s = np.arange(0.0, time_s[-1], 1.0 / rate_hz)
    told = np.interp(at_s, time_s, speed) + 0.08 * rng.standard_normal(len(at_s))
    crawling = np.abs(told) < 0.3
    return Projection(
        time_s=at_s,
        way_m=np.interp(at_s, time_s, way) + white_m * rng.standard_normal(len(at_s)),
        speed_mps=np.where(crawling, 0.0, told) if reported else np.full(len(at_s), np.nan),
        crawling=crawling & reported,
        path_time_s=time_s,
        path_mps=speed,
        white_m=white_m,
        drift_mps=0.04,
        white_mps=0.08 if reported else np.inf,
        slow_mps=0.02,
        walk_m=0.0,
    )


@pytest.mark.parametrize(
    ("rate_hz", "white_m", "reported", "within_s"),
    [(10.0, 0.05, True, 0.2), (10.0, 0.02, False, 0.1), (5.0, 0.3, False, 0.5),
     (1.0, 0.3, True, 0.4), (1.0, 0.02, False, 0.3)],
)  # fmt: skip
@pytest.mark.parametrize("off_s", [-0.6, 0.0, 0.6])
def test_both_ends_are_found_near_where_they_were(
    rate_hz: float, white_m: float, reported: bool, within_s: float, off_s: float
) -> None:
    along = seen(rate_hz, white_m, reported=reported)
    *_, start_s, end_s = moved()
    for side, true_s in ((-1, start_s), (1, end_s)):
        found = edge_of(along, true_s + off_s, side, end_s - start_s)
        assert found is not None
        assert found.median_s == pytest.approx(true_s, abs=within_s)


def test_it_does_not_matter_where_and_when_it_was() -> None:
    along = seen(5.0, 0.1, reported=True)
    *_, start_s, end_s = moved()
    elsewhere = Projection(
        **{
            **vars(along),
            "time_s": along.time_s + 1000.0,
            "path_time_s": along.path_time_s + 1000.0,
            "way_m": along.way_m + 20.0,
        }
    )
    here = edge_of(along, start_s, -1, end_s - start_s)
    there = edge_of(elsewhere, start_s + 1000.0, -1, end_s - start_s)
    assert here is not None and there is not None
    assert there.median_s - 1000.0 == pytest.approx(here.median_s, abs=0.02)


def test_three_fixes_tell_nothing() -> None:
    along = seen(0.3, 0.1, reported=False)
    *_, start_s, end_s = moved()
    assert edge_of(along, start_s, -1, end_s - start_s) is None
