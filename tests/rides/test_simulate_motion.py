"""The truth of a simulated ride obeys kinematics and the laws it was laid out by."""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from handling_rides import (
    hard_steered_ride,
    hard_steering,
    steady_ride,
    turning_ride,
    weave,
    weave_ride,
)
from labelled_rides import RandomRide
from random_rides import PULL_ENDS, out_and_back, random_machine, starts_and_stops
from reverse_rides import FORWARD_KINDS, REVERSE_KINDS, forward_ride, reverse_ride, turned_by_hand
from scipy.integrate import solve_ivp
from simulate import Machine, RideLayout, Surroundings, Truth
from simulate.truth import STEP_S
from simulate.vehicle import steady_hand
from truth_at import truth_at

from ridelog.core.track import FloatArray

MAKERS: list[Callable[[np.random.Generator], RandomRide]] = [
    out_and_back,
    starts_and_stops,
    reverse_ride,
    forward_ride,
    turned_by_hand,
    turning_ride,
    weave_ride,
    steady_ride,
    hard_steered_ride,
]


@pytest.mark.parametrize("make", MAKERS, ids=lambda make: make.__name__)
def test_derivatives_and_integrals_agree(make: Callable[..., RandomRide]) -> None:
    for seed in range(5):
        truth = make(np.random.default_rng(seed)).truth
        assert np.allclose(np.diff(truth.time_s), STEP_S)
        # Central differences of a smooth velocity: exact to second order in the step.
        accel = (truth.velocity_mps[2:] - truth.velocity_mps[:-2]) / (2.0 * STEP_S)
        assert np.max(np.abs(accel - truth.accel_mps2[1:-1])) < 0.2
        assert np.sqrt(np.mean((accel - truth.accel_mps2[1:-1]) ** 2)) < 0.005
        yaw = (truth.heading_rad[2:] - truth.heading_rad[:-2]) / (2.0 * STEP_S)
        assert np.max(np.abs(yaw - truth.yaw_rate_radps[1:-1])) < 0.1
        for position, velocity in (
            (truth.east_m, truth.velocity_east_mps),
            (truth.north_m, truth.velocity_north_mps),
        ):
            moved = (position[2:] - position[:-2]) / (2.0 * STEP_S)
            assert np.max(np.abs(moved - velocity[1:-1])) < 0.01
        # No jump in speed: nothing here accelerates beyond 6 m/s².
        assert np.max(np.abs(np.diff(truth.velocity_mps))) < 6.0 * STEP_S
        assert truth.velocity_mps[0] == truth.velocity_mps[-1] == 0.0


def test_pull_solves_the_equation_of_motion() -> None:
    machine = Machine().with_steady_speed(10.0)
    ride = RideLayout(machine)
    ride.drive(for_s=20.0, build_s=0.0)
    truth = ride.build()

    def rate(_: float, v: FloatArray) -> FloatArray:
        return machine.acceleration_mps2(v)

    solved = solve_ivp(rate, (0.0, 20.0), [0.0], t_eval=truth.time_s, rtol=1e-9, atol=1e-10)
    assert np.max(np.abs(solved.y[0] - truth.velocity_mps)) < 2e-3


def test_coasting_solves_the_equation_of_motion_with_wind_and_slope() -> None:
    around = Surroundings(wind_north_mps=2.0, slope=0.01, slope_bearing_rad=0.0)
    ride = RideLayout(Machine(), 0.0, around)
    ride.shift(9.0)
    start_s = ride.now_s
    ride.coast(until_mps=3.0, build_s=0.0)
    truth = ride.build()

    def rate(_: float, v: FloatArray) -> FloatArray:
        # Tail wind of 2 m/s, 1 % uphill.
        force: FloatArray = (
            -(18.0 + 0.8 * v + 0.30 * (v - 2.0) * np.abs(v - 2.0)) / 95.0 - 9.80665 * 0.01
        )
        return force

    inside = truth.time_s >= start_s - 1e-6
    time_s = truth.time_s[inside]
    span = (float(time_s[0]), float(time_s[-1]))
    solved = solve_ivp(rate, span, [9.0], t_eval=time_s, rtol=1e-9, atol=1e-10)
    error = solved.y[0] - truth.velocity_mps[inside]
    assert np.max(np.abs(error)) < 1e-3


