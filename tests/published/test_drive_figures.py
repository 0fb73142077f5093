"""Gearing, motor line, coast-down, terminal speed and standing starts against printed figures."""

import numpy as np
import pytest

from ridelog.core.track import FloatArray
from ridelog.core.units import METRES_PER_INCH, MPS_PER_KMH, MPS_PER_MPH, RADPS_PER_RPM
from ridelog.machine.drive import Drive, RoadLoad, road_load_of, top_speed
from ridelog.machine.standing import launch


def _a(value: float) -> FloatArray:
    return np.array([value])


def _motor(rpm: float, stall_nm: float, **changes: float) -> Drive:
    """Return a motor by the two ends of its line, as large as its own wheel of 1 m radius."""
    figures = {
        "mass_kg": 1.0,
        "inertia_factor": 1.0,
        "way_per_radian_m": 1.0,
        "efficiency": 1.0,
        "constant_nmpa": 10.0 / (rpm * RADPS_PER_RPM),
        "motor_ohm": 10.0 * 10.0 / (rpm * RADPS_PER_RPM) / stall_nm,
        "battery_ohm": 1e-12,
        "battery_v": 10.0,
        "motor_limit_a": 1e9,
        "battery_limit_a": 1e9,
        "heat_share": 1.0,
        "traction_n": 1e9,
        "opening_s": 0.0,
    } | changes
    nothing = RoadLoad(_a(0.0), _a(0.0), _a(0.0))
    return Drive(**{key: _a(value) for key, value in figures.items()}, load=nothing)


# Massachusetts Institute of Technology, course 2.007, motor notes: T = T_s (1 - n/n_0), greatest
# power T_s omega_0 / 4 at half the speed. Printed: 600 rpm, 0.325 N m, peak at 300 rpm and
# 0.163 N m; the watts are computed from the printed figures.
@pytest.mark.parametrize(
    ("rpm", "stall_nm", "peak_w"),
    [(600.0, 0.325, 5.105), (3750.0, 0.0722, 7.088), (92.0, 1.6, 3.854)],
)
def test_the_line_of_a_brushed_motor(rpm: float, stall_nm: float, peak_w: float) -> None:
    motor = _motor(rpm, stall_nm)
    omega = np.linspace(0.0, rpm * RADPS_PER_RPM, 2001)
    torque = motor.force_n(omega)[0]
    assert torque[0] == pytest.approx(stall_nm)
    assert torque[-1] == pytest.approx(0.0, abs=1e-9)
    power = torque * omega
    assert power.max() == pytest.approx(peak_w, abs=0.0005)
    assert omega[power.argmax()] == pytest.approx(0.5 * rpm * RADPS_PER_RPM, rel=1e-3)
    assert torque[power.argmax()] == pytest.approx(0.5 * stall_nm, abs=0.0005)


def test_no_load_speed_and_stall_torque_follow_the_voltage() -> None:
    # MIT 2.007 motor notes and motion-control texts: both are proportional to the voltage.
    motor, more = _motor(600.0, 0.325), _motor(600.0, 0.325, battery_v=12.5)
    assert more.no_load_mps[0] == pytest.approx(1.25 * motor.no_load_mps[0])
    assert more.force_n(_a(0.0))[0, 0] == pytest.approx(1.25 * 0.325)
    # ... unless a controller limits the current.
    held = _motor(600.0, 0.325, battery_v=12.5, motor_limit_a=0.1)
    same = _motor(600.0, 0.325, motor_limit_a=0.1)
    assert held.force_n(_a(0.0)) == pytest.approx(same.force_n(_a(0.0)))


def _wheel(rpm: float, diameter_m: float, ratio: float) -> float:
    return float(_motor(rpm, 1.0, way_per_radian_m=0.5 * diameter_m / ratio).no_load_mps[0])


def test_road_speed_of_a_wheel() -> None:
    # v = n/60 pi D / i (geometry): 3000 rpm, 0.330 m, 5:1 are 37.32 km/h; 13 in are 23.205 mph.
    assert _wheel(3000.0, 0.330, 5.0) / MPS_PER_KMH == pytest.approx(37.32, abs=0.005)
    assert _wheel(3000.0, 13.0 * METRES_PER_INCH, 5.0) / MPS_PER_MPH == pytest.approx(
        23.205, abs=0.0005
    )
    # mph = rpm D_in / (i K): printed with K = 336 and 337 (they disagree); exactly 336.135.
    constant = 3000.0 * 13.0 / (5.0 * _wheel(3000.0, 13.0 * METRES_PER_INCH, 5.0) / MPS_PER_MPH)
    assert constant == pytest.approx(336.135, abs=0.0005)


# P = (Crr m g + rho CdA v² / 2) v with rho 1.2041 kg/m³ and g 9.80665 m/s²: the textbook balance
# of power on the level (from memory: D. G. Wilson, Bicycling Science, MIT Press 2004); speeds
# computed apart from this project to 0.01 km/h.
TERMINAL = [
    (500.0, 100.0, 0.02, 0.45, 37.15),
    (1000.0, 100.0, 0.02, 0.45, 50.04),
    (1000.0, 100.0, 0.02, 0.60, 45.92),
    (250.0, 85.0, 0.01, 0.50, 30.32),
]


