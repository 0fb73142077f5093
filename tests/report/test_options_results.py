"""Options as JSON, words, picture, page, paper and command; verify computes them again."""

import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pypdf
import pytest

from ridelog.__main__ import main
from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.subject import DANGER, WARNING, Caution
from ridelog.core.quantity import hours_words, money_words
from ridelog.core.units import SPEED_UNITS
from ridelog.machine.options import ChangeOption, OptionsPredicted, predict_options
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import read_setup
from ridelog.present.words import first_sentence
from ridelog.report.aim import Aim
from ridelog.report.letterhead import letterhead
from ridelog.report.option_risks import option_risks, warning_sentences
from ridelog.report.options_json import options_json
from ridelog.report.options_page import FILES, options_files
from ridelog.report.options_plot import options_picture
from ridelog.report.options_screen import options_lines
from ridelog.report.options_words import option_sentences, options_words
from ridelog.report.ride_json import schema_of, to_bytes
from ridelog.report.ride_page import Sources

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_tracks"
SIX: dict[str, dict[str, Any]] = {
    "12 <b>teeth</b>": {"front_teeth": 12},
    "9 teeth": {"front_teeth": 9},
    "16 cells": {"battery_cells": 16},
    "Larger pack": {"battery_capacity_ah": 40.0, "battery_mass_kg": 14.0},
    "Lighter frame": {"machine_mass_kg": 58.0},
    "More current": {"battery_limit_a": 95.0, "fuse_a": 120.0},
}


@pytest.fixture(scope="module")
def found() -> OptionsPredicted:
    setup = MachineSetup(
        name="Burrfield 1", front_teeth=11, rear_teeth=60, tyre_circumference_m=1.04,
        machine_mass_kg=66.0, rider_mass_kg=38.0, battery_cells=13, battery_capacity_ah=20.0,
        battery_mass_kg=8.0, battery_limit_a=80.0, fuse_a=100.0, motor_rpm_per_v=55.0,
        track_width_m=0.8, cg_height_m=0.5, controller_max_v=60.0,
    )  # fmt: skip
    options = [
        ChangeOption(name, change, 40.0 * (n + 1), 0.5 + n, "chain kept" if n == 0 else "")
        for n, (name, change) in enumerate(SIX.items())
    ]
    windows = (parse_window("0-20 km/h"),)
    return predict_options(setup, [], options, windows, currency="EUR")


@pytest.fixture(scope="module")
def document(found: OptionsPredicted) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(to_bytes(options_json(found, (), KMH)))
    return read


@pytest.fixture(scope="module")
def files(found: OptionsPredicted) -> dict[str, bytes]:
    return made(found, "a4")


def made(found: OptionsPredicted, paper: str) -> dict[str, bytes]:
    logo = letterhead(
        "Quillgarth Works", "Mill Lane 3", SAMPLES / "pictures" / "before-and-after.png"
    )
    result = to_bytes(options_json(found, (), KMH))
    files, lacking = options_files(
        found, (), KMH, result, letterhead=logo, note="For May.", paper=paper
    )
    assert lacking == ""
    return files


def test_the_json_fits_its_schema(document: dict[str, Any]) -> None:
    schema = schema_of("ridelog.options/1")
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(document, schema)
    assert [one["name"] for one in document["options"]] == list(SIX)
    names = [figure["name"] for figure in document["now"]]
    for name in ("top_speed_mps", "0-20 km/h", "climb_at_8_kmh", "energy_at_20_kmh_j_per_m",
                 "range_at_20_kmh_m", "stopping_distance_m", "tip_over_mps2"):  # fmt: skip
        assert name in names
    assert all(figure["difference"] is None for figure in document["now"])
    first = {figure["name"]: figure for figure in document["options"][0]["figures"]}
    assert first["top_speed_mps"]["difference"]["low"] > 0.0
    assert first["top_speed_mps"]["limited_by"] in ("motor speed", "power")
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**document, "options": document["options"][:1]}, schema)


