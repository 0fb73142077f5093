"""Machines that are possible from a set-up alone: how wide they lie, given a figure and without.

Published: rolling resistance (Carvill, Mechanical Engineer's Data Handbook, 1993; Moyer in Marks'
Standard Handbook), grip of tyres 0.58 to 0.88 (FME for The Oregonian, 2007), rotating masses 4 %
(CMVR TAP-115/116), drag area 0.18 to 0.7 m² (Cossalter, as cited in a simulation manual). From
memory: a controller passes 0.92 to 0.99, a chain 0.98. All others: common practice, no source;
wide limits of what small machines are, which the ranges must neither leave nor fail to fill.
"""

from typing import Any

import numpy as np
import pytest

from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.drive import Drive, top_speed
from ridelog.machine.priors import COUNT, UNKNOWNS, Said, draw, machines_of
from ridelog.machine.setup import MachineSetup

Z = draw(2000)
G = STANDARD_GRAVITY_MPS2


def machines(said: Said | None = None, **keys: Any) -> Drive:
    return machines_of(MachineSetup(**keys), Z, said)


@pytest.fixture(scope="module")
def unknown() -> Drive:
    return machines()


def of(drive: Drive) -> dict[str, FloatArray]:
    mass = drive.mass_kg
    return {
        "mass with rider": mass,
        "rotating part": drive.inertia_factor - 1.0,
        "way": drive.way_per_radian_m,
        "efficiency": drive.efficiency,
        "controller": drive.controller_efficiency,
        "volts": drive.battery_v,
        "no load": drive.no_load_mps,
        "pull": drive.force_per_amp_n * drive.motor_limit_a / mass,
        "power": drive.limit_power_w / mass,
        "grip": drive.traction_n / (mass * G),
        "rolling": drive.rolling,
        "drag area": 2.0 * drive.load.c_ns2pm2 / 1.2041,
        "drag b": drive.load.b_nspm / mass,
        "idle": drive.idle_n / mass,
        "battery ohm": drive.battery_ohm,
        "motor ohm": drive.motor_ohm,
        "opening": drive.opening_s,
        "charge": drive.charge,
        "heat": drive.heat_share,
        "missing at the limit": 1.0 - 1.0 / drive.limit_a_per_a,
    }


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        # Nine in ten lie between these two: (least, most) of the lower end, then of the upper.
        ("mass with rider", (55.0, 80.0), (140.0, 180.0)),
        ("rotating part", (0.005, 0.02), (0.04, 0.12)),
        # Chains: 80.9 to 98.6 % (Spicer, Human Power 50, 2000, from memory).
        ("efficiency", (0.795, 0.825), (0.98, 0.99)),
        ("missing at the limit", (0.0, 0.015), (0.135, 0.15)),
        ("controller", (0.915, 0.925), (0.988, 0.992)),
        ("volts", (20.0, 30.0), (65.0, 90.0)),
        ("no load", (3.5, 6.0), (20.0, 30.0)),
        ("pull", (0.7, 1.3), (4.0, 7.0)),
        ("grip", (0.2, 0.3), (0.5, 0.65)),
        ("rolling", (0.006, 0.01), (0.07, 0.09)),
        ("drag area", (0.25, 0.36), (0.55, 0.72)),
        # 0.015 of weight, by 1/100 a mph (Gillespie, 1992, from memory): 0.0033.
        ("drag b", (0.0006, 0.0013), (0.009, 0.016)),
        ("idle", (0.012, 0.02), (0.12, 0.2)),
        # A third of hands at once; of ramps, one start in four, evenly up to 1 s.
        ("opening", (0.0, 0.0), (0.87, 0.91)),
        ("charge", (0.15, 0.35), (0.95, 1.0)),
        ("heat", (0.003, 0.05), (0.95, 0.997)),
    ],
)
def test_how_wide_what_nobody_said_lies(
    unknown: Drive, name: str, low: tuple[float, float], high: tuple[float, float]
) -> None:
    ends = np.quantile(of(unknown)[name], (0.05, 0.95))
    assert low[0] <= ends[0] <= low[1] and high[0] <= ends[1] <= high[1]