def test_energy_of_a_pull() -> None:
    machine = Machine().with_steady_speed(10.0)
    ride = RideLayout(machine)
    ride.drive(for_s=15.0, build_s=0.0)
    truth = ride.build()
    v = truth.velocity_mps
    power = (machine.drive_force_n(v) - machine.resistance_n(v)) * v
    work_j = float(np.sum(0.5 * (power[1:] + power[:-1])) * STEP_S)
    assert work_j == pytest.approx(0.5 * machine.mass_kg * v[-1] ** 2, rel=1e-4)


def test_braking_distance_without_ramps() -> None:
    ride = RideLayout()
    ride.shift(10.0)
    ride.brake(decel_mps2=2.5, build_s=0.0, ease_s=0.0)
    stop = ride.spans[-1]
    assert stop.distance_m == pytest.approx(10.0**2 / (2.0 * 2.5), abs=1e-3)
    assert stop.end_s - stop.start_s == pytest.approx(4.0)


def test_turn_has_its_radius_and_angle() -> None:
    ride = RideLayout()
    ride.shift(3.0)
    ride.turn(np.pi, 4.0)
    truth = ride.build()
    radius = np.min(3.0 / np.abs(truth.yaw_rate_radps[truth.yaw_rate_radps != 0.0]))
    assert radius == pytest.approx(4.0, rel=2e-3)
    assert truth.heading_rad[-1] == pytest.approx(np.pi, abs=1e-3)


def test_wind_differs_between_directions() -> None:
    top = []
    for heading in (0.0, np.pi):
        ride = RideLayout(Machine(), heading, Surroundings(wind_north_mps=2.0))
        ride.drive(for_s=60.0)
        top.append(ride.velocity_mps)
    assert top[0] > top[1] + 0.2


def test_slope_gives_height() -> None:
    ride = RideLayout(Machine(), 1.0, Surroundings(slope=0.03, slope_bearing_rad=1.0))
    ride.drive(for_s=10.0)
    truth = ride.build()
    assert truth.height_m[-1] == pytest.approx(0.03 * truth.distance_m[-1], rel=1e-3)


@pytest.mark.parametrize(("front", "rear"), [(10, 60), (11, 64), (11, 52)])
def test_sprockets_trade_top_speed_for_pull(front: int, rear: int) -> None:
    before = replace(Machine(), power_w=1e5, traction_n=1e4).with_steady_speed(12.0)
    after = replace(before, front_teeth=front, rear_teeth=rear)
    # By the teeth alone: road speed for one motor speed goes up, force for one torque goes down.
    taller = (front / rear) / (before.front_teeth / before.rear_teeth)
    assert after.no_load_mps == pytest.approx(taller * before.no_load_mps)
    slow, fast = np.array([2.0]), np.array([11.5])
    force = before.drive_force_n(slow)[0] / after.drive_force_n(slow)[0]
    assert force == pytest.approx(taller)
    # With a stronger drag at higher speed the steady speed moves the same way, but less far.
    moved = after.steady_mps() / before.steady_mps()
    assert 0.0 < np.log(moved) / np.log(taller) < 1.0
    ahead = after.acceleration_mps2(fast)[0] > before.acceleration_mps2(fast)[0]
    assert ahead == (taller > 1.0)


@pytest.mark.parametrize("steady_mps", [4.0, 9.0, 25.0])
def test_random_machines_settle_where_asked(steady_mps: float) -> None:
    for seed in range(20):
        machine = random_machine(np.random.default_rng(seed), steady_mps)
        assert machine.steady_mps() == pytest.approx(steady_mps, abs=1e-6)


def test_weave_begins_at_its_onset() -> None:
    ride = RideLayout()
    ride.shift(5.0)
    ride.hold(60.0)
    ride.shift(8.0)
    ride.hold(60.0)
    truth = ride.build(np.random.default_rng(3), (weave(0.2, 1.5, onset_mps=6.0),))
    slow = truth.yaw_rate_radps[truth.speed_mps < 5.5]
    fast = truth.yaw_rate_radps[truth.speed_mps > 7.9]
    assert np.all(slow == 0.0)
    assert np.sqrt(np.mean(fast**2)) == pytest.approx(0.2, rel=0.1)
    spectrum = np.abs(np.fft.rfft(fast - np.mean(fast))) ** 2
    frequency = np.fft.rfftfreq(fast.size, STEP_S)
    band = (frequency > 1.3) & (frequency < 1.7)
    assert np.sum(spectrum[band]) > 0.97 * np.sum(spectrum)