def test_the_first_line_is_for_anyone(found: OptionsPredicted) -> None:
    fast, quick, far = option_sentences(found, KMH)
    assert fast.startswith("Fastest: C (16 cells), ") and " km/h instead of " in fast
    assert quick.startswith(("Starts quickest: ", "Whether any starts quicker"))
    assert far.startswith("Goes farthest: D (Larger pack), ") and far.endswith(" at 20 km/h.")
    # 67.2 V on a controller for 60 V; no speed is advised.
    assert warning_sentences(found, KMH)[0] == "Dangerous: option C."
    slow = replace(found, setup=MachineSetup(**found.setup.given() | {"class_speed_kmh": 20.0}))
    assert warning_sentences(slow, MPH)[-1].startswith("Within 12 mph, its class or advised speed")
    assert option_sentences(found, KMH, Aim.FARTHER)[0] == far
    assert option_sentences(found, KMH, Aim.TAMER)[0].startswith("Tamest: B (9 teeth), ")


def test_the_aim_turns_better_and_worse(found: OptionsPredicted) -> None:
    def kinds(aim: Aim | None) -> tuple[str, str]:
        rows = {row.title: row.cells for row in options_words(found, KMH, aim=aim).rows}
        return rows["Top speed"][1].kind, rows["Stop from top speed"][1].kind

    assert kinds(None) == ("better", "worse")
    assert kinds(Aim.TAMER) == ("worse", "worse")


def test_as_it_is_stands_first_and_small_differences_are_no_verdict(
    found: OptionsPredicted,
) -> None:
    words = options_words(found, KMH)
    assert [head.letter for head in words.heads] == ["", *"ABCDEF"]
    assert words.heads[0].name == "As it is"
    for row in words.rows:
        assert len(row.cells) == 7
        assert row.cells[0].change == ""
        for cell in row.cells:
            # Never by colour alone: each verdict is a word, each difference has its sign.
            if cell.kind in ("better", "worse"):
                assert cell.change.endswith(f" {cell.kind}") and cell.change[0] in "+\u2212"
    assert not any(row.title.startswith("Tips over") for row in words.rows)
    assert words.alike.startswith("The same for all: tips over in a turn of ")


@pytest.mark.parametrize("unit", [KMH, MPH])
def test_the_screen_is_80_letters_wide(found: OptionsPredicted, unit: Any) -> None:
    lines = [text for text, _ in options_lines(found, unit)]
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("F  More current, battery limit 80 to 95 A") for line in lines)
    assert any("240 EUR, 5.5 h" in line for line in lines)


@pytest.mark.parametrize(("paper", "width"), [("a4", 595), ("us-letter", 612)])
def test_six_options_of_ridden_rides_find_room_on_one_page(
    found: OptionsPredicted, paper: str, width: int
) -> None:
    """Rides warn of more than a set-up alone: of reverse, of brakes, of class and of a child."""
    said = (
        "As ridden: reverse at 9.0 km/h is faster than walking pace, 6.0 km/h: keep people clear "
        "behind it and limit its reverse speed.",
        "In before-3.gpx the hardest stop, be it brakes or rider, was 3.18 m/s2; road vehicles "
        "this fast must reach 5.00 m/s2: test the brakes on closed ground first.",
        "The battery current reaches somewhere from 81 to 137 A, and a fuse of 100 A carries 75 A "
        "for long: full throttle only briefly until it is measured.",
        "The top speed is above 50 km/h, its class or advised speed.",
    )
    more = tuple(
        Caution(f"ridden_{n}", words, None, None, f"a source of some length, {n}", gravity=WARNING)
        for n, words in enumerate(said)
    )
    full = replace(
        found,
        setup=MachineSetup(**found.setup.given() | {"class_speed_kmh": 50.0}),
        cautions_now=(*found.cautions_now, *more),
        outcomes=tuple(replace(one, cautions=(*one.cautions, *more)) for one in found.outcomes),
    )
    (page,) = pypdf.PdfReader(io.BytesIO(made(full, paper)["options.pdf"])).pages
    assert round(float(page.mediabox.width)) == width
    text = "".join(page.extract_text().split())
    assert "FMorecurrent" in text and "All,warning:Asridden:reverse" in text
    # Who ticks reads the option's name where the tick goes.
    assert "C16cells(dangerous)" in text and "A12<b>teeth</b>:chainkept" in text


