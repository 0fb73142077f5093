"""The set-up file: every key documented, every slip named, nothing mended behind the back."""

import io
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.__main__ import main
from ridelog.core.errors import SetupError
from ridelog.core.estimate import Estimate
from ridelog.machine.risks import risks
from ridelog.machine.setup import KEYS, MachineSetup, circumference_m, overall_ratio, pack_voltage
from ridelog.machine.setup_check import contradictions
from ridelog.machine.setup_file import ask_setup, problems_of, read_setup, setup_text


def test_every_key_has_a_question_and_a_unit_that_its_name_shows() -> None:
    for key in KEYS.values():
        assert key.question, key.name
        if key.unit and key.unit != "rpm/V":
            suffix = key.name.rpartition("_")[2]
            assert key.unit.lower().replace(" ", "").replace("/", "") in (
                suffix, suffix.replace("mps2", "ms2"), suffix.replace("kmh", "kmh"),
            ), key.name  # fmt: skip


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"front_teeth": 0}, "front_teeth = 0: a sprocket without teeth cannot be; leave the key "
         "out if unknown."),
        ({"machine_mass_kg": -60.0}, "machine_mass_kg = -60: cannot be negative; between 5 and "
         "1000 kg."),
        ({"battery_nominal_v": 360}, "battery_nominal_v = 360: outside what ridelog takes for a "
         "small machine, 3 to 150 V; was 36 V meant?"),
        ({"tyre_diameter_m": 330.0}, "tyre_diameter_m = 330: outside what ridelog takes for a "
         "small machine, 0.06 to 1.6 m; was 0.33 m meant?"),
        ({"fuse_a": 0}, "fuse_a = 0: cannot be zero; leave the key out if it is unknown."),
        ({"front_teth": 11}, "front_teth: unknown key; did you mean front_teeth?"),
        ({"cells_series": 14}, "cells_series: unknown key; `ridelog setup new` writes a file with "
         "all of them."),
        ({"battery_capacity": 20}, "battery_capacity: unknown key; did you mean "
         "battery_capacity_ah, in Ah?"),
        ({"xyzzy": 1}, "xyzzy: unknown key; `ridelog setup new` writes a file with all of them."),
        ({"machine_mass_lb": 140}, "machine_mass_lb: the unit must be kg; write machine_mass_kg = "
         "63.5."),
        ({"tyre_diameter_in": 13}, "tyre_diameter_in: the unit must be m; write tyre_diameter_m = "
         "0.3302."),
        ({"class_speed_mph": 15}, "class_speed_mph: the unit must be km/h; write class_speed_kmh = "
         "24.14."),
        ({"battery_capacity_ah": "20 Ah"}, 'battery_capacity_ah = "20 Ah": must be a number in Ah, '
         "without quotation marks or unit; write battery_capacity_ah = 20 if that is Ah."),
        ({"front_teeth": 10.5}, "front_teeth = 10.5: must be a whole number."),
        ({"front_teeth": True}, "front_teeth = true: must be a whole number."),
        ({"fuse_a": float("nan")}, "fuse_a = nan: must be a number in A."),
        ({"has_reverse": "yes"}, 'has_reverse = "yes": must be true or false.'),
        ({"battery_chemistry": "lipo"}, "battery_chemistry = \"lipo\": must be 'li-ion', "
         "'lifepo4' or 'lead-acid'."),
        ({"name": 4}, "name = 4: must be words in quotation marks."),
        ({"name": "x" * 81}, "name: at most 80 letters, got 81."),
        ({"motor": {"rated_v": 48}}, "[motor]: the file has no sections; write each key by itself, "
         "without a heading in brackets."),
    ],
)  # fmt: skip
def test_a_sentence_for_what_cannot_be(values: dict[str, Any], sentence: str) -> None:
    assert problems_of(values) == [sentence]


