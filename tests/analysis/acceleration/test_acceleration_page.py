"""Pull on the page, on the terminal and in JSON."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.text import Text

from ridelog.analysis.acceleration.measure import AccelerationCurve
from ridelog.analysis.acceleration.page import acceleration_section
from ridelog.analysis.acceleration.plot import acceleration_figure
from ridelog.analysis.acceleration.subject import Acceleration
from ridelog.analysis.ride import analyse
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, text, value
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track
from ridelog.present.figure import NARROW, WIDE, Shape
from ridelog.report.ride_json import ride_json

RIDE = Path(__file__).resolve().parents[3] / "sample_tracks" / "before-2.nmea"
KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


@pytest.fixture(scope="module")
def result() -> MeasuredRide:
    return analyse(estimate_motion(load_track(RIDE)))


def line(ride: MeasuredRide, reader: SpeedUnit = KMH) -> str:
    [(label, words)] = Acceleration().lines(ride, reader)
    assert label == "Pull"
    return words


def with_curve(ride: MeasuredRide, **changed: object) -> MeasuredRide:
    return ride.with_record("acceleration", replace(ride["acceleration"], **changed))


def words_of(measured: AccelerationCurve, reader: SpeedUnit, shape: Shape) -> list[str]:
    figure = acceleration_figure(measured, measured.peak_power_speed_mps, reader, shape)
    return [one.get_text() for one in figure.findobj(Text)]


def test_the_terminal_says_pull_from_standing_and_where_it_is_half(result: MeasuredRide) -> None:
    assert re.fullmatch(
        r"\d\.\d\d m/s² \(\d\.\d\d to \d\.\d\d\) from standing; half as much at \d+ km/h",
        line(result),
    )
    assert re.fullmatch(
        r"\d\.\d+ mph/s \(\d\.\d+ to \d\.\d+\) from standing; half as much at \d+ mph",
        line(result, MPH),
    )


def test_the_table_holds_the_figures_that_are_compared(result: MeasuredRide) -> None:
    section = acceleration_section(result, KMH)
    figures = [one for one in result.figures.values() if one.name.startswith("pull_at_")]
    assert section.table is not None and section.table.head == ("Speed", "Pull")
    assert len(figures) >= 3 and figures[0].estimate is not None
    assert section.table.rows[0][0] == "from standing"
    assert [row[1] for row in section.table.rows[1:]] == [
        text(one.estimate, ACCELERATION, KMH) for one in figures if one.estimate
    ]
    assert section.table.rows[1][0] == "at 7.20 km/h" or section.table.rows[1][0] == "at 7.2 km/h"


def test_the_section_says_what_it_rests_on(result: MeasuredRide) -> None:
    section = acceleration_section(result, KMH)
    assert section.lead.startswith(f"Pull {line(result)}; its power is highest at ")
    assert section.notes[0].startswith(f"Mean of {result['acceleration'].runs_used} run")
    assert "slope cancels; they differ by " in section.notes[0]
    assert "Shorter gearing lifts the left end" in section.notes[-1]
    one_way = with_curve(result, direction_difference_mps2=None, both_ways=False)
    assert "(1 % of slope makes 0.10 m/s²)" in acceleration_section(one_way, KMH).notes[0]


def test_who_reads_mph_sees_nothing_else(result: MeasuredRide) -> None:
    section = acceleration_section(result, MPH)
    assert section.table is not None
    cells = [cell for row in section.table.rows for cell in row]
    labels = [one.label for one in section.pictures]
    drawn = words_of(result["acceleration"], MPH, WIDE)
    assert "mph/s; pale band: its interval at each speed" in drawn and "speed, mph" in drawn
    for words in (section.lead, *section.notes, *cells, *labels, *drawn):
        assert not re.search(r"km/h|m/s²|m/s\b", words)


@pytest.mark.parametrize("shape", [WIDE, NARROW])
def test_the_picture_names_the_speed_of_most_power_if_there_is_one(
    result: MeasuredRide, shape: Shape
) -> None:
    measured = result["acceleration"]
    peak = value(measured.peak_power_speed_mps, SPEED, KMH)
    assert f"most power at {peak}" in words_of(measured, KMH, shape)
    plain_figure = acceleration_figure(measured, None, KMH, shape)
    assert not any("power" in one.get_text() for one in plain_figure.findobj(Text))


def test_a_pull_that_is_not_firm_is_a_range(result: MeasuredRide) -> None:
    wide = with_curve(result, standing_mps2=Estimate(1.86, 1.0, 2.7))
    assert line(wide) == "somewhere from 1.0 to 2.7 m/s² (no closer with this log) from standing"
    weak = result.with_record("signal", replace(result["signal"], grade="too weak"))
    assert line(weak).startswith("somewhere from ")
    assert "half as much" not in line(weak)
    section = acceleration_section(weak, KMH)
    assert section.lead.count("(weak signal)") == 2


def test_a_ride_without_a_standing_start_tells_where_it_pulls_hardest(
    result: MeasuredRide,
) -> None:
    rolling = with_curve(result, standing_mps2=None)
    assert list(Acceleration().lines(rolling, KMH)) == []
    lead = acceleration_section(rolling, KMH).lead
    assert "where it pulls hardest; no standing start tells more" in lead
    none = with_curve(result, reason="the ride holds no run that gains 7 km/h (4 mph) or more")
    section = acceleration_section(none, KMH)
    assert section.lead == "No pull curve: the ride holds no run that gains 7 km/h (4 mph) or more."
    assert section.pictures == () and section.table is None


def test_json_lists_the_speeds_that_are_known(result: MeasuredRide) -> None:
    pull = ride_json(result)["pull"]
    assert pull["curve"][0]["runs"] >= 1
    assert set(pull["curve"][0]) == {"speed_mps", "accel_mps2", "runs"}
    assert pull["standing_mps2"] == result["acceleration"].standing_mps2.as_json()
    assert not {"speed_mps", "columns"} & set(pull)
