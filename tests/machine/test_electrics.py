"""What contradicts or endangers in a set-up is found; what is sound passes; the rest stays open."""

from pathlib import Path
from typing import Any

import pytest

from ridelog.__main__ import main
from ridelog.machine.electrics import ampacity_a, electrical_sheet, voltage_drop_v
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import setup_text

# A machine in which everything is known and fits: 13 cells, 46.8 V, 54.6 V when full.
SOUND: dict[str, Any] = {
    "machine_mass_kg": 60.0, "rider_mass_kg": 45.0, "tyre_circumference_m": 1.04,
    "wheelbase_m": 0.9, "track_width_m": 0.7, "cg_height_m": 0.5, "front_teeth": 11,
    "rear_teeth": 60, "motor_max_v": 60.0, "motor_limit_a": 90.0, "battery_limit_a": 35.0,
    "controller_max_v": 60.0, "controller_cutoff_v": 39.0, "battery_cells": 13,
    "battery_chemistry": "li-ion", "battery_capacity_ah": 20.0, "battery_continuous_a": 18.0,
    "battery_max_a": 60.0, "fuse_a": 40.0, "fuse_v": 58.0, "switch_max_v": 60.0,
    "connector_max_v": 600.0, "connector_max_a": 50.0, "wire_mm2": 10.0, "wire_length_m": 1.0,
    "display_max_v": 72.0, "converter_min_v": 30.0, "converter_max_v": 75.0,
    "converter_out_v": 12.0, "converter_w": 60.0, "lights_min_v": 10.0, "lights_max_v": 15.0,
    "lights_w": 24.0, "horn_min_v": 10.0, "horn_max_v": 15.0, "horn_w": 12.0,
    "accessories_w": 0.0, "charger_v": 54.6, "charger_a": 4.0, "brakes": "two independent",
    "class_speed_kmh": 40.0,
}  # fmt: skip


