"""A receiver's errors are as large, as slow and as wild as it declares."""

from dataclasses import replace

import numpy as np
import pytest
from odd_receiver import LagKind, OddReceiver, reflected_walk
from random_rides import out_and_back
from receiver_presets import RECEIVER_KINDS, ReceiverKind, preset
from simulate import Observation, Receiver, RideLayout, Settling, Truth, slow
from simulate.disturbances import Disturbance, displacement, draw
from truth_at import truth_at

from ridelog.core.track import FloatArray
from ridelog.core.units import MPS_PER_KNOT

EXACT = OddReceiver(
    position_white_m=0.0,
    drift_m=0.0,
    speed_white_mps=0.0,
    speed_slow_mps=0.0,
    height_white_m=0.0,
    height_drift_m=0.0,
    speed_step_mps=0.0,
    course_step_deg=0.0,
)


@pytest.fixture(scope="module")
def truth() -> Truth:
    ride = RideLayout(heading_rad=1.1)
    ride.stand(20.0)
    ride.shift(8.0)
    ride.hold(400.0)
    ride.shift(0.0)
    ride.stand(20.0)
    return ride.build()


def _errors(observation: Observation, truth: Truth) -> tuple[FloatArray, FloatArray]:
    east, north = truth.position_at(observation.true_time_s)
    return observation.east_m - east, observation.north_m - north


def test_without_errors_it_is_the_truth(truth: Truth) -> None:
    seen = EXACT.observe(truth, np.random.default_rng(1))
    east, north = _errors(seen, truth)
    assert np.max(np.hypot(east, north)) == 0.0
    state = truth_at(truth, seen.time_s)
    assert seen.speed_mps == pytest.approx(state.speed_mps, abs=1e-9)
    moving = seen.speed_mps > 0.3
    assert seen.course_rad[moving] == pytest.approx(np.mod(state.heading_rad[moving], 2.0 * np.pi))
    assert np.all(np.isnan(seen.course_rad[~moving]))


@pytest.mark.parametrize("tail", [np.inf, 5.0])
def test_white_errors_have_their_size_and_no_memory(truth: Truth, tail: float) -> None:
    receiver = replace(EXACT, position_white_m=0.3, position_tail=tail, rate_hz=25.0)
    for error in _errors(receiver.observe(truth, np.random.default_rng(2)), truth):
        assert np.std(error) == pytest.approx(0.3, rel=0.06)
        assert abs(np.corrcoef(error[1:], error[:-1])[0, 1]) < 0.03
        outside = np.mean(np.abs(error) > 4.0 * 0.3)
        # A normal error passes four sigma once in 16,000, Student's t of five once in 250.
        assert outside < 5e-4 if tail == np.inf else outside > 1e-3


def test_reported_velocity_errors_have_their_size(truth: Truth) -> None:
    receiver = replace(EXACT, speed_white_mps=0.08, speed_slow_mps=0.03, rate_hz=10.0)
    seen = receiver.observe(truth, np.random.default_rng(3))
    fast = truth_at(truth, seen.time_s).speed_mps > 7.9
    along = seen.speed_mps[fast] - 8.0
    across = 8.0 * (seen.course_rad[fast] - 1.1)
    for error in (along, across):
        assert np.std(error) == pytest.approx(np.hypot(0.08, 0.03), rel=0.06)
        # Half-second neighbours share the slow part only: correlation about 0.03² / 0.0854².
        assert np.corrcoef(error[5:], error[:-5])[0, 1] == pytest.approx(0.11, abs=0.07)


@pytest.mark.parametrize(
    ("make", "rate"),
    [(slow.sinusoids, 1.0), (slow.second_order, 1.0)],
    ids=["sinusoids", "second order"],
)
def test_smooth_drifts_have_their_size_and_rate(make: object, rate: float) -> None:
    assert callable(make)
    time_s = np.arange(0.0, 3000.0, 0.2)
    many = [make(time_s, 1.0, 30.0, np.random.default_rng(seed)) for seed in range(12)]
    assert np.sqrt(np.mean(np.square(many))) == pytest.approx(1.0, rel=0.12)
    speeds = np.diff(many, axis=1) / 0.2
    assert np.sqrt(np.mean(speeds**2)) == pytest.approx(rate / 30.0, rel=0.25)
    # Smooth in its rate: a first-order process would jerk at every step.
    assert np.max(np.abs(np.diff(speeds, axis=1))) < 0.01


