"""What the page, the terminal and the results say of handling; the options of the command."""

import itertools
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import cast

import jsonschema
import numpy as np
import pytest
from handling_rides import weave_ride
from labelled_rides import finish
from log_in_memory import to_track
from receiver_presets import preset
from simulate import RideLayout
from typer.testing import CliRunner

from ridelog.analysis.handling.measure import Handling
from ridelog.analysis.handling.page import handling_section
from ridelog.analysis.handling.plot import turns_figure, weave_figure
from ridelog.analysis.handling.turns import Turn
from ridelog.analysis.handling.weave import LEAST_RMS_RADPS, SpeedClass, Weave
from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.cli.main import app
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import TURN_LOAD, text_or_span
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.present.figure import NARROW, WIDE
from ridelog.report.ride_json import RIDE_SCHEMA, ride_json, schema_of, to_bytes
from ridelog.report.screen import ride_lines

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
SAMPLE = Path(__file__).resolve().parents[3] / "sample_tracks" / "after-1.gpx"


@pytest.fixture(scope="module")
def weaving() -> tuple[Motion, MeasuredRide]:
    rng = np.random.default_rng(3)
    ride = weave_ride(rng, rms_radps=0.3, onset_mps=6.0)
    motion = estimate_motion(to_track(preset("clean", 10.0, rng).observe(ride.truth, rng)))
    return motion, analyse(motion, Settings(track_width_m=0.66, cg_height_m=0.52))


@pytest.fixture(scope="module")
def slow() -> tuple[Motion, MeasuredRide]:
    """One fix a second, straight on: neither turns nor weave can be told."""
    rng = np.random.default_rng(4)
    ride = RideLayout()
    ride.stand(5.0)
    ride.shift(6.0)
    ride.hold(12.0)
    ride.shift(0.0)
    ride.stand(5.0)
    log = preset("clean", 1.0, rng).observe(finish(ride, rng).truth, rng)
    motion = estimate_motion(to_track(log))
    return motion, analyse(motion)


def test_a_weaving_ride(weaving: tuple[Motion, MeasuredRide]) -> None:
    section = handling_section(weaving[1], KMH)
    assert section.lead.startswith("It swings from side to side from ")
    assert " on, about " in section.lead and "°/s (" in section.lead
    assert "The hardest turn reached " in section.lead
    assert [picture.name for picture in section.pictures] == ["weave", "turns"]
    assert "with an onset at " in section.pictures[0].label
    assert section.table is not None
    assert all(re.fullmatch(r"0\.\d+ g \([\d.]+ to [\d.]+\)", r[3]) for r in section.table.rows)
    assert all(re.match(r"\d:\d\d\.\d", row[0]) for row in section.table.rows)
    assert any("stability factor of 0.63" in note for note in section.notes)
    assert any("the course was corrected " in note for note in section.notes)
    lines = [text for text, _ in ride_lines(weaving[1], KMH)]
    assert any(line.startswith("Handling         weaves from ") for line in lines)


def test_the_line_of_weave_stands_where_the_sentence_has_it() -> None:
    """Without an onset no bar is drawn above a line that says a weave stands there."""
    least, seen = LEAST_RMS_RADPS, 0.11
    bar = SpeedClass(4.0, 5.0, 20.0, Estimate(0.09, 0.05, 0.10), "")
    onset = Estimate(5.0, 4.5, 5.5)
    for found, level in (
        (Weave(weave=(bar,), weave_visible_from_radps=seen), seen),
        (Weave(weave=(bar,), weave_visible_from_radps=0.01), least),
        (Weave(weave=(bar,), weave_visible_from_radps=seen, weave_onset_mps=onset), least),
    ):
        for shape, words in ((WIDE, "weave: above this and growing with speed"),
                             (NARROW, "weave: above, and growing")):  # fmt: skip
            axes = weave_figure(cast(Handling, found), KMH, shape).axes[0]
            dashed = [x for x in axes.get_lines() if x.get_linestyle() == "--"]
            assert [np.asarray(x.get_ydata())[0] for x in dashed] == pytest.approx(
                [math.degrees(level)]
            )
            assert words in [text.get_text() for text in axes.texts]


