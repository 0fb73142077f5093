"""Figures of machines whose limits are known, what rides add to them, and how both are told.

v s + v² / (2 a) to stop, tan(arcsin(F / W)) climbed, P / v for a metre: any textbook of mechanics.
Reaction of a second: common practice, no source. 3.5 m/s²: StVZO § 41 (4).
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from machines import drive, one

from ridelog.analysis.launches.windows import parse_window
from ridelog.core.errors import SetupError
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.quantity import SPEED
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.conditions import (
    Conditions,
    SpeedAsked,
    parse_at,
    parse_charge,
    parse_slope,
    parse_volts,
)
from ridelog.machine.drive import Drive, RoadLoad, in_wind, on_slope
from ridelog.machine.figures import PossibleFigure, figures_of, narrowings
from ridelog.machine.fit import from_setup
from ridelog.machine.possible import PossibleMachines, basis_notes, paired
from ridelog.machine.setup import MachineSetup
from ridelog.machine.standing import peak
from ridelog.machine.travel import energy_j_per_m, range_m

G = 9.80665
# 100 kg that 100 N push up to where 1 N s²/m² balances them: 10 m/s.
EVEN = drive(motor_limit_a=30.0, constant_nmpa=0.1, way_per_radian_m=0.03, c_ns2pm2=1.0,
             battery_v=480.0, battery_limit_a=1e4, motor_ohm=1e-6)  # fmt: skip


def about(value: float, sd: float) -> Estimate:
    return Estimate(value, value - QUANTILE * sd, value + QUANTILE * sd)


def values(
    setup: MachineSetup | None = None, machine: Drive = EVEN, **more: Any
) -> dict[str, float]:
    windows = [parse_window(text) for text in ("0-18 km/h", "9-18 km/h", "0-20 m")]
    more.setdefault("decel_mps2", one(4.0))
    found = figures_of(machine, setup or MachineSetup(), windows, **more)
    return {each.name: float(each.values[0]) for each in found}


def test_figures_of_a_force_against_the_air() -> None:
    """m v' = F - c v²: t = m / sqrt(F c) artanh(v / v0), way m / (2 c) ln(1 / (1 - v² / v0²))."""
    found = values(lateral_mps2=one(5.0))
    assert found["top_speed_mps"] == pytest.approx(10.0, rel=1e-6)
    assert found["0-18 km/h"] == pytest.approx(10.0 * np.arctanh(0.5), rel=2e-4)
    assert found["9-18 km/h"] == pytest.approx(
        10.0 * (np.arctanh(0.5) - np.arctanh(0.25)), rel=2e-4
    )
    at = 10.0 * np.sqrt(1.0 - np.exp(-0.4))
    assert found["0-20 m"] == pytest.approx(10.0 * np.arctanh(at / 10.0), rel=2e-4)
    for speed, name in ((0.0, "pull_at_0_mps2"), (2.0, "pull_at_2_mps"), (8.0, "pull_at_8_mps")):
        assert found[name] == pytest.approx(1.0 - speed**2 / 100.0, rel=1e-6)
    assert found["stopping_distance_m"] == pytest.approx(10.0 + 100.0 / 8.0)
    assert found["lateral_accel_mps2"] == 5.0
    # 100 N of 980.665 N of weight; at 15 km/h the air takes 17.36 N of them.
    assert found["climb_from_rest"] == pytest.approx(np.tan(np.arcsin(100.0 / 980.665)))
    assert found["climb_at_15_kmh"] == pytest.approx(
        np.tan(np.arcsin((100.0 - (15.0 / 3.6) ** 2) / 980.665))
    )
    assert found["climb_at_8_kmh"] == pytest.approx(
        np.tan(np.arcsin((100.0 - (8.0 / 3.6) ** 2) / 980.665))
    )
    # Without losses a metre takes the force.
    assert found["energy_at_top_j_per_m"] == pytest.approx(100.0, rel=1e-3)
    assert "tip_over_mps2" not in found and "range_at_top_m" not in found


def test_what_is_held_where_and_what_tips() -> None:
    asked = (SpeedAsked("18_kmh", "18 km/h", 5.0), SpeedAsked("40_kmh", "40 km/h", 11.1))
    setup = MachineSetup(battery_cells=10, battery_chemistry="li-ion", battery_capacity_ah=10.0,
                         track_width_m=0.8, cg_height_m=0.5)  # fmt: skip
    found = values(setup, at=asked)
    assert found["energy_at_18_kmh_j_per_m"] == pytest.approx(25.0, rel=1e-3)
    assert np.isnan(found["energy_at_40_kmh_j_per_m"]) and np.isnan(found["range_at_40_kmh_m"])
    # 0.85 to 0.90 of 0.8 / (2 x 0.5), the height known to 5 %.
    assert 0.7 * 0.8 * G < found["tip_over_mps2"] < 1.05 * 0.8 * G
    assert found["range_at_18_kmh_m"] > 3.0 * found["range_at_top_m"] > 0.0
    steep = values(machine=on_slope(EVEN, 0.2))
    assert np.isnan(steep["top_speed_mps"]) and np.isnan(steep["climb_from_rest"])