@pytest.mark.parametrize(
    ("surface", "low", "high", "grip"),
    [
        # Moyer in Marks' Standard Handbook; Carvill, Mechanical Engineer's Data Handbook, 1993;
        # the lower end of grass from memory.
        ("asphalt", 0.008, 0.02, 0.73),
        ("gravel", 0.01, 0.06, 0.55),
        ("grass", 0.03, 0.08, 0.45),
    ],
)
def test_nine_in_ten_of_a_ground_lie_in_its_printed_range(
    surface: str, low: float, high: float, grip: float
) -> None:
    drive = machines(surface=surface, driven_weight_share=0.6)
    assert np.quantile(drive.rolling, (0.05, 0.95)) == pytest.approx([low, high], rel=0.08)
    held = drive.traction_n / (drive.mass_kg * G * 0.6)
    # Tyres differ on one ground by a tenth to a third, not by a factor.
    ends = np.quantile(held, (0.05, 0.95)) / grip
    assert 0.68 < ends[0] < 0.85 and 1.18 < ends[1] < 1.45


# Value, what it is seen in, and how far nine in ten may lie from it at the most and at the least.
GIVEN: list[tuple[dict[str, Any], str, float, float, float]] = [
    ({"machine_mass_kg": 60.0, "rider_mass_kg": 40.0}, "mass with rider", 100.0, 0.06, 0.01),
    ({"machine_mass_kg": 60.0, "rider_mass_kg": 40.0, "load_mass_kg": 30.0}, "mass with rider",
     130.0, 0.06, 0.01),
    ({"drive_efficiency": 0.8}, "efficiency", 0.8, 0.06, 0.01),
    ({"rolling_resistance": 0.02}, "rolling", 0.02, 0.3, 0.05),
    ({"drag_area_m2": 0.6}, "drag area", 0.6, 0.25, 0.05),
    ({"tyre_grip": 0.8, "driven_weight_share": 0.5}, "grip", 0.4, 0.2, 0.03),
    ({"tyre_circumference_m": 1.2, "gearbox_ratio": 5.0}, "way", 0.2400 / (2.0 * np.pi), 0.03,
     0.005),
    # A tyre 0.4 m across rolls some 4 % less than pi times that: common practice.
    ({"tyre_diameter_m": 0.4, "gearbox_ratio": 1.0}, "way", 0.4 * 0.96 / 2.0, 0.07, 0.02),
    ({"motor_resistance_ohm": 0.1}, "motor ohm", 0.12, 0.3, 0.1),
    # Leads and connectors add a tenth to what the pack has.
    ({"battery_resistance_ohm": 0.05}, "battery ohm", 0.055, 0.35, 0.1),
]  # fmt: skip


@pytest.mark.parametrize(("keys", "name", "value", "most", "least"), GIVEN)
def test_a_given_figure_is_believed_but_not_to_the_last_digit(
    keys: dict[str, Any], name: str, value: float, most: float, least: float
) -> None:
    found = of(machines(**keys))[name]
    assert np.median(found) == pytest.approx(value, rel=0.012)
    reach = np.quantile(np.abs(found / value - 1.0), 0.9)
    assert least < reach < most


def test_a_motor_drags_by_itself_a_share_of_what_its_limit_pulls() -> None:
    """2 to 8 % of the rated current without load, the limit 1 to 1.75 times that: from memory.

    The ends of a quotient of two whose logarithms are normal lie apart by the root of the squares.
    """
    drive = machines(motor_limit_a=80.0, motor_rpm_per_v=60.0, gearbox_ratio=5.0)
    limit_n = 80.0 * drive.constant_nmpa / drive.way_per_radian_m
    found = drive.idle_n / limit_n
    middle, apart = np.sqrt(0.02 * 0.08 / 1.75), np.hypot(np.log(4.0), np.log(1.75)) / 2.0
    ends = [middle * np.exp(-apart), middle, middle * np.exp(apart)]
    assert np.quantile(found, (0.05, 0.5, 0.95)) == pytest.approx(ends, rel=0.06)