def test_moving_average_forgets_at_once() -> None:
    time_s = np.arange(0.0, 4000.0, 0.25)
    error = slow.moving_average(time_s, 0.03, 3.0, np.random.default_rng(4))
    assert np.std(error) == pytest.approx(0.03, rel=0.08)
    halfway = np.corrcoef(error[6:], error[:-6])[0, 1]
    beyond = np.corrcoef(error[16:], error[:-16])[0, 1]
    # Triangular correlation: a half at half the width, nothing beyond; exp(-t/tau) would keep it.
    assert halfway == pytest.approx(0.5, abs=0.08)
    assert abs(beyond) < 0.08


def test_reflected_walk_stays_within_walls() -> None:
    time_s = np.arange(0.0, 6000.0, 0.25)
    error = reflected_walk(time_s, 0.03, 3.0, np.random.default_rng(5))
    assert np.std(error) == pytest.approx(0.03, rel=0.05)
    assert np.max(np.abs(error)) <= 0.03 * np.sqrt(3.0) + 1e-12
    lag = 12
    assert np.corrcoef(error[lag:], error[:-lag])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.06)


def test_position_drift_is_what_was_declared(truth: Truth) -> None:
    sizes = []
    for seed in range(12):
        receiver = replace(EXACT, drift_m=1.0, drift_scale_s=25.0)
        sizes.append(np.std(_errors(receiver.observe(truth, np.random.default_rng(seed)), truth)))
    assert 0.8 < np.mean(sizes) < 1.15


def test_settling_falls_away(truth: Truth) -> None:
    receiver = replace(EXACT, settling=Settling(60.0, offset_m=6.0))
    seen = receiver.observe(truth, np.random.default_rng(6))
    away = np.hypot(*_errors(seen, truth))
    assert away[0] == pytest.approx(6.0)
    assert np.all(np.diff(away) < 1e-9)
    assert away[seen.time_s > 60.0].max() < 6.0 * np.exp(-3.0)
    assert seen.hdop[0] > 4.0 > 1.3 > seen.hdop[-1]
    assert seen.satellites[0] < 7 < 10 < seen.satellites[-1] + 1


def test_disturbances_do_what_they_say() -> None:
    time_s = np.arange(0.0, 60.0, 0.1)
    events = (
        Disturbance("jump", 10.0, 10.0, east_m=20.0),
        Disturbance("burst", 20.0, 21.0, north_m=7.0),
        Disturbance("slew", 30.0, 38.0, east_m=40.0),
    )
    east, north = displacement(events, time_s)
    assert np.count_nonzero(east[time_s < 25.0]) == 1
    assert east[100] == 20.0
    assert np.count_nonzero(north) in (10, 11)
    slewing = east[(time_s > 30.0) & (time_s < 38.0)]
    assert np.max(slewing) == pytest.approx(40.0, abs=0.1)
    # A slew drifts: no two neighbours are further apart than pi 40 / 8 * 0.1 m.
    assert np.max(np.abs(np.diff(slewing))) < 1.6
    assert np.max(np.abs(east[time_s > 38.1])) < 1e-12


def test_slews_raise_hdop_and_spare_the_reported_speed(truth: Truth) -> None:
    receiver = replace(EXACT, events_per_min={"slew": 1.0})
    seen = receiver.observe(truth, np.random.default_rng(7))
    assert seen.events
    event = seen.events[0]
    inside = (seen.time_s > event.start_s) & (seen.time_s < event.end_s)
    assert np.min(seen.hdop[inside]) > 5.0
    assert seen.speed_mps == pytest.approx(truth_at(truth, seen.time_s).speed_mps, abs=1e-9)


def test_spikes_and_holes(truth: Truth) -> None:
    receiver = replace(EXACT, events_per_min={"spike": 2.0, "hole": 2.0}, drop_share=0.05)
    seen = receiver.observe(truth, np.random.default_rng(8))
    wrong = np.abs(seen.speed_mps - truth_at(truth, seen.time_s).speed_mps) > 1.0
    spikes = [event for event in seen.events if event.kind == "spike"]
    assert 0 < np.count_nonzero(wrong) <= len(spikes)
    assert np.max(np.diff(seen.time_s)) > 0.5
    share = 1.0 - len(seen) / (truth.duration_s * 10.0)
    assert 0.05 < share < 0.2


def test_number_of_disturbances_is_poisson() -> None:
    counts = [len(draw(600.0, {"jump": 0.5}, np.random.default_rng(s))) for s in range(200)]
    assert np.mean(counts) == pytest.approx(5.0, abs=0.5)
    assert np.var(counts) == pytest.approx(5.0, abs=1.6)