def test_slope_and_wind_by_their_forces() -> None:
    uphill = on_slope(EVEN, 0.05)
    sine = 0.05 / np.hypot(1.0, 0.05)
    assert uphill.load.a_n == pytest.approx(100.0 * G * sine)
    for wind in (3.0, -2.0):
        blown = in_wind(replace(EVEN, load=RoadLoad(one(5.0), one(8.0), one(1.0))), wind)
        speed = np.array([4.0, 9.0])
        wanted = 5.0 + 8.0 * speed + (speed + wind) ** 2
        assert blown.load.force_n(speed)[0] == pytest.approx(wanted)


def test_peaks_are_of_all_speeds() -> None:
    current, limit = peak(EVEN, "battery_current_a")
    # 100 N at 10 m/s from 480 V.
    assert current == pytest.approx([1000.0 / 480.0], rel=1e-3) and limit.tolist() == [1]
    power, _ = peak(EVEN, "battery_power_w")
    assert power == pytest.approx([1000.0], rel=1e-3)
    winding, _ = peak(replace(EVEN, limit_a_per_a=one(1.3)), "winding_a")
    assert winding == pytest.approx([39.0])


def test_a_pack_is_emptied_at_the_current_that_a_speed_takes() -> None:
    """25 N at 5 m/s: 125 W; 10 Ah of 0.95 at 36 to 42 V, the curve's mean 0.899 of full."""
    setup = MachineSetup(battery_cells=10, battery_chemistry="li-ion", battery_capacity_ah=10.0,
                         controller_cutoff_v=20.0)  # fmt: skip
    count = 400
    same = {name: np.full(count, getattr(EVEN, name)[0]) for name in (
        "mass_kg", "inertia_factor", "way_per_radian_m", "efficiency", "constant_nmpa", "motor_ohm",
        "battery_ohm", "motor_limit_a", "battery_limit_a", "heat_share", "traction_n", "opening_s",
    )}  # fmt: skip
    load = RoadLoad(np.zeros(count), np.zeros(count), np.ones(count))
    # Torque to spare at 42 V: the motor's constant is as small.
    same |= {"constant_nmpa": np.full(count, 0.02), "motor_limit_a": np.full(count, 150.0)}
    fast = Drive(**same, battery_v=np.full(count, 41.8), load=load, charge=np.ones(count))
    way = range_m(fast, setup, 5.0)
    assert way is not None
    curve = np.array([3.20, 3.46, 3.55, 3.60, 3.64, 3.69, 3.77, 3.87, 3.97, 4.07, 4.18]) / 4.18
    steps = (np.arange(24) + 0.5) / 24
    volts = 41.8 * np.mean(np.interp(steps, np.linspace(0.0, 1.0, 11), curve))
    assert np.median(way) == pytest.approx(0.95 * 36_000.0 * volts / 25.0, rel=0.02)
    assert np.std(np.log(way)) == pytest.approx(0.06, rel=0.1)
    half = range_m(replace(fast, charge=np.full(count, 0.5)), setup, 5.0, full=False)
    # The volts of a half charge: 3.69 of 4.18 V are what 41.8 V now stand for.
    assert half is not None
    lower = np.mean(np.interp(0.5 * steps, np.linspace(0.0, 1.0, 11), curve)) * 41.8 / (3.69 / 4.18)
    assert half / way == pytest.approx(0.5 * lower / volts, rel=1e-3)
    early = range_m(fast, setup.model_copy(update={"controller_cutoff_v": 37.0}), 5.0)
    assert early is not None and np.median(early) < 0.6 * np.median(way)
    assert energy_j_per_m(fast, np.full(count, 5.0)) == pytest.approx(25.0, rel=1e-3)
    assert range_m(fast, MachineSetup(battery_cells=10), 5.0) is None
    # Air takes the square of the speed as force, the cube as current, which Peukert's law of
    # lead-acid (exponent 1.15) punishes again.
    for chemistry, further in (("li-ion", 1.25**2), ("lead-acid", 1.25 ** (2 + 3 * 0.15))):
        kind = setup.model_copy(update={"battery_cells": 18, "battery_chemistry": chemistry})
        ways = [range_m(fast, kind, speed) for speed in (4.0, 5.0)]
        assert ways[0] is not None and ways[1] is not None
        assert np.median(ways[0] / ways[1]) == pytest.approx(further, rel=0.01)


