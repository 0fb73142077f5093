"""Rounding of the reported speed."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track

from ridelog.core.units import MPS_PER_KMH, MPS_PER_KNOT
from ridelog.filtering.observations import ANGLE_STEPS_DEG, SPEED_STEPS_MPS, written_step
from ridelog.filtering.receiver import habits
from ridelog.filtering.receiver.habits import lasting_rounding, rounding_sd
from ridelog.filtering.smoother import estimate_motion


@pytest.mark.parametrize("step", [MPS_PER_KMH, 0.1 * MPS_PER_KNOT, 0.01])
@pytest.mark.parametrize("decimals", [2, 4])
def test_the_step_is_found_however_it_is_written(step: float, decimals: int) -> None:
    speed = np.random.default_rng(1).uniform(0.0, 12.0, 3000)
    written = np.round(np.round(speed / step) * step, decimals)
    assert written_step(written, SPEED_STEPS_MPS) == pytest.approx(step, rel=0.06)


@pytest.mark.parametrize("step", [1e-5, 1e-4, 1e-4 / 60.0, 2.0**-18])
def test_the_step_of_positions_is_that_of_the_file(step: float) -> None:
    latitude = 47.3 + np.cumsum(np.random.default_rng(2).uniform(0.0, 5e-5, 300))
    written = np.round(np.round(latitude / step) * step, 9)
    assert written_step(written, ANGLE_STEPS_DEG) == pytest.approx(step, rel=1e-9)


@pytest.mark.parametrize("rate_hz", [10.0, 1.0])
def test_travel_on_a_straight_is_no_step(rate_hz: float) -> None:
    """No latitude is visited twice, and at a steady speed they lie evenly."""
    latitude = np.round(47.3 + 1.0371e-4 * np.arange(40) / rate_hz, 8)
    assert written_step(latitude, ANGLE_STEPS_DEG) < 2e-7


def test_no_step_without_values() -> None:
    assert written_step(np.full(5, np.nan), SPEED_STEPS_MPS) == 0.0
    assert written_step(np.array([3.0, 3.0, 4.0]), SPEED_STEPS_MPS) == 0.0
    assert lasting_rounding(0.0) == 0.0


@pytest.mark.parametrize("noise_mps", [0.02, 0.05])
def test_what_lasts_is_what_many_readings_err_by(
    noise_mps: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(habits, "_LEAST_NOISE_MPS", noise_mps)
    step = MPS_PER_KMH
    rng = np.random.default_rng(2)
    speed = rng.uniform(5.0, 5.0 + 20.0 * step, 1000)
    read = np.round((speed + noise_mps * rng.standard_normal((2000, 1000))) / step) * step
    error = read.mean(axis=0) - speed
    assert lasting_rounding(step) == pytest.approx(float(np.sqrt(np.mean(error**2))), rel=0.06)


def test_without_noise_all_of_it_lasts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(habits, "_LEAST_NOISE_MPS", 0.0)
    # Five harmonics hold 89 % of the variance of a sawtooth.
    assert lasting_rounding(1.0) == pytest.approx(rounding_sd(1.0), rel=0.06)
    assert rounding_sd(1.0) == pytest.approx(0.288675, abs=5e-7)


def test_fine_steps_leave_nothing_that_lasts() -> None:
    assert lasting_rounding(0.1 * MPS_PER_KNOT) < 0.004
    assert lasting_rounding(MPS_PER_KMH) > 0.05


def test_a_coarse_step_is_said() -> None:
    _, log = ride_and_log(51)
    speed = np.round(log.speed_mps / MPS_PER_KMH) * MPS_PER_KMH
    track = to_track(log)
    motion = estimate_motion(replace(track, speed_mps=speed))
    assert (
        "receiver: reported speed is written in steps of 0.278 m/s, an error of 0.080 m/s that "
        "lasts while the speed stays the same"
    ) in motion.history
