"""Rides against the set-up: a wrong key is named and stops the prediction, right ones pass."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from simulate import Machine

from ridelog.core.errors import SetupError
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.conditions import Conditions, parse_believed
from ridelog.machine.fit import fit, from_setup
from ridelog.machine.key_check import (
    Contradicted,
    contradicted_keys,
    loosened,
    tried_keys,
)
from ridelog.machine.passages import Curve
from ridelog.machine.predict import predict
from ridelog.machine.priors import Said
from ridelog.machine.setup import MachineSetup

TRUE = replace(Machine(), power_w=4000.0).with_steady_speed(9.0)
# 13 cells at 68 % are 3.85 V each; the simulator's motor then has so many turns a volt.
VOLTS = 13 * 3.85
RIGHT = MachineSetup(
    machine_mass_kg=60.0, rider_mass_kg=35.0, tyre_circumference_m=1.04, front_teeth=11,
    rear_teeth=60, battery_cells=13, battery_chemistry="li-ion",
    motor_rpm_per_v=round(TRUE.no_load_radps * 60.0 / (2.0 * np.pi) / VOLTS, 1),
)  # fmt: skip
KNOWN = Said(charge=(0.68, 0.04))


@pytest.fixture(scope="module")
def ride() -> CalibrationData:
    return ridden(8)


def ridden(seed: int) -> CalibrationData:
    """Return what a ride of the true machine tells, with errors of a 10 Hz ride's size."""
    rng = np.random.default_rng(seed)

    def curve(speed: np.ndarray, truth: np.ndarray, sd: float) -> Curve:
        noise = sd * rng.standard_normal(len(speed))
        return Curve(speed, truth + noise, sd**2 * np.eye(len(speed)))

    up, down = np.arange(1.25, 8.3, 0.5), np.arange(3.0, 8.5, 0.5)
    return CalibrationData(
        "ride",
        pull=curve(up, TRUE.acceleration_mps2(up), 0.03),
        coasting=curve(down, -TRUE.acceleration_mps2(down, 0.0), 0.015),
        top_mps=(9.0, 0.03),
    )


def checked(setup: MachineSetup, ride: CalibrationData, said: Said) -> Contradicted | None:
    return contradicted_keys(fit(setup, [ride], count=300, said=said), [ride], said)


@pytest.mark.parametrize(
    "wrong",
    [
        {"tyre_circumference_m": 0.33},
        {"battery_cells": 17},
        {"front_teeth": 14},
        {"rolling_resistance": 0.05},
    ],
)
def test_a_wrong_key_is_named(ride: CalibrationData, wrong: dict[str, Any]) -> None:
    found = checked(RIGHT.model_copy(update=wrong), ride, KNOWN)
    # Another gearing or tyre and fewer cells fit alike, so that either may come first.
    first = 1 if "rolling_resistance" in wrong else 2
    assert found is not None
    assert any(next(iter(wrong)) in one.keys for one in found.explanations[:first])
    assert found.chance < 0.01


def test_right_keys_are_not_doubted(ride: CalibrationData) -> None:
    assert checked(RIGHT, ride, KNOWN) is None
    assert checked(RIGHT, ride, Said()) is None
    # Nothing is checked without rides, or where a key of the product is missing.
    assert contradicted_keys(from_setup(RIGHT, said=KNOWN), [], KNOWN) is None
    assert checked(MachineSetup(front_teeth=3, rear_teeth=60), ride, KNOWN) is None


def test_nothing_is_predicted_from_it_until_it_is_settled(ride: CalibrationData) -> None:
    wrong = RIGHT.model_copy(update={"front_teeth": 15})
    known = Conditions(rides_charge=KNOWN.charge)
    with pytest.raises(SetupError) as caught:
        predict(wrong, [ride], {"rear_teeth": 50}, (), conditions=known)
    words = str(caught.value)
    assert words.startswith("the rides do not fit the set-up (chance of that if all of it is right")
    assert "They look like 7" in words and ", or like " in words
    assert "front_teeth = 15" in words and "tyre_circumference_m = 1.04" in words
    assert "a lower drive mode, another tooth, another tyre?" in words
    assert "--believe motor_rpm_per_v" in words or "--believe battery_cells" in words
    settled = replace(known, believed=frozenset({"front_teeth"}))
    answered = 0
    # One ride in twenty doubts a right key (``CHANCE``), two of three once in 140 times.
    for seed in (8, 9, 10):
        try:
            answer = predict(wrong, [ridden(seed)], {"rear_teeth": 50}, (), conditions=settled)
        except SetupError:
            continue
        top = answer["top_speed_mps"].fitted_now
        answered += top is not None and top.low < 9.0 < top.high
    assert answered >= 2


def test_only_keys_that_are_given_can_be_believed() -> None:
    assert parse_believed(["front_teeth"], RIGHT) == frozenset({"front_teeth"})
    with pytest.raises(SetupError, match="fuse_a cannot be believed: the set-up does not give it"):
        parse_believed(["fuse_a"], RIGHT)


def test_a_wrong_mass_is_no_wrong_motor(ride: CalibrationData) -> None:
    # Half the weight again moves pull and power, not the speed without load, which the motor moves.
    # The mass itself is told to a third of it at best where neither limit shows, or not at all.
    limited = RIGHT.model_copy(update={"battery_limit_a": 86.0, "motor_limit_a": 90.0})
    tried = {one.unknown: one for one in tried_keys(limited, [ride], KNOWN)}
    # The motor's limit never showed in this ride, so that it says nothing of it.
    assert {"no_load_mps", "battery_v"} <= set(tried) and "motor_limit_n" not in tried
    heavy = limited.model_copy(update={"rider_mass_kg": 85.0})
    found = {one.unknown: one for one in tried_keys(heavy, [ride], KNOWN)}
    assert found["no_load_mps"].away_log == pytest.approx(tried["no_load_mps"].away_log, abs=0.06)
    # What is believed is loose already.
    loose = replace(KNOWN, loose=loosened(frozenset({"battery_cells"})))
    assert "battery_v" not in {one.unknown for one in tried_keys(limited, [ride], loose)}


def test_keys_that_rides_do_not_tell_of_are_not_judged(ride: CalibrationData) -> None:
    """Nothing ties volts to a road speed where winding, gearing and tyre are all unknown."""
    setup = MachineSetup(
        machine_mass_kg=60.0, rider_mass_kg=35.0, battery_cells=13, battery_chemistry="li-ion"
    )
    told = {one.unknown: one for one in tried_keys(setup, [ride], KNOWN)}
    # Or told so loosely that volts half or twice as many would not be found.
    assert "battery_v" not in told or told["battery_v"].sd_log > 0.5
    assert "battery_v" in {one.unknown for one in tried_keys(RIGHT, [ride], KNOWN)}
