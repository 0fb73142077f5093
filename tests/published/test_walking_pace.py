"""A wheeled robot at walking pace with its wheel speeds as the truth.

Source: cra-ros-pkg/robot_localization, test/test1.bag (BSD-3-Clause), first 180 s: a receiver at
2.5 Hz whose positions wander, and wheel odometry at 10 Hz. Read beside the repository where it is
there; raw position differences of the same log reach 2.8 m/s.
"""

import csv
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

LOG = (
    Path(__file__).resolve().parents[3]
    / "shared/real-tracks/truth-walkpace-2hz5/walkpace-2hz5-a.gpx"
)

pytestmark = pytest.mark.skipif(not LOG.exists(), reason="the real logs are not beside here")


@pytest.fixture(scope="module")
def motion() -> Motion:
    return estimate_motion(load_track(LOG))


def wheels() -> tuple[FloatArray, FloatArray]:
    truth = LOG.with_name(LOG.stem + "-truth.csv")
    with truth.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return (
        np.array([float(row["t_rel_first_fix_s"]) for row in rows]),
        np.array([float(row["wheel_speed_mps"]) for row in rows]),
    )


def true_best_second() -> float:
    time_s, speed = wheels()
    way = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time_s))])
    start = np.arange(time_s[0], time_s[-1] - 1.0, 0.05)
    return float(np.max(np.interp(start + 1.0, time_s, way) - np.interp(start, time_s, way)))


def every(track: Track, step: int, *, heights: bool) -> Track:
    """Return every so many fixes of a log, with its heights or without them."""
    arrays = {
        one.name: getattr(track, one.name)[::step].copy()
        for one in fields(track)
        if isinstance(getattr(track, one.name), np.ndarray)
    }
    if not heights:
        arrays["height_m"] = np.full(len(arrays["height_m"]), np.nan)
    return replace(track, **arrays)


@pytest.mark.parametrize("heights", [True, False])
@pytest.mark.parametrize("step", [1, 2])
def test_the_best_second_s_interval_holds_that_of_the_wheels(step: int, heights: bool) -> None:
    motion = estimate_motion(every(load_track(LOG), step, heights=heights))
    assert judge_signal(motion).grade != "good"
    found = measure_top_speed(motion).best_1s_mps
    assert found is not None
    assert found.low <= true_best_second() <= found.high


@pytest.mark.xfail(
    strict=True, reason="its positions wander over ten seconds too: read too high, graded for it"
)
def test_the_best_second_is_that_of_the_wheels(motion: Motion) -> None:
    found = measure_top_speed(motion).best_1s_mps
    assert found is not None
    assert found.value == pytest.approx(true_best_second(), abs=0.1)


def test_the_speed_s_band_holds_the_wheels_speed(motion: Motion) -> None:
    time_s, speed = wheels()
    error = motion.speed_mps - np.interp(motion.track.time_s, time_s, speed)
    held = np.abs(error) <= 1.645 * motion.speed_sd_mps
    assert np.nanmean(held) >= 0.85