def figure(name: str, now: Any, limit: int = 1, at_mps: float | None = None) -> PossibleFigure:
    spread = np.linspace(-0.5, 0.5, 101)
    shown = np.full(101, np.nan) if now is None else now + spread
    return PossibleFigure(name, name, SPEED, shown, np.full(101, limit), at_mps)


def test_now_and_after_of_the_same_machines() -> None:
    """Each moves by 1: the difference is known exactly though both are not."""
    measured = {"top_speed_mps": about(8.1, 0.05), "x": about(1.0, 0.1)}
    found = paired([figure("top_speed_mps", 8.0), figure("x", None)],
                   [figure("top_speed_mps", 9.0, limit=2), figure("x", 2.0)], measured)  # fmt: skip
    top, other = found
    assert top.difference is not None and top.difference.value == pytest.approx(1.0)
    assert top.difference.high - top.difference.low < 1e-6
    assert top.changed is not None and top.changed.value == pytest.approx(9.0)
    assert top.now == measured["top_speed_mps"] and top.fitted_now is not None
    assert (top.limited_now, top.limited_by, top.share) == ("current", "power", 1.0)
    # Nothing now: no difference, and what the rides measured still stands.
    assert other.difference is None and other.fitted_now is None and other.now == measured["x"]
    assert other.figure.reason == "the present machine does not reach it"
    (gone,) = paired([figure("x", 2.0)], [figure("x", None)], {})
    assert gone.figure.reason == "the changed machine does not reach it, or cannot start"
    assert gone.changed is None and gone.now is not None
    # Pull at a speed that neither reaches is no figure.
    assert paired([figure("p", None, at_mps=8.0)], [figure("p", None, at_mps=8.0)], {}) == ()


def test_the_commonest_limit_and_its_share() -> None:
    shown = np.array([1.0, 2.0, np.nan, 4.0, 5.0])
    some = PossibleFigure("x", "x", SPEED, shown, np.array([0, 3, 1, 3, 3]))
    assert some.limited_by == ("traction", 0.75)
    assert replace(some, limit=None).limited_by == ("", 0.0)
    assert replace(some, values=np.full(5, np.nan)).limited_by == ("", 0.0)


def machines(
    rides: list[CalibrationData], conditions: Conditions | None = None, **keys: Any
) -> PossibleMachines:
    setup = MachineSetup(machine_mass_kg=60.0, rider_mass_kg=40.0, **keys)
    return PossibleMachines(from_setup(setup, 800), rides, conditions or Conditions())


def test_how_hard_it_stops_comes_from_rides_or_keys_or_the_law() -> None:
    seen = machines([CalibrationData("a", decel_mps2=(about(4.0, 0.1), about(6.0, 0.2)))]).decel
    assert np.mean(seen) == pytest.approx(5.0, abs=0.1) and np.mean(seen > 5.0) == pytest.approx(
        0.5, abs=0.06
    )
    assert np.std(seen[seen < 5.0]) == pytest.approx(0.1, rel=0.15)
    assert np.std(seen[seen > 5.0]) == pytest.approx(0.2, rel=0.15)
    given = machines([], brake_decel_mps2=5.0).decel
    assert np.median(given) == pytest.approx(5.0, rel=0.02)
    assert np.std(np.log(given)) == pytest.approx(0.1, rel=0.1)
    law = machines([]).decel
    assert np.median(law) == pytest.approx(3.5, rel=0.03)
    assert np.std(np.log(law)) == pytest.approx(0.25, rel=0.1)


def test_the_hardest_turn_is_the_riders_own() -> None:
    rides = [CalibrationData("a", lateral_mps2=about(4.0, 0.1)),
             CalibrationData("b", lateral_mps2=about(6.0, 0.3)), CalibrationData("c")]  # fmt: skip
    found = machines(rides)
    assert found.measured == {"lateral_accel_mps2": about(6.0, 0.3)}
    assert found.lateral is not None and np.mean(found.lateral) == pytest.approx(6.0, abs=0.05)
    assert np.std(found.lateral) == pytest.approx(0.3, rel=0.1)
    assert machines([]).lateral is None
    assert (
        machines(rides, Conditions(slope=0.05)).measured_too({"x": about(1.0, 0.1)}, [])
        == found.measured
    )


