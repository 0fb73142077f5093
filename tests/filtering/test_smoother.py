"""The filter on rides whose truth is known, and what must not change its answer."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from filtered_rides import displaced, ride_and_log
from log_in_memory import to_track
from simulate import Place

from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.flags import Flag
from ridelog.core.track import Track
from ridelog.filtering.noise import FIRST_JERK
from ridelog.filtering.posterior import Posterior
from ridelog.filtering.smoother import estimate_motion


def test_smoothed_speed_follows_the_truth_closer_than_the_reported_one() -> None:
    ride, log = ride_and_log(1)
    motion = estimate_motion(to_track(log))
    true = np.interp(log.true_time_s, ride.truth.time_s, ride.truth.speed_mps)
    smoothed = float(np.sqrt(np.mean((motion.speed_mps - true) ** 2)))
    reported = float(np.sqrt(np.nanmean((log.speed_mps - true) ** 2)))
    assert smoothed < 0.6 * reported


@pytest.mark.parametrize("kind", ["clean", "drifting"])
@pytest.mark.parametrize(("rate_hz", "reports"), [(10.0, True), (1.0, True), (10.0, False)])
def test_the_speeds_band_holds_the_truth(kind: str, rate_hz: float, reports: bool) -> None:
    held, count = 0, 0
    for seed in range(4):
        ride, log = ride_and_log(seed, kind=kind, rate_hz=rate_hz, reports_speed=reports)
        motion = estimate_motion(to_track(log))
        true = np.interp(log.true_time_s, ride.truth.time_s, ride.truth.speed_mps)
        moving = true > 1.0
        error = np.abs(motion.speed_mps - true)[moving]
        held += int(np.count_nonzero(error <= 1.645 * motion.speed_sd_mps[moving]))
        count += int(np.count_nonzero(moving))
    # Positions alone cannot show a drift beyond the assumed size, as that of half of these.
    unseen = kind == "drifting" and not reports
    assert held / count > (0.75 if unseen else 0.80)


def test_a_jump_is_flagged_and_does_not_move_the_estimate() -> None:
    _, log = ride_and_log(2)
    index = len(log) // 2
    plain = estimate_motion(to_track(log))
    jumped = estimate_motion(displaced(log, index, 35.0))
    assert jumped.flags[index] & Flag.JUMP
    assert not plain.flags[index] & Flag.JUMP
    assert np.nanmax(np.abs(jumped.speed_mps - plain.speed_mps)) < 0.1


def test_the_same_log_gives_the_same_digits() -> None:
    _, log = ride_and_log(3)
    first = measure_top_speed(estimate_motion(to_track(log)))
    second = measure_top_speed(estimate_motion(to_track(log)))
    assert first == second


@pytest.mark.parametrize("turn_deg", [90.0, 213.0])
def test_turning_the_ride_changes_nothing(turn_deg: float) -> None:
    _, log = ride_and_log(4)
    turn = np.radians(turn_deg)
    turned = replace(
        log,
        east_m=log.east_m * np.cos(turn) + log.north_m * np.sin(turn),
        north_m=-log.east_m * np.sin(turn) + log.north_m * np.cos(turn),
        course_rad=np.mod(log.course_rad + turn, 2.0 * np.pi),
    )
    plain = measure_top_speed(estimate_motion(to_track(log)))
    other = measure_top_speed(estimate_motion(to_track(turned)))
    assert plain.best_1s_mps is not None and other.best_1s_mps is not None
    # The draws turn with the axes, so only the figures' last digits may differ.
    assert other.best_1s_mps.value == pytest.approx(plain.best_1s_mps.value, abs=0.01)
    assert other.best_1s_mps.low == pytest.approx(plain.best_1s_mps.low, abs=0.015)


def test_moving_the_ride_elsewhere_and_later_changes_nothing() -> None:
    _, log = ride_and_log(5)
    here = measure_top_speed(estimate_motion(to_track(log)))
    there = measure_top_speed(
        estimate_motion(to_track(log, Place(latitude_deg=-33.0, longitude_deg=179.9999)))
    )
    assert here.best_1s_mps is not None and there.best_1s_mps is not None
    assert there.best_1s_mps.value == pytest.approx(here.best_1s_mps.value, abs=0.003)


def test_more_noise_does_not_narrow_the_interval() -> None:
    widths = []
    for noise_m in (0.02, 0.1, 0.4):
        _, log = ride_and_log(6, reports_speed=False, position_white_m=noise_m)
        best = measure_top_speed(estimate_motion(to_track(log))).best_1s_mps
        assert best is not None
        widths.append(best.high - best.low)
    assert widths[0] < widths[1] < widths[2]


def test_nothing_is_estimated_across_a_gap() -> None:
    _, log = ride_and_log(7)
    track = to_track(log)
    keep = (log.time_s < 12.0) | (log.time_s > 20.0)
    cut = to_track(
        replace(
            log,
            **{
                name: getattr(log, name)[keep]
                for name in (
                    "true_time_s", "time_s", "east_m", "north_m", "height_m", "speed_mps",
                    "course_rad", "hdop", "satellites", "fix_kind", "position_sd_m", "speed_sd_mps",
                )
            },
        )
    )  # fmt: skip
    assert len(cut) < len(track)
    motion = estimate_motion(cut)
    assert len(motion.pieces) == 2
    assert motion.gaps[0] == pytest.approx((11.9, 20.1), abs=0.11)
    with pytest.raises(NotEnoughDataError, match="nothing is known of the motion at 16.0 s"):
        motion.paths(15.0, 17.0)


def test_standing_is_recognised() -> None:
    ride, log = ride_and_log(8)
    motion = estimate_motion(to_track(log))
    stand = next(span for span in ride.labels["stands"] if span.end_s - span.start_s > 4.0)
    middle = 0.5 * (stand.start_s + stand.end_s)
    row = int(np.argmin(np.abs(log.time_s - middle)))
    assert motion.flags[row] & Flag.STANDSTILL
    assert motion.speed_mps[row] < 0.05


def only(track: Track, rows: slice) -> Track:
    arrays: dict[str, Any] = {
        n: v[rows].copy() for n, v in vars(track).items() if isinstance(v, np.ndarray)
    }
    return replace(track, **arrays)


def test_two_fixes_are_not_enough() -> None:
    _, log = ride_and_log(9)
    with pytest.raises(NotEnoughDataError, match="nowhere 3 in a row"):
        estimate_motion(only(to_track(log), slice(2)))


@pytest.mark.parametrize(("fixes", "least"), [(3, FIRST_JERK), (4, 0.0)])
def test_three_fixes_tell_nothing_of_how_acceleration_changes(fixes: int, least: float) -> None:
    """An even acceleration goes through any three speeds: filtering (17)."""
    _, log = ride_and_log(9)
    motion = estimate_motion(only(to_track(log), slice(None, 10 * fixes, 10)))
    assert isinstance(motion.posterior, Posterior)
    jerk = motion.posterior._cautious.jerk
    assert (jerk >= FIRST_JERK).all() if least else (jerk < FIRST_JERK).any()


def test_a_long_log_is_learnt_coarsely_to_the_same_figure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    _, log = ride_and_log(10)
    whole = measure_top_speed(estimate_motion(to_track(log))).best_1s_mps
    monkeypatch.setattr("ridelog.filtering.smoother.LONGEST_WHOLE", 100)
    coarse = measure_top_speed(estimate_motion(to_track(log))).best_1s_mps
    assert whole is not None and coarse is not None
    assert coarse.value == pytest.approx(whole.value, abs=0.03)


@pytest.mark.parametrize("step_m", [0.0, 0.7])
def test_a_receiver_that_reports_a_stand_is_not_moved_by_its_positions(step_m: float) -> None:
    _, log = ride_and_log(7)
    n = len(log)
    random = np.random.default_rng(3)
    drift = 0.02 * np.cumsum(random.normal(size=n)) + step_m * (np.arange(n) > n // 2)
    stood = replace(
        log,
        east_m=np.asarray(drift),
        north_m=np.zeros(n),
        speed_mps=np.abs(0.02 * random.normal(size=n)),
    )
    best = measure_top_speed(estimate_motion(to_track(stood))).best_1s_mps
    assert best is not None
    assert best.high < 0.2
