"""The drive and what it can do, against other routes to the same figures."""

from dataclasses import replace

import numpy as np
import pytest
from machines import drive, like, one
from random_rides import random_machine
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from simulate.electric import SoftMachine, level_truth_speed

from ridelog.machine.drive import LIMITS, RoadLoad, road_load_of, top_speed
from ridelog.machine.standing import launch, peak


@pytest.mark.parametrize("seed", range(8))
def test_top_speed_pull_and_launch_agree_with_the_simulator(seed: int) -> None:
    """Two codes for one machine: the simulator integrates in time, this one over speed."""
    rng = np.random.default_rng(seed)
    machine = random_machine(rng, float(rng.uniform(5.0, 14.0)))
    ours = like(machine)
    top, _ = top_speed(ours)
    assert top[0] == pytest.approx(machine.steady_mps(), rel=1e-6)
    speed = np.linspace(0.2, machine.steady_mps(), 50)
    assert ours.pull_mps2(speed)[0] == pytest.approx(machine.acceleration_mps2(speed), abs=1e-6)
    goal = 0.9 * machine.steady_mps()

    def reached(_: float, state: np.ndarray) -> float:
        return float(state[0]) - goal

    reached.terminal = True  # type: ignore[attr-defined]  # scipy reads it from the function
    ride = solve_ivp(
        lambda _, state: [float(machine.acceleration_mps2(np.array([state[0]]))[0]), state[0]],
        (0.0, 100.0), [0.0, 0.0], events=reached, rtol=1e-9, atol=1e-9, max_step=0.05,
    )  # fmt: skip
    start = launch(ours)
    assert start.time_to_speed_s(goal)[0] == pytest.approx(ride.t[-1], rel=2e-3)
    assert start.time_to_distance_s(float(ride.y[1, -1]))[0] == pytest.approx(ride.t[-1], rel=2e-3)
    assert start.speed_at_distance_mps(float(ride.y[1, -1]))[0] == pytest.approx(goal, rel=2e-3)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"a_n": 20.0, "c_ns2pm2": 0.3}, "motor speed"),
        ({"a_n": 20.0, "c_ns2pm2": 0.3, "battery_limit_a": 4.0}, "power"),
        ({"a_n": 20.0, "c_ns2pm2": 0.3, "motor_limit_a": 9.0}, "current"),
        ({"a_n": 20.0, "c_ns2pm2": 0.3, "traction_n": 30.0}, "traction"),
    ],
)
def test_what_limits_the_top_speed(changes: dict[str, float], word: str) -> None:
    ours = drive(**changes)
    speed, limit = top_speed(ours)
    assert LIMITS[limit[0]] == word
    assert LIMITS[ours.limits(speed)[0, 0]] == word
    # Drive and resistance balance there.
    assert ours.pull_mps2(speed)[0, 0] == pytest.approx(0.0, abs=1e-6)


def test_a_machine_that_cannot_start_has_no_top_speed() -> None:
    ours = drive(a_n=500.0, motor_limit_a=10.0)
    assert np.isnan(top_speed(ours)[0][0])
    assert np.isnan(launch(ours).time_to_speed_s(1.0)[0])
    assert np.isnan(peak(ours, "battery_current_a")[0])


def test_a_speed_out_of_reach_has_no_time() -> None:
    ours = drive(a_n=20.0, c_ns2pm2=0.3)
    top = float(top_speed(ours)[0][0])
    assert np.isnan(launch(ours).time_to_speed_s(1.01 * top)[0])
    assert np.isfinite(launch(ours).time_to_speed_s(0.98 * top)[0])


