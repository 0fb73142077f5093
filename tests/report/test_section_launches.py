"""Launches and pull on the page, on the terminal, in JSON and as options."""

import json
from pathlib import Path

import jsonschema
import pytest

from ridelog.__main__ import main
from ridelog.analysis.acceleration.page import pull_section
from ridelog.analysis.acceleration.words import accel_words, pull_lines
from ridelog.analysis.launches.measure import Launches
from ridelog.analysis.launches.page import launches_section
from ridelog.analysis.launches.words import launch_lines, time_words
from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track
from ridelog.report.ride_json import RIDE_SCHEMA, ride_json, schema_of

RIDE = Path(__file__).resolve().parents[2] / "sample_tracks" / "before-2.nmea"
KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


@pytest.fixture(scope="module")
def motion() -> Motion:
    return estimate_motion(load_track(RIDE))


@pytest.fixture(scope="module")
def result(motion: Motion) -> MeasuredRide:
    return analyse(motion)


def test_the_section_gives_best_median_and_every_attempt(result: MeasuredRide) -> None:
    section = launches_section(result, KMH)
    count = len(result["launches"].launches)
    assert count >= 2
    assert section.lead.startswith("0-20 km/h in ")
    assert f"{count} standing starts in this ride." in section.lead
    assert section.table is not None
    assert section.table.head == ("Window", "Best", "Median", "Every attempt in s")
    assert section.table.rows[0][0] == "0-20 km/h"
    assert section.table.rows[0][3].count(",") == count - 1
    assert [picture.name for picture in section.pictures] == ["launches"]
    assert "The clock starts when the machine first moves." in section.notes[0]
    assert "rollout" not in section.notes[0]


def test_mph_brings_its_own_windows(result: MeasuredRide) -> None:
    section = launches_section(result, MPH)
    assert section.table is not None
    labels = [row[0] for row in section.table.rows]
    assert labels[0] == "0-10 mph" and labels[-1] == "0-60 ft"
    assert not any("km/h" in label for label in labels)


def test_the_pull_section_says_what_it_rests_on(result: MeasuredRide) -> None:
    section = pull_section(result, KMH)
    assert section.lead.startswith("From standing it pulls with ")
    assert section.notes[0].startswith(f"Mean of {result['acceleration'].runs_used} pull")
    assert "slope" in section.notes[0]
    assert "Shorter gearing lifts the left end" in section.notes[-1]
    assert section.table is not None and len(section.table.rows) == 6


def test_the_terminal_gets_two_lines(result: MeasuredRide) -> None:
    lines = [*launch_lines(result, KMH), *pull_lines(result["acceleration"], KMH)]
    assert [name for name, _ in lines] == ["From standing", "Pull"]
    assert lines[0][1].startswith("0-20 km/h in ")
    assert " m/s² (" in lines[1][1]


def test_a_ride_without_a_start_says_so(result: MeasuredRide) -> None:
    none = Launches((), (), 0.0, "the ride holds no standing start to 2 m/s or more")
    empty = result.with_record("launches", none)
    section = launches_section(empty, KMH)
    assert section.lead == "The ride holds no standing start to 2 m/s or more."
    assert section.pictures == () and section.table is None


def test_chosen_windows_and_rollout_are_said(motion: Motion) -> None:
    settings = Settings(windows=("0-5 m/s", "0-99 km/h"), rollout_m=0.3048)
    result = analyse(motion, settings)
    section = launches_section(result, MPH)
    assert section.table is not None
    assert [row[0] for row in section.table.rows] == ["0-5 m/s"]
    assert "clock started after 1 ft of rollout" in section.lead
    assert "Here: clock started after 1 ft of rollout." in section.notes[0]
    assert "No time for 0-99 km/h: the launch does not clearly reach this speed." in section.notes
    document = ride_json(result)
    assert document["launches_rollout_m"] == 0.3048
    jsonschema.validate(document, schema_of(RIDE_SCHEMA))


def test_json_lists_every_launch_and_each_window(result: MeasuredRide) -> None:
    document = ride_json(result)
    jsonschema.validate(document, schema_of(RIDE_SCHEMA))
    assert len(document["launches"]) == len(result["launches"].launches)
    first = document["launches"][0]["windows"][0]
    assert first["label"] == "0-20 km/h" and first["from_mps"] == 0.0
    assert first["time_s"]["low"] <= first["time_s"]["value"] <= first["time_s"]["high"]
    assert first["exit_speed_mps"]["value"] == pytest.approx(20 / 3.6)
    summary = document["launch_windows"][0]
    assert summary["attempts"] == len(document["launches"])
    assert document["pull"]["curve"][0]["runs"] >= 1
    assert json.dumps(document, allow_nan=False)


def test_figures_carry_the_decimals_they_deserve() -> None:
    assert time_words(Estimate(2.414, 2.33, 2.49)) == "2.41 s (2.33 to 2.49)"
    assert time_words(Estimate(2.414, 1.33, 3.49)) == "2.4 s (1.3 to 3.5)"
    assert accel_words(Estimate(1.856, 1.82, 1.89)) == "1.86 m/s² (1.82 to 1.89)"
    assert accel_words(Estimate(1.856, 1.5, 2.2)) == "1.9 m/s² (1.5 to 2.2)"


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [("--window", "0-20", "is not two numbers and"), ("--rollout", "far", 'the rollout "far" is')],
)
def test_a_wrong_option_ends_with_two(
    option: str, value: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["report", str(RIDE), option, value])
    assert caught.value.code == 2
    assert words in " ".join(capsys.readouterr().err.replace("│", " ").split())
