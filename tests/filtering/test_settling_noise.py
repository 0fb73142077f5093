"""A run before the receiver settled counts with its own noise; spikes off a level are screened."""

from dataclasses import replace

import numpy as np
from filtered_rides import ride_and_log
from log_in_memory import to_track

from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.analysis.windows import windows_of
from ridelog.filtering.observations import observations_of
from ridelog.filtering.outliers import screen
from ridelog.filtering.quality import settling_factor
from ridelog.filtering.smoother import estimate_motion


def test_the_factor_is_how_much_noisier_the_start_was() -> None:
    random = np.random.default_rng(1)
    residual = 0.1 * random.normal(size=(4000, 2))
    residual[:2000] *= 3.0
    settling = np.arange(4000) < 2000
    assert abs(settling_factor(residual, settling) - 3.0) < 0.2


def test_few_fixes_on_one_side_tell_no_factor() -> None:
    assert np.isnan(settling_factor(np.ones((30, 2)), np.arange(30) < 5))


def test_a_faster_run_while_settling_widens_the_interval_upward() -> None:
    ride, log = ride_and_log(5, kind="warmup")
    motion = estimate_motion(to_track(log))
    assert motion.settling_factor > 1.0
    windows = windows_of(motion, 1.0)
    assert windows.settling.any()
    assert not (windows.settling & windows.usable).any()
    best = measure_top_speed(motion).best_1s_mps
    alone = measure_top_speed(replace(motion, settling_factor=np.nan)).best_1s_mps
    assert best is not None and alone is not None
    assert best.high >= alone.high
    assert best.low <= ride.truth.best_mean_speed().speed_mps <= best.high


def test_a_single_reading_off_a_level_is_not_believed() -> None:
    _, log = ride_and_log(6, rate_hz=1.0, plateau_s=12.0)
    fastest = int(np.argmax(np.convolve(log.speed_mps, np.ones(5), mode="valid"))) + 2
    speed = log.speed_mps.copy()
    speed[fastest] += 2.4
    # Positions that slide at the same time cannot contradict it.
    east = log.east_m.copy()
    east[fastest : fastest + 3] += 4.0
    screened = screen(observations_of(to_track(replace(log, speed_mps=speed, east_m=east))))
    assert not screened.good_velocity[fastest]
    assert screen(observations_of(to_track(log))).good_velocity[fastest]


def test_crumbs_between_slides_carry_no_top_speed() -> None:
    _, log = ride_and_log(8, rate_hz=1.0, reports_speed=False)
    random = np.random.default_rng(4)
    moving = log.true_time_s > 8.0
    east = np.where(moving, log.east_m + 40.0 * random.normal(size=len(log)), log.east_m)
    top = measure_top_speed(estimate_motion(to_track(replace(log, east_m=east))))
    assert top.best_1s_mps is None or top.best_1s_mps.high - top.best_1s_mps.low > 4.0