def test_limits_of_a_controller_are_known_to_a_tenth() -> None:
    drive = machines(motor_limit_a=80.0, battery_limit_a=30.0)
    amperes = drive.motor_limit_a * drive.limit_a_per_a
    for found, value in ((amperes, 80.0), (drive.battery_limit_a, 30.0)):
        assert np.median(found) == pytest.approx(value, rel=0.012)
        assert 0.05 < np.quantile(np.abs(found / value - 1.0), 0.9) < 0.15
    # Amperes of the battery are drawn for whatever they are spent on, the winding's heat too.
    assert (drive.heat_share == 1.0).all()
    assert np.ptp(machines(motor_limit_a=80.0).heat_share) > 0.9


def test_a_rated_power_tells_the_battery_limit_roughly() -> None:
    """One and a half times the rated power, within a factor of two: common practice, no source."""
    drive = machines(motor_rated_power_w=1000.0, battery_full_v=42.0, battery_nominal_v=36.0)
    found = drive.battery_limit_a * drive.battery_v
    assert np.median(found) == pytest.approx(1500.0, rel=0.04)
    low, high = np.quantile(found, (0.05, 0.95))
    assert 1500.0 / 2.3 < low < 1500.0 / 1.6 and 1500.0 * 1.6 < high < 1500.0 * 2.3


def test_nothing_gives_back_more_than_it_takes() -> None:
    assert machines(drive_efficiency=1.0).efficiency.max() == 1.0


def test_tyre_and_gearing_of_what_nobody_measured(unknown: Drive) -> None:
    """About a 13-inch tyre, 1.1 m a turn, geared six to one: common practice, no source."""
    assert np.median(unknown.way_per_radian_m) == pytest.approx(1.1 / (2.0 * np.pi) / 6.0, rel=0.03)
    # A watt per kilogram and m/s of its speed without load, some 11 m/s, less what the pack loses.
    assert 8.5 < np.median(unknown.limit_power_w / unknown.mass_kg) < 11.5
    spread = np.log(unknown.limit_power_w / unknown.mass_kg / unknown.no_load_mps)
    assert 0.5 < np.std(spread) < 0.8


def test_a_pack_has_the_resistance_of_its_cells_and_leads() -> None:
    """Ten cells of 0.11 ohm Ah (25-60 mohm of 2.5 Ah: from memory) over 10 Ah, a tenth more."""
    drive = machines(battery_cells=10, battery_chemistry="li-ion", battery_capacity_ah=10.0)
    assert np.median(drive.battery_ohm) == pytest.approx(1.1 * 0.11, rel=0.03)
    # Of a motor that is known the pack takes a quarter of the whole, if nobody knows it.
    known = machines(motor_resistance_ohm=0.1)
    share = known.battery_ohm / (known.battery_ohm + known.motor_ohm)
    assert np.median(share) == pytest.approx(0.25, abs=0.02)


def test_a_stage_more_loses_more() -> None:
    """Two chains pass on a share of what one does; one and a half times the loss, not all of it."""
    one = machines(front_teeth=10, rear_teeth=60)
    two = machines(front_teeth=10, rear_teeth=60, second_front_teeth=10, second_rear_teeth=20)
    assert np.log(two.efficiency) == pytest.approx(1.5 * np.log(one.efficiency))


def test_what_is_not_believed_lies_within_half_and_twice() -> None:
    keys: dict[str, Any] = {"machine_mass_kg": 60.0, "rider_mass_kg": 40.0}
    loose = machines(Said(loose=frozenset({"mass_kg"})), **keys)
    low, high = np.quantile(loose.mass_kg, (0.05, 0.95)) / 100.0
    assert low == pytest.approx(0.5, abs=0.06) and high == pytest.approx(2.0, abs=0.15)
    # A range that is wider by itself stays as it is.
    wide = machines(Said(loose=frozenset({"no_load_mps"})))
    assert np.array_equal(wide.no_load_mps, machines().no_load_mps)


@pytest.mark.parametrize(("known", "mean", "sd"), [((0.6, 0.05), 0.6, 0.05), ((1.0, 0.0), 1.0, 0)])
def test_a_charge_that_is_told_is_taken(known: tuple[float, float], mean: float, sd: float) -> None:
    charge = machines(Said(charge=known)).charge
    assert charge.mean() == pytest.approx(mean, abs=0.005)
    assert charge.std() == pytest.approx(sd, abs=0.004) and charge.max() <= 1.0


