"""The pack: charge from volts, resistance from its cells, range that ends where volts give out."""

from dataclasses import replace

import numpy as np
import pytest
from machines import drive, one

from ridelog.machine.change import at_charge, changed, changed_drive, on_ground
from ridelog.machine.fit import from_setup
from ridelog.machine.pack import (
    charge_of_volts,
    peukert_factor,
    resistance_ratio,
    resting_full_v,
    resting_share,
)
from ridelog.machine.setup import MachineSetup
from ridelog.machine.travel import energy_j_per_m, range_m

LI = MachineSetup(battery_cells=10, battery_chemistry="li-ion", battery_capacity_ah=12.0)


def test_volts_tell_the_charge_where_the_curve_is_steep() -> None:
    assert resting_full_v(LI) == pytest.approx(41.8)
    for charge in (0.3, 0.6, 0.95):
        volts = 41.8 * float(resting_share(LI, np.array([charge]))[0])
        told = charge_of_volts(LI, volts)
        assert told is not None
        assert told[0] == pytest.approx(charge, abs=0.04) and told[1] < 0.08
    flat = LI.model_copy(update={"battery_chemistry": "lifepo4"})
    middle = charge_of_volts(flat, 10 * 3.29)
    assert middle is not None and middle[1] > 0.1
    assert charge_of_volts(MachineSetup(), 40.0) is None


def test_larger_cells_share_what_more_of_them_add() -> None:
    more = LI.model_copy(update={"battery_cells": 20, "battery_capacity_ah": 25.0})
    assert resistance_ratio(LI, more) == pytest.approx(2.0 * 12.0 / 25.0)
    before = from_setup(LI, 50).drive
    change = changed(LI, {"battery_cells": 20, "battery_capacity_ah": 25.0})
    after = changed_drive(before, LI, change)
    assert after.battery_ohm / before.battery_ohm == pytest.approx(0.96)
    assert after.battery_v / before.battery_v == pytest.approx(2.0)


def _range(ohm: float, speed: float | None = 6.0, **more: object) -> float:
    setup = LI.model_copy(update={"controller_cutoff_v": 31.0, **more})
    machine = drive(
        a_n=20.0, c_ns2pm2=0.3, battery_v=41.8, battery_ohm=ohm, motor_limit_a=60.0,
        battery_limit_a=30.0, constant_nmpa=0.14,
    )  # fmt: skip
    found = range_m(machine, setup, speed)
    assert found is not None
    return float(found[0])


def test_more_resistance_never_carries_further() -> None:
    assert _range(0.1) > _range(0.4) > _range(0.8)
    assert _range(0.1, None) > _range(0.4, None)


def test_range_of_a_lossless_pack_is_its_energy_over_the_force() -> None:
    """12 Ah of 10 cells, of which 95 % are there, against 20 N, at the mean volts over charge."""
    machine = drive(a_n=20.0, motor_ohm=1e-6, battery_v=41.8, constant_nmpa=0.14)
    setup = LI.model_copy(update={"controller_cutoff_v": 1.0})
    found = range_m(machine, setup, 4.0)
    assert found is not None
    charge = (np.arange(24.0) + 0.5) / 24.0
    volts = float(np.mean(41.8 * resting_share(LI, charge)))
    capacity = float(found[0]) * 20.0 / volts / 3600.0 / 12.0
    assert capacity == pytest.approx(0.95, rel=0.15)  # the pack's own share is drawn
    assert energy_j_per_m(machine, one(4.0))[0] == pytest.approx(20.0, rel=1e-3)


def test_lead_acid_gives_less_the_faster_it_is_drawn_from() -> None:
    """Peukert: ten times the rated current takes 10^0.15 = 1.41 times as much of the charge."""
    factor = peukert_factor(20.0, np.array([0.5, 1.0, 10.0]), np.array([1.15] * 3))
    assert factor == pytest.approx([1.0, 1.0, 10.0**0.15])
    assert peukert_factor(20.0, one(10.0), one(1.0)) == pytest.approx([1.0])


def test_no_range_without_capacity_and_none_above_the_top() -> None:
    bare = MachineSetup(battery_cells=10)
    assert range_m(drive(a_n=20.0), bare, 5.0) is None
    assert np.isnan(_range(0.1, 30.0))


def test_another_charge_moves_the_volts_alone() -> None:
    fitted = from_setup(LI, 200).drive
    empty = at_charge(fitted, LI, (0.2, 0.01))
    assert np.median(empty.battery_v) == pytest.approx(10 * 3.55, rel=0.02)
    assert np.array_equal(empty.mass_kg, fitted.mass_kg)


def test_grass_rolls_harder_than_asphalt_and_holds_less() -> None:
    setup = LI.model_copy(update={"surface": "asphalt"})
    before = from_setup(setup, 400).drive
    after = on_ground(before, "asphalt", "grass")
    assert np.median(after.rolling) == pytest.approx(0.055, rel=0.15)
    assert np.all(after.traction_n < before.traction_n)
    gained = after.load.a_n - before.load.a_n
    assert gained == pytest.approx((after.rolling - before.rolling) * before.mass_kg * 9.80665)
    same = changed_drive(before, setup, changed(setup, {"surface": "grass"}))
    assert same.load.a_n == pytest.approx(after.load.a_n)
    spread = np.log(0.08 / 0.03) / 3.29  # nine in ten between the printed ends
    assert np.std(np.log(on_ground(before, None, "grass").rolling)) == pytest.approx(
        spread, rel=0.15
    )


def test_a_step_down_controller_at_a_weak_pack() -> None:
    """By trying every duty: with 0.2 ohm before 0.05 ohm from standstill half of it gives most."""
    machine = drive(battery_ohm=0.2, a_n=20.0)
    duty = np.linspace(1e-3, 1.0, 20001)
    for speed in (0.0, 2.0, 6.0, 12.0):
        back = 0.1 / 0.03 * speed
        most = np.max((duty * 48.0 - back) / (0.05 + duty**2 * 0.2))
        assert machine.motor_current_a(np.array([speed]))[0, 0] == pytest.approx(most, rel=1e-5)
    lossy = replace(machine, controller_efficiency=one(0.9))
    at = np.array([6.0])
    assert lossy.battery_current_a(at)[0, 0] > machine.battery_current_a(at)[0, 0]