@pytest.mark.parametrize(
    ("values", "sentence", "blocks"),
    [
        ({"battery_limit_a": 60.0, "fuse_a": 40.0}, "battery_limit_a = 60 A is above fuse_a = 40 "
         "A: the controller may draw more than the fuse carries.", False),
        ({"battery_limit_a": 60.0, "battery_max_a": 50.0}, "battery_limit_a = 60 A is above "
         "battery_max_a = 50 A: the controller may draw more than the battery allows.", False),
        ({"motor_limit_a": 30.0, "battery_limit_a": 40.0}, "motor_limit_a = 30 A is below "
         "battery_limit_a = 40 A: the motor side never carries less than the battery side, so the "
         "battery limit can never be reached; were the two exchanged?", False),
        ({"battery_nominal_v": 36.0, "battery_cells": 13, "battery_chemistry": "li-ion"},
         "battery_nominal_v = 36 V does not fit 13 cells of lithium-ion in series, which are 46.8 "
         "V nominal.", True),
        ({"battery_full_v": 42.0, "battery_cells": 13, "battery_chemistry": "li-ion"},
         "battery_full_v = 42 V does not fit 13 cells of lithium-ion in series, which are 54.6 V "
         "full.", True),
        ({"battery_nominal_v": 48.0, "battery_full_v": 42.0}, "battery_full_v = 42 V is below "
         "battery_nominal_v = 48 V; a full battery has more than its nominal voltage.", True),
        ({"battery_nominal_v": 36.0, "controller_cutoff_v": 40.0}, "controller_cutoff_v = 40 V is "
         "not below the nominal 36.0 V: the controller would cut off with the battery half full.",
         False),
        ({"battery_cells": 10, "battery_chemistry": "li-ion", "controller_cutoff_v": 20.0},
         "controller_cutoff_v = 20 V is below the 27.5 V that 10 cells of lithium-ion stand, 2.75 "
         "V each: the controller would not protect the battery from deep discharge.", False),
        ({"second_front_teeth": 10}, "The second stage lacks second_rear_teeth; give both or "
         "neither.", True),
        ({"front_teeth": 60, "rear_teeth": 11}, "front_teeth = 60 is more than rear_teeth = 11: "
         "the motor would turn slower than the wheel; were they exchanged?", False),
        ({"tyre_circumference_m": 1.5, "tyre_diameter_m": 0.33}, "tyre_circumference_m = 1.5 m "
         "does not fit tyre_diameter_m = 0.33 m, whose outside is 1.037 m round.", True),
        ({"motor_rpm_per_v": 60.0, "motor_rated_v": 48.0, "motor_rated_rpm": 3000.0},
         "motor_rated_rpm = 3000 is not below 2880 rpm, the speed without load of 60 rpm/V at 48 "
         "V.", True),
        ({"motor_rpm_per_v": 60.0, "motor_rated_v": 48.0, "motor_resistance_ohm": 0.1,
          "motor_stall_torque_nm": 5.0}, "motor_stall_torque_nm = 5 N m does not fit 0.1 ohm and "
         "60 rpm/V at 48 V, which give 76.4 N m.", True),
        ({"motor_rpm_per_v": 600.0, "battery_nominal_v": 48.0, "front_teeth": 11, "rear_teeth": 60,
          "tyre_diameter_m": 0.33}, "Motor, battery, teeth and tyre together give 315 km/h "
         "(196 mph) without load: one of them must be wrong.", True),
        ({"has_reverse": False, "reverse_limit_kmh": 6.0}, "reverse_limit_kmh = 6 km/h is given "
         "for a machine that has no reverse.", False),
        ({"class_speed_kmh": 6.0, "reverse_limit_kmh": 10.0}, "reverse_limit_kmh = 10 km/h is "
         "above class_speed_kmh = 6 km/h.", False),
        ({"cg_height_m": 1.2, "wheelbase_m": 0.9}, "cg_height_m = 1.2 m is not less than "
         "wheelbase_m = 0.9 m: it would tip over backwards at the first pull; is one of them in "
         "another unit?", False),
    ],
)  # fmt: skip
def test_a_sentence_for_each_contradiction(
    values: dict[str, Any], sentence: str, blocks: bool
) -> None:
    (doubt,) = contradictions(MachineSetup(**values))
    assert doubt.text == sentence
    assert doubt.blocks is blocks


def test_figures_that_agree_are_no_contradiction() -> None:
    setup = MachineSetup(
        battery_cells=13, battery_nominal_v=48.0, battery_full_v=54.6, battery_chemistry="li-ion",
        controller_cutoff_v=39.0, battery_limit_a=30.0, motor_limit_a=80.0, fuse_a=40.0,
        front_teeth=11, rear_teeth=60, tyre_circumference_m=1.0, tyre_diameter_m=0.33,
        motor_rpm_per_v=60.0, motor_rated_v=48.0, motor_rated_rpm=2500.0,
        motor_resistance_ohm=0.1, motor_stall_torque_nm=60.0, has_reverse=True,
        reverse_limit_kmh=6.0, class_speed_kmh=24.0, cg_height_m=0.5, wheelbase_m=1.0,
    )  # fmt: skip
    assert contradictions(setup) == ()


def test_the_line_is_named_and_the_rest_counted(tmp_path: Path) -> None:
    path = tmp_path / "quad.toml"
    path.write_text('name = "A"\nfront_teeth = 0\n\nrear_teeth = -1\n')
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    assert str(caught.value) == (
        "quad.toml: line 2: front_teeth = 0: a sprocket without teeth cannot be; leave the key out "
        "if unknown. What to do: mend it in the file; `ridelog setup new` writes one with every "
        "key explained; 1 more found by `ridelog setup check`."
    )


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"front_teeth = \n", "quad.toml: this is no TOML: Invalid value (at line 1, column 15)."),
        (b"name = \"\xff\"\n", "quad.toml: byte 8 is no UTF-8 text. What to do: save the file"),
        (b"#" * 200_001, "quad.toml: 200001 bytes are too many for a set-up. What to do: give"),
        (b"fuse_a = 3\nfuse_a = 4\n", "quad.toml: this is no TOML: Cannot overwrite a value"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read(tmp_path: Path, data: bytes, words: str) -> None:
    path = tmp_path / "quad.toml"
    path.write_bytes(data)
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    assert str(caught.value).startswith(words)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SetupError, match="there is no such file. What to do: check the name, or"):
        read_setup(tmp_path / "none.toml")
    with pytest.raises(SetupError, match="the file cannot be read"):
        read_setup(tmp_path)