@pytest.mark.parametrize("kind", ["mean", "delay", "first order"])
def test_lag_delays_the_reported_speed(truth: Truth, kind: LagKind) -> None:
    seen = replace(EXACT, lag_s=0.6, lag_kind=kind).observe(truth, np.random.default_rng(9))
    rising = float(np.interp(4.0, seen.speed_mps[:300], seen.time_s[:300]))
    assert rising - truth.crossing_times(4.0)[0] == pytest.approx(0.6, abs=0.03)


def test_static_hold_and_frozen_course(truth: Truth) -> None:
    receiver = replace(OddReceiver(), hold_mps=0.5, course_freezes=True)
    seen = receiver.observe(truth, np.random.default_rng(10))
    held = seen.time_s > seen.time_s[-1] - 18.0
    assert np.all(seen.speed_mps[held] == 0.0)
    assert np.unique(seen.east_m[held]).size == 1
    assert np.unique(seen.course_rad[held]).size == 1
    assert np.isfinite(seen.course_rad[held][0])


def test_rounding_of_the_reported_speed(truth: Truth) -> None:
    step = 0.1 * MPS_PER_KNOT
    seen = replace(Receiver(), speed_step_mps=step).observe(truth, np.random.default_rng(11))
    assert np.max(np.abs(seen.speed_mps / step - np.round(seen.speed_mps / step))) < 1e-6


def test_antenna_ahead_swings_wide_in_a_turn() -> None:
    ride = RideLayout()
    ride.shift(2.0)
    ride.turn(2.0 * np.pi, 3.0)
    truth = ride.build()
    seen = replace(EXACT, ahead_m=0.4).observe(truth, np.random.default_rng(1))
    # R² + d² instead of R²: 3.027 m for 3 m and 0.4 m, and the speed in the same proportion.
    assert np.max(seen.speed_mps) == pytest.approx(2.0 * np.hypot(3.0, 0.4) / 3.0, rel=1e-3)


def test_jittered_stamps_stay_in_order(truth: Truth) -> None:
    receiver = replace(Receiver(), rate_hz=25.0, stamp_jitter_s=0.1)
    seen = receiver.observe(truth, np.random.default_rng(12))
    assert np.min(np.diff(seen.time_s)) > 0.0
    assert seen.time_s[0] == 0.0
    assert np.std(np.diff(seen.time_s)) > 0.005


def test_claimed_deviation(truth: Truth) -> None:
    receiver = replace(Receiver(), claims_sd=1.5, drift_m=1.0, position_white_m=0.0)
    seen = receiver.observe(truth, np.random.default_rng(13))
    assert np.median(seen.position_sd_m) == pytest.approx(1.5, rel=0.1)
    assert np.all(np.isnan(Receiver().observe(truth, np.random.default_rng(1)).position_sd_m))


@pytest.mark.parametrize("kind", RECEIVER_KINDS)
@pytest.mark.parametrize("rate_hz", [1.0, 10.0, 25.0])
def test_presets_by_kind(kind: ReceiverKind, rate_hz: float) -> None:
    truth = out_and_back(np.random.default_rng(1), top_mps=9.0, passes=3).truth
    for seed in range(4):
        rng = np.random.default_rng(seed)
        receiver = preset(kind, rate_hz, rng)
        seen = receiver.observe(truth, rng)
        assert np.median(np.diff(seen.time_s)) == pytest.approx(1.0 / rate_hz, rel=0.02)
        assert (receiver.settling is not None) == (kind == "warmup")
        assert bool(receiver.events_per_min) == (kind == "jumpy")
        if kind == "drifting":
            assert 0.5 <= receiver.drift_m <= 1.5
            assert 0.0125 <= receiver.drift_m / receiver.drift_scale_s <= 0.075
    alone = preset(kind, rate_hz, np.random.default_rng(1), reports_speed=False)
    seen = alone.observe(truth, np.random.default_rng(1))
    assert np.all(np.isnan(seen.speed_mps)) and np.all(np.isnan(seen.course_rad))


def test_presets_that_do_not_exist() -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match="kind 'wild' is not one of clean, drifting"):
        preset("wild", 10.0, rng)  # type: ignore[arg-type]  # the point of the test
    with pytest.raises(ValueError, match=r"rate 30.0 Hz is outside 1-25 Hz"):
        preset("clean", 30.0, rng)


def test_same_seed_same_log(truth: Truth) -> None:
    def log(seed: int) -> Observation:
        rng = np.random.default_rng(seed)
        return preset("jumpy", 10.0, rng).observe(truth, rng)

    assert np.array_equal(log(5).east_m, log(5).east_m)
    assert len(log(5)) != len(log(6)) or np.any(log(5).east_m != log(6).east_m)
