"""What a change makes of a machine, by the laws it is made of.

A gear multiplies torque and divides speed; windings of n times the turns have n times the
constant and n² the resistance; cells in series add volts and resistance, strings share current (any
textbook of electric drives). What nobody knows lies between two laws: machine (18) to (22).
"""

from typing import Any

import numpy as np
import pytest

from ridelog.core.errors import SetupError
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.change import at_charge, changed, changed_drive, on_ground, parse_sweep
from ridelog.machine.drive import Drive
from ridelog.machine.priors import draw, machines_of
from ridelog.machine.setup import MachineSetup

KEYS: dict[str, Any] = {
    "machine_mass_kg": 60.0, "rider_mass_kg": 40.0, "front_teeth": 10, "rear_teeth": 60,
    "tyre_circumference_m": 1.2, "motor_rpm_per_v": 60.0, "motor_resistance_ohm": 0.1,
    "battery_cells": 10, "battery_chemistry": "li-ion", "battery_capacity_ah": 10.0,
    "battery_resistance_ohm": 0.1, "motor_limit_a": 80.0, "battery_limit_a": 30.0,
    "drive_efficiency": 0.85, "rolling_resistance": 0.02, "drag_area_m2": 0.5, "tyre_grip": 0.7,
    "driven_weight_share": 0.6, "surface": "asphalt",
}  # fmt: skip
SETUP = MachineSetup(**KEYS)
DRIVE = machines_of(SETUP, draw(500))


def after(setup: MachineSetup = SETUP, drive: Drive = DRIVE, **asked: Any) -> Drive:
    return changed_drive(drive, setup, changed(setup, asked))


def same(new: Drive, *others: str) -> None:
    """Hold all but some quantities unchanged."""
    for name in ("mass_kg", "inertia_factor", "way_per_radian_m", "efficiency", "constant_nmpa",
                 "motor_ohm", "battery_ohm", "battery_v", "motor_limit_a", "battery_limit_a",
                 "traction_n", "rolling", "idle_n"):  # fmt: skip
        if name not in others:
            assert getattr(new, name) == pytest.approx(getattr(DRIVE, name)), name


def test_nothing_asked_changes_nothing() -> None:
    same(after())
    assert after().load.a_n == pytest.approx(DRIVE.load.a_n)
    assert after().load.b_nspm == pytest.approx(DRIVE.load.b_nspm)
    assert after().load.c_ns2pm2 == pytest.approx(DRIVE.load.c_ns2pm2)


def test_a_shorter_gear_turns_the_motor_faster() -> None:
    """Ten teeth to eight: a fifth less way a turn, the motor 1.25 times as fast."""
    new = after(front_teeth=8)
    same(new, "way_per_radian_m", "inertia_factor", "idle_n")
    assert new.way_per_radian_m == pytest.approx(0.8 * DRIVE.way_per_radian_m)
    assert new.idle_n == pytest.approx(1.25 * DRIVE.idle_n)
    assert new.load.a_n - DRIVE.load.a_n == pytest.approx(0.25 * DRIVE.efficiency * DRIVE.idle_n)
    # Of what rotates some part goes with the square, of what grows with speed too: any, alike.
    for grown in (
        (new.inertia_factor - 1.0) / (DRIVE.inertia_factor - 1.0),
        new.load.b_nspm / DRIVE.load.b_nspm,
    ):
        assert grown.min() >= 1.0 and grown.max() <= 1.25**2
    rotating = (new.inertia_factor - 1.0) / (DRIVE.inertia_factor - 1.0)
    assert rotating.mean() == pytest.approx(1.0 + 0.5 * 0.5625, abs=0.03)
    assert rotating.std() == pytest.approx(0.5625 / np.sqrt(12.0), rel=0.1)
    assert (new.load.b_nspm / DRIVE.load.b_nspm).mean() == pytest.approx(1.0 + 0.5625 / 3, abs=0.03)
    # A larger tyre is the same as a longer gear.
    assert after(tyre_circumference_m=1.5).way_per_radian_m == pytest.approx(
        1.25 * DRIVE.way_per_radian_m
    )