def _leave(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], setup: dict[str, Any]
) -> tuple[int, str, str]:
    """Return how `setup check` left, its output and its warnings in one line each."""
    path = tmp_path / "machine.toml"
    path.write_text(setup_text(MachineSetup(**setup)), encoding="utf-8")
    with pytest.raises(SystemExit) as caught:
        main(["setup", "check", str(path)])
    seen = capsys.readouterr()
    return int(caught.value.code or 0), " ".join(seen.out.split()), " ".join(seen.err.split())


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"controller_max_v": 50.0}, "controller volts: Full, the battery has 54.6 V;"),
        ({"motor_max_v": 48.0}, "motor volts: Full, the battery has 54.6 V;"),
        ({"fuse_v": 32.0}, "fuse volts: Full, the battery has 54.6 V; fuse_v = 32 V."),
        ({"switch_max_v": 24.0}, "switch volts: Full,"),
        ({"connector_max_v": 48.0}, "connector volts: Full,"),
        ({"display_max_v": 48.0}, "display volts: Full,"),
        ({"converter_max_v": 48.0}, "converter volts: Full,"),
        ({"charger_v": 58.8}, "charger volts: charger_v = 58.8 V for a battery of 54.6 V"),
        ({"charger_v": 42.0}, "charger volts: charger_v = 42 V"),
        ({"charger_a": 30.0}, "charger amperes: charger_a = 30 A for 20 Ah."),
        ({"battery_limit_a": 40.0}, "fuse amperes: battery_limit_a = 40 A is at or above"),
        ({"battery_limit_a": 55.0}, "battery_limit_a = 55 A is above fuse_a = 40 A:"),
        ({"battery_continuous_a": 33.0}, "fuse amperes: battery_continuous_a = 33 A is above 30 A"),
        ({"wire_mm2": 2.5}, "wire amperes: The fuse of 40 A does not protect the wire, which "
         "carries 32 A."),
        ({"connector_max_a": 30.0}, "connector amperes: The fuse of 40 A does not protect"),
        ({"battery_max_a": 38.0}, "battery amperes: The fuse of 40 A does not protect"),
        ({"battery_max_a": 30.0}, "battery_limit_a = 35 A is above battery_max_a = 30 A:"),
        ({"battery_max_a": None, "battery_capacity_ah": 5.0}, "hardly any cells stand that."),
        ({"battery_resistance_ohm": 0.4}, "sag: Half full the battery has"),
        ({"battery_capacity_ah": 2.0, "charger_a": 1.0}, "V with the best of such cells, at 35 A"),
        ({"wire_length_m": 20.0, "wire_mm2": 10.0}, "voltage drop: At 35 A the wires lose 2.41 V"),
        ({"converter_out_v": None}, "lights volts: The lights take 10 to 15 V; they get 39.0"),
        ({"converter_out_v": None, "lights_min_v": 42.0, "lights_max_v": 60.0},
         "lights volts: The lights take 42 to 60 V; they get 39.0 to 54.6 V."),
        ({"lights_max_v": 11.0}, "lights volts: The lights take 10 to 11 V; they get 12 V."),
        ({"horn_max_v": 8.0, "horn_min_v": 6.0}, "horn volts: The horn takes 6 to 8 V; they get"),
        ({"lights_w": 45.0}, "converter watts: Its loads take 57 W of 60 W;"),
        ({"converter_min_v": 45.0}, "converter least volts: It works from 45 V;"),
        ({"battery_cells": None, "battery_nominal_v": 41.5},
         "battery_nominal_v = 41.5 V: no number of cells of lithium-ion in series gives that"),
        ({"battery_nominal_v": 36.0}, "battery_nominal_v = 36 V does not fit 13 cells"),
        ({"controller_cutoff_v": 30.0}, "controller_cutoff_v = 30 V is below the 35.8 V that"),
        ({"tyre_circumference_m": 0.33}, "tyre_circumference_m = 0.33 m: a wheel that rolls 0.33"),
        ({"cg_height_m": 0.9}, "cg_height_m = 0.9 m is not less than wheelbase_m = 0.9 m"),
        ({"motor_limit_a": 20.0}, "motor_limit_a = 20 A is below battery_limit_a = 35 A"),
        ({"front_teeth": 60, "rear_teeth": 11}, "were they exchanged?"),
    ],
)  # fmt: skip
def test_what_contradicts_is_found(
    changes: dict[str, Any], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    setup = {key: value for key, value in {**SOUND, **changes}.items() if value is not None}
    code, out, _ = _leave(tmp_path, capsys, setup)
    assert code == 1 and words in out


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"track_width_m": 0.36}, "Danger: With track_width_m = 0.36 m and cg_height_m = 0.5 m it "
         "tips"),
        ({"brakes": "none"}, 'Danger: brakes = "none" at class_speed_kmh = 40: nobody may ride'),
        ({"battery_full_v": 60.2, "battery_cells": None, "battery_nominal_v": 51.8,
          "charger_v": 60.2, "fuse_v": 80.0, "motor_max_v": 72.0, "controller_max_v": 72.0,
          "switch_max_v": 72.0}, "Danger: Full, the battery has 60.2 V: above 60 V DC it can kill"),
    ],
)  # fmt: skip
def test_what_endangers_is_told_though_nothing_contradicts(
    changes: dict[str, Any], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    setup = {key: value for key, value in {**SOUND, **changes}.items() if value is not None}
    code, _, err = _leave(tmp_path, capsys, setup)
    assert code == 0 and words in err


def test_what_nobody_read_off_stays_open() -> None:
    nothing = electrical_sheet(MachineSetup())
    assert {line.state for line in nothing} == {"not confirmed"}
    assert {"lights volts", "horn volts", "charger volts", "wire amperes"} <= {
        line.name for line in nothing
    }
    assert {line.state for line in electrical_sheet(MachineSetup(**SOUND))} == {"confirmed"}
    assert all(line.source and line.text for line in electrical_sheet(MachineSetup(**SOUND)))


# Ohm's law by hand: 10 m there and 10 m back of 2.5 mm² copper (0.0172 ohm mm²/m) at 16 A lose
# 2.2 V. IEC 60228 allows a stranded conductor of 2.5 mm² 7.41 ohm/km at 20 °C: 2.37 V, of which
# the strands' lay is a part (from memory).
def test_voltage_drop_of_copper() -> None:
    assert voltage_drop_v(2.5, 10.0, 16.0) == pytest.approx(2.207, abs=0.001)
    assert voltage_drop_v(2.5, 10.0, 16.0) == pytest.approx(2 * 10.0 * 7.41e-3 * 16.0, rel=0.08)
    assert [ampacity_a(size) for size in (1.5, 5.0, 10.0)] == [17.5, 36.5, 57.0]
    # IEC 60364-5-52, table B.52.2, copper, PVC, method B1, two loaded conductors (from memory).
    table = {1.5: 17.5, 2.5: 24.0, 4.0: 32.0, 6.0: 41.0, 10.0: 57.0, 16.0: 76.0, 25.0: 101.0,
             35.0: 125.0, 50.0: 151.0, 70.0: 192.0, 95.0: 232.0, 120.0: 269.0}  # fmt: skip
    assert {size: ampacity_a(size) for size in table} == table
    assert ampacity_a(0.75) == pytest.approx(8.75)
    # Bosch, Automotive Handbook, copper conductors for motor vehicles at 30 °C (from memory).
    table = {1.5: 24.0, 2.5: 32.0, 4.0: 42.0, 6.0: 54.0, 10.0: 73.0, 16.0: 98.0, 25.0: 129.0,
             35.0: 158.0, 50.0: 198.0, 70.0: 245.0, 95.0: 292.0, 120.0: 344.0}  # fmt: skip
    assert {size: ampacity_a(size, free=True) for size in table} == table


def test_the_command_tells_what_is_confirmed_and_counts_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = _leave(tmp_path, capsys, SOUND)
    assert code == 0 and err == ""
    assert "no contradiction found." in out and "Not confirmed: nothing." in out
    code, _, err = _leave(tmp_path, capsys, {**SOUND, "fuse_v": 32.0})
    assert code == 1 and "1 thing is wrong in the set-up" in err


def test_what_lamps_get_is_told() -> None:
    """Ten cells have 30 V empty and 42 V full; a converter gives one voltage."""
    pack: dict[str, Any] = {"battery_cells": 10, "lights_max_v": 60.0}
    for more, words in (
        ({}, "The lights take 60 V; they get 30.0 to 42.0 V."),
        ({"lights_min_v": 20.0, "controller_cutoff_v": 33.0},
         "The lights take 20 to 60 V; they get 33.0 to 42.0 V."),
        ({"converter_out_v": 12.5}, "The lights take 60 V; they get 12.5 V."),
    ):  # fmt: skip
        sheet = {one.name: one for one in electrical_sheet(MachineSetup(**(pack | more)))}
        assert sheet["lights volts"].text == words
