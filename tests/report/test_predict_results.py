"""A prediction as words, JSON, pictures, page and command."""

import json
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import pypdf
import pytest
from pypdf import PdfReader

from ridelog.__main__ import main
from ridelog.analysis.launches.windows import parse_window
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.machine.change import changed
from ridelog.machine.cost import Cost
from ridelog.machine.predict import Prediction, predict
from ridelog.machine.setup import MachineSetup
from ridelog.present.json import FIELD, digest_of
from ridelog.report.figures_csv import predict_csv
from ridelog.report.predict_json import predict_json
from ridelog.report.predict_page import predict_page
from ridelog.report.predict_plot import predict_pictures
from ridelog.report.predict_words import (
    change_words,
    headline_words,
    narrowing_words,
    predict_lines,
    price_words,
    range_words,
    turn_words,
)
from ridelog.report.ride_json import schema_of, to_bytes

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
BEFORE = str(SAMPLES / "thistledrake-before.toml")


@pytest.fixture(scope="module")
def alone() -> Prediction:
    setup = MachineSetup(
        name="Quad <b>1</b>", front_teeth=11, rear_teeth=60, tyre_circumference_m=1.04,
        machine_mass_kg=66.0, rider_mass_kg=38.0, battery_cells=13, battery_capacity_ah=20.0,
    )  # fmt: skip
    return predict(
        setup, [], {"front_teeth": 10}, (parse_window("0-20 km/h"), parse_window("0-30 m")),
        sweep=("front_teeth", [10, 11, 12]),
    )  # fmt: skip


def test_the_json_fits_its_schema(alone: Prediction) -> None:
    document = json.loads(to_bytes(predict_json(alone)))
    schema = schema_of("ridelog.predict/1")
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(document, schema)
    assert document["fitted_from"] is None
    assert document["changes"] == {"front_teeth": 10}
    assert document["setup"]["front_teeth"] == 11
    top = next(m for m in document["measures"] if m["name"] == "top_speed_mps")
    assert top["unit"] == "m/s"
    assert top["changed"]["low"] < top["changed"]["value"] < top["changed"]["high"]
    assert [point["value"] for point in document["sweep"]["points"]] == [10, 11, 12]
    broken = {**document, "measures": []}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema)


@pytest.mark.parametrize("unit", [KMH, MPH])
def test_the_screen_is_80_letters_wide(alone: Prediction, unit: object) -> None:
    lines = predict_lines(alone, KMH if unit is KMH else MPH)
    assert max(len(text) for text, _ in lines) <= 80
    text = "\n".join(text for text, _ in lines)
    assert "from the set-up alone, no ride" in text
    assert "11  (now)" in text
    # Behind the title, which may name a speed.
    rows = [
        line[26:].split()
        for line in text.splitlines()
        if line.startswith(("Top speed  ", "Energy"))
    ]
    words = ["km/h", "Wh/km", "Wh/km"] if unit is KMH else ["mph", "Wh/mi", "Wh/mi"]
    assert [word for row in rows for word in row if word in words] == words


def test_the_sentence_says_what_limits(alone: Prediction) -> None:
    words = headline_words(alone, KMH)
    assert words.startswith("Top speed ")
    assert " instead of " in words and words.count(".") < 10
    assert "At top speed " in words
    # How sure they are stands beside the figures, not between them.
    assert "(" not in words
    top = alone["top_speed_mps"]
    firm = replace(top.figure, estimate=Estimate(10.0, 9.9, 10.1))
    known = replace(top, figure=firm, difference=Estimate(-1.0, -1.1, -0.9))
    assert range_words(replace(alone, figures=(known,)), KMH) == (
        "In 9 cases of 10: top speed 35.6 to 36.4 km/h (\u22124.0 to \u22123.2 by the change)."
    )
    # A figure that is no more than its range is told as that already.
    assert range_words(alone, KMH) == ""
    assert narrowing_words(alone).startswith(
        "What would narrow the predicted top speed most now: the top speed in both directions"
    )


def test_the_page_is_whole_and_escaped(alone: Prediction) -> None:
    pictures = predict_pictures(alone, KMH)
    assert [picture.name for picture in pictures] == ["pull", "sweep"]
    assert all(picture.png.startswith(b"\x89PNG") for picture in pictures)
    page = predict_page(alone, pictures, KMH)
    assert "Quad &lt;b&gt;1&lt;/b&gt;" in page
    assert "<b>1</b>" not in page
    assert "<script" not in page and "http://" not in page.replace("http://www.w3.org", "")
    assert "Now and after the change" in page
    assert "A prediction, not a measurement" in page
    assert page == predict_page(alone, predict_pictures(alone, KMH), KMH)