def test_hard_steering_is_slower_than_weave() -> None:
    ride = RideLayout()
    ride.shift(8.0)
    ride.hold(120.0)
    truth = ride.build(np.random.default_rng(3), (hard_steering(0.2), steady_hand()))
    rate = truth.yaw_rate_radps[truth.speed_mps > 7.9]
    spectrum = np.abs(np.fft.rfft(rate)) ** 2
    above = np.fft.rfftfreq(rate.size, STEP_S) > 0.8
    assert np.sum(spectrum[above]) < 0.02 * np.sum(spectrum)


def test_best_mean_and_two_way_of_a_known_ride() -> None:
    ride = RideLayout(heading_rad=0.4)
    ride.shift(8.0)
    ride.hold(5.0)
    ride.shift(2.0)
    ride.turn(np.pi, 3.0)
    ride.shift(7.0)
    ride.hold(5.0)
    ride.shift(0.0)
    ride.shift(-3.0)
    ride.hold(2.0)
    ride.shift(0.0)
    truth = ride.build()
    assert truth.best_mean_speed(1.0).speed_mps == pytest.approx(8.0)
    assert truth.best_mean_speed(1.0).course_rad == pytest.approx(0.4)
    assert truth.best_mean_speed(1.0, reverse=True).speed_mps == pytest.approx(3.0)
    both = truth.two_way()
    assert both is not None
    assert both.mean_mps == pytest.approx(7.5)
    assert truth.best_mean_speed(1.0, start_s=30.0).speed_mps == pytest.approx(7.0)
    with pytest.raises(ValueError, match="no window of 5.0 s lies between 1.0 and 3.0 s"):
        truth.best_mean_speed(5.0, start_s=1.0, end_s=3.0)


def test_no_two_way_mean_in_one_direction() -> None:
    ride = RideLayout()
    ride.shift(8.0)
    ride.hold(5.0)
    assert ride.build().two_way() is None


def test_crossings_of_a_constant_acceleration() -> None:
    ride = RideLayout()
    ride.stand(2.0)
    ride.shift(8.0, accel_mps2=2.0, build_s=0.0)
    ride.hold(2.0)
    ride.shift(0.0, accel_mps2=4.0, build_s=0.0, ease_s=0.0)
    truth = ride.build()
    slowing_s = ride.spans[-1].start_s
    assert truth.crossing_times(5.0) == pytest.approx([4.5])
    assert truth.crossing_times(5.0, rising=False) == pytest.approx([slowing_s + 0.75])
    assert truth.time_to_distance(2.0, 9.0) == pytest.approx(3.0, abs=1e-3)
    assert np.interp(5.0, truth.time_s, truth.distance_m) - np.interp(
        2.0, truth.time_s, truth.distance_m
    ) == pytest.approx(9.0, abs=1e-3)
    assert np.isnan(truth.time_to_distance(2.0, 1e6))


def test_truth_between_the_grid_times() -> None:
    truth: Truth = out_and_back(np.random.default_rng(1)).truth
    coarse = Truth(*(getattr(truth, name)[::1] for name in _FIELDS))
    between = truth.time_s[:-1] + 0.5 * STEP_S
    state = truth_at(coarse, between)
    middle = 0.5 * (truth.velocity_mps[1:] + truth.velocity_mps[:-1])
    assert np.allclose(state.velocity_mps, middle)
    step = np.hypot(state.east_m - truth.east_m[:-1], state.north_m - truth.north_m[:-1])
    assert np.allclose(step, truth.speed_mps[:-1] * 0.5 * STEP_S, atol=2e-4)


_FIELDS = (
    "time_s",
    "east_m",
    "north_m",
    "height_m",
    "velocity_mps",
    "accel_mps2",
    "yaw_rate_radps",
    "heading_rad",
)


@pytest.mark.parametrize("kind", REVERSE_KINDS)
def test_reverse_kinds_go_backwards(kind: str) -> None:
    for seed in range(8):
        ride = reverse_ride(np.random.default_rng(seed), kind)
        truth = ride.truth
        assert ride.labels["reverses"]
        long_enough = [
            np.count_nonzero(
                truth.velocity_mps[round(s.start_s / STEP_S) : round(s.end_s / STEP_S)] < -0.5
            )
            * STEP_S
            for s in ride.labels["reverses"]
        ]
        assert max(long_enough) >= 2.0
        total = sum(s.distance_m for s in ride.labels["reverses"])
        backward = -np.sum(np.minimum(truth.velocity_mps, 0.0)) * STEP_S
        assert total == pytest.approx(backward)
        tops = max(s.top_mps for s in ride.labels["reverses"])
        assert tops == pytest.approx(-np.min(truth.velocity_mps))
        if kind == "slow":
            assert 0.5 < tops < 0.91
        if kind == "fast":
            assert tops > 2.9
    stands = ride.labels["stands"]
    if kind == "rolling":
        span = ride.labels["reverses"][0]
        assert not any(s.start_s < span.start_s - 1.0 < s.end_s for s in stands)


