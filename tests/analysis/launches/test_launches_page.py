"""Standing starts on the page, on the terminal, in JSON and as options."""

import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from ridelog.__main__ import main
from ridelog.analysis.launches.measure import Launches, WindowFigure
from ridelog.analysis.launches.page import launches_section
from ridelog.analysis.launches.subject import StandingStarts
from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import TIME, text
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track
from ridelog.report.ride_json import RIDE_SCHEMA, ride_json, schema_of

RIDE = Path(__file__).resolve().parents[3] / "sample_tracks" / "before-2.nmea"
KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


@pytest.fixture(scope="module")
def motion() -> Motion:
    return estimate_motion(load_track(RIDE))


@pytest.fixture(scope="module")
def result(motion: Motion) -> MeasuredRide:
    return analyse(motion)


def line(ride: MeasuredRide) -> str:
    [(label, words)] = StandingStarts().lines(ride, KMH)
    assert label == "From standing"
    return words


def with_first(ride: MeasuredRide, **changed: object) -> MeasuredRide:
    """Return a ride whose first window has another figure."""
    launches = ride["launches"]
    first: WindowFigure = replace(launches.windows[0], **changed)
    windows = (first, *launches.windows[1:])
    return ride.with_record("launches", replace(launches, windows=windows))


def test_every_surface_says_the_same_figure(result: MeasuredRide) -> None:
    figure = result.figures["0-20 km/h"].estimate
    assert figure is not None
    words = text(figure, TIME, KMH)
    section = launches_section(result, KMH)
    full = len(result["launches"].windows[0].full_starts)
    assert full > 1
    assert line(result).startswith(f"0-20 km/h in {words}, mean of {full} full starts")
    assert section.lead == f"{line(result)}."
    assert section.table is not None and section.table.rows[0][:2] == ("0-20 km/h", words)
    document = ride_json(result)["launch_windows"][0]
    assert document["time_s"] == figure.as_json()


def test_no_figure_lies_outside_the_starts_beside_it(result: MeasuredRide) -> None:
    for reader in (KMH, MPH):
        table = launches_section(result, reader).table
        assert table is not None
        for _, figure, starts in table.rows:
            counted = [one for one in starts.split(", ") if not one.endswith("left out")]
            times = [float(one) for one in counted if one != "none"]
            value = float(figure.split()[0])
            assert min(times) - 0.01 <= value <= max(times) + 0.01


def test_the_section_lists_every_start(result: MeasuredRide) -> None:
    section = launches_section(result, KMH)
    count = len(result["launches"].launches)
    assert count >= 2
    assert section.table is not None
    assert section.table.head == ("Window", "Mean of the full starts", "Every start in s")
    assert section.table.rows[0][2].count(",") == count - 1
    assert [picture.name for picture in section.pictures] == ["launches"]
    assert "The clock starts when the machine first moves." in section.notes[0]
    assert "rollout" not in section.notes[0]
    assert "clearly slower than the quickest one of its direction" in section.notes[1]


def test_mph_brings_its_own_windows(result: MeasuredRide) -> None:
    section = launches_section(result, MPH)
    assert section.table is not None
    labels = [row[0] for row in section.table.rows]
    assert labels[0] == "0-10 mph" and labels[-1] == "0-60 ft"
    said = " ".join(
        (section.lead, *section.notes, *(one for row in section.table.rows for one in row))
    )
    assert not re.search(r"km/h|m/s|\d m\b", said)


def test_a_slower_start_is_named_as_left_out(result: MeasuredRide) -> None:
    launches = result["launches"]
    full = launches.windows[0].full_starts
    ride = with_first(result, full_starts=full[1:])
    assert line(ride).endswith(f"mean of {len(full) - 1} full starts, 1 slower left out")
    table = launches_section(ride, KMH).table
    assert table is not None and table.rows[0][2].count("left out") == 1
    fewer = with_first(result, attempts=len(full) - 1, full_starts=full[1:])
    assert launches_section(fewer, KMH).lead.endswith(
        f"The ride holds {len(full)} standing starts."
    )
    alone = with_first(result, full_starts=full[:1])
    assert line(alone).endswith(
        f", one full start, {launches.windows[0].attempts - 1} slower left out"
    )


