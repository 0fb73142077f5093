"""Braking on the command line and on the page: options, JSON, words and pictures."""

import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from ridelog.analysis.braking.measure import Brakings
from ridelog.analysis.braking.page import braking_line, braking_section
from ridelog.analysis.coasting.measure import CoastDown
from ridelog.analysis.coasting.page import coasting_section
from ridelog.analysis.phases.measure import Phase, Phases
from ridelog.analysis.phases.plot import draw_key, draw_strip, phase_rows
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.quantity import text
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.present.figure import NARROW, WIDE, blank
from ridelog.report.ride_json import ride_json, schema_of

ROOT = Path(__file__).resolve().parents[2]
RIDE = "sample_tracks/before-1.gpx"
KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "ridelog", *arguments],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip


def truth() -> dict[str, Any]:
    whole: dict[str, Any] = json.loads((ROOT / "sample_tracks" / "truth.json").read_text())
    return whole


def test_the_sample_is_braked_as_its_truth_says(good_result: MeasuredRide) -> None:
    document = ride_json(good_result)
    jsonschema.validate(document, schema_of("ridelog.ride/2"))
    true = truth()["rides"]["before-1.gpx"]["brakings"]
    assert len(document["brakings"]) == len(true) == 4
    for found, real in zip(document["brakings"], true, strict=True):
        assert found["start_s"] == pytest.approx(real["start_s"], abs=0.2)
        decel = found["mean_decel_mps2"]
        assert decel["value"] == pytest.approx(real["mean_decel_mps2"], abs=0.5)
    assert document["brakings_reason"] == ""


def test_the_sample_rolls_out_as_its_machine_does(good_result: MeasuredRide) -> None:
    coasting = ride_json(good_result)["coasting"]
    assert len(coasting["coasts"]) == 2
    machine = truth()["machines"]["before"]
    for point in coasting["curve"]:
        speed = point["speed_mps"]
        force_n = (
            machine["resistance_a_n"]
            + machine["resistance_b_nspm"] * speed
            + machine["resistance_c_ns2pm2"] * speed**2
        )
        true = force_n / machine["mass_kg"]
        assert point["decel_mps2"]["value"] == pytest.approx(true, abs=0.03)


def test_phases_cover_the_sample(good_result: MeasuredRide) -> None:
    phases = ride_json(good_result)["phases"]
    covered = sum(phase["end_s"] - phase["start_s"] for phase in phases)
    assert covered == pytest.approx(good_result.source.duration_s, abs=0.5)
    assert {"standstill", "launch", "coasting", "braking", "turning"} <= {
        phase["kind"] for phase in phases
    }


def test_the_page_answers_first(good_result: MeasuredRide) -> None:
    section = braking_section(good_result, KMH)
    # 3.6 km/h are one metre a second.
    top_kmh = float(section.lead.removeprefix("From ").split(" km/h")[0])
    assert top_kmh == pytest.approx(3.6 * truth()["rides"]["before-1.gpx"]["best_1s_mps"], abs=0.2)
    assert " km/h, its fastest second, the machine needs " in section.lead
    assert "(1 s). The ride holds 4 brakings; the hardest reached" in section.lead
    assert section.notes[0].startswith("Doubling the speed takes four times the distance under")
    assert section.notes[1].startswith(
        "The hardest braking stayed below the 5.0 m/s² that road vehicles this fast must reach "
        "(StVZO § 41 (4)"
    )
    assert "this ride holds 2 such stops" in section.notes[1]
    (picture,) = section.pictures
    assert picture.name == "braking"
    assert picture.png.startswith(b"\x89PNG")
    assert section.table is not None and len(section.table.rows) == 4
    assert section.table.rows[0][1].endswith("to rest")


def test_numbers_of_the_sentence_on_doubling_agree(good_result: MeasuredRide) -> None:
    words = braking_section(good_result, KMH).notes[0].split(": ")[1]
    short, full = (float(part.split(" m from")[0].split()[-1]) for part in words.split(",")[:2])
    assert full == pytest.approx(4.0 * short, abs=0.25)


def test_miles_leave_no_kilometres(good_result: MeasuredRide) -> None:
    braking, coasting = braking_section(good_result, MPH), coasting_section(good_result, MPH)
    assert coasting is not None
    for section in (braking, coasting):
        assert section.table is not None
        said = [section.lead, *section.notes, *(each.label for each in section.pictures)]
        said += [cell for row in (section.table.head, *section.table.rows) for cell in row]
        for words in (*said, braking_line(good_result, MPH)):
            assert re.search(r"km/h|m/s²|\d m\b|metre", words) is None, words
    # 2.2369 mph are one metre a second.
    top_mph = float(braking.lead.removeprefix("From ").split(" mph")[0])
    true_mps = truth()["rides"]["before-1.gpx"]["best_1s_mps"]
    assert top_mph == pytest.approx(2.2369 * true_mps, abs=0.15) and " ft (" in braking.lead


def test_a_ride_without_braking_says_why(good_result: MeasuredRide) -> None:
    none = good_result.with_record("braking", Brakings((), "nobody braked"))
    section = braking_section(none, KMH)
    assert section.lead == "No braking was measured: nobody braked."
    assert section.pictures == () and section.table is None
    assert braking_line(none, KMH) == ""