@pytest.mark.parametrize("kind", FORWARD_KINDS)
def test_forward_kinds_never_do(kind: str) -> None:
    for seed in range(8):
        ride = forward_ride(np.random.default_rng(seed), kind)
        assert np.min(ride.truth.velocity_mps) >= 0.0
        assert ride.labels["reverses"] == ()


def test_turned_by_hand_turns_at_a_stand() -> None:
    ride = turned_by_hand(np.random.default_rng(2))
    truth = ride.truth
    still = truth.velocity_mps == 0.0
    turned = np.sum(truth.yaw_rate_radps[still]) * STEP_S
    assert abs(turned) == pytest.approx(np.pi, abs=1e-3)
    assert ride.labels["reverses"] == ()


@pytest.mark.parametrize("pull_end", PULL_ENDS)
def test_out_and_back_does_what_was_asked(pull_end: str) -> None:
    for seed in range(10):
        ride = out_and_back(
            np.random.default_rng(seed), top_mps=9.0, plateau_s=5.0, passes=3, pull_end=pull_end
        )
        assert len(ride.labels["runs"]) == 3
        assert 7.5 < ride.truth.best_mean_speed(1.0).speed_mps < 10.5
        two_way = ride.truth.two_way()
        assert two_way is not None
        if pull_end == "held":
            holds = ride.labels["steady"]
            assert all(abs(span.end_s - span.start_s - 5.0) < 0.011 for span in holds)
        if pull_end == "corner":
            run = ride.labels["runs"][0]
            top = int(np.argmax(ride.truth.velocity_mps[: round(run.end_s / STEP_S)]))
            # Half a second before its top the machine still pulls.
            assert ride.truth.accel_mps2[top - 50] > 0.05


def test_labels_of_starts_and_stops() -> None:
    ride = starts_and_stops(np.random.default_rng(4), attempts=4)
    launches = [span for span in ride.labels["launches"] if span.top_mps > 3.0]
    assert len(launches) == 4
    for launch in launches:
        at = truth_at(ride.truth, np.array([launch.start_s, launch.start_s + 0.5, launch.end_s]))
        assert at.velocity_mps[0] == 0.0 < at.velocity_mps[1] < at.velocity_mps[2]
    for stop in ride.labels["brakings"]:
        at = truth_at(ride.truth, np.array([stop.start_s, stop.end_s]))
        assert at.velocity_mps == pytest.approx([stop.from_mps, stop.to_mps], abs=1e-6)
    assert all(a.end_s <= b.start_s for a, b in pairwise(ride.labels["brakings"]))


def test_seeds_decide_everything() -> None:
    for make in MAKERS:
        first, second, other = (make(np.random.default_rng(s)).truth for s in (7, 7, 8))
        assert np.array_equal(first.east_m, second.east_m)
        assert first.east_m.size != other.east_m.size or np.any(first.east_m != other.east_m)


def test_pieces_that_cannot_be() -> None:
    ride = RideLayout()
    ride.shift(3.0)
    with pytest.raises(ValueError, match="cannot stand while moving at 3.000 m/s"):
        ride.stand(1.0)
    with pytest.raises(ValueError, match="cannot coast from 3.00 to 4.00 m/s"):
        ride.coast(until_mps=4.0)
    with pytest.raises(ValueError, match="50.0 m/s is not reached: the machine settles at 1"):
        ride.drive(until_mps=50.0)
    with pytest.raises(ValueError, match="wobbles need a random generator"):
        ride.build(None, (steady_hand(),))
    uphill = RideLayout(Machine(), 0.0, Surroundings(slope=0.6))
    with pytest.raises(ValueError, match="the machine cannot start here"):
        uphill.drive(for_s=1.0)
    with pytest.raises(ValueError, match="40.0 m/s needs .* N, the drive has"):
        Machine().with_steady_speed(40.0)
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match="kind 'up' is not one of straight, slow"):
        reverse_ride(rng, "up")
    with pytest.raises(ValueError, match="kind 'up' is not one of u-turns"):
        forward_ride(rng, "up")
    with pytest.raises(ValueError, match="pull end 'up' is not one of settles, held, corner"):
        out_and_back(rng, pull_end="up")


def test_truth_is_read_only() -> None:
    truth = RideLayout().build()
    with pytest.raises(ValueError, match="read-only"):
        truth.east_m[0] = 1.0
