"""Positions that slide while satellites stand badly placed pull at no speed."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track
from simulate import Observation

from ridelog.core.track import BoolArray
from ridelog.filtering.smoother import estimate_motion


def _plateau(log: Observation) -> BoolArray:
    """Return eight seconds up to some 30 m before the first turn."""
    distance = np.hypot(log.east_m - log.east_m[0], log.north_m - log.north_m[0])
    leaves = log.time_s[np.argmax(distance > distance.max() - 30.0)]
    within: BoolArray = (log.time_s > leaves - 8.0) & (log.time_s < leaves)
    return within


def _slid(log: Observation, where: BoolArray, *, hdop: float, slide_m: float) -> Observation:
    start_s, end_s = log.time_s[where][[0, -1]]
    course = np.sin(np.pi * np.clip((log.time_s - start_s) / (end_s - start_s), 0.0, 1.0)) ** 2
    return replace(log, east_m=log.east_m + slide_m * course, hdop=np.where(where, hdop, log.hdop))


def test_a_slide_at_poor_geometry_moves_no_speed() -> None:
    _, log = ride_and_log(11, rate_hz=1.0, reports_speed=False)
    where = _plateau(log)
    still, slid = (
        estimate_motion(to_track(_slid(log, where, hdop=6.0, slide_m=slide)))
        for slide in (0.0, 15.0)
    )
    assert np.nanmax(np.abs(slid.speed_mps - still.speed_mps)) < 0.02
    assert slid.speed_sd_mps[where].max() > 2.0 * slid.usual_speed_sd_mps


def test_a_log_badly_placed_throughout_is_still_read() -> None:
    ride, log = ride_and_log(11, rate_hz=1.0, reports_speed=False)
    motion = estimate_motion(to_track(replace(log, hdop=np.full(len(log), 6.0))))
    true = np.interp(log.true_time_s, ride.truth.time_s, ride.truth.speed_mps)
    assert motion.speed_mps == pytest.approx(true, abs=1.5)