def test_the_line_says_what_the_figures_say(good_result: MeasuredRide) -> None:
    words = braking_line(good_result, KMH)
    mean, stop = (
        text(figure.estimate, figure.quantity, KMH)
        for name in ("mean_braking_mps2", "stopping_distance_m")
        if (figure := good_result.figures[name]).estimate
    )
    assert words == (
        f"{mean}, mean of 2 stops from speed; {stop} from 48 km/h to rest with 1 s reaction"
    )


def test_of_a_weak_signal_ranges_are_told(good_result: MeasuredRide) -> None:
    signal = replace(good_result["signal"], grade="too weak")
    weak = good_result.with_record("signal", signal)
    assert re.fullmatch(
        r"somewhere from \S+ to \S+ m/s², mean of 2 stops from speed; somewhere from \S+ to \S+ m "
        "from 48 km/h to rest with 1 s reaction",
        braking_line(weak, KMH),
    )
    assert "needs somewhere from " in braking_section(weak, KMH).lead


@pytest.mark.parametrize("shape", [WIDE, NARROW])
def test_every_kind_of_phase_has_a_letter_and_a_place_in_the_key(shape: object) -> None:
    kinds = ("standstill", "launch", "pull", "steady", "coasting", "braking", "turning", "reverse")
    each = tuple(Phase(kind, 10.0 * k, 10.0 * k + 10.0, 1.0, 1.0) for k, kind in enumerate(kinds))
    figure = blank(shape)  # type: ignore[arg-type]  # one of the two shapes
    axes = figure.add_axes((0.0, 0.5, 1.0, 0.2))
    axes.set_xlim(0.0, 80.0)
    draw_strip(axes, Phases(each), shape, 3.0)  # type: ignore[arg-type]
    draw_key(figure, Phases(each), shape, 0.0)  # type: ignore[arg-type]
    assert len(axes.patches) == 8
    written = [text.get_text() for text in axes.texts]
    assert [words[0].upper() for words in written[-7:]] == list("LPSCBTR")
    (key,) = figure.legends
    assert [text.get_text() for text in key.get_texts()] == [
        "standstill", "L launch", "P pull", "S steady", "C coasting", "B braking", "T turning",
        "R reverse",
    ]  # fmt: skip
    looks = {
        (patch.get_facecolor(), patch.get_hatch())
        for patch in axes.patches
    }  # fmt: skip
    assert len(looks) == 8
    assert phase_rows(Phases(()), shape) == 0  # type: ignore[arg-type]


def test_reaction_and_advised_speed_change_the_result() -> None:
    done = run("report", RIDE, "--reaction", "2", "--advised-speed", "24 km/h", "--json", "-")
    result = json.loads(done.stdout)
    assert result["stopping"]["reaction_s"] == 2.0
    assert result["settings"]["advised_mps"] == pytest.approx(24.0 / 3.6)
    reaction_m = result["stopping"]["reaction_m"]
    assert reaction_m == pytest.approx(2.0 * result["stopping"]["from_mps"])
    codes = [caution["code"] for caution in result["cautions"]]
    assert codes[0] == "advised_speed"
    assert {"braking_below_yardstick", "stopping_distance"} <= set(codes)
    assert np.isfinite(result["stopping"]["stopping_distance_m"]["high"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--reaction", "9"], "9 s is no reaction time. What to do: give 0 to 5 seconds."),
        (["--reaction", "-1"], "-1 s is no reaction time. What to do: give 0 to 5 seconds."),
        (
            ["--advised-speed", "fast"],
            '"fast" is no speed. What to do: write a number above 0',
        ),
        (["--advised-speed", "0 mph"], '"0 mph" is no speed'),
    ],
)
def test_wrong_options_are_refused(arguments: list[str], words: str) -> None:
    done = run("report", RIDE, *arguments)
    assert done.returncode == 2
    assert words in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr


def test_rolling_out_has_its_section(good_motion: Motion, good_result: MeasuredRide) -> None:
    section = coasting_section(good_result, KMH)
    assert section is not None
    (first, second) = truth()["rides"]["before-1.gpx"]["coasts"]
    at_kmh = float(section.lead.removeprefix("Rolling freely at ").split(" km/h")[0])
    ends_mps = [coast[end] for coast in (first, second) for end in ("from_mps", "to_mps")]
    # Told in the middle of the speeds that were rolled out through.
    assert at_kmh == pytest.approx(3.6 * sum(ends_mps) / 4.0, abs=1.0)
    assert "from 2 stretches in both directions, so that slope and wind cancel" in section.lead
    assert section.pictures[0].name == "coasting"
    assert section.table is not None
    assert section.table.head[1] == f"Slows it at {at_kmh:.1f} km/h by"
    # What the parts take adds up to what the sentence says, where b is told from c.
    parts = [row[1] for row in section.table.rows]
    assert len(parts) == 3 and all("m/s²" in words for words in (parts[0], parts[2]))


def test_rolling_out_one_way_has_words_only(good_motion: Motion, good_result: MeasuredRide) -> None:
    reason = "the machine rolls freely in one direction only"
    one_way = CoastDown(good_result["coasting"].coasts[:1], reason=reason)
    section = coasting_section(good_result.with_record("coasting", one_way), KMH)
    assert section is not None
    assert section.lead == f"The ride holds 1 stretch of rolling freely, but {reason}."
    assert section.pictures == () and section.table is None


def test_without_rolling_out_there_is_no_section(
    good_motion: Motion, good_result: MeasuredRide
) -> None:
    none = CoastDown(())
    assert coasting_section(good_result.with_record("coasting", none), KMH) is None