def test_a_figure_that_is_not_firm_is_a_range(result: MeasuredRide) -> None:
    wide = with_first(result, time_s=Estimate(2.41, 1.33, 3.49))
    assert line(wide).startswith(
        "0-20 km/h in somewhere from 1.3 to 3.5 s (no closer with this log), mean of "
    )
    weak = result.with_record("signal", replace(result["signal"], grade="too weak"))
    assert " s (weak signal), mean of" in line(weak)
    table = launches_section(weak, KMH).table
    assert table is not None and all(row[1].startswith("somewhere from") for row in table.rows)


def test_a_window_without_a_figure_says_why(result: MeasuredRide) -> None:
    why = "its two directions differ by a factor of 1.7: wind or slope decides it"
    ride = with_first(result, time_s=None, reason=why)
    section = launches_section(ride, KMH)
    assert section.table is not None and section.table.rows[0][1] == "cannot be said"
    assert f"No time for 0-20 km/h: {why}." in section.notes


def test_a_ride_without_a_start_says_so(result: MeasuredRide) -> None:
    none = Launches((), (), 0.0, "the ride holds no standing start to 7 km/h (4 mph) or more")
    empty = result.with_record("launches", none)
    section = launches_section(empty, KMH)
    assert section.lead == "The ride holds no standing start to 7 km/h (4 mph) or more."
    assert section.pictures == () and section.table is None
    assert list(StandingStarts().lines(empty, KMH)) == []


def ride_lines_of(ride: MeasuredRide) -> list[tuple[str, str]]:
    """Return what the terminal says of each window that was asked for, by its name."""
    lines = [words for _, words in StandingStarts().lines(ride, MPH)]
    return [(f"{a} {b}", rest) for a, b, rest in (line.split(" ", 2) for line in lines)]


def test_chosen_windows_and_rollout_are_said(motion: Motion) -> None:
    settings = Settings(windows=("0-5 m/s", "0-99 km/h"), rollout_m=0.3048)
    result = analyse(motion, settings)
    section = launches_section(result, MPH)
    assert section.table is not None
    assert [row[0] for row in section.table.rows] == ["0-5 m/s"]
    assert "clock started after 1.00 ft of rollout" in section.lead
    assert "Here: clock started after 1.00 ft of rollout." in section.notes[0]
    assert "No time for 0-99 km/h: the launch does not clearly reach this speed." in section.notes
    said = dict(ride_lines_of(result))
    assert said["0-5 m/s"].endswith("clock started after 1.00 ft of rollout")
    assert said["0-99 km/h"] == "cannot be said: the launch does not clearly reach this speed"
    document = ride_json(result)
    assert document["launches_rollout_m"] == 0.3048
    jsonschema.validate(document, schema_of(RIDE_SCHEMA))


def test_json_lists_every_launch_and_each_window(result: MeasuredRide) -> None:
    document = ride_json(result)
    jsonschema.validate(document, schema_of(RIDE_SCHEMA))
    assert len(document["launches"]) == len(result["launches"].launches)
    first = document["launches"][0]["windows"][0]
    assert " ".join(first) == (
        "label from_mps to_mps distance_m time_s exit_speed_mps length_m reason"
    )
    assert first["label"] == "0-20 km/h" and first["from_mps"] == 0.0
    assert first["time_s"]["low"] <= first["time_s"]["value"] <= first["time_s"]["high"]
    assert first["exit_speed_mps"]["value"] == pytest.approx(20 / 3.6)
    window = document["launch_windows"][0]
    assert window["attempts"] == len(document["launches"])
    assert not {"best_s", "median_s"} & set(window)
    assert json.dumps(document, allow_nan=False)


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