def test_currents_by_solving_the_circuit() -> None:
    """At full duty both resistances are in series; at the limit the battery gives just that."""
    ours = drive(battery_ohm=0.1, motor_limit_a=60.0, battery_limit_a=25.0, a_n=20.0)
    speed = np.linspace(0.0, 14.3, 66)
    motor, battery = ours.motor_current_a(speed)[0], ours.battery_current_a(speed)[0]
    back = 0.1 / 0.03 * speed
    sagging = 48.0 - 0.1 * battery
    # Power into the motor is what the battery gives at its terminals.
    assert motor * (back + 0.05 * motor) == pytest.approx(battery * sagging, rel=1e-9)
    # The controller cannot raise the voltage.
    assert np.all(back + 0.05 * motor <= sagging + 1e-9)
    assert battery.max() == pytest.approx(25.0)
    assert motor.max() == pytest.approx(60.0)
    assert peak(ours, "battery_current_a")[0] == pytest.approx(25.0)
    assert peak(ours, "battery_power_w")[0] == pytest.approx(25.0 * (48.0 - 2.5))
    line = brentq(lambda i: 48.0 - 0.1 * i - back[-1] - 0.05 * i, 0.0, 1000.0)
    assert motor[-1] == pytest.approx(line)


@pytest.mark.parametrize("missing", [0.03, 0.12])
def test_iron_that_fills_takes_no_power(missing: float) -> None:
    """What the windings convert, back voltage times current, is torque times speed (textbook).

    So full iron lowers both alike: the line of the voltages, solved by halving with
    T = k I / sqrt(1 + (I / I_s)²).
    """
    full = 1.0 / (1.0 - missing)
    ours = drive(
        battery_ohm=0.05, motor_ohm=0.15, motor_limit_a=60.0 / full, limit_a_per_a=full, a_n=20.0
    )
    scale = 60.0 / np.sqrt(full**2 - 1.0)
    speed = np.linspace(9.0, 14.3, 20)
    found = ours.winding_a(speed)[0]
    back = 0.1 / 0.03 * speed

    def left_v(amps: float, at: float) -> float:
        return 48.0 - 0.2 * amps - at / float(np.sqrt(1.0 + (amps / scale) ** 2))

    wanted = [brentq(left_v, 0.0, 60.0, at) if left_v(60.0, at) < 0 else 60.0 for at in back]
    assert found == pytest.approx(wanted, abs=0.05) and 30.0 < found.min() + 29.0 < found.max()
    torque = ours.motor_current_a(speed)[0]
    assert torque == pytest.approx(found / np.sqrt(1.0 + (found / scale) ** 2))
    drawn = ours.battery_current_a(speed)[0]
    assert drawn * (48.0 - 0.05 * drawn) == pytest.approx(torque * back + 0.15 * found**2)
    # A limit of the battery holds it at just that.
    held = replace(ours, battery_limit_a=one(20.0))
    assert held.battery_current_a(np.array([6.0, 8.0]))[0] == pytest.approx([20.0, 20.0], rel=2e-3)


def test_the_stepped_machine_of_full_iron_is_as_fast() -> None:
    """Another code for the same motor, whose iron lacks an eighth of the torque at the limit."""
    other = SoftMachine(
        saturation_a=168.0, taper=0.0, chopper_w=0.0, idle_nm=0.0, idle_nms=0.0, rolling_ps=0.0,
        winding_ohm=0.07, battery_limit_a=80.0, drag_area_m2=0.7,
    )  # fmt: skip
    missing = 1.0 - other.flux_vs(90.0) / other.volt_second
    per_metre = 2.0 * np.pi * other.ratio / other.circumference_m
    ours = drive(
        mass_kg=other.mass_kg, inertia_factor=other.inertia_kg / other.mass_kg,
        way_per_radian_m=1.0 / per_metre, efficiency=1.0 - other.mesh_loss,
        constant_nmpa=other.volt_second, motor_ohm=other.winding_ohm + other.chopper_ohm,
        battery_ohm=other.pack.ohm + other.pack.slow_ohm, battery_v=other.pack.resting_v(0.9),
        motor_limit_a=90.0 * (1.0 - missing), limit_a_per_a=1.0 / (1.0 - missing),
        battery_limit_a=80.0, a_n=other.mass_kg * 9.80665 * other.rolling,
        c_ns2pm2=0.5 * 1.2041 * other.drag_area_m2,
    )  # fmt: skip
    top, limit = top_speed(ours)
    assert top[0] == pytest.approx(level_truth_speed(other), rel=1e-3) and limit.tolist() == [0]
    straight = replace(ours, motor_limit_a=one(90.0), limit_a_per_a=one(1.0))
    assert top[0] > 1.002 * top_speed(straight)[0][0]