def test_more_cells_are_more_volts_and_more_resistance() -> None:
    setup = SETUP.model_copy(update={"battery_resistance_ohm": None})
    drive = machines_of(setup, draw(500))
    new = after(setup, drive, battery_cells=13)
    assert new.battery_v == pytest.approx(1.3 * drive.battery_v)
    assert new.battery_ohm == pytest.approx(1.3 * drive.battery_ohm)
    assert after(setup, drive, battery_capacity_ah=20.0).battery_ohm == pytest.approx(
        0.5 * drive.battery_ohm
    )
    # Lithium iron phosphate, 10 cells: 3.65 V full for 4.2 V, 0.07 ohm Ah for 0.11 (from memory).
    iron = after(setup, drive, battery_chemistry="lifepo4")
    assert iron.battery_ohm == pytest.approx(0.07 / 0.11 * drive.battery_ohm)
    assert np.median(iron.battery_v / drive.battery_v) == pytest.approx(3.32 / 3.88, rel=0.02)


def test_a_winding_of_more_turns() -> None:
    """Half the speed for a volt: twice the turns, four times the resistance."""
    new = after(motor_rpm_per_v=30.0)
    same(new, "constant_nmpa", "motor_ohm")
    assert new.constant_nmpa == pytest.approx(2.0 * DRIVE.constant_nmpa)
    assert new.motor_ohm == pytest.approx(4.0 * DRIVE.motor_ohm)
    given = after(motor_rpm_per_v=30.0, motor_resistance_ohm=0.2)
    assert given.motor_ohm == pytest.approx(2.0 * DRIVE.motor_ohm)
    stall = SETUP.model_copy(update={"motor_stall_torque_nm": 30.0, "motor_rated_v": 36.0,
                                     "motor_resistance_ohm": None})  # fmt: skip
    drive = machines_of(stall, draw(500))
    assert after(stall, drive, motor_stall_torque_nm=60.0).motor_ohm == pytest.approx(
        0.5 * drive.motor_ohm
    )


@pytest.mark.parametrize(
    ("key", "value", "name", "factor"),
    [
        ("battery_resistance_ohm", 0.05, "battery_ohm", 0.5),
        ("motor_resistance_ohm", 0.3, "motor_ohm", 3.0),
        ("battery_limit_a", 45.0, "battery_limit_a", 1.5),
        ("tyre_grip", 0.35, "traction_n", 0.5), ("driven_weight_share", 0.3, "traction_n", 0.5),
        ("rolling_resistance", 0.03, "rolling", 1.5),
    ],
)  # fmt: skip
def test_a_figure_of_its_own_acts_by_the_ratio(
    key: str, value: float, name: str, factor: float
) -> None:
    asked: dict[str, Any] = {key: value}
    new = after(**asked)
    same(new, name)
    assert getattr(new, name) == pytest.approx(factor * getattr(DRIVE, name))


def test_efficiency_never_passes_one() -> None:
    new = after(drive_efficiency=0.98)
    assert new.efficiency == pytest.approx(np.minimum(DRIVE.efficiency * 0.98 / 0.85, 1.0))
    assert new.efficiency.max() == 1.0


def test_at_its_limit_the_torque_lags_behind_the_current() -> None:
    """Between as the current and, where 0.15 was missing (0.62 of I_s), 1.475 times (22)."""
    new = after(motor_limit_a=160.0)
    share = new.motor_limit_a / DRIVE.motor_limit_a
    least = 2.0 * np.sqrt(0.85**-2.0 / (1.0 + 4.0 * (0.85**-2.0 - 1.0)))
    assert least <= share.min() < 1.53 and 1.96 < share.max() <= 2.0
    # The amperes are those that were asked for.
    assert new.motor_limit_a * new.limit_a_per_a == pytest.approx(
        2.0 * DRIVE.motor_limit_a * DRIVE.limit_a_per_a
    )


