"""What contradicts or endangers in a set-up is found; what is sound passes; the rest stays open."""

from pathlib import Path
from typing import Any

import pytest

from ridelog.__main__ import main
from ridelog.machine.electrics import ampacity_a, electrical_sheet, voltage_drop_v
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_check import contradictions, dangers
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


def _found(**changes: Any) -> list[str]:
    setup = MachineSetup(**{k: v for k, v in {**SOUND, **changes}.items() if v is not None})
    return [
        *(line.name for line in electrical_sheet(setup) if line.state == "contradicts"),
        *(doubt.text for doubt in contradictions(setup)),
        *(doubt.text for doubt in dangers(setup)),
    ]


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"controller_max_v": 50.0}, "controller volts"),
        ({"motor_max_v": 48.0}, "motor volts"),
        ({"fuse_v": 32.0}, "fuse volts"),
        ({"switch_max_v": 24.0}, "switch volts"),
        ({"connector_max_v": 48.0}, "connector volts"),
        ({"display_max_v": 48.0}, "display volts"),
        ({"converter_max_v": 48.0}, "converter volts"),
        ({"charger_v": 58.8}, "charger volts"),
        ({"charger_v": 42.0}, "charger volts"),
        ({"charger_a": 30.0}, "charger amperes"),
        ({"battery_limit_a": 40.0}, "fuse amperes"),
        ({"battery_limit_a": 55.0}, "fuse amperes"),
        ({"battery_continuous_a": 33.0}, "fuse amperes"),
        ({"wire_mm2": 4.0}, "wire amperes"),
        ({"connector_max_a": 30.0}, "connector amperes"),
        ({"battery_max_a": 38.0}, "battery amperes"),
        ({"battery_max_a": 30.0, "fuse_a": 100.0}, "cells"),
        ({"battery_max_a": None, "battery_capacity_ah": 5.0}, "cells"),
        ({"battery_resistance_ohm": 0.4}, "sag"),
        ({"wire_length_m": 20.0, "wire_mm2": 10.0}, "voltage drop"),
        ({"converter_out_v": None}, "lights volts"),
        ({"lights_max_v": 11.0}, "lights volts"),
        ({"horn_max_v": 8.0, "horn_min_v": 6.0}, "horn volts"),
        ({"lights_w": 45.0}, "converter watts"),
        ({"converter_min_v": 45.0}, "converter least volts"),
        ({"battery_cells": None, "battery_nominal_v": 41.5},
         "battery_nominal_v = 41.5 V: no number of cells of lithium-ion in series gives that"),
        ({"tyre_circumference_m": 0.33}, "tyre_circumference_m = 0.33 m: a wheel that rolls 0.33"),
        ({"cg_height_m": 0.9}, "cg_height_m = 0.9 m is not less than wheelbase_m = 0.9 m"),
        ({"track_width_m": 0.36}, "With track_width_m = 0.36 m and cg_height_m = 0.5 m it tips"),
        ({"brakes": "none"}, 'brakes = "none" at class_speed_kmh = 40: nobody may ride that.'),
        ({"battery_cells": 20}, "Full, the battery has 84.0 V: above 60 V DC it can kill"),
    ],
)  # fmt: skip
def test_what_contradicts_or_endangers_is_found(changes: dict[str, Any], name: str) -> None:
    assert any(found.startswith(name) for found in _found(**changes))


@pytest.mark.parametrize("cells", [10, 13, 14])
@pytest.mark.parametrize("fuse", [45.0, 50.0])
@pytest.mark.parametrize("brakes", ["two independent", "one"])
@pytest.mark.parametrize("wheel", [0.8, 1.04, 1.6])
def test_sound_set_ups_pass(cells: int, fuse: float, brakes: str, wheel: float) -> None:
    assert not _found(
        battery_cells=cells, fuse_a=fuse, brakes=brakes, tyre_circumference_m=wheel,
        fuse_v=80.0, charger_v=4.2 * cells, controller_cutoff_v=3.0 * cells, converter_min_v=20.0,
        controller_max_v=72.0, motor_max_v=72.0, switch_max_v=72.0, connector_max_a=60.0,
    )  # fmt: skip


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
    assert [ampacity_a(size) for size in (1.5, 5.0, 10.0)] == [17.5, 32.0, 57.0]
    # IEC 60364-5-52, table B.52.2, copper, PVC, method B1, two loaded conductors (from memory).
    table = {1.5: 17.5, 2.5: 24.0, 4.0: 32.0, 6.0: 41.0, 10.0: 57.0, 16.0: 76.0, 25.0: 101.0,
             35.0: 125.0, 50.0: 151.0, 120.0: 151.0}  # fmt: skip
    assert {size: ampacity_a(size) for size in table} == table
    assert ampacity_a(0.75) == pytest.approx(8.75)


def test_the_command_leaves_with_1_where_it_contradicts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def leave(**changes: Any) -> int:
        path = tmp_path / "machine.toml"
        path.write_text(setup_text(MachineSetup(**{**SOUND, **changes})))
        with pytest.raises(SystemExit) as caught:
            main(["setup", "check", str(path)])
        return int(caught.value.code or 0)

    assert leave() == 0
    seen = capsys.readouterr()
    assert "no contradiction found." in seen.out and "Not confirmed: nothing." in seen.out
    assert seen.err == ""
    assert leave(brakes="none") == 0
    assert 'Danger: brakes = "none"' in " ".join(capsys.readouterr().err.split())
    assert leave(fuse_v=32.0) == 1
    seen = capsys.readouterr()
    assert "fuse volts: Full, the battery has 54.6 V; fuse_v = 32 V." in seen.out
    assert "1 thing is wrong in the set-up" in " ".join(seen.err.split())


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
