"""What rides tell of keys of the set-up, and what is left to be measured."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.launches.windows import parse_window
from ridelog.core.estimate import Estimate
from ridelog.machine.calibration_data import CalibrationData, NearTop, TimedStart
from ridelog.machine.fit import _fitted_strip, fit
from ridelog.machine.key_check import Explanation, loosened
from ridelog.machine.passages import Curve
from ridelog.machine.predict import predict
from ridelog.machine.priors import COUNT, UNKNOWNS, Said, machines_of
from ridelog.machine.setup import MachineSetup
from ridelog.machine.strip import Known, Strip

GEARED: dict[str, Any] = {
    "front_teeth": 11, "rear_teeth": 60, "second_front_teeth": 10, "second_rear_teeth": 20,
    "gearbox_ratio": 1.5, "tyre_circumference_m": 1.04, "machine_mass_kg": 60.0,
    "rider_mass_kg": 35.0, "load_mass_kg": 5.0, "battery_cells": 13, "battery_chemistry": "li-ion",
    "motor_rpm_per_v": 150.0, "motor_limit_a": 90.0, "battery_limit_a": 40.0,
    "rolling_resistance": 0.02, "drag_area_m2": 0.4,
}  # fmt: skip
# Given, so that what is taken for it does not follow the rest.
LEADS: dict[str, Any] = {"battery_resistance_ohm": 0.1}
# Other keys that give the same.
RATED: dict[str, Any] = {
    **{key: value for key, value in GEARED.items() if key not in (
        "tyre_circumference_m", "battery_cells", "battery_chemistry", "motor_rpm_per_v")},
    "tyre_diameter_m": 0.34, "battery_nominal_v": 48.0, "motor_rated_rpm": 3000.0,
    "motor_rated_v": 48.0,
}  # fmt: skip
# Rides tell accelerations, which are forces and powers on the mass, and speeds by themselves.
PER_MASS = {"motor_limit_n", "limit_power_w", "rolling_n", "drag_c_ns2pm2"}
LOOSENED = {*PER_MASS, "no_load_mps", "battery_v", "mass_kg"}


def told(setup: dict[str, Any]) -> dict[str, float]:
    """Return what rides tell of the middle one of the machines that a set-up leaves possible.

    Without the motor's own drag: the keys of its limit scale that by less than its own spread.
    """
    drive = machines_of(
        MachineSetup(**setup, **LEADS), np.zeros((1, COUNT)), Said(charge=(0.6, 0.01))
    )
    tyres_n = drive.load.a_n - drive.efficiency * drive.idle_n
    drive = replace(drive, load=replace(drive.load, a_n=tyres_n))
    mass = float(drive.mass_kg[0])
    return {
        one.name: float(one.of(drive)[0]) / (mass if one.name in PER_MASS else 1.0)
        for one in UNKNOWNS
    }


@pytest.mark.parametrize(
    ("setup", "key"),
    [(GEARED, key) for key in GEARED]
    + [(RATED, key) for key in sorted(RATED.keys() - GEARED.keys())],
)
def test_a_key_that_is_believed_leaves_to_the_rides_what_it_goes_into(
    setup: dict[str, Any], key: str
) -> None:
    """A tenth more of the key, or another chemistry: what moves is what it goes into."""
    value = setup[key]
    more = "lifepo4" if value == "li-ion" else value + 1 if isinstance(value, int) else 1.1 * value
    usual, other = told(setup), told(setup | {key: more})
    moved = {name for name in LOOSENED if abs(other[name] / usual[name] - 1.0) > 1e-6}
    assert moved and loosened(frozenset({key})) == moved


def curve(*rates: float) -> Curve:
    return Curve(3.0 + np.arange(float(len(rates))), np.array(rates), 0.01 * np.eye(len(rates)))


@pytest.mark.parametrize("measured", [
    {"pull": curve(1.5, 1.2)}, {"coasting": curve(0.3, 0.35)}, {"top_mps": (8.0, 0.1)},
    {"near_top": (NearTop(8.0, 0.1, 0.0, 0.05, 1.0),)},
    {"starts": (TimedStart(3.0, 2.0, 0.1, 1.0),)},
])  # fmt: skip
def test_one_measurement_alone_tells_of_the_machine(measured: dict[str, Any]) -> None:
    setup = MachineSetup(**GEARED)
    assert fit(setup, [CalibrationData("silent")], count=30).rides == ()
    assert fit(setup, [CalibrationData("ride", **measured)], count=30).rides == ("ride",)


@pytest.mark.parametrize(("keys", "left"), [
    ({"motor_rpm_per_v": 60.0}, {"mass"}), ({"machine_mass_kg": 60.0}, {"mass", "motor speed"}),
    ({"rider_mass_kg": 40.0}, {"mass", "motor speed"}),
    ({"machine_mass_kg": 60.0, "rider_mass_kg": 40.0}, {"motor speed"}),
])  # fmt: skip
def test_what_is_known_need_not_be_measured(keys: dict[str, Any], left: set[str]) -> None:
    geared = MachineSetup(front_teeth=11, rear_teeth=60, **keys)
    found = predict(geared, [], {"front_teeth": 10}, (parse_window("0-5 km/h"),))
    told = {one.name for one in found.narrowings}
    assert told >= {"top speed", "pull", "coasting", "wheel speed"}
    assert told & {"mass", "motor speed"} == left


@pytest.mark.parametrize(
    ("sine", "rise"), [(0.28, 0.28 / 0.96), (-0.28, -0.28 / 0.96), (0.6, 3**-0.5)]
)
def test_a_strip_rises_by_the_tangent_of_what_pulls(sine: float, rise: float) -> None:
    """7 and 24 of 25 (a right-angled triangle); no strip is taken for steeper than 30 degrees."""
    strip = Strip([CalibrationData("a", pull=curve(1.0, 0.9))])
    known = Known(np.full((9, strip.count), sine), np.zeros((9, strip.count, strip.count)))
    found = _fitted_strip(strip, known, np.random.default_rng(1))
    assert found.slope == pytest.approx(np.full(9, rise), rel=1e-4)
    assert found.winds_mps.shape == (1, 9)


@pytest.mark.parametrize(("ways", "both"), [
    ((1.0, 1.0), False), ((-1.0, -1.0), False), ((1.0, -1.0), True), ((0.0, 0.0), True),
    ((1.0, 0.0), False),
])  # fmt: skip
def test_one_direction_alone_tells_no_slope(ways: tuple[float, ...], both: bool) -> None:
    pull = Curve(np.array([3.0, 4.0]), np.array([1.0, 0.9]), 0.01 * np.eye(2), np.array(ways))
    for ride in (CalibrationData("a", pull=pull), CalibrationData(
            "a", near_top=tuple(NearTop(8.0, 0.1, 0.0, 0.05, way) for way in ways))):  # fmt: skip
        strip = Strip([ride])
        known = Known(np.zeros((9, strip.count)), np.zeros((9, strip.count, strip.count)))
        assert _fitted_strip(strip, known, np.random.default_rng(1)).both_ways is both


def test_what_would_explain_the_rides_in_words() -> None:
    setup = MachineSetup(front_teeth=11, rear_teeth=60)
    ratio = Estimate(0.724, 0.698, 0.751)
    both = Explanation(
        "no_load_mps", "speed", ("front_teeth", "rear_teeth"), ratio, 0.9, "a tooth?"
    )
    assert both.words_with(setup) == (
        "72 % (70 to 75) of the speed that front_teeth = 11, rear_teeth = 60 give together "
        "(a tooth?)"
    )
    one = Explanation("no_load_mps", "speed", ("front_teeth",), ratio, 0.9, "a tooth?")
    assert one.words_with(setup).endswith("that front_teeth = 11 gives (a tooth?)")