def test_weight_rolls_grips_and_is_pulled() -> None:
    """25 kg on 100 kg: a quarter more rolling and grip, the same air."""
    new = after(rider_mass_kg=65.0)
    heavier = (DRIVE.mass_kg + 25.0) / DRIVE.mass_kg
    assert new.mass_kg == pytest.approx(DRIVE.mass_kg + 25.0)
    assert new.traction_n == pytest.approx(heavier * DRIVE.traction_n)
    rolls = DRIVE.rolling * DRIVE.mass_kg * STANDARD_GRAVITY_MPS2
    assert new.load.a_n - DRIVE.load.a_n == pytest.approx((heavier - 1.0) * rolls)
    assert new.load.c_ns2pm2 == pytest.approx(DRIVE.load.c_ns2pm2)
    assert (new.inertia_factor - 1.0) * new.mass_kg == pytest.approx(
        (DRIVE.inertia_factor - 1.0) * DRIVE.mass_kg
    )
    assert after(drag_area_m2=0.25).load.c_ns2pm2 == pytest.approx(0.5 * DRIVE.load.c_ns2pm2)


def test_a_key_that_only_the_new_set_up_gives_is_taken_at_its_word() -> None:
    bare = MachineSetup(**{k: v for k, v in KEYS.items() if k not in (
        "battery_limit_a", "motor_limit_a", "drag_area_m2", "rolling_resistance", "tyre_grip",
        "driven_weight_share")})  # fmt: skip
    drive = machines_of(bare, draw(500))
    new = after(bare, drive, battery_limit_a=20.0, motor_limit_a=50.0, drag_area_m2=0.4,
                rolling_resistance=0.03, tyre_grip=0.5)  # fmt: skip
    for found, value in (
        (new.battery_limit_a, 20.0), (new.motor_limit_a * new.limit_a_per_a, 50.0),
        (new.rolling, 0.03),
        (new.load.c_ns2pm2, 0.5 * 1.2041 * 0.4),
        (new.traction_n / (new.mass_kg * STANDARD_GRAVITY_MPS2), 0.5 * 0.6),
    ):  # fmt: skip
        assert np.median(found) == pytest.approx(value, rel=0.02)
        assert np.std(np.log(found)) == pytest.approx(0.05, rel=0.15)
    assert np.array_equal(new.limit_a_per_a, drive.limit_a_per_a)
    # Six tenths of the weight on the driven wheels are taken where nobody says.
    shared = after(bare, drive, driven_weight_share=0.9)
    assert np.median(shared.traction_n / drive.traction_n) == pytest.approx(1.5, rel=0.02)


def test_another_ground_keeps_who_rolls_lightly() -> None:
    """Grip goes as the grounds' (0.73 and 0.45); rolling lies in the new ground's range."""
    new = on_ground(DRIVE, "asphalt", "grass")
    assert new.traction_n == pytest.approx(DRIVE.traction_n * 0.45 / 0.73)
    # 0.02 is the upper end of asphalt: six tenths of the way from the middle to that of grass.
    middle = np.sqrt(0.03 * 0.08) * (0.08 / 0.03) ** (0.5 * 0.6)
    assert np.median(new.rolling) == pytest.approx(middle, rel=0.05)
    more = (new.rolling - DRIVE.rolling) * DRIVE.mass_kg * STANDARD_GRAVITY_MPS2
    assert new.load.a_n == pytest.approx(DRIVE.load.a_n + more)
    free = machines_of(MachineSetup(surface="asphalt"), draw(2000))
    moved = on_ground(free, "asphalt", "grass").rolling
    assert np.corrcoef(np.log(free.rolling), np.log(moved))[0, 1] == pytest.approx(0.6, abs=0.05)
    assert np.std(np.log(moved)) == pytest.approx(np.log(0.08 / 0.03) / 3.29, rel=0.08)
    unnamed = on_ground(free, None, "grass").rolling
    assert abs(np.corrcoef(np.log(free.rolling), np.log(unnamed))[0, 1]) < 0.08
    # The change itself does the same, and nothing where the ground stays.
    assert after(surface="grass").traction_n == pytest.approx(new.traction_n)
    same(after(surface="asphalt"))


