"""At the ends of a log, and at rest: what is left out, and what a standing machine's speed does."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridelog.core.flags import Flag
from ridelog.core.track import Track
from ridelog.filtering.motion import Paths
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

SAMPLE = Path(__file__).resolve().parents[2] / "sample_tracks" / "before-1.gpx"


@pytest.fixture(scope="module")
def short() -> Track:
    track = load_track(SAMPLE)
    arrays: dict[str, Any] = {
        n: v[:400].copy() for n, v in vars(track).items() if isinstance(v, np.ndarray)
    }
    return replace(track, **arrays)


def flagged(track: Track, flag: Flag) -> np.ndarray:
    flags: np.ndarray = (estimate_motion(track).flags & np.uint32(flag)) != 0
    return flags


def moved(track: Track, rows: slice) -> Track:
    """Return the track with some fixes 55 m further north (a 2,000th of a degree)."""
    latitude = track.latitude_deg.copy()
    latitude[rows] += 0.0005
    return replace(track, latitude_deg=latitude)


@pytest.mark.parametrize("rows", [slice(None, 3), slice(-3, None)])
def test_a_few_fixes_elsewhere_at_an_end_are_left_out(short: Track, rows: slice) -> None:
    lost = flagged(moved(short, rows), Flag.JUMP)
    wanted = np.zeros(400, dtype=bool)
    wanted[rows] = True
    assert (lost == wanted).all()


def test_many_fixes_elsewhere_are_a_step_and_stay(short: Track) -> None:
    """More than four fixes that stay away are believed: the receiver changed its mind."""
    assert flagged(moved(short, slice(-100, None)), Flag.JUMP)[-90:].sum() == 0


def test_a_good_log_is_settled_from_its_first_fix(short: Track) -> None:
    motion = estimate_motion(short)
    assert motion.settled_s == short.time_s[0]
    assert not (motion.flags & np.uint32(Flag.SETTLING)).any()


def test_the_rate_of_speed_at_rest_is_zero() -> None:
    """v' = v . a / |v|; where nothing moves no direction is its own, and 0 is told."""
    velocity = np.array([[[0.0], [0.0]], [[3.0], [4.0]]])
    accel = np.array([[[1.0], [1.0]], [[2.0], [-1.0]]])
    paths = Paths(np.array([0.0, 0.1]), np.zeros((2, 2, 1)), velocity, accel)
    assert paths.tangential_accel_mps2[:, 0] == pytest.approx([0.0, (3 * 2.0 - 4 * 1.0) / 5.0])
