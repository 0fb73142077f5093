"""Grades, Peukert, stopping, tipping and a published range against what handbooks print."""

import numpy as np
import pytest

from ridelog.core.track import FloatArray
from ridelog.core.units import MPS_PER_KMH, MPS_PER_MPH, STANDARD_GRAVITY_MPS2
from ridelog.machine.conditions import parse_at
from ridelog.machine.drive import Drive, RoadLoad, on_slope
from ridelog.machine.figures import figures_of
from ridelog.machine.fit import from_setup
from ridelog.machine.pack import peukert_factor
from ridelog.machine.predict import predict
from ridelog.machine.setup import MachineSetup


def _a(value: float) -> FloatArray:
    return np.array([value])


def _machine(mass_kg: float, **changes: float) -> Drive:
    figures = {
        "mass_kg": mass_kg,
        "inertia_factor": 1.0,
        "way_per_radian_m": 0.03,
        "efficiency": 1.0,
        "constant_nmpa": 0.1,
        "motor_ohm": 0.05,
        "battery_ohm": 1e-9,
        "battery_v": 48.0,
        "motor_limit_a": 1e9,
        "battery_limit_a": 1e7,
        "heat_share": 1.0,
        "traction_n": 1e9,
        "opening_s": 0.0,
    } | changes
    nothing = RoadLoad(_a(0.0), _a(0.0), _a(0.0))
    return Drive(**{key: _a(value) for key, value in figures.items()}, load=nothing)


# Caterpillar Performance Handbook, "Grade resistance" (from memory): 10 kg for each metric ton of
# weight and each per cent of grade (20 lb a US ton); a rule of whole per cents, so within 1 %.
@pytest.mark.parametrize("percent", [1.0, 3.0, 5.0, 10.0])
def test_grade_resistance_is_ten_kilograms_a_ton_and_per_cent(percent: float) -> None:
    loaded = on_slope(_machine(1000.0), 0.01 * percent)
    force_kg = loaded.load.force_n(_a(0.0))[0, 0] / STANDARD_GRAVITY_MPS2
    assert force_kg == pytest.approx(10.0 * percent, rel=0.01)


def test_the_steepest_start_balances_the_force() -> None:
    # 100 kg and 98.07 N: the sine of the slope is a tenth (definition of a grade's resistance).
    machine = _machine(100.0, motor_limit_a=98.0665 * 0.03 / 0.1)
    found = figures_of(machine, MachineSetup(), (), decel_mps2=_a(3.5))
    climb = next(one for one in found if one.name == "climb_from_rest").values[0]
    assert climb == pytest.approx(np.tan(np.arcsin(0.1)))


# t = H (C / (I H))^k: Wikipedia, "Peukert's law" (from memory). A battery of 100 Ah at 20 h and k =
# 1.2 lasts 8.7 h at 10 A instead of 10 h, and 20 h at its rated 5 A.
@pytest.mark.parametrize(("amps", "hours"), [(5.0, 20.0), (10.0, 8.7), (20.0, 3.8)])
def test_peukert(amps: float, hours: float) -> None:
    lasts = 100.0 / amps / peukert_factor(100.0, _a(amps), _a(1.2))[0]
    assert lasts == pytest.approx(hours, abs=0.05)


# The Highway Code (UK), rule 126, typical stopping distances: 12 m, 23 m and 36 m from 20, 30 and
# 40 mph, of which 6, 9 and 12 m are thinking; so 0.67 s and 6.6 m/s² (from memory, whole metres).
@pytest.mark.parametrize(("mph", "braking_m"), [(20.0, 6.0), (30.0, 14.0), (40.0, 24.0)])
def test_braking_distances_of_the_highway_code(mph: float, braking_m: float) -> None:
    top = mph * MPS_PER_MPH
    machine = _machine(100.0, battery_v=top / 0.03 * 0.1)
    found = {
        f.name: f.values[0] for f in figures_of(machine, MachineSetup(), (), decel_mps2=_a(6.57))
    }
    reaction_m = found["top_speed_mps"] * 1.0  # a second until the brake is touched
    assert found["stopping_distance_m"] - reaction_m == pytest.approx(braking_m, abs=0.6)


# Yamaha E-Vino (2014 data sheet, from memory): 68 kg, 50 V 10 Ah lithium-ion, 29 km on a charge at
# a steady 30 km/h with a rider of 55 kg; the motor such that it would turn 51 km/h without load.
def test_the_range_of_a_published_test() -> None:
    setup = MachineSetup(
        machine_mass_kg=68.0, rider_mass_kg=55.0, battery_cells=14, battery_chemistry="li-ion",
        battery_capacity_ah=10.0, surface="asphalt", tyre_circumference_m=1.36, gearbox_ratio=1.0,
        motor_rpm_per_v=12.5,
    )  # fmt: skip
    at = parse_at(["30 km/h"])
    fitted = from_setup(setup)
    found = figures_of(
        fitted.drive, setup, (), decel_mps2=np.full(len(fitted.drive.mass_kg), 3.5), at=at
    )
    way = next(one for one in found if one.name == "range_at_30_kmh_m").values
    low, high = np.nanquantile(way, (0.05, 0.95)) / 1000.0
    assert low < 29.0 < high
    # Not by width alone.
    assert high < 3.0 * low


def test_a_steady_speed_needs_power_as_printed() -> None:
    # Physics by hand: 100 kg, 0.02, 0.45 m², 1.2041 kg/m³ at 20 km/h: 19.61 + 8.36 N, 28.0 J/m.
    load = RoadLoad(_a(0.02 * 100.0 * STANDARD_GRAVITY_MPS2), _a(0.0), _a(0.5 * 1.2041 * 0.45))
    machine = Drive(**{**vars(_machine(100.0, motor_ohm=1e-9)), "load": load})
    found = figures_of(machine, MachineSetup(), (), decel_mps2=_a(3.5), at=parse_at(["20 km/h"]))
    energy = next(one for one in found if one.name == "energy_at_20_kmh_j_per_m").values[0]
    assert energy == pytest.approx(19.613 + 0.27092 * (20.0 * MPS_PER_KMH) ** 2, abs=0.01)


def test_predict_has_the_figures_that_owners_ask_for() -> None:
    setup = MachineSetup(
        battery_cells=13, battery_capacity_ah=15.0, front_teeth=11, rear_teeth=60,
        motor_rpm_per_v=80.0, tyre_circumference_m=1.0,
    )  # fmt: skip
    names = {one.figure.name for one in predict(setup, [], {"front_teeth": 10}, ()).figures}
    assert names >= {
        "top_speed_mps", "climb_from_rest", "climb_at_8_kmh", "climb_at_15_kmh",
        "energy_at_20_kmh_j_per_m", "range_at_20_kmh_m", "range_at_top_m", "stopping_distance_m",
    }  # fmt: skip
