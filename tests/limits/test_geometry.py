"""What counts as badly placed, too few or too far apart, on both sides of each limit.

Four satellites solve for place and clock, so a fifth is the first that can contradict; a dilution
of 5 to 10 is called moderate (from memory, no standard). The length of a gap and how many draws of
a figure may be undefined are own choices.
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridelog.core.flags import Flag
from ridelog.core.interval import estimate, estimate_of_possible
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.observations import observations_of
from ridelog.filtering.quality import geometry_flags, seen_poorly
from ridelog.importer import load_track

SAMPLE = Path(__file__).resolve().parents[2] / "sample_tracks" / "before-1.gpx"


def rows_of(track: Track, rows: slice) -> Track:
    arrays: dict[str, Any] = {
        n: v[rows].copy() for n, v in vars(track).items() if isinstance(v, np.ndarray)
    }
    return replace(track, **arrays)


def test_badly_placed_and_too_few_satellites() -> None:
    track = rows_of(load_track(SAMPLE), slice(4))
    track = replace(
        track, hdop=np.array([5.0, 5.1, np.nan, 0.8]), satellites=np.array([5.0, 9.0, np.nan, 4.0])
    )
    flags = geometry_flags(track)
    assert ((flags & np.uint32(Flag.POOR_GEOMETRY)) != 0).tolist() == [False, True, False, False]
    assert ((flags & np.uint32(Flag.FEW_SATELLITES)) != 0).tolist() == [False, False, False, True]


def test_a_receiver_tells_that_it_is_badly_placed() -> None:
    hdop = np.array([5.0, 5.1, np.nan, 0.8, 0.8])
    satellites = np.array([4.0, 9.0, np.nan, 3.0, 0.0])
    assert seen_poorly(hdop, satellites).tolist() == [False, True, False, True, False]


@pytest.mark.parametrize(("every", "missing_s", "gaps"), [
    (1, 2.4, 0), (1, 2.6, 1),  # 10 fixes a second: two and a half seconds
    (10, 3.0, 0), (10, 4.0, 1),  # one a second: three and a half intervals
    (40, 8.0, 0), (40, 12.0, 1),  # one every 4 s: never more than 10 s
])  # fmt: skip
def test_what_is_a_gap(every: int, missing_s: float, gaps: int) -> None:
    track = rows_of(load_track(SAMPLE), slice(None, None, every))
    # Times as written, evenly, and one of them put off.
    even: FloatArray = np.arange(len(track), dtype=np.float64) * 0.1 * every
    even[len(even) // 2 :] += missing_s - 0.1 * every
    found = observations_of(replace(track, time_s=even))
    assert int(np.count_nonzero(found.breaks)) == gaps


@pytest.mark.parametrize(("undefined", "told"), [(30, True), (31, False)])
def test_a_tenth_of_the_draws_may_be_undefined(undefined: int, told: bool) -> None:
    columns = np.append(5.0, 5.0 + 0.1 * np.random.default_rng(1).standard_normal(300))
    columns[1 : 1 + undefined] = np.nan
    assert (estimate(columns) is not None) is told
    assert (estimate_of_possible(columns[1:]) is not None) is told