def test_another_charge_is_another_voltage() -> None:
    """Lithium-ion at rest: 4.18 V full, 3.69 V half full (from memory)."""
    full, half = at_charge(DRIVE, SETUP, (1.0, 0.0)), at_charge(DRIVE, SETUP, (0.5, 0.0))
    assert half.battery_v / full.battery_v == pytest.approx(3.69 / 4.18)
    assert (full.charge == 1.0).all()
    spread = at_charge(DRIVE, SETUP, (0.6, 0.05)).charge
    assert spread.mean() == pytest.approx(0.6, abs=0.01)
    assert spread.std() == pytest.approx(0.05, rel=0.1)


@pytest.mark.parametrize(("text", "values"), [
    ("front_teeth=9:13", [9, 10, 11, 12, 13]), ("front_teeth=13:11", [13, 12, 11]),
    ("battery_limit_a=30:60:10", [30.0, 40.0, 50.0, 60.0]),
    ("battery_limit_a=60:30:-15", [60.0, 45.0, 30.0]), ("front_teeth=9:9", [9]),
    ("battery_limit_a=30:69:1", [float(v) for v in range(30, 70)]),
    ("battery_limit_a=30:70:1", [float(v) for v in range(30, 71)]),
])  # fmt: skip
def test_a_sweep_counts_from_first_to_last(text: str, values: list[float]) -> None:
    assert parse_sweep(text)[1] == values


@pytest.mark.parametrize(("text", "words"), [
    ("battery_limit_a=30:71:1", "has 42 values; at most 41"),
    ("front_teeth=9:13:-1", "is no sweep"),
    ("front_teeth=9:13:0", "is no sweep"), ("front_teeth=9", "is no sweep"),
    ("front_teeth=9:10:1:1", "is no sweep"), ("front_teeth=9:inf", "is no sweep"),
    ("surface=1:2", "surface is no number"), ("=1:2", "is no sweep"),
])  # fmt: skip
def test_a_sweep_that_cannot_be(text: str, words: str) -> None:
    with pytest.raises(SetupError, match=words):
        parse_sweep(text)


def test_what_follows_from_a_pack_and_a_tyre() -> None:
    setup = MachineSetup(
        machine_mass_kg=60.0, rider_mass_kg=40.0, battery_mass_kg=8.0, battery_height_m=0.3,
        cg_height_m=0.6, tyre_circumference_m=1.0, tyre_diameter_m=0.33, battery_nominal_v=36.0,
    )  # fmt: skip
    found = changed(setup, {"battery_mass_kg": 12.0})
    assert found.setup.machine_mass_kg == pytest.approx(64.0)
    # Moments about the ground: (100 x 0.6 - 8 x 0.3 + 12 x 0.3) / 104.
    assert found.setup.cg_height_m == pytest.approx(61.2 / 104.0, abs=1e-4)
    assert "machine_mass_kg follows the pack: 64.0 kg." in found.notes
    lower = changed(setup, {"battery_height_m": 0.5}).setup
    assert lower.cg_height_m == pytest.approx((60.0 + 8.0 * 0.2) / 100.0, abs=1e-4)
    tyre = changed(setup, {"tyre_diameter_m": 0.396})
    assert tyre.setup.tyre_circumference_m == pytest.approx(1.2, abs=1e-4)
    volts = changed(setup, {"battery_nominal_v": 48.0}).setup
    assert volts.battery_nominal_v == 48.0 and volts.battery_cells is None
    cells = changed(setup, {"battery_cells": 13})
    # 36 V are ten cells of 3.6 V: each has its share of them.
    assert cells.setup.battery_nominal_v == pytest.approx(46.8)
    assert any("The present 36 V are taken as 10 cells of" in note for note in cells.notes)
    named = setup.model_copy(update={"battery_cells": 10, "battery_full_v": 42.0})
    more = changed(named, {"battery_nominal_v": 46.8})
    assert more.setup.battery_cells == 13 and more.setup.battery_full_v == pytest.approx(54.6)
    assert "battery_full_v follows the nominal voltage: 54.6 V." in more.notes
