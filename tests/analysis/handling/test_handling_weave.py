"""Weave: the filters, the fit of an onset, and what is claimed on rides with and without it."""

import math

import numpy as np
import pytest
from handling_rides import hard_steered_ride, steady_ride, weave_ride
from labelled_rides import RandomRide
from log_in_memory import to_track
from receiver_presets import preset
from scipy.optimize import minimize

from ridelog.analysis.handling.band import (
    Seconds,
    degrees_of_freedom,
    filter_of,
    seconds_in_band,
)
from ridelog.analysis.handling.measure import (
    SWING_RAD,
    count_corrections,
    measure_handling,
    reversals,
)
from ridelog.analysis.handling.weave import _fitted, condensed, fit_onset, measure_weave
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion


def logged(
    ride: RandomRide, rate_hz: float, *, speed: bool = True, white_m: float = 0.05, seed: int = 7
) -> Motion:
    rng = np.random.default_rng(seed)
    receiver = preset("clean", rate_hz, rng, reports_speed=speed, position_white_m=white_m)
    return estimate_motion(to_track(receiver.observe(ride.truth, rng)))


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 25.0])
@pytest.mark.parametrize("derivative", [0, 1, 2])
def test_the_filter_passes_the_band_and_nothing_else(rate_hz: float, derivative: int) -> None:
    kernel = filter_of(rate_hz, 0.8, min(3.0, 0.44 * rate_hz), derivative)
    time_s = np.arange(round(40 * rate_hz)) / rate_hz
    inner = slice(len(kernel), -len(kernel))

    def passed(hz: float) -> float:
        out = np.convolve(np.cos(2.0 * np.pi * hz * time_s), kernel, "same")[inner]
        return float(np.sqrt(2.0) * out.std() / (2.0 * np.pi * hz) ** derivative)

    for hz in (1.0, 1.3, 1.7):
        assert passed(hz) == pytest.approx(1.0, abs=0.04)
    # What a hand steers with, and the turns of a ride.
    for hz in (0.05, 0.2, 0.4, 0.6):
        assert passed(hz) < 0.02


def test_derivatives_have_the_right_sign() -> None:
    time_s = np.arange(400) / 10.0
    turn = 2.0 * np.pi * 1.3
    wave = np.sin(turn * time_s)
    for derivative, wanted in (
        (0, wave),
        (1, turn * np.cos(turn * time_s)),
        (2, -(turn**2) * wave),
    ):
        out = np.convolve(wave, filter_of(10.0, 0.8, 3.0, derivative), "same")
        assert np.abs(out - wanted)[60:-60].max() < 0.03 * turn**derivative


def test_degrees_of_freedom_are_those_of_filtered_noise() -> None:
    kernel = filter_of(10.0, 0.8, 3.0)
    noise = np.random.default_rng(1).standard_normal(400_000)
    power = (np.convolve(noise, kernel, "valid") ** 2)[: 10 * 39_000].reshape(-1, 10).mean(axis=1)
    measured = 2.0 * power.mean() ** 2 / power.var()
    assert degrees_of_freedom(kernel, 10) == pytest.approx(measured, rel=0.03)


def test_the_fit_is_the_most_likely_one() -> None:
    """The multiplicative updates end where a general minimiser ends."""
    rng = np.random.default_rng(2)
    bases = np.ones((1, 60, 3))
    bases[0, :, 1] = rng.uniform(4.0, 100.0, 60)
    bases[0, :, 2] = np.maximum(bases[0, :, 1] - 40.0, 0.0)
    mean = bases[0] @ np.array([0.003, 1e-5, 2e-4])
    powers = mean * rng.gamma(2.0, 0.5, 60)
    cost, parts = _fitted(powers, bases, 0.0, 4000)
    weight = np.append(np.ones(59), 2.0)

    def value(log_parts: np.ndarray) -> float:
        model = bases[0] @ np.exp(log_parts)
        return float((weight * (np.log(model) + powers / model)).sum())

    best = minimize(value, np.log([0.003, 1e-5, 2e-4]), method="Nelder-Mead",
                    options={"xatol": 1e-8, "fatol": 1e-10, "maxiter": 8000})  # fmt: skip
    assert cost[0] == pytest.approx(best.fun, abs=1e-3)
    assert parts[0, 2] == pytest.approx(np.exp(best.x[2]), rel=0.02)


