"""What all tests share: one zone of time, and rides worked out once."""

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

from ridelog.analysis.ride import analyse
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.track import Track
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

# How long an example takes is measured in tests/benchmarks; a busy machine fails no test.
settings.register_profile("ridelog", deadline=None)
settings.load_profile("ridelog")

SAMPLES = Path(__file__).resolve().parents[1] / "sample_tracks"
# POSIX 1003.1, 8.3: the rules stand in the text, so that no table of zones is needed.
ZONES = {
    "UTC": "UTC0",
    "Berlin": "CET-1CEST,M3.5.0,M10.5.0/3",
    "New York": "EST5EDT,M3.2.0,M11.1.0",
    "Kolkata": "<+0530>-5:30",
}


def pytest_configure(config: pytest.Config) -> None:
    # Side by side, files of many tests would come first, and those in a browser, few tests of
    # minutes each, last and alone, while all other processors have nothing left to do.
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: "web" not in item.path.parts)


def _enter(place: str) -> None:
    os.environ["TZ"] = ZONES[place]
    if hasattr(time, "tzset"):  # Windows has none; it ignores TZ as well
        time.tzset()


@pytest.fixture(autouse=True, scope="session")
def _in_utc() -> None:
    _enter("UTC")


@pytest.fixture
def zone() -> Iterator[Callable[[str], None]]:
    """Take this machine to another zone, by the name of a place, for one test."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone cannot be changed on this system")
    yield _enter
    _enter("UTC")


@pytest.fixture(scope="session")
def good_motion() -> Motion:
    return estimate_motion(load_track(SAMPLES / "before-1.gpx"))


@pytest.fixture(scope="session")
def good_result(good_motion: Motion) -> MeasuredRide:
    return analyse(good_motion)


@pytest.fixture(scope="session")
def rough_motion() -> Motion:
    """Poor signal, and a gap of 12 s cut into it, around the longest hole of its own."""
    track = load_track(SAMPLES / "after-3.gpx")
    kept = (track.time_s < 133.0) | (track.time_s > 145.0)
    return estimate_motion(rows_of(track, kept))


@pytest.fixture(scope="session")
def rough_result(rough_motion: Motion) -> MeasuredRide:
    return analyse(rough_motion)


def rows_of(track: Track, kept: np.ndarray) -> Track:
    """Return a track of some of the rows."""
    arrays = {
        name: value[kept].copy()
        for name, value in vars(track).items()
        if isinstance(value, np.ndarray)
    }
    return replace(track, **arrays)


@pytest.fixture(scope="session")
def slow_motion() -> Motion:
    """One fix a second, no reported speed, no HDOP, no satellites."""
    track = load_track(SAMPLES / "before-1.gpx")
    thin = rows_of(track, np.arange(len(track)) % 10 == 0)
    nothing = np.full(len(thin), np.nan)
    return estimate_motion(
        replace(
            thin,
            speed_mps=nothing.copy(),
            course_rad=nothing.copy(),
            hdop=nothing.copy(),
            satellites=nothing.copy(),
        )
    )
