"""A figure moves by no more than rounding when its log does."""

from dataclasses import replace
from typing import Any

import numpy as np
from filtered_rides import ride_and_log
from log_in_memory import to_track

from ridelog.analysis.ride import analyse
from ridelog.core.track import Track
from ridelog.filtering.smoother import estimate_motion
from ridelog.report.ride_json import ride_json
from ridelog.workflow.verify import disagreements

# Far above rounding (1e-16), far below what any receiver writes.
_HAIR = 1.0e-12


def _moved(track: Track) -> Track:
    return replace(
        track,
        latitude_deg=track.latitude_deg * (1.0 + _HAIR),
        longitude_deg=track.longitude_deg * (1.0 - _HAIR),
        speed_mps=track.speed_mps * (1.0 + _HAIR),
    )


def _result(track: Track) -> dict[str, Any]:
    return ride_json(analyse(estimate_motion(track)))


def test_a_log_moved_by_a_hair_gives_the_same_figures() -> None:
    _, seen = ride_and_log(31, rate_hz=10.0)
    track = to_track(seen)
    moved = _moved(track)
    assert np.any(moved.latitude_deg != track.latitude_deg)
    recorded, computed = _result(track), _result(moved)
    assert len(recorded["launches"]) > 0 and recorded["top_speed"]["best_1s_mps"]
    assert disagreements(recorded, computed, leeway=0.0), "nothing moved: the test would not see it"
    assert disagreements(recorded, computed, leeway=1.0) == []