@given(
    st.builds(
        MachineSetup,
        name=st.none() | st.text(st.characters(codec="utf-8"), max_size=80),
        front_teeth=st.none() | st.integers(1, 200),
        machine_mass_kg=st.none() | st.floats(5.0, 1000.0),
        has_reverse=st.none() | st.booleans(),
        battery_chemistry=st.sampled_from([None, "li-ion", "lead-acid"]),
    )
)
def test_what_is_written_reads_back(setup: MachineSetup) -> None:
    text = setup_text(setup)
    assert MachineSetup(**tomllib.loads(text)) == setup
    assert all(f"\n# {key.question}." in text for key in KEYS.values())


def test_questions_are_asked_in_order_and_again_after_a_slip() -> None:
    typed = {"Name of the machine: ": ["Quad"],
             "Mass of the rider with gear [kg]: ": ["-3", "31,5"],
             "Teeth of the driving sprocket (on the motor): ": ["11"],
             "Can it be driven backwards? true or false: ": ["yes"]}  # fmt: skip
    asked: list[str] = []
    told: list[str] = []

    def ask(question: str) -> str:
        asked.append(question)
        return typed[question].pop(0) if typed.get(question) else ""

    setup = ask_setup(ask, told.append)
    assert setup == MachineSetup(name="Quad", rider_mass_kg=31.5, front_teeth=11, has_reverse=True)
    assert told[:2] == ["\nThe machine", "\nMasses"]
    assert told[2] == "  rider_mass_kg = -3: cannot be negative; between 10 and 250 kg."
    assert len(asked) == len(KEYS) + 1


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


def test_the_commands_write_and_check(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "quad.toml"
    monkeypatch.setattr("sys.stdin", io.StringIO("Quad\n"))
    assert leave("setup", "new", str(path)) == 1
    assert "the answers ended before the questions; nothing was written." in capsys.readouterr().err
    assert not path.exists()
    monkeypatch.setattr("sys.stdin", io.StringIO("Quad\n" + "\n" * len(KEYS)))
    assert leave("setup", "new", str(path)) == 0
    assert capsys.readouterr().out == ""
    assert leave("setup", "check", str(path)) == 0
    assert capsys.readouterr().out.startswith(
        "quad.toml: 1 keys given, no contradiction found.\nConfirmed: nothing.\nNot confirmed: "
    )
    assert leave("setup", "new", "--blank", str(path)) == 2
    assert "this file is there already and is left as it was." in capsys.readouterr().err
    path.write_text("battery_limit_a = 60\nfuse_a = 40\n")
    assert leave("setup", "check", str(path)) == 1
    seen = capsys.readouterr()
    assert seen.out.startswith("battery_limit_a = 60 A is above fuse_a = 40 A")
    assert "quad.toml: 1 thing is wrong in the set-up. What to do: settle each" in seen.err
    assert path.read_text() == "battery_limit_a = 60\nfuse_a = 40\n"


def test_voltages_follow_from_cells_and_say_what_was_assumed() -> None:
    pack = pack_voltage(MachineSetup(battery_cells=13))
    assert pack is not None
    # A 48 V lithium pack is full at 54.6 V (from memory).
    assert (pack.nominal_v, pack.full_v) == pytest.approx((46.8, 54.6))
    assert pack.source == "13 cells of lithium-ion (chemistry not given: assumed)"
    other = pack_voltage(MachineSetup(battery_full_v=42.0))
    assert other is not None
    assert other.nominal_v == pytest.approx(36.0)
    assert pack_voltage(MachineSetup()) is None


def test_ratio_and_tyre() -> None:
    # 60/11 = 5.45 and with a jackshaft 54/9 x 17/10 = 10.2: kart builders' practice.
    assert overall_ratio(MachineSetup(front_teeth=11, rear_teeth=60)) == pytest.approx(5.4545, 1e-4)
    both = MachineSetup(front_teeth=9, rear_teeth=54, second_front_teeth=10, second_rear_teeth=17)
    assert overall_ratio(both) == pytest.approx(10.2)
    assert overall_ratio(MachineSetup(gearbox_ratio=1.0)) == 1.0
    assert overall_ratio(MachineSetup(front_teeth=11)) is None
    assert overall_ratio(MachineSetup()) is None
    assert circumference_m(MachineSetup(tyre_circumference_m=1.04)) == 1.04
    assert circumference_m(MachineSetup()) is None


def test_an_adult_rider_settles_the_class_of_age() -> None:
    """Asked of the file once, nothing is said of classes of age any more."""
    fast = {"top_speed_mps": (Estimate(15.0, 14.9, 15.1), Estimate(16.0, 15.9, 16.1))}
    codes = {
        rides: {one.code for one in risks(MachineSetup(), MachineSetup(adult_rider=rides), fast)}
        for rides in (None, True)
    }
    assert codes[None] - codes[True] == {"age_class"}
