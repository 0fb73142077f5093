"""Spikes of the reported speed that read zero, or that stand beside a gap."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import kept, ride_and_log
from log_in_memory import to_track

from ridelog.core.flags import Flag
from ridelog.filtering.smoother import estimate_motion


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_one_reading_of_zero_at_speed_is_not_believed(rate_hz: float) -> None:
    ride, log = ride_and_log(3, rate_hz=rate_hz, plateau_s=12.0)
    index = int(np.argmax(log.speed_mps > 8.0)) + round(4.0 * rate_hz)
    speed, course = log.speed_mps.copy(), log.course_rad.copy()
    speed[index], course[index] = 0.0, np.nan
    motion = estimate_motion(to_track(replace(log, speed_mps=speed, course_rad=course)))
    true = np.interp(log.true_time_s[index], ride.truth.time_s, ride.truth.speed_mps)
    assert motion.speed_mps[index] == pytest.approx(true, abs=0.4)
    assert motion.flags[index] & np.uint32(Flag.SPEED_JUMP)


def test_a_stand_is_no_spike() -> None:
    _, log = ride_and_log(3, rate_hz=1.0)
    motion = estimate_motion(to_track(log))
    standing = log.speed_mps < 0.3
    assert standing.sum() > 5
    assert not (motion.flags[standing] & np.uint32(Flag.SPEED_JUMP)).any()


def test_a_spike_before_a_gap_in_a_pull_is_not_believed() -> None:
    ride, log = ride_and_log(3, rate_hz=1.0, plateau_s=20.0)
    spike = int(np.argmax(log.speed_mps > 5.0))
    speed = log.speed_mps.copy()
    speed[spike] += 10.0
    gap = (np.arange(len(log)) > spike) & (np.arange(len(log)) < spike + 5)
    broken = kept(replace(log, speed_mps=speed), ~gap)
    motion = estimate_motion(to_track(broken))
    assert motion.gaps
    true = np.interp(broken.true_time_s[spike], ride.truth.time_s, ride.truth.speed_mps)
    assert motion.speed_mps[spike] == pytest.approx(true, abs=1.0)
    assert motion.flags[spike] & np.uint32(Flag.SPEED_JUMP)