@pytest.mark.parametrize(("power_w", "mass_kg", "crr", "area_m2", "kmh"), TERMINAL)
def test_terminal_speed(
    power_w: float, mass_kg: float, crr: float, area_m2: float, kmh: float
) -> None:
    load = road_load_of(_a(mass_kg), _a(crr), _a(0.0), _a(area_m2))
    # A drive whose battery limit is all that holds it.
    motor = _motor(1e6, 1e6, battery_limit_a=0.1 * power_w, heat_share=0.0, mass_kg=mass_kg)
    whole = Drive(**{**vars(motor), "load": load})
    top, limit = top_speed(whole)
    assert top[0] / MPS_PER_KMH == pytest.approx(kmh, abs=0.005)
    assert limit[0] == 2
    # P = F v and I = P / (eta V), textbook: here 10 V and no loss.
    assert load.force_n(top)[0, 0] * top[0] == pytest.approx(power_w, rel=1e-6)
    assert whole.battery_current_a(top)[0, 0] == pytest.approx(0.1 * power_w, rel=1e-6)


# 40 CFR 86.529-98, figure F98-9 (motorcycles): mass kg, A N, C N/(km/h)², force at 65 km/h N, time
# from 70 to 60 km/h s. The row of 160 kg prints 4.10 s, which breaks the sequence (4.17 or 4.18
# fits it): probably a misprint, left out below and used to show that the check can tell.
COAST_DOWN = [
    (100.0, 0.00, 0.0224, 94.8, 2.95), (110.0, 0.82, 0.0227, 96.8, 3.18),
    (120.0, 1.70, 0.0230, 98.8, 3.39), (130.0, 2.57, 0.0233, 100.9, 3.60),
    (140.0, 3.44, 0.0235, 102.9, 3.80), (150.0, 4.32, 0.0238, 104.9, 3.99),
    (170.0, 6.06, 0.0244, 109.0, 4.36), (180.0, 6.94, 0.0246, 111.0, 4.53),
    (200.0, 8.69, 0.0252, 115.1, 4.85), (210.0, 9.56, 0.0255, 117.1, 5.00),
    (220.0, 10.43, 0.0257, 119.2, 5.15), (230.0, 11.31, 0.0260, 121.2, 5.30),
    (240.0, 12.18, 0.0263, 123.2, 5.43), (250.0, 13.06, 0.0266, 125.3, 5.57),
    (260.0, 13.93, 0.0268, 127.3, 5.70), (280.0, 15.68, 0.0274, 131.4, 5.95),
    (300.0, 17.43, 0.0279, 135.4, 6.18),
]  # fmt: skip


def _coast(mass_kg: float, a_n: float, c: float) -> float:
    """Return the time from 70 to 60 km/h of a machine without drive, integrated over speed."""
    load = RoadLoad(_a(a_n), _a(0.0), _a(c / MPS_PER_KMH**2))
    machine = Drive(**{**vars(_motor(600.0, 0.325, mass_kg=mass_kg)), "load": load})
    speed = np.linspace(60.0, 70.0, 1001) * MPS_PER_KMH
    return float(np.trapezoid(1.0 / machine.coasting_mps2(speed)[0], speed))


@pytest.mark.parametrize(("mass_kg", "a_n", "c", "force_n", "time_s"), COAST_DOWN)
def test_coast_down_table(
    mass_kg: float, a_n: float, c: float, force_n: float, time_s: float
) -> None:
    # Half a unit of the last digit of the time, and what the rounding of C adds (0.2 %).
    assert _coast(mass_kg, a_n, c) == pytest.approx(time_s, abs=0.012)
    load = RoadLoad(_a(a_n), _a(0.0), _a(c / MPS_PER_KMH**2))
    assert load.force_n(_a(65.0 * MPS_PER_KMH))[0, 0] == pytest.approx(force_n, abs=0.35)


def test_the_doubtful_row_stands_out() -> None:
    assert abs(_coast(160.0, 5.19, 0.0241) - 4.10) > 0.06


def test_constant_acceleration() -> None:
    # v² = 2 a s, s = a t² / 2 (school physics): 2 m/s² to 25 km/h take 3.472 s and 12.06 m.
    pull = _motor(100.0, 1e9, motor_limit_a=2.0 / (10.0 / (100.0 * RADPS_PER_RPM)))
    start = launch(pull)
    goal = 25.0 * MPS_PER_KMH
    assert start.time_to_speed_s(goal)[0] == pytest.approx(3.472, abs=0.0005)
    assert start.time_to_distance_s(12.06)[0] == pytest.approx(3.472, abs=0.002)
    assert start.speed_at_distance_mps(12.06)[0] == pytest.approx(goal, abs=0.005)