@pytest.mark.parametrize("hours", [0.0, 24.0])
def test_the_times_of_turns_stand_side_by_side(
    weaving: tuple[Motion, MeasuredRide], hours: float
) -> None:
    turn, hard = Turn(0.0, 6.0, 1.0, 5.0), Estimate(1.0, 0.9, 1.1)
    for shape in (WIDE, NARROW):
        turns = [(replace(turn, start_s=60.0 * k + 3600.0 * hours), hard)
                 for k in range(1, 9)]  # fmt: skip
        figure = turns_figure(turns, weaving[1]["handling"], KMH, shape)
        figure.canvas.draw()
        places = [label.get_window_extent() for label in figure.axes[0].get_xticklabels()]
        assert len(places) >= 2
        assert all(a.x1 < b.x0 for a, b in itertools.pairwise(places))


def test_miles_and_feet(weaving: tuple[Motion, MeasuredRide]) -> None:
    section = handling_section(weaving[1], MPH)
    assert section.table is not None
    assert " mph (" in section.lead and " g (" in section.lead
    told = [section.lead, *section.notes, *(cell for row in section.table.rows for cell in row)]
    assert not any(re.search(r"km/h|m/s²|\d m\b", words) for words in told)
    assert " ft (" in section.table.rows[0][4]


def test_what_cannot_be_told_says_why(slow: tuple[Motion, MeasuredRide]) -> None:
    section = handling_section(slow[1], KMH)
    assert section.lead == (
        "Weave: a log of 1 fixes a second cannot show weave of 1 to 2 swings a second, nor "
        "steering corrections; 5 a second can, 10 are better. The hardest turn cannot be told: "
        "the ride holds no turn of 15 degrees or more that the log shows."
    )
    assert (section.pictures, section.table, section.notes) == ((), None, ())
    assert not any(text.startswith("Handling") for text, _ in ride_lines(slow[1], KMH))
    part = ride_json(slow[1])["handling"]
    assert part["max_lateral_accel_mps2"] is None
    assert part["weave_onset_mps"] is None
    assert part["weave"] == []
    assert part["weave_visible_from_radps"] is None
    assert part["reason"].startswith("Lateral acceleration: the ride holds no turn")


def test_results_keep_to_the_schema(
    weaving: tuple[Motion, MeasuredRide], slow: tuple[Motion, MeasuredRide]
) -> None:
    for _, result in (weaving, slow):
        document = json.loads(to_bytes(ride_json(result)))
        jsonschema.validate(document, schema_of(RIDE_SCHEMA))
        assert Settings.from_json(document["settings"]) == result.settings
    part = json.loads(to_bytes(ride_json(weaving[1])))["handling"]
    assert part["weave_onset_mps"]["value"] == pytest.approx(6.0, abs=1.0)
    assert part["weave"][-1]["yaw_rate_rms_radps"]["value"] > 0.15
    assert part["tip_over"]["stability_factor"] == pytest.approx(0.66 / 1.04)
    assert part["turns_seen"] == len(part["turns"]) > 2


def test_margin_without_dimensions_says_how(weaving: tuple[Motion, MeasuredRide]) -> None:
    known = " ".join(handling_section(weaving[1], KMH).notes)
    assert "it tips at 0.63 g sideways; 0.54 g is the safer figure" in known
    assert "Advisory only" in known and "The tightest turn would reach it at " in known
    plain = " ".join(handling_section(analyse(weaving[0]), KMH).notes)
    assert plain.startswith("Say the track width and the height of the centre of gravity")


def test_sideways_is_told_as_a_share_of_gravity_alone() -> None:
    """Everybody who thinks of tipping over thinks in g, whatever his units of speed."""
    for unit in (KMH, MPH):
        assert text_or_span(Estimate(4.4, 4.1, 4.7), TURN_LOAD, unit) == "0.45 g (0.42 to 0.48)"
    assert text_or_span(Estimate(1.0, 0.5, 1.5), TURN_LOAD, KMH) == "somewhere from 0.05 to 0.15 g"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--track-width", "0.8"], "only one of track width and height"),
        (["--track-width", "80", "--cg-height", "0.5"], "a track width of 80 m is not that of"),
    ],
)
def test_dimensions_are_checked_before_the_work(options: list[str], words: str) -> None:
    result = CliRunner().invoke(app, ["report", str(SAMPLE), *options])
    assert result.exit_code == 2
    assert words in " ".join(result.output.replace("│", " ").split())


def test_the_command_takes_dimensions(tmp_path: Path) -> None:
    target = tmp_path / "result.json"
    arguments = ["report", str(SAMPLE), "--json", str(target)]
    arguments += ["--track-width", "0.66", "--cg-height", "0.52"]
    assert CliRunner().invoke(app, arguments).exit_code == 0
    document = json.loads(target.read_text(encoding="utf-8"))
    assert document["settings"]["track_width_m"] == 0.66
    assert document["handling"]["tip_over"]["cg_height_m"] == 0.52