@pytest.mark.parametrize(("rate_hz", "seed"), [(10.0, 1), (10.0, 2), (5.0, 3), (25.0, 4)])
def test_the_onset_is_found(rate_hz: float, seed: int) -> None:
    ride = weave_ride(np.random.default_rng(seed), rms_radps=0.2, frequency_hz=1.4)
    found = measure_weave(logged(ride, rate_hz))
    assert found.weave_onset_mps is not None, found.weave_reason
    assert ride.weave_onset_mps is not None
    assert abs(found.weave_onset_mps.value - ride.weave_onset_mps) < 1.0
    assert found.weave_rms_radps is not None and abs(found.weave_rms_radps.value - 0.2) < 0.05
    assert found.weave_frequency_hz == pytest.approx(1.4, abs=0.15)
    slow, fast = found.weave[0], found.weave[-1]
    assert slow.yaw_rate_rms_radps is None or slow.yaw_rate_rms_radps.low < 0.05
    assert fast.yaw_rate_rms_radps is not None and fast.yaw_rate_rms_radps.low > 0.1


def test_a_speed_ridden_for_too_few_seconds_says_so() -> None:
    ride = weave_ride(np.random.default_rng(2), rms_radps=0.2, frequency_hz=1.4)
    motion = logged(ride, 10.0)
    time_s, speed = motion.track.time_s, motion.speed_mps
    # Of the seconds at 7 to 8 m/s those of the last pull alone are left.
    out = [(t - 0.1, t + 0.1) for t, v in zip(time_s, speed, strict=True) if 6.9 < v < 8.1]
    out = [(first, last) for first, last in out if last < 120.0]
    weave = measure_weave(motion, excluded=tuple(out)).weave
    few = [part for part in weave if part.yaw_rate_rms_radps is None]
    assert few and all(0.0 < part.seconds < 4.0 for part in few)
    for part in few:
        assert part.reason == (
            f"only {part.seconds:.0f} s were ridden straight at these speeds; the swinging at a "
            "speed needs 4"
        )
    assert {part.reason for part in weave if part not in few} == {""}


@pytest.mark.parametrize("make", [steady_ride, hard_steered_ride])
@pytest.mark.parametrize("seed", [5, 6])
def test_none_is_claimed_without_one(make, seed: int) -> None:  # type: ignore[no-untyped-def]
    found = measure_weave(logged(make(np.random.default_rng(seed)), 10.0))
    assert (found.weave_onset_mps, found.weave_rms_radps, found.weave_frequency_hz) == (
        None,
        None,
        None,
    )
    assert found.weave_reason.startswith(
        "no swinging from side to side that grows with speed was seen"
    )
    assert found.weave_reason.endswith(
        f"; swings of {math.degrees(found.weave_visible_from_radps):.1f} °/s (RMS of yaw rate) or "
        "more would have shown"
    )
    assert found.weave_visible_from_radps < 0.15
    assert len(found.weave) > 4


def test_a_weak_weave_is_not_claimed() -> None:
    ride = weave_ride(np.random.default_rng(7), rms_radps=0.06)
    assert measure_weave(logged(ride, 10.0)).weave_onset_mps is None


@pytest.mark.parametrize("rate_hz", [1.0, 2.0, 4.0])
def test_a_slow_log_gives_null_with_the_reason(rate_hz: float) -> None:
    ride = weave_ride(np.random.default_rng(8), rms_radps=0.4)
    handling = measure_handling(logged(ride, rate_hz, white_m=0.3))
    assert handling.weave_onset_mps is None
    assert handling.weave == ()
    assert handling.weave_reason == (
        f"a log of {rate_hz:g} fixes a second cannot show weave of 1 to 2 swings a second, nor "
        "steering corrections; 5 a second can, 10 are better"
    )
    assert handling.steering_corrections_per_100m is None
    assert f"Weave: {handling.weave_reason}." in handling.reason


def test_positions_show_it_where_their_noise_allows() -> None:
    ride = weave_ride(np.random.default_rng(9), rms_radps=0.35, onset_mps=5.0)
    fine = measure_weave(logged(ride, 10.0, speed=False, white_m=0.01))
    assert fine.weave_onset_mps is not None
    assert abs(fine.weave_onset_mps.value - 5.0) < 1.0
    coarse = measure_weave(logged(ride, 10.0, speed=False, white_m=0.3))
    assert coarse.weave_onset_mps is None
    assert coarse.weave_reason.endswith("; the noise of this log hides all but a violent weave")


