"""Receivers from their satellites up, and machines of other laws: they are what they say."""

import numpy as np
import pytest
from other_rides import backings, passes, starts
from satellite_receiver import KINDS, Habits, SatelliteReceiver, Sky, drawn_receiver
from tracking import best_pair

QUIET = Sky(
    white_m=0.0, reflected_m=0.0, slow_m=0.0, rate_white_mps=0.0, rate_slow_mps=0.0,
    changes_per_min=0.0,
)  # fmt: skip


def test_without_errors_and_a_filter_the_log_is_the_truth() -> None:
    rng = np.random.default_rng(1)
    ride = passes(rng)
    seen = SatelliteReceiver(10.0, 10.0, QUIET, Habits("none")).observe(ride.truth, rng)
    east, north = ride.truth.position_at(seen.time_s)
    assert seen.east_m == pytest.approx(east, abs=1e-6)
    assert seen.north_m == pytest.approx(north, abs=1e-6)
    speed = np.interp(seen.time_s, ride.truth.time_s, ride.truth.speed_mps)
    assert np.abs(seen.speed_mps - speed).max() < 0.006


def test_the_filter_lets_as_much_noise_pass_as_its_gains_say() -> None:
    """T. R. Benedict and G. W. Bordner, IRE Trans. AC-7 (1962) 27-32, with gains of P. R. Kalata,
    IEEE Trans. AES-20 (1984) 174-182, for white accelerations (both from memory)."""
    step_s, agility, range_m = 0.1, 3.0, 1.5
    habits = Habits("constant velocity", agility, range_m, float("inf"))
    receiver = SatelliteReceiver(10.0, 10.0, QUIET, habits)
    index = step_s**2 * agility / step_s**0.5 / range_m
    r = (4.0 + index - np.sqrt(8.0 * index + index**2)) / 4.0
    alpha = 1.0 - r**2
    beta = 2.0 * (2.0 - alpha) - 4.0 * np.sqrt(1.0 - alpha)
    passed = (2.0 * alpha**2 + beta * (2.0 - 3.0 * alpha)) / (alpha * (4.0 - beta - 2.0 * alpha))
    noise = range_m * np.random.default_rng(2).standard_normal((40_000, 2))
    position, _ = receiver._filtered(noise, np.zeros_like(noise), step_s)
    assert position[500:].var() == pytest.approx(passed * range_m**2, rel=0.05)


def test_a_lock_holds_position_and_speed_at_a_stand() -> None:
    rng = np.random.default_rng(3)
    ride = starts(rng)
    seen = SatelliteReceiver(5.0, 5.0, Sky(), Habits(lock_mps=0.5)).observe(ride.truth, rng)
    stand = seen.time_s < ride.labels["launches"][0].start_s - 0.5
    assert (seen.speed_mps[stand] == 0.0).mean() > 0.9
    assert (np.diff(seen.east_m[stand]) == 0.0).mean() > 0.9


def test_satellites_that_come_and_go_step_the_fix() -> None:
    rng = np.random.default_rng(4)
    ride = passes(rng)
    sky = Sky(
        white_m=0.0, reflected_m=0.0, slow_m=3.0, rate_white_mps=0.0, rate_slow_mps=0.0,
        changes_per_min=6.0,
    )  # fmt: skip
    seen = SatelliteReceiver(10.0, 10.0, sky, Habits("none")).observe(ride.truth, rng)
    off = np.stack([seen.east_m, seen.north_m]) - np.stack(ride.truth.position_at(seen.time_s))
    moved = np.hypot(*np.diff(off, axis=1))
    assert moved.max() > 8.0 * np.median(moved)
    assert len(np.unique(seen.satellites)) > 1


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_can_be_drawn(kind: str) -> None:
    rng = np.random.default_rng(5)
    receiver, decimals = drawn_receiver(kind, 1.0, rng, reports_speed=True)
    seen = receiver.observe(starts(rng).truth, rng)
    assert np.diff(seen.time_s) == pytest.approx(1.0)
    assert 5 <= decimals <= 8


@pytest.mark.parametrize("make", [passes, starts, backings])
def test_rides_are_of_one_piece(make: object) -> None:
    rng = np.random.default_rng(6)
    ride = make(rng)  # type: ignore[operator]  # one of three
    truth = ride.truth
    way = np.hypot(np.diff(truth.east_m), np.diff(truth.north_m))
    speed = 0.5 * (truth.speed_mps[1:] + truth.speed_mps[:-1])
    assert way == pytest.approx(speed * 0.01, abs=1e-4)
    assert np.abs(np.diff(truth.velocity_mps)).max() < 0.06
    for launch in ride.labels["launches"]:
        at = round(launch.start_s / 0.01)
        assert truth.velocity_mps[at - 1] == 0.0
        assert truth.velocity_mps[at] > 0.0
    for braking in ride.labels["brakings"]:
        assert braking.from_mps > braking.to_mps
    assert bool(ride.labels["reverses"]) == (make is backings)


def test_the_best_pair_of_opposite_seconds_is_that_of_all() -> None:
    rng = np.random.default_rng(8)
    truth = starts(rng).truth
    means = truth.window_means(1.0)[::5]
    course = truth.heading_rad[50 : 50 + 5 * len(means) : 5]
    best = max(
        0.5 * (means[one] + means[np.cos(course - course[one]) <= -np.cos(np.radians(20.0))].max())
        for one in range(0, len(means), 7)
        if (np.cos(course - course[one]) <= -np.cos(np.radians(20.0))).any()
    )
    assert best - 1e-12 <= best_pair(truth) < best + 0.05