def test_paper_is_one_tagged_page_with_the_result(files: dict[str, bytes]) -> None:
    reader = pypdf.PdfReader(io.BytesIO(files["options.pdf"]))
    assert len(reader.pages) == 1
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid" in root["/Metadata"].get_data()
    assert reader.attachments["options.json"] == [files["options.json"]]
    text = "".join(reader.pages[0].extract_text().split())
    for words in ("6 options to choose from", "Quillgarth Works", "Mill Lane 3", "For May.",
                  "Your decision", "12 <b>teeth</b>", "Price", "Hours of work"):  # fmt: skip
        assert "".join(words.split()) in text, words


def test_the_page_is_whole_and_escaped(files: dict[str, bytes], found: OptionsPredicted) -> None:
    page = files["options.html"].decode()
    assert "12 &lt;b&gt;teeth&lt;/b&gt;" in page and "<b>teeth" not in page
    assert "<script" not in page and "http" not in page.replace("http://www.w3.org", "")
    assert 'src="data:image/png;base64,' in page
    picture = options_picture(found, KMH)
    assert picture is not None and picture.png.startswith(b"\x89PNG")


def test_first_sentences() -> None:
    assert first_sentence("It reaches 3.5 V. Size it.") == "It reaches 3.5 V."
    assert first_sentence("By § 1 no. 3 it is. So.") == "By § 1 no. 3 it is."
    assert first_sentence("One") == "One"
    assert first_sentence(f"{'Do this, ' * 20}now; not that.").endswith("now.")


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


@pytest.fixture()
def two(tmp_path: Path) -> str:
    listed = tmp_path / "options.toml"
    listed.write_text(
        "[[option]]\nname = 'A'\nprice = 4\nchange = { rear_teeth = 56 }\n"
        "[[option]]\nname = 'B'\nchange = { rear_teeth = 72 }\n"
    )
    return str(listed)


SETUP = str(SAMPLES / "thistledrake-before.toml")