def test_the_throttle_costs_half_its_opening() -> None:
    ours = drive(a_n=20.0, c_ns2pm2=0.3, motor_limit_a=60.0)
    late = drive(a_n=20.0, c_ns2pm2=0.3, motor_limit_a=60.0, opening_s=0.4)
    early = launch(ours).time_to_speed_s(5.0)[0]
    assert launch(late).time_to_speed_s(5.0)[0] == pytest.approx(early + 0.2)
    rolling = launch(ours).window_s(2.0, 5.0)[0]
    assert launch(late).window_s(2.0, 5.0)[0] == pytest.approx(rolling)
    assert launch(late).window_s(0.0, 5.0)[0] == pytest.approx(early + 0.2)


def test_the_longest_limit_of_a_window() -> None:
    ours = drive(a_n=20.0, c_ns2pm2=0.3, motor_limit_a=60.0)
    start = launch(ours)
    top = float(start.top_mps[0])
    assert LIMITS[start.longest_limit(0.0, 2.0)[0]] == "current"
    assert LIMITS[start.longest_limit(0.97 * top, top)[0]] == "motor speed"


def test_road_load_from_its_parts() -> None:
    load = road_load_of(one(100.0), one(0.02), one(0.5), one(0.45))
    assert isinstance(load, RoadLoad)
    # Crr m g = 19.6133 N, rho CdA / 2 = 0.27092.
    assert load.force_n(np.array([0.0, 10.0]))[0] == pytest.approx([19.6133, 51.7056], abs=1e-3)


@pytest.mark.parametrize(
    ("way_m", "top_mps"), [(0.03, 0.01), (0.03, 0.6), (0.03, 14.0), (0.3, 140.0)]
)
def test_crawlers_and_rockets_balance_on_the_line(way_m: float, top_mps: float) -> None:
    """At full duty k / w (U - k v / w) / R is the force at v: what resists as much ends there."""
    per_amp = 0.1 / way_m
    resists_n = per_amp * (48.0 - per_amp * top_mps) / 0.05
    speed, limit = top_speed(drive(way_per_radian_m=way_m, a_n=resists_n))
    assert speed[0] == pytest.approx(top_mps, abs=1e-6) and LIMITS[limit[0]] == "motor speed"


@pytest.mark.parametrize("missing", [0.0, 0.05, 0.15])
def test_a_machine_holds_every_speed_below_its_top_and_none_above(missing: float) -> None:
    rng = np.random.default_rng(3)
    full = 1.0 / (1.0 - missing)
    for _ in range(40):
        limit = float(rng.uniform(15.0, 90.0))
        some = drive(
            battery_ohm=float(rng.uniform(0.02, 0.3)), motor_ohm=float(rng.uniform(0.03, 0.3)),
            motor_limit_a=limit / full, limit_a_per_a=full, heat_share=float(rng.uniform(0.0, 1.0)),
            battery_limit_a=float(rng.choice([15.0, 60.0])), a_n=float(rng.uniform(10.0, 35.0)),
            c_ns2pm2=float(rng.uniform(0.1, 0.6)),
        )  # fmt: skip
        top = top_speed(some)[0][0]
        assert np.isfinite(top)
        drawn = some.cruising_a(top * np.array([[0.2, 0.7, 0.99, 0.99999, 1.00001]]))[0]
        assert np.isfinite(drawn).tolist() == [True] * 4 + [False]