def test_what_a_change_costs_stands_where_it_is_asked_for(alone: Prediction) -> None:
    priced = replace(alone, cost=Cost(39.6, 1.5, "EUR"))
    assert price_words(priced) == "It costs 39.60 EUR, 1.5 h of work." and not price_words(alone)
    assert "It costs 39.60 EUR, 1.5 h of work." in [text for text, _ in predict_lines(priced, KMH)]
    document = predict_json(priced)
    assert (document["price"], document["hours"], document["currency"]) == (39.6, 1.5, "EUR")
    rows = predict_csv(document).decode().splitlines()
    assert rows[1].startswith("price,,EUR,") and ",39.6," in rows[1] and rows[2].startswith("hours")
    page = predict_page(priced, (), KMH)
    assert "It costs 39.60 EUR, 1.5 h of work." in page and "not noted" not in page
    # Where nobody noted it there is room to write it.
    assert predict_page(alone, (), KMH).count("not noted") == 2
    half = replace(alone, cost=Cost(price=0.0))
    assert predict_page(half, (), KMH).count("not noted") == 1
    assert price_words(half) == "It costs 0."


@pytest.mark.parametrize(
    ("said", "says"),
    [
        (("--price", "-3"), "price = -3.0 must be a number from 0 to 1,000,000"),
        (("--hours", "nan"), "hours = nan must be a number from 0 to 10,000"),
        (("--currency", "doubloons"), "currency has 9 letters; at most 8 find room"),
    ],
)
def test_a_cost_that_cannot_be_is_refused(
    said: tuple[str, str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert leave("predict", BEFORE, "--change", "rear_teeth=56", *said) == 2
    assert says in capsys.readouterr().err


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


def test_the_command_writes_everything(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "new"
    assert leave("predict", BEFORE, "--change", "front_teeth=14", "rear_teeth=56",
                 "--sweep", "front_teeth=14:15", "--out", str(out)) == 0  # fmt: skip
    seen = capsys.readouterr()
    assert "front teeth 15 to 14 and rear teeth 64 to 56, from the set-up" in seen.out
    assert sorted(path.name for path in out.iterdir()) == [
        "prediction.html", "prediction.json", "prediction.pdf", "pull.png", "sweep.png",
    ]  # fmt: skip
    document = json.loads((out / "prediction.json").read_text())
    assert document[FIELD] == digest_of(document)
    again = ("predict", BEFORE, "--change", "rear_teeth=56", "--out", str(out))
    assert leave(*again) == 2
    assert "this file is there already and is left as it was." in capsys.readouterr().err


@pytest.mark.parametrize(("shown", "turn", "threshold"), [
    ({}, False, False), ({"lateral_accel_mps2": 3.0}, True, False),
    ({"tip_over_mps2": 9.0}, False, True), ({"lateral_accel_mps2": None}, False, False),
    ({"lateral_accel_mps2": 3.0, "tip_over_mps2": 9.0}, True, True),
])  # fmt: skip
def test_sideways_figures_are_explained_where_they_stand(
    shown: dict[str, float | None], turn: bool, threshold: bool
) -> None:
    rows: Any = [
        SimpleNamespace(figure=SimpleNamespace(name=name), changed=changed)
        for name, changed in shown.items()
    ]
    words = turn_words(rows)
    assert ("The hardest turn is that of the rides" in words) is turn
    assert ("slope, ruts and bumps lower it" in words) is threshold


def test_json_on_standard_output_stands_alone(capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert leave("predict", BEFORE, "--change", "rear_teeth=56", "--json", "-",
                 "--window", "0-10 mph", "0-60 ft") == 0  # fmt: skip
    document = json.loads(capsysbinary.readouterr().out)
    assert document["schema"] == "ridelog.predict/1"
    assert {"0-10 mph", "0-60 ft"} <= {measure["name"] for measure in document["measures"]}


@pytest.mark.parametrize(
    ("words", "status", "message"),
    [
        (
            (),
            2,
            "nothing is to be changed. What to do: add --change KEY=VALUE or --sweep KEY=A:B, or",
        ),
        (("--change", "front_teth=10"), 2, "front_teth: unknown key; did you mean front_teeth?"),
        (("--sweep", "front_teeth=9"), 2, '"front_teeth=9" is no sweep'),
        (
            ("--change", "motor_rpm_per_v=80"),
            1,
            "motor_rpm_per_v cannot be changed: the set-up does",
        ),
        (
            ("--change", "front_teeth=10", "--ride", "none.gpx"),
            1,
            "none.gpx: there is no such file.",
        ),
        (("--change", "front_teeth=10", "--window", "0-20"), 2, 'the window "0-20" is not'),
    ],
)
def test_a_sentence_for_what_cannot_be_predicted(
    words: tuple[str, ...], status: int, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert leave("predict", BEFORE, *words) == status
    seen = capsys.readouterr()
    assert seen.out == ""
    assert message in seen.err
    assert "Traceback" not in seen.err


def test_rides_after_the_change_are_set_beside(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "both"
    words = ("predict", BEFORE, "--change", "rear_teeth=56", "--ride",
             str(SAMPLES / "before-3.gpx"), "--ridden", str(SAMPLES / "after-1.gpx"),
             "--out", str(out))  # fmt: skip
    assert leave(*words) == 0
    seen = capsys.readouterr().out
    assert "figures of the 1 ride after the change agree" in seen
    assert max(map(len, seen.splitlines())) <= 80
    document = json.loads((out / "prediction.json").read_text())
    jsonschema.validate(document, schema_of("ridelog.predict/1"))
    figures = {one["name"]: one for one in document["ridden"]["measures"]}
    assert {"top_speed_mps", "0-20 km/h", "pull_at_2_mps"} <= set(figures)
    assert figures["top_speed_mps"]["agrees"]
    assert document["ridden"]["rides"] == ["after-1.gpx"]
    assert "Predicted and measured" in (out / "prediction.html").read_text()
    paper = PdfReader(out / "prediction.pdf")
    assert len(paper.pages) == 1
    told = " ".join(paper.pages[0].extract_text().split())
    for part in ("Predicted and measured", "agrees", "Stop from top speed", "Always: "):
        assert part in told, part
    assert "prediction.json" in paper.attachments
    assert leave("predict", BEFORE, "--sweep", "rear_teeth=56:57", "--ridden", BEFORE) == 2
    assert "rides after a change are given, but no change." in capsys.readouterr().err


def test_compare_says_whether_the_change_was_as_foretold(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    after = tmp_path / "after.toml"
    text = Path(BEFORE).read_text()
    after.write_text(text.replace("rear_teeth = 64", "rear_teeth = 56"))
    out = tmp_path / "sheet"
    words = ("compare", "--before", str(SAMPLES / "before-3.gpx"), "--after",
             str(SAMPLES / "after-1.gpx"), "--setup-before", BEFORE)  # fmt: skip
    assert leave(*words, "--setup-after", str(after), "--out", str(out)) == 0
    assert "figures of the 1 ride after the change agree" in capsys.readouterr().out
    document = json.loads((out / "predicted.json").read_text())
    jsonschema.validate(document, schema_of("ridelog.predict/1"))
    assert document["changes"] == {"rear_teeth": 56}
    assert (out / "predicted.png").read_bytes().startswith(b"\x89PNG")
    result = json.loads((out / "result.json").read_text())
    jsonschema.validate(result, schema_of("ridelog.compare/1"))
    told = result["predicted"]
    assert told["setup_before"]["rear_teeth"] == 64 and told["changes"] == {"rear_teeth": 56}
    assert told["measures"] == document["ridden"]["measures"]
    # The sheet tells the figures named first; the others agree and are in the result.
    page = (out / "sheet.html").read_text()
    assert "Was it to be expected?" in page and told["text"] in page
    pdf = pypdf.PdfReader(out / "sheet.pdf")
    assert len(pdf.pages) == 1
    flat = " ".join(pdf.pages[0].extract_text().split())
    assert "Predicted from the rides before it." in flat and re.search(r"predicted \d", flat)
    assert leave(*words) == 2
    assert "only one set-up is given. What to do: give both" in capsys.readouterr().err
    assert leave(*words, "--setup-after", BEFORE) == 1
    assert "describe the same machine. What to do: write what was" in capsys.readouterr().err


def test_what_the_set_up_does_not_tell_is_changed_from_unknown() -> None:
    setup = MachineSetup(front_teeth=15, rear_teeth=64)
    change = changed(setup, {"rear_teeth": 56, "motor_limit_a": 180.0})
    told = change_words(setup, change)
    assert told == "rear teeth 64 to 56 and motor limit from unknown to 180 A"