def test_the_command_writes_everything_and_verify_finds_a_changed_number(
    tmp_path: Path, two: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new"
    said = ("--window", "0-30 km/h", "--at", "25 km/h", "--charge", "60%", "--slope", "2%")
    assert leave("options", SETUP, two, "--out", str(out), *said) == 0
    capsys.readouterr()
    assert sorted(path.name for path in out.iterdir()) == sorted(FILES)
    result = out / "options.json"
    document = json.loads(result.read_text())
    del document["content_sha256"]
    assert leave("verify", str(result), "--logs", str(tmp_path)) == 0
    document["options"][1]["figures"][0]["value"]["value"] += 0.01
    result.write_text(json.dumps(document))
    capsys.readouterr()
    assert leave("verify", str(result), "--logs", str(tmp_path)) == 1
    assert "options[B].figures[top_speed_mps].value.value" in capsys.readouterr().err


def test_verify_confirms_options_from_rides(
    tmp_path: Path, two: str, capsys: pytest.CaptureFixture[str]
) -> None:
    result = tmp_path / "options.json"
    ride = str(SAMPLES / "before-3.gpx")
    assert leave("options", SETUP, two, "--ride", ride, "--json", str(result)) == 0
    assert json.loads(result.read_text())["rides"][0]["file"] == "before-3.gpx"
    assert leave("verify", str(result), "--logs", str(SAMPLES)) == 0
    assert "values of the result are the same" in capsys.readouterr().out


def test_what_cannot_be_is_said_before_rides_are_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = tmp_path / "options.toml"
    listed.write_text(
        "[[option]]\nname = 'A'\nchange = { motor_rpm_per_v = 60 }\n"
        "[[option]]\nname = 'B'\nchange = { rear_teeth = 72 }\n"
    )
    setup = str(SAMPLES / "thistledrake-before.toml")
    assert leave("options", setup, str(listed), "--ride", str(tmp_path / "none.gpx")) == 1
    assert "A: motor_rpm_per_v cannot be changed" in capsys.readouterr().err
    other = ("--logo", str(listed))
    assert leave("options", setup, str(listed), *other) == 2
    assert "a logo is a PNG or JPEG" in capsys.readouterr().err


def test_each_option_has_its_own_figures_in_a_shared_caution() -> None:
    """Sentences that differ in their numbers alone are one; others stand apart."""

    def longer(metres: float, share: int) -> Caution:
        text = f"It needs {metres:g} m ({3 * metres:g} ft) to stop, {share} % more. Brakes first."
        return Caution("longer_stop", text, metres, None, "physics", gravity=WARNING)

    far = Caution("longer_stop", "It may need more.", None, None, "physics", gravity=DANGER)
    columns = {"as it is": (), "A": (longer(48, 19),), "B": (far,), "C": (longer(50, 19),)}
    first, second = option_risks(columns, KMH, Sources())
    assert (first.who, first.label, first.text) == ("B", "Danger", "It may need more.")
    assert (second.who, second.label) == ("A, C", "Warning")
    assert second.text == "It needs 48 m (A) or 50 m (C) to stop, 19 % more."
    assert option_risks(columns, MPH, Sources())[1].text.startswith(
        "It needs 144 ft (A) or 150 ft (C) to stop"
    )


def test_a_number_stays_with_its_bounds_and_most_columns_are_the_others() -> None:
    def current(value: str) -> Caution:
        text = f"The battery current reaches {value}, and a fuse of 100 A carries 75 A for long."
        return Caution("fuse", text, None, None, "fuses", gravity=WARNING)

    same = (current("112 A (81 to 136)"),)
    columns = {"as it is": same, "A": same, "B": (current("85 A (76 to 96)"),), "C": same}
    (told,) = option_risks(columns, KMH, Sources())
    assert (told.who, told.text) == (
        "All",
        "The battery current reaches 85 A (76 to 96, B) or 112 A (81 to 136, others), and a fuse "
        "of 100 A carries 75 A for long.",
    )


def test_an_and_in_a_name_stays(found: OptionsPredicted) -> None:
    """Options that cannot be told apart are joined by "or"; their names are left alone."""
    names = ("cells and charger", "wide and low")
    outcomes = tuple(
        replace(one, option=replace(one.option, name=names[n % 2]))
        for n, one in enumerate(found.outcomes)
    )
    ends = tuple(replace(one, most=(3, 4), least=(3, 4)) for one in found.ends)
    said = " ".join(option_sentences(replace(found, outcomes=outcomes, ends=ends), KMH))
    assert "Fastest: C (cells and charger) or D (wide and low)." in said


def test_money_is_printed_to_the_cent_where_there_are_cents() -> None:
    options = [
        ChangeOption("one", {"rear_teeth": 60}, 39.6, 1.25),
        ChangeOption("two", {"rear_teeth": 68}, 1200.0),
    ]
    found = predict_options(
        read_setup(Path(SETUP)), (), options, [parse_window("0-20 km/h")], currency="EUR"
    )
    words = options_words(found, KMH)
    price = next(row for row in words.rows if row.title == "Price")
    assert [cell.value for cell in price.cells] == ["", "39.60", "1,200"]
    assert [one.shown for one in words.decisions] == [
        "As it is",
        "A one (rear teeth 64 to 60), 39.60 EUR, 1.25 h",
        "B two (rear teeth 64 to 68), 1,200 EUR",
    ]
    assert money_words([0.1, 0.2, 39.6], "EUR") == "39.90 EUR"
    assert hours_words(1.5) == "1.5 h"
    # A share of g is explained where it stands.
    assert re.search(r"tips over in a turn of 1\.\d+ g \(", words.alike)
    assert any(note.startswith("A turn of 1 g pushes") for note in words.notes)
