"""Options side by side: one fit, the same machines, and the file that lists them."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.launches.windows import parse_window
from ridelog.core.errors import SetupError
from ridelog.core.estimate import Estimate
from ridelog.machine.change import changed
from ridelog.machine.conditions import Conditions
from ridelog.machine.electrics import electrical_sheet
from ridelog.machine.options import ChangeOption, OptionsPredicted, _open, predict_options
from ridelog.machine.options_file import read_options
from ridelog.machine.predict import predict
from ridelog.machine.setup import MachineSetup
from ridelog.machine.tipping import tip_over_mps2

SETUP = MachineSetup(
    name="Burrfield 1", front_teeth=11, rear_teeth=60, tyre_circumference_m=1.04,
    machine_mass_kg=66.0, rider_mass_kg=38.0, battery_cells=13, battery_capacity_ah=20.0,
    battery_mass_kg=8.0, battery_height_m=0.3, track_width_m=0.8, cg_height_m=0.5,
    lights_max_v=56.0, battery_limit_a=80.0, fuse_a=100.0, motor_rpm_per_v=55.0,
)  # fmt: skip
WINDOWS = (parse_window("0-20 km/h"),)


@pytest.fixture(scope="module")
def found() -> OptionsPredicted:
    options = [
        ChangeOption("12 teeth", {"front_teeth": 12}, 40.0, 1.0),
        ChangeOption("9 teeth", {"front_teeth": 9}, 40.0, 1.0),
        ChangeOption("16 cells", {"battery_cells": 16}, 600.0, 3.0),
        ChangeOption("Low, heavy pack", {"battery_mass_kg": 20.0, "battery_height_m": 0.2}),
    ]
    return predict_options(SETUP, [], options, WINDOWS)


def test_each_option_is_what_a_prediction_says_of_it(found: OptionsPredicted) -> None:
    alone = predict(SETUP, [], {"front_teeth": 12}, WINDOWS)
    for figure in alone.figures:
        same = found.outcomes[0].get(figure.figure.name)
        assert same is not None
        assert (same.changed, same.difference) == (figure.changed, figure.difference)
    assert {c.code for c in alone.cautions} == {c.code for c in found.outcomes[0].cautions}


def test_who_has_most_is_told_by_the_same_machines(found: OptionsPredicted) -> None:
    """Two options whose own intervals overlap are told apart where each machine tells them."""
    top = found.end("top_speed_mps")
    assert top is not None and top.least == (2,)
    faster, now = found.outcomes[0].get("top_speed_mps"), found.now[0].now
    assert faster is not None and faster.changed is not None and now is not None
    assert faster.changed.low < now.high
    assert 0 not in top.most
    tips = found.end("tip_over_mps2")
    assert tips is not None and tips.most == (4,)
    # Nothing but the pack moves the threshold: the others have the same on every machine.
    assert tips.least == (0, 1, 2, 3)


def test_tip_over_threshold_by_its_formula() -> None:
    """s W / (2 h) g with s from 0.85 to 0.90 and h known to 5 %: METHOD.md (16)."""
    draws = tip_over_mps2(SETUP, 4000)
    assert draws is not None
    assert np.median(draws) == pytest.approx(0.875 * 0.8 / 1.0 * 9.80665, rel=0.01)
    assert tip_over_mps2(SETUP.model_copy(update={"cg_height_m": None}), 10) is None


def test_a_pack_moves_the_centre_of_gravity() -> None:
    """Moments by hand: (104 x 0.5 - 8 x 0.3 + 20 x 0.2) / 116."""
    after = changed(SETUP, {"battery_mass_kg": 20.0, "battery_height_m": 0.2}).setup
    assert after.machine_mass_kg == pytest.approx(78.0)
    assert after.cg_height_m == pytest.approx((104.0 * 0.5 - 2.4 + 4.0) / 116.0, abs=1e-4)
    kept = changed(SETUP, {"battery_mass_kg": 20.0, "cg_height_m": 0.5}).setup
    assert kept.cg_height_m == 0.5


def test_what_it_breaks_and_what_nobody_confirmed(found: OptionsPredicted) -> None:
    _, teeth, cells, _ = found.outcomes
    codes = {caution.code: caution for caution in cells.cautions}
    # 16 cells of 4.2 V are 67.2 V; the lights take 56 V.
    assert "67.2 V" in codes["electrical_lights_volts"].text
    assert not any(c.code == "electrical_lights_volts" for c in teeth.cautions)
    unknown = {line.name for line in electrical_sheet(cells.change.setup)
               if line.state == "not confirmed"}  # fmt: skip
    told = {words.partition(":")[0] for words in cells.open}
    assert {"controller volts", "charger volts"} <= told <= unknown
    # Fewer teeth on the motor draw no more current and leave the volts as they are.
    assert teeth.open == ()


def test_a_figure_without_its_key_says_which() -> None:
    bare = SETUP.model_copy(update={"battery_capacity_ah": None, "track_width_m": None})
    options = [ChangeOption("12", {"front_teeth": 12}), ChangeOption("13", {"front_teeth": 13})]
    told = predict_options(bare, [], options, WINDOWS, conditions=Conditions())
    for side in (told.now, *(one.figures for one in told.outcomes)):
        reasons = {one.figure.name: one.figure.reason for one in side if one.changed is None}
        assert reasons["range_at_20_kmh_m"] == "the set-up gives no battery_capacity_ah"
        assert reasons["tip_over_mps2"] == "the set-up gives no track_width_m"


def test_an_option_that_cannot_be_is_named() -> None:
    options = [ChangeOption("rated", {"motor_rated_v": 48.0}), ChangeOption("x", {})]
    with pytest.raises(SetupError, match="rated: motor_rated_v: a rating says"):
        predict_options(SETUP, [], options, WINDOWS)


BARE = MachineSetup(battery_cells=13)
WATTS, VOLTS = {"converter watts"}, {
    f"{part} volts" for part in ("controller", "motor", "fuse", "switch", "connector", "display",
                                 "converter", "lights", "horn", "charger")
}  # fmt: skip
AMPERES = {"fuse amperes", "wire amperes", "connector amperes", "battery amperes",
           "charger amperes", "voltage drop"}  # fmt: skip


@pytest.mark.parametrize(("changed_keys", "peak_a", "touched"), [
    ({"battery_cells": 14}, 10.0, WATTS | VOLTS),
    ({"battery_chemistry": "lifepo4"}, 10.0, WATTS | VOLTS),
    ({"battery_nominal_v": 50.0}, 10.0, WATTS | VOLTS),
    ({"battery_full_v": 55.0}, 10.0, WATTS | VOLTS),
    ({"motor_limit_a": 80.0}, 10.0, AMPERES), ({"fuse_a": 30.0}, 10.0, AMPERES),
    ({"wire_length_m": 1.0}, 10.0, AMPERES), ({"battery_limit_a": 25.0}, 10.0, AMPERES),
    ({"wire_mm2": 4.0}, 10.0, AMPERES), ({"battery_capacity_ah": 10.0}, 10.0, AMPERES),
    ({"battery_max_a": 40.0}, 10.0, AMPERES), ({"connector_max_a": 40.0}, 10.0, AMPERES),
    # A hundredth more current is none.
    ({"front_teeth": 12}, 10.09, set()), ({"front_teeth": 12}, 10.11, AMPERES),
    ({"front_teeth": 12}, None, set()), ({"battery_cells": 14}, 10.2, WATTS | VOLTS | AMPERES),
])  # fmt: skip
def test_what_a_change_touches_and_nobody_confirmed_is_open(
    changed_keys: dict[str, Any], peak_a: float | None, touched: set[str]
) -> None:
    after = BARE.model_copy(update=changed_keys)
    then = None if peak_a is None else Estimate(peak_a, peak_a, peak_a)
    found = _open(BARE, after, {"battery_current_peak_a": (Estimate(10.0, 10.0, 10.0), then)})
    told = {words.partition(":")[0] for words in found}
    assert told == touched and _open(BARE, BARE, {}) == ()


GOOD = """
currency = "EUR"
[[option]]
name = "12 teeth"
price = 40
hours = 1.5
note = "chain kept"
change = { front_teeth = 12 }
[[option]]
name = "More"
change = { battery_limit_a = 50, fuse_a = 80 }
"""


def test_the_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "options.toml"
    path.write_text(GOOD)
    assert read_options(path) == (
        "EUR",
        (
            ChangeOption("12 teeth", {"front_teeth": 12}, 40.0, 1.5, "chain kept"),
            ChangeOption("More", {"battery_limit_a": 50, "fuse_a": 80}),
        ),
    )


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("front_teeth = 12", "front_tooth = 12", "did you mean front_teeth"),
        ("front_teeth = 12", "front_teeth = 0", "a sprocket without teeth cannot be"),
        ("{ front_teeth = 12 }", "{}", 'option "12 teeth" changes nothing'),
        ('name = "More"', 'name = "12 Teeth"', 'two options are called "12 Teeth"'),
        ('name = "More"', "", "option 2 has no name"),
        ("price = 40", "price = -1", "price = -1 must be a number from 0 to 1,000,000"),
        ("price = 40", 'price = "40"', "price = '40' must be a number"),
        ("price = 40", "pris = 40", "pris is not known here; did you mean price?"),
        ("hours = 1.5", "ours = 1.5", "ours is not known here; did you mean hours?"),
        ("[[option]]\nname = \"More\"\nchange = { battery_limit_a = 50, fuse_a = 80 }", "",
         "1 options are given; 2 to 6 stand side by side"),
        ("[[option]]", "[[choice]]", "choice is not known here"),
        ('"chain kept"', '"' + 201 * "x" + '"', "note has 201 letters; at most 200 find room"),
        ('currency = "EUR"', "currency = 3", "currency must be words in quotation marks"),
        ("name =", "name", "this is no TOML"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_is_told(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = tmp_path / "options.toml"
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(SetupError) as caught:
        read_options(path)
    assert str(caught.value).startswith("options.toml: ")
    assert words in str(caught.value)


def written(**changed: str) -> str:
    """Return the file with two options, of which some lines of the first are others."""
    lines = {"currency": '"EUR"', "name": '"a"', "price": "40", "hours": "1.5", "note": '"b"'}
    lines |= changed
    head = f"currency = {lines.pop('currency')}\n[[option]]\n"
    first = "".join(f"{key} = {value}\n" for key, value in lines.items())
    change = "change = { front_teeth = 12 }\n"
    return head + first + change + '[[option]]\nname = "other"\n' + change


@pytest.mark.parametrize(
    ("key", "last", "beyond"),
    [
        ("price", "0", "-0.01"), ("price", "1e6", "1000000.1"), ("price", "0.5", "true"),
        ("hours", "0.0", "-1e-9"), ("hours", "10000", "10000.1"), ("hours", "0.5", "nan"),
        ("currency", f'"{8 * "x"}"', f'"{9 * "x"}"'), ("name", f'"{40 * "x"}"', f'"{41 * "x"}"'),
        ("note", f'"{200 * "x"}"', f'"{201 * "x"}"'), ("note", '""', "1"),
        # Blanks at the ends and twice between words are none of a name's letters.
        ("name", f'" x  {38 * "y"} "', f'" x  {39 * "y"} "'), ("name", '"x"', '" "'),
    ],
)  # fmt: skip
def test_both_sides_of_what_a_file_may_hold(
    tmp_path: Path, key: str, last: str, beyond: str
) -> None:
    path = tmp_path / "options.toml"
    path.write_text(written(**{key: last}))
    assert len(read_options(path)[1]) == 2
    path.write_text(written(**{key: beyond}))
    with pytest.raises(SetupError):
        read_options(path)


def test_a_hundred_thousand_bytes_are_read(tmp_path: Path) -> None:
    path = tmp_path / "options.toml"
    path.write_text(written() + "#" * (100_000 - len(written())))
    assert len(read_options(path)[1]) == 2
    path.write_text(path.read_text() + "#")
    with pytest.raises(SetupError, match="more than 100,000 bytes are too many"):
        read_options(path)


@pytest.mark.parametrize(("count", "fits"), [(1, False), (2, True), (6, True), (7, False)])
def test_two_to_six_stand_side_by_side(tmp_path: Path, count: int, fits: bool) -> None:
    path = tmp_path / "options.toml"
    path.write_text("".join(
        f'[[option]]\nname = "{number}"\nchange = {{ front_teeth = 12 }}\n'
        for number in range(count)
    ))  # fmt: skip
    if fits:
        currency, options = read_options(path)
        assert len(options) == count and options[0].price is None and currency != "EUR"
    else:
        advice = "leave out the least likely ones" if count > 2 else "add another, or ask"
        with pytest.raises(SetupError, match=advice):
            read_options(path)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SetupError, match="no-such.toml: the file cannot be read .no such file or"):
        read_options(tmp_path / "no-such.toml")
