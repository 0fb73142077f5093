"""Predictions: measures, limits, cautions, and the sample scenario before and after its change."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from simulate import Machine, RideLayout

from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.ride import analyse
from ridelog.core.errors import SetupError
from ridelog.core.estimate import Estimate
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track
from ridelog.machine.calibration_data import CalibrationData, calibration_data_of
from ridelog.machine.predict import Prediction, predict
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import read_setup

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
WINDOWS = (parse_window("0-20 km/h"), parse_window("0-30 m"))


@pytest.fixture(scope="module")
def before_ride() -> CalibrationData:
    return calibration_data_of(analyse(estimate_motion(load_track(SAMPLES / "before-1.gpx"))))


@pytest.fixture(scope="module")
def sample(before_ride: CalibrationData) -> Prediction:
    setup = read_setup(SAMPLES / "thistledrake-before.toml")
    return predict(
        setup, [before_ride], {"rear_teeth": 56}, WINDOWS, sweep=("rear_teeth", [56, 64, 72])
    )


def _machines() -> dict[str, dict[str, float]]:
    machines: dict[str, dict[str, float]] = json.loads((SAMPLES / "truth.json").read_text())[
        "machines"
    ]
    return machines


def _holds(estimate: Estimate | None, truth: float) -> bool:
    return estimate is not None and estimate.low <= truth <= estimate.high


def test_the_ride_gives_all_the_evidence(before_ride: CalibrationData) -> None:
    assert before_ride.pull is not None
    assert before_ride.coasting is not None
    assert before_ride.starts
    assert before_ride.top_mps is not None
    assert len(before_ride.decel_mps2) >= 2
    assert before_ride.lateral_mps2 is not None
    true = _machines()["before"]["pull_at_2_mps2"]
    near = np.abs(before_ride.pull.speed_mps - 2.0) < 0.4
    at_two = before_ride.pull.accel_mps2[near].mean()
    assert at_two == pytest.approx(true, abs=0.08)


def test_the_sample_predicts_its_own_change(sample: Prediction) -> None:
    """The "before" ride alone foretells what the machine truly does with the other sprocket."""
    truth = _machines()["after"]
    top = sample.get("top_speed_mps")
    assert top is not None
    assert top.changed is not None
    assert top.difference is not None
    assert top.changed.value == pytest.approx(truth["steady_mps"], rel=0.02)
    assert _holds(top.changed, truth["steady_mps"])
    assert top.difference.low > 0.0
    assert top.limited_by == "motor speed"
    # What is uncertain in both is not uncertain in their difference.
    assert top.difference.high - top.difference.low < top.changed.high - top.changed.low
    pull = sample.get("pull_at_2_mps")
    assert pull is not None
    assert pull.limited_by == "current"
    assert _holds(pull.changed, truth["pull_at_2_mps2"])


def test_every_measure_of_the_issue_is_there(sample: Prediction) -> None:
    names = [one.figure.name for one in sample.figures]
    for name in (
        "top_speed_mps", "0-20 km/h", "0-30 m", "pull_at_0_mps2", "battery_current_peak_a",
        "battery_power_peak_w", "stopping_distance_m", "lateral_accel_mps2",
        "energy_at_top_j_per_m", "range_at_top_m",
    ):  # fmt: skip
        assert name in names
    stop = sample.get("stopping_distance_m")
    top = sample.get("top_speed_mps")
    assert stop and stop.now and stop.changed and top and top.now and top.changed
    # Equal deceleration: after a second, the way to stop goes with the square of the speed.
    pairs = ((stop.now, top.now), (stop.changed, top.changed))
    braked = [stopped.value - speed.value for stopped, speed in pairs]
    faster = top.changed.value / top.now.value
    assert braked[1] / braked[0] == pytest.approx(faster**2, rel=0.02)


def test_the_sweep_trades_speed_for_pull(sample: Prediction) -> None:
    tops, pulls = [], []
    for point in sample.sweep:
        found = {one.figure.name: one.changed for one in point.figures}
        top, pull = found["top_speed_mps"], found["pull_at_2_mps"]
        assert top is not None and pull is not None
        tops.append(top.value)
        pulls.append(pull.value)
    # More teeth behind: slower on top, harder from below.
    assert tops == sorted(tops, reverse=True)
    assert pulls == sorted(pulls)
    assert [point.present for point in sample.sweep] == [False, True, False]


def test_what_the_ride_cannot_tell_is_said(sample: Prediction) -> None:
    assert "mass with rider" in sample.unidentified
    assert "resistance of battery and leads" in sample.unidentified
    assert "road speed without load" not in sample.unidentified
    assert not {"top speed", "pull", "coasting", "mass"} & {n.name for n in sample.narrowings}


def test_the_class_and_the_fuse_are_cautioned(sample: Prediction) -> None:
    codes = [caution.code for caution in sample.cautions]
    assert {"class_speed", "fuse_amperes", "licensed_work", "age_class"} <= set(codes)


def test_now_is_what_the_rides_measured(before_ride: CalibrationData, sample: Prediction) -> None:
    setup = read_setup(SAMPLES / "thistledrake-before.toml")
    fitted = sample["top_speed_mps"].fitted_now
    assert fitted is not None
    seen = Estimate(fitted.value, fitted.value - 0.1, fitted.value + 0.1)
    found = predict(
        setup, [before_ride], {"rear_teeth": 56}, WINDOWS, measured={"top_speed_mps": seen}
    )
    top, time = found.get("top_speed_mps"), found.get("0-20 km/h")
    assert top and top.now == seen and "top_speed_mps" in found.measured
    assert time and time.now is not None and "0-20 km/h" not in found.measured
    # The hardest turn is the rides' own, whatever the model, and no change moves it.
    turn = found.get("lateral_accel_mps2")
    assert turn and turn.now == before_ride.lateral_mps2
    assert turn.difference and turn.difference.value == 0.0
    # A run that had not settled shows less than the machine has.
    early = Estimate(fitted.value - 1.0, fitted.value - 1.1, fitted.value - 0.9)
    found = predict(
        setup, [before_ride], {"rear_teeth": 56}, WINDOWS, measured={"top_speed_mps": early}
    )
    assert found["top_speed_mps"].now == found["top_speed_mps"].fitted_now


def test_a_set_up_alone_answers_widely() -> None:
    alone = predict(
        MachineSetup(front_teeth=11, rear_teeth=60, battery_cells=13), [], {"front_teeth": 10},
        WINDOWS,
    )  # fmt: skip
    top = alone.get("top_speed_mps")
    assert top and top.changed and top.difference
    assert top.changed.high > 1.5 * top.changed.low
    assert alone.rides == () and alone.unidentified == ()
    assert alone.narrowings[0].name == "top speed"
    assert alone.narrowings[0].remaining < 0.2
    assert alone.notes[1] == (
        "No ride was given: the answer rests on the set-up and on handbook ranges alone."
    )
    assert alone.notes[2].startswith(
        "No hard stop was measured: the stopping distance takes 0.36 g (0.24 to 0.54)"
    )


def test_a_contradiction_stops_the_prediction() -> None:
    setup = MachineSetup(battery_cells=13, battery_nominal_v=36.0, battery_chemistry="li-ion")
    with pytest.raises(SetupError, match="does not fit 13 cells of lithium-ion.*settle this first"):
        predict(setup, [], {"battery_cells": 14}, WINDOWS)


def test_a_window_out_of_reach_has_a_reason() -> None:
    setup = MachineSetup(front_teeth=11, rear_teeth=60)
    found = predict(setup, [], {"front_teeth": 10}, (parse_window("0-150 km/h"),))
    window = found.get("0-150 km/h")
    assert window is not None
    assert window.changed is None
    assert window.figure.reason == "the changed machine does not reach it, or cannot start"


def _codes(
    after: dict[str, Any], before: dict[str, Any] | None = None, **figures: Any
) -> dict[str, str]:
    measures = {name: pair for name, pair in figures.items()}
    found = risks(MachineSetup(**(before or {})), MachineSetup(**after), measures)
    return {caution.code: caution.text for caution in found if not caution.general}


def _e(value: float, share: float = 0.1) -> Estimate:
    return Estimate(value, value * (1 - share), value * (1 + share))


def test_cautions_of_a_bigger_pack() -> None:
    small = {
        "battery_cells": 10, "battery_chemistry": "li-ion", "motor_max_v": 48.0,
        "controller_max_v": 60.0, "fuse_a": 40.0, "fuse_v": 32.0, "battery_max_a": 35.0,
    }  # fmt: skip
    found = _codes(
        {**small, "battery_cells": 16}, small, battery_current_peak_a=(_e(33.0), _e(33.0))
    )
    # Fuses: 75 % of 40 A; full 16 x 4.2 = 67.2 V against 32 V (ISO 8820-3: 32 V or 58 V).
    assert found["fuse_amperes"].startswith(
        "The battery current may reach 33 A (30 to 36), and a fuse of 40 A carries 30 A for long: "
        "full throttle only briefly until it is measured."
    )
    assert found["fuse_volts"] == (
        "Full, the battery has 67.2 V; the fuse is rated 32 V and may not break the current."
    )
    assert found["battery_amperes"] == (
        "The battery current may reach 36.3 A; the battery allows 35 A."
    )
    assert found["motor_over_voltage"] == (
        "Full, the battery has 67.2 V; the motor's maker allows 48 V."
    )
    assert found["controller_over_voltage"].endswith("the controller's maker allows 60 V.")
    assert found["more_volts"].startswith("From 42.0 to 67.2 V when full: motor, controller,")
    assert found["battery_care"].startswith(
        "A battery is changed: use only a battery and a charger"
    )


def test_cautions_of_speed_brakes_and_tipping() -> None:
    found = _codes(
        {"class_speed_kmh": 24.0, "has_reverse": True, "brakes": "one", "brake_decel_mps2": 2.0,
         "track_width_m": 0.6, "cg_height_m": 0.6},
        top_speed_mps=(_e(6.0, 0.01), _e(7.0, 0.01)),
        stopping_distance_m=(_e(5.0), _e(7.0)),
        lateral_accel_mps2=(_e(3.0), _e(4.5)),
    )  # fmt: skip
    assert found["class_speed"].startswith(
        "The top speed is above 24 km/h (15 mph), its class or advised speed. A machine faster"
    )
    assert found["reverse_speed"].startswith("Reverse may become faster as well")
    assert found["longer_stop"].startswith(
        "From the new top speed it needs 7 m (23 ft) to stop, 40 % more than now"
    )
    assert found["brakes"].startswith("The set-up names one brake; two that work apart")
    assert found["weak_brakes"].startswith("A hard stop of 0.20 g is below 0.36 g")
    assert "the machine may tip over from 0.43 g on" in found["tip_over"]


def test_no_caution_without_cause() -> None:
    calm = {"class_speed_kmh": 40.0, "fuse_a": 100.0, "fuse_v": 58.0, "battery_cells": 10,
            "brakes": "two independent", "track_width_m": 0.8, "cg_height_m": 0.4}  # fmt: skip
    assert _codes(
        calm, calm, top_speed_mps=(_e(4.0, 0.01), _e(4.0, 0.01)),
        battery_current_peak_a=(_e(30.0), _e(30.0)), stopping_distance_m=(_e(5.0), _e(5.0)),
        lateral_accel_mps2=(_e(3.0), _e(3.0)),
    ) == {}  # fmt: skip
    assert set(_codes({"battery_cells": 10}, {"battery_cells": 10})) == {"fuse_volts_unknown"}


def test_a_log_without_riding_is_no_evidence() -> None:
    """A machine that stood is not one with a top speed of nothing."""
    truth = RideLayout(Machine())
    truth.stand(40.0)
    receiver = preset("clean", 10.0, np.random.default_rng(1))
    seen = receiver.observe(truth.build(), np.random.default_rng(2))
    found = calibration_data_of(analyse(estimate_motion(to_track(seen))))
    assert (found.pull, found.coasting, found.top_mps, found.starts) == (None, None, None, ())
    assert found.near_top == ()