def test_nobody_said_how_full_leaves_the_better_half_above_71_percent(unknown: Drive) -> None:
    assert unknown.charge.min() >= 0.15 and unknown.charge.max() <= 1.0
    assert np.median(unknown.charge) == pytest.approx(0.71, abs=0.02)


def test_battery_and_motor_share_the_line(unknown: Drive) -> None:
    """At standstill the whole line pulls with some 6.5 m/s², a quarter of it lost in the pack."""
    share = unknown.battery_ohm / (unknown.battery_ohm + unknown.motor_ohm)
    low, high = np.quantile(share, (0.05, 0.95))
    assert 0.05 < low < 0.12 and 0.45 < high < 0.65
    pull = unknown.force_per_amp_n * unknown.battery_v / (unknown.battery_ohm + unknown.motor_ohm)
    assert np.median(pull / unknown.mass_kg) == pytest.approx(6.5, rel=0.05)
    # A pack that is known leaves the motor the rest, and at least a fifth of the whole.
    known = machines(battery_resistance_ohm=0.05)
    whole = known.force_per_amp_n * known.battery_v / (known.battery_ohm + known.motor_ohm)
    assert np.median(whole / known.mass_kg) == pytest.approx(6.5, rel=0.1)
    # ... of a pack that would take all of it too.
    weak = machines(battery_resistance_ohm=5.0)
    alone = weak.force_per_amp_n * weak.battery_v / weak.motor_ohm / weak.mass_kg
    assert np.median(alone) == pytest.approx(5.0 * 6.5, rel=0.05)


def test_the_line_goes_through_the_rated_point() -> None:
    """P = T w with T = k (V - k w) / R at 85 % of the speed without load, solved for R by hand."""
    drive = machines(motor_rated_v=48.0, motor_rpm_per_v=60.0, motor_rated_power_w=1500.0)
    k = drive.constant_nmpa
    omega = 0.85 * 48.0 / k
    power = k * (48.0 - k * omega) / drive.motor_ohm * omega
    assert np.median(power) == pytest.approx(1500.0, rel=0.03)
    assert 1.6 < np.quantile(power / 1500.0, 0.95) < 2.3


def test_more_is_known_of_the_top_with_every_figure_given() -> None:
    """The half width of the predicted top speed shrinks, and every machine has one."""
    keys: dict[str, Any] = {"battery_cells": 13, "battery_chemistry": "li-ion"}
    wide = np.inf
    for more in (
        {"motor_rpm_per_v": 60.0},
        {"front_teeth": 11, "rear_teeth": 55, "tyre_circumference_m": 1.3},
        {"machine_mass_kg": 60.0, "rider_mass_kg": 75.0, "surface": "asphalt"},
        {"battery_limit_a": 30.0, "motor_limit_a": 90.0, "drag_area_m2": 0.5},
    ):  # fmt: skip
        keys |= more
        top, _ = top_speed(machines(**keys))
        low, high = np.nanquantile(top, (0.05, 0.95))
        assert np.log(high / low) < 1.03 * wide
        wide = float(np.log(high / low))
    assert wide < 0.35


def test_equal_seeds_give_equal_machines() -> None:
    assert Z.shape == (2000, COUNT) and len({one.name for one in UNKNOWNS}) == COUNT
    assert np.array_equal(draw(50), draw(50)) and not np.array_equal(draw(50), draw(50, seed=2))
    drive = machines()
    for one in UNKNOWNS:
        if one.name != "ratio":
            assert one.of(drive).shape == (2000,) and np.all(np.isfinite(one.of(drive)))


def test_the_winding_drops_a_share_of_the_volts_at_the_limit() -> None:
    """0.05 (disc motors) to 0.35 (small brushed ones), data sheets from memory; heavier or not."""
    for mass in (40.0, 150.0):
        drive = machines(machine_mass_kg=mass, motor_limit_a=80.0, battery_full_v=54.6)
        drop = 80.0 * drive.motor_ohm / drive.battery_v
        assert np.quantile(drop, (0.05, 0.95)) == pytest.approx([0.05, 0.35], rel=0.08)
    # A resistance that is typed goes before it.
    typed = machines(motor_resistance_ohm=0.1, motor_limit_a=80.0)
    assert np.median(typed.motor_ohm) == pytest.approx(0.12, rel=0.02)
