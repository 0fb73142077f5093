"""Speeds at which power and resistance balance, and the drive's torque line."""

from typing import Any

import numpy as np
import pytest
from simulate import Machine, RideLayout

from ridelog.core.units import MPS_PER_KMH, STANDARD_GRAVITY_MPS2

# P = (Crr m g + rho CdA v² / 2) v with rho 1.2041 kg/m³ and g 9.80665 m/s²: the textbook balance of
# power on the level in still air (from memory: D. G. Wilson, Bicycling Science, MIT Press 2004).
# The speeds are its roots, computed apart from this project to 0.01 km/h; not a measurement.
CASES = [
    (500.0, 100.0, 0.02, 0.45, 37.15),
    (1000.0, 100.0, 0.02, 0.45, 50.04),
    (1000.0, 100.0, 0.02, 0.60, 45.92),
    (250.0, 85.0, 0.01, 0.50, 30.32),
]


def _held_by_power(power_w: float, mass_kg: float, crr: float, area_m2: float) -> Machine:
    plenty: dict[str, Any] = {
        "no_load_radps": 1e7,
        "line_torque_nm": 1e7,
        "limit_torque_nm": 60.0,
        "traction_n": 1e6,
    }
    return Machine(
        mass_kg=mass_kg,
        power_w=power_w,
        efficiency=1.0,
        resistance_a_n=crr * mass_kg * STANDARD_GRAVITY_MPS2,
        resistance_b_nspm=0.0,
        resistance_c_ns2pm2=0.5 * 1.2041 * area_m2,
        **plenty,
    )


@pytest.mark.parametrize(("power_w", "mass_kg", "crr", "area_m2", "kmh"), CASES)
def test_steady_speed_by_root(
    power_w: float, mass_kg: float, crr: float, area_m2: float, kmh: float
) -> None:
    machine = _held_by_power(power_w, mass_kg, crr, area_m2)
    assert machine.steady_mps() / MPS_PER_KMH == pytest.approx(kmh, abs=0.005)


@pytest.mark.parametrize(("power_w", "mass_kg", "crr", "area_m2", "kmh"), CASES)
def test_steady_speed_by_riding_there(
    power_w: float, mass_kg: float, crr: float, area_m2: float, kmh: float
) -> None:
    ride = RideLayout(_held_by_power(power_w, mass_kg, crr, area_m2))
    ride.drive(for_s=400.0)
    assert ride.velocity_mps / MPS_PER_KMH == pytest.approx(kmh, abs=0.01)


# MIT 2.007 motor notes: 600 rpm and 0.325 N m give 5.105 W at 300 rpm; 3750 rpm, 0.0722 N m give
# 7.088 W; 92 rpm, 1.6 N m give 3.854 W (half speed, P = T_s omega_0 / 4).
@pytest.mark.parametrize(
    ("rpm", "stall_nm", "peak_w"),
    [(600.0, 0.325, 5.105), (3750.0, 0.0722, 7.088), (92.0, 1.6, 3.854)],
)
def test_peak_power_of_a_motor_line(rpm: float, stall_nm: float, peak_w: float) -> None:
    machine = Machine(
        front_teeth=1,
        rear_teeth=1,
        circumference_m=1.0,
        efficiency=1.0,
        no_load_radps=rpm * 2.0 * np.pi / 60.0,
        line_torque_nm=stall_nm,
        limit_torque_nm=1e6,
        power_w=1e9,
        traction_n=1e9,
    )
    speed = np.linspace(0.0, machine.no_load_mps, 2001)
    power = machine.drive_force_n(speed) * speed
    assert np.max(power) == pytest.approx(peak_w, abs=0.0005)
    assert speed[np.argmax(power)] == pytest.approx(0.5 * machine.no_load_mps, rel=1e-3)


def test_road_speed_of_a_wheel() -> None:
    # Geometry, v = n / 60 * pi D / i, computed apart from this project (no publication prints
    # it): 3000 rpm, wheel of 0.330 m, ratio 5: 37.32 km/h.
    machine = Machine(
        front_teeth=10,
        rear_teeth=50,
        circumference_m=np.pi * 0.330,
        no_load_radps=3000.0 * 2.0 * np.pi / 60.0,
    )
    assert machine.no_load_mps / MPS_PER_KMH == pytest.approx(37.32, abs=0.005)
