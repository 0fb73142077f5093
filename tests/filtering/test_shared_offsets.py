"""Fixes a second apart that share a displacement are told from hard riding."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track
from simulate import Observation

from ridelog.core.flags import Flag
from ridelog.core.track import BoolArray
from ridelog.filtering.observations import Observations, observations_of
from ridelog.filtering.shared_offsets import _noise, find_shared_offsets
from ridelog.filtering.smoother import estimate_motion


def _moved(log: Observation, first: int, count: int, aside_m: float) -> Observation:
    north = log.north_m.copy()
    north[first : first + count] += aside_m
    return replace(log, north_m=north)


def _found(seen: Observations) -> BoolArray:
    return find_shared_offsets(seen, np.ones(len(seen.time_s), dtype=bool))


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize("aside_m", [-7.0, 7.0])
def test_a_displacement_of_up_to_four_fixes_is_found(count: int, aside_m: float) -> None:
    _, log = ride_and_log(21, rate_hz=1.0, reports_speed=False)
    for first in range(6, len(log) - 10, 5):
        found = _found(observations_of(to_track(_moved(log, first, count, aside_m))))
        assert found[first : first + count].all()
        assert found.sum() == count


def test_hard_riding_is_not_taken_for_a_displacement() -> None:
    # A second at 6 m/s² between two at -6: harder than the simulated rides ever change.
    time_s = np.arange(0.0, 40.0, 0.01)
    accel = 6.0 * np.sign(np.sin(0.5 * np.pi * time_s)) * (time_s > 10.0)
    distance = np.cumsum(np.cumsum(accel) * 0.01 + 10.0) * 0.01
    _, log = ride_and_log(21, rate_hz=1.0, reports_speed=False)
    rng = np.random.default_rng(7)
    for start in rng.uniform(0.0, 0.99, 20):
        at = np.interp(np.arange(len(log)) + start, time_s, distance) % 2.0e4
        ridden = replace(log, north_m=at + 0.3 * rng.standard_normal(len(log)))
        assert not _found(observations_of(to_track(ridden)))[:38].any()


def test_noise_is_what_errs_across_the_travel() -> None:
    """Hard riding along both legs of a corner, whichever way the ride's origin lies from there."""
    time_s = np.arange(0.0, 60.0, 0.01)
    accel = 6.0 * np.sign(np.sin(0.5 * np.pi * time_s))
    distance = np.cumsum(np.cumsum(accel) * 0.01 + 4.0) * 0.01
    _, log = ride_and_log(21, rate_hz=1.0, reports_speed=False)
    rng = np.random.default_rng(7)
    gone = np.interp(np.arange(len(log)), time_s, distance)
    found = []
    for _ in range(20):
        error = 0.3 * rng.standard_normal((2, len(log)))
        east, north = np.maximum(gone - 150.0, 0.0) + error[0], np.minimum(gone, 150.0) + error[1]
        seen = observations_of(to_track(replace(log, east_m=east, north_m=north)))
        found.append(_noise(seen))
    assert np.mean(found) == pytest.approx(0.3, rel=0.15)


def test_shifting_turning_and_mirroring_change_no_decision() -> None:
    _, log = ride_and_log(22, rate_hz=1.0, reports_speed=False)
    moved = _moved(log, 30, 2, 8.0)
    turned = replace(
        moved,
        east_m=0.6 * moved.east_m + 0.8 * moved.north_m + 300.0,
        north_m=0.8 * moved.east_m - 0.6 * moved.north_m,
    )
    first, second = (_found(observations_of(to_track(one))) for one in (moved, turned))
    assert first.any()
    assert (first == second).all()


def test_a_burst_is_flagged_and_takes_no_part() -> None:
    _, log = ride_and_log(23, rate_hz=1.0, reports_speed=False)
    usual, small, large = (
        estimate_motion(to_track(_moved(log, 25, 3, aside))) for aside in (0.0, 6.0, 8.0)
    )
    assert (small.flags[25:28] & np.uint32(Flag.JUMP)).all()
    assert np.nanmax(np.abs(small.speed_mps - large.speed_mps)) < 0.02
    assert np.nanmax(np.abs(small.speed_mps - usual.speed_mps)) < 1.0