@pytest.mark.parametrize(
    ("rides", "keys", "conditions", "words"),
    [
        ([], {}, Conditions(), ("on the level in still air, on any ground, whatever the charge.",
                                "No ride was given", "takes 0.36 g (0.24 to 0.54)")),
        ([CalibrationData("a", lateral_mps2=about(5.0, 0.1), decel_mps2=(about(4.0, 0.1),))], {},
         Conditions(), ("on the ground of the rides, with the charge of the rides.",
                        "includes 1 s until the brake")),
        ([], {"surface": "grass", "brake_decel_mps2": 4.0},
         Conditions(slope=0.04, charge=(0.5, 0.04)),
         ("on 4 % uphill in still air, on grass, with the battery 50 % full.",)),
        ([], {"surface": "grass"},
         Conditions(slope=-0.03, surface="gravel", rides_charge=(0.8, 0.04)),
         ("on 3 % downhill in still air, on gravel, with the battery 80 % full.",)),
    ],
)  # fmt: skip
def test_what_a_prediction_holds_for(
    rides: list[CalibrationData],
    keys: dict[str, Any],
    conditions: Conditions,
    words: tuple[str, ...],
) -> None:
    notes = basis_notes(MachineSetup(**keys), rides, conditions)
    for each in words:
        assert any(each in note for note in notes), each
    assert any("No ride was given" in note for note in notes) is (not rides)
    hard = bool(rides and rides[0].decel_mps2) or "brake_decel_mps2" in keys
    assert any("No hard stop" in note for note in notes) is not hard


def test_the_best_measurement_is_what_the_prediction_hangs_on() -> None:
    """A target that is the mass itself: weighing leaves next to nothing, others leave all."""
    fitted = from_setup(MachineSetup(), 1000).drive
    found = narrowings(fitted, fitted.mass_kg)
    assert found[0].name == "mass" and found[0].remaining < 0.2
    left = {each.name: each.remaining for each in found}
    assert left["motor speed"] > 0.95 and max(left.values()) <= 1.0
    noisy = fitted.mass_kg + np.std(fitted.mass_kg) * np.random.default_rng(3).standard_normal(1000)
    half = {each.name: each.remaining for each in narrowings(fitted, noisy)}
    assert half["mass"] == pytest.approx(np.sqrt(0.5), abs=0.06)
    assert "mass" not in {each.name for each in narrowings(fitted, noisy, frozenset({"mass"}))}
    assert narrowings(fitted, np.full(1000, 2.0)) == ()
    assert narrowings(fitted, np.where(np.arange(1000) < 50, fitted.mass_kg, np.nan)) == ()
    assert narrowings(fitted, np.where(np.arange(1000) < 51, fitted.mass_kg, np.nan)) != ()


PACK = MachineSetup(battery_cells=10, battery_chemistry="li-ion")


@pytest.mark.parametrize(("text", "charge", "sd"), [("25%", 0.25, 0.04), ("0 %", 0.0, 0.04),
                                                    ("100%", 1.0, 0.04)])  # fmt: skip
def test_a_charge_in_per_cent(text: str, charge: float, sd: float) -> None:
    assert parse_charge(text, PACK) == pytest.approx((charge, sd))


def test_resting_volts_tell_a_charge() -> None:
    """Ten cells of 3.69 V are half full, of 3.97 V four fifths (data sheets, from memory)."""
    for volts, charge in ((36.9, 0.5), (39.7, 0.8)):
        told, sd = parse_charge(f"{volts} V", PACK)
        assert told == pytest.approx(charge, abs=0.02) and 0.005 < sd < 0.06
    both = parse_volts("39.7/36.9", PACK)
    assert both[0] == pytest.approx(0.65, abs=0.02)
    assert both[1] == pytest.approx(np.hypot(0.3 / np.sqrt(12.0), 0.03), abs=0.02)
    assert parse_volts("39.7", PACK)[0] == pytest.approx(0.8, abs=0.02)
    # From 0.6 to 1.06 of 41.8 V.
    for volts in (25.2, 44.2):
        parse_charge(f"{volts} V", PACK)
    for volts in (25.0, 44.4):
        with pytest.raises(SetupError, match="do not fit the set-up's pack, which has 41.8 V"):
            parse_charge(f"{volts} V", PACK)
    parse_volts("40.0/40.3", PACK)
    with pytest.raises(SetupError, match="more volts after the ride"):
        parse_volts("40.0/40.5", PACK)


@pytest.mark.parametrize(("text", "slope"), [("4%", 0.04), ("-40 %", -0.4), ("40%", 0.4)])
def test_a_slope_in_per_cent(text: str, slope: float) -> None:
    assert parse_slope(text) == pytest.approx(slope)
    with pytest.raises(SetupError, match="-40 to 40"):
        parse_slope("41%")


def test_speeds_that_are_asked_for() -> None:
    """40 m/s are 144 km/h."""
    assert parse_at(["12 mph"])[0].speed_mps == pytest.approx(12 * 0.44704)
    assert parse_at(["144 km/h"])[0].name == "144_kmh"
    for text in ("145 km/h", "0 km/h", "fast"):
        with pytest.raises(SetupError, match="is no speed of a small machine"):
            parse_at([text])
    assert parse_at([])[0].label == "20 km/h"
