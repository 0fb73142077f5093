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
from ridelog.filtering.shared_offsets import _log_odds, _noise, find_shared_offsets
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


def _hard_riding(first_s: float, second_s: float) -> float:
    """Return the covariance of two positions of free motion, by Gauss's rule over white jerk."""
    places, weights = np.polynomial.legendre.leggauss(4)
    half_s = 0.5 * min(first_s, second_s)
    at_s = half_s * (1.0 + places)
    jerk = 4.5**2 * half_s * weights @ ((first_s - at_s) ** 2 * (second_s - at_s) ** 2 / 4.0)
    begun = 100.0**2 + 30.0**2 * first_s * second_s + 2.5**2 * (first_s * second_s) ** 2
    return float(jerk + begun)


@pytest.mark.parametrize("length", [1, 2, 4])
def test_the_odds_of_a_displacement_are_those_of_two_normal_densities(length: int) -> None:
    """Four fixes on either side and both axes, dense; one displacement in a hundred."""
    rng = np.random.default_rng(11)
    _, log = ride_and_log(21, rate_hz=1.0, reports_speed=False)
    seen = observations_of(to_track(log))
    time_s = np.cumsum(rng.uniform(0.6, 1.4, len(seen.time_s)))
    factor = rng.uniform(0.7, 2.0, len(time_s))
    seen = replace(seen, time_s=time_s, factor=factor)
    odds = _log_odds(seen, np.ones(len(time_s), dtype=bool), 0.4, length)
    for first in (7, 15, 22):
        rows = np.arange(first - 4, first + length + 4)
        since_s = time_s[rows] - time_s[rows[0]]
        usual = np.array([[_hard_riding(a, b) for a in since_s] for b in since_s])
        usual += np.diag((0.4 * factor[rows]) ** 2)
        aside = np.where((rows >= first) & (rows < first + length), 10.0, 0.0)
        position = seen.position_m[rows] - seen.position_m[first]
        displaced, ridden = (
            -np.linalg.slogdet(covariance)[1]
            - 0.5 * np.sum(position * np.linalg.solve(covariance, position))
            for covariance in (usual + np.outer(aside, aside), usual)
        )
        assert odds[first] == pytest.approx(displaced - ridden + np.log(0.01 / 4.0), abs=1e-4)
    # Fewer than two fixes on a side say nothing of how it went on.
    assert np.flatnonzero(np.isfinite(odds)).tolist() == list(range(2, len(odds) - length - 1))


@pytest.mark.parametrize(("interval_s", "count", "looks"), [
    (0.29, 60, False), (0.31, 60, True), (1.0, 11, False), (1.0, 12, True),
])  # fmt: skip
def test_where_a_displacement_is_looked_for(interval_s: float, count: int, looks: bool) -> None:
    """Fixes closer than 0.3 s show a leap by themselves; fewer than twelve show nothing."""
    _, log = ride_and_log(21, rate_hz=1.0, reports_speed=False)
    seen = observations_of(to_track(log))
    rows = slice(0, count)
    north = np.where(np.arange(len(seen.time_s)) == 6, 300.0, 0.0)
    seen = replace(
        seen, time_s=np.linspace(0.0, interval_s * (count - 1), count), usual_interval_s=interval_s,
        position_m=(0.01 * seen.position_m + north[:, None])[rows], breaks=seen.breaks[: count - 1],
        factor=seen.factor[rows], held=seen.held[rows], slides=seen.slides[rows],
    )  # fmt: skip
    assert np.flatnonzero(_found(seen)).tolist() == ([6] if looks else [])


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