def test_too_little_straight_riding_says_so() -> None:
    ride = weave_ride(np.random.default_rng(10), rms_radps=0.35)
    motion = logged(ride, 10.0)
    duration = ride.truth.duration_s
    found = measure_weave(motion, excluded=((12.0, duration),))
    assert found.weave_onset_mps is None
    assert found.weave_reason.startswith("only ")
    assert "s were ridden straight and faster than a walk with a good signal" in found.weave_reason


def test_one_speed_cannot_show_growth() -> None:
    count = 40
    ones = np.ones(count)
    seconds = Seconds(
        ones.cumsum(), np.full((count, 1), 6.0), np.ones(1), ones, ones, ones, ones, 4.0
    )
    assert fit_onset(seconds, 10.0) is None


def test_long_rides_are_condensed_by_speed() -> None:
    rng = np.random.default_rng(16)
    speed = rng.uniform(2.0, 10.0, (1003, 1))
    power = rng.gamma(2.0, 0.5, 1003)
    seconds = Seconds(power.cumsum(), speed, np.ones(1), power, power, power, power, 4.0)
    few = condensed(seconds, 200)
    assert len(few) == 167 and few.freedom == 24.0
    assert np.all(np.diff(few.mean_speed_mps) > 0.0)
    assert few.across.mean() == pytest.approx(1.0, abs=0.1)
    assert condensed(seconds, 2000) is seconds


def test_a_weave_at_every_speed_has_an_onset_at_or_below_the_slowest() -> None:
    rng = np.random.default_rng(17)
    speed = np.linspace(2.2, 9.0, 90)[:, None]
    weave = (0.3 * speed[:, 0]) ** 2
    half = 2.2
    velocity = 0.0025 + weave / (2.0 * np.pi * 1.4) ** 2
    across, along, across_rate, along_rate = (
        mean * rng.gamma(half, 1.0 / half, 90)
        for mean in (velocity, np.full(90, 0.0025), 0.3 + weave, np.full(90, 0.3))
    )
    seconds = Seconds(
        np.cumsum(np.ones(90)), speed, np.ones(1), across, along, across_rate, along_rate, 2 * half
    )
    fit = fit_onset(seconds, 10.0)
    assert fit is not None and fit.gain > 7.0
    assert np.quantile(fit.onset_mps, 0.05) < 2.2 + 0.4
    assert fit.fast_rms_radps[0] == pytest.approx(0.3, abs=0.04)


def test_jumps_of_speed_are_left_out() -> None:
    ride = steady_ride(np.random.default_rng(12))
    rng = np.random.default_rng(12)
    motion = estimate_motion(to_track(preset("jumpy", 10.0, rng).observe(ride.truth, rng)))
    assert measure_weave(motion).weave_onset_mps is None
    seconds = seconds_in_band(motion)
    assert len(seconds) > 30
    assert np.median(seconds.across) == pytest.approx(np.median(seconds.along), rel=0.6)


def test_reversals_of_a_wave() -> None:
    time_s = np.linspace(0.0, 10.0, 1001)
    # Ten extremes in five periods: the first swing only tells the side, the last one is cut short.
    wave = np.sin(2.0 * np.pi * 0.5 * time_s)
    assert reversals(0.6 * SWING_RAD * wave[:, None], SWING_RAD)[0] == 8.0
    assert reversals(0.4 * SWING_RAD * wave[:, None], SWING_RAD)[0] == 0.0
    bend = 0.1 * time_s
    assert reversals(bend[:, None], SWING_RAD)[0] == 0.0


def test_hard_steering_is_counted_and_a_steady_hand_hardly() -> None:
    rates = []
    for make in (steady_ride, hard_steered_ride):
        found = count_corrections(logged(make(np.random.default_rng(13)), 10.0))
        assert found.steering_corrections_per_100m is not None
        rates.append(found.steering_corrections_per_100m.value)
    assert rates[1] > 2.0 * rates[0]


def test_too_little_way_counts_nothing() -> None:
    ride = steady_ride(np.random.default_rng(14))
    found = count_corrections(logged(ride, 10.0), excluded=((10.0, ride.truth.duration_s),))
    assert found.steering_corrections_per_100m is None
    assert found.steering_reason.endswith(
        " ft) were ridden straight and faster than a walk with a good signal; steering corrections "
        "need 50 m (164 ft)"
    )


def test_noise_that_makes_swings_forbids_a_count() -> None:
    ride = steady_ride(np.random.default_rng(15))
    found = count_corrections(logged(ride, 5.0, speed=False, white_m=0.3))
    assert found.steering_corrections_per_100m is None
    assert found.steering_reason == (
        "the noise of this log makes and hides so many swings of 2 degrees that steering "
        "corrections cannot be counted"
    )
