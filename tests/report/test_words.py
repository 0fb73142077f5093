from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from changed_rides import without_top_speed

from ridelog.analysis.ride import analyse, concluded
from ridelog.analysis.signal.measure import judge_signal, rate_words
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.subject import meaning
from ridelog.core.estimate import Estimate
from ridelog.core.flags import Flag
from ridelog.core.quantity import SPEED, for_reader, text
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.present.words import (
    BRACKETS,
    FLAG_WORDS,
    WIDTH,
    clean,
    clock_words,
    course_words,
    duration_words,
    joined,
    share_words,
    shortened,
)
from ridelog.report.screen import ride_lines, signal_lines

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


def test_times_and_lengths_of_time() -> None:
    assert duration_words(7.26) == "7.3 s"
    assert duration_words(59.7) == "1 min 0 s"
    assert duration_words(3 * 3600 + 61) == "3 h 1 min"


@pytest.mark.parametrize(
    ("place", "same", "over"),
    [
        ("UTC", "8 June 2024, 09:00:00 to 09:03:31 UTC",
         "8 June 2024, 23:59:00 to 9 June 2024, 00:01:00 UTC"),
        ("Berlin", "8 June 2024, 11:00:00 to 11:03:31 CEST",
         "9 June 2024, 01:59:00 to 02:01:00 CEST"),
        ("Kolkata", "8 June 2024, 14:30:00 to 14:33:31 UTC+05:30",
         "9 June 2024, 05:29:00 to 05:31:00 UTC+05:30"),
    ],
)  # fmt: skip
def test_a_time_of_day_is_local_and_names_its_zone(
    place: str, same: str, over: str, zone: Callable[[str], None]
) -> None:
    zone(place)
    assert clock_words("2024-06-08T09:00:00Z", "2024-06-08T09:03:31.600Z") == same
    assert clock_words("2024-06-08T23:59:00Z", "2024-06-09T00:01:00Z") == over


def test_a_log_without_a_date_stays_in_utc() -> None:
    assert clock_words("T23:59:00Z", "T23:59:59Z").endswith("no date in the log")
    assert clock_words("", "") == "time of day unknown"


def test_small_words() -> None:
    assert [course_words(d) for d in (0.0, 44.0, 359.0, 202.4)] == [
        "north", "north-east", "north", "south",
    ]  # fmt: skip
    assert share_words(0.999) == "over 99 %" and share_words(0.001) == "under 1 %"
    assert share_words(1.0) == "100 %" and share_words(0.0) == "0 %"
    assert joined(["a"]) == "a" and joined(["a", "b", "c"]) == "a, b and c"
    assert rate_words(1.0) == "1 fix a second" and rate_words(0.125) == "one fix every 8 s"
    assert shortened("abcdefghij", 5) == "ab…ij"


def test_every_flag_has_a_short_name() -> None:
    assert set(FLAG_WORDS) == set(Flag)
    assert len(set(FLAG_WORDS.values())) == len(Flag)


def test_a_file_name_cannot_steer_the_terminal(good_result: MeasuredRide) -> None:
    hostile = "\x1b[31mred\x07\u202egpx.\r\n"
    assert not set(clean(hostile)) & set("\x1b\x07\u202e\r\n")
    result = replace(good_result, source=replace(good_result.source, file=hostile))
    text = "\n".join(line for line, _ in ride_lines(result, KMH))
    assert "\x1b" not in text and "\u202e" not in text


@pytest.mark.parametrize("ride", ["good_result", "rough_result"])
@pytest.mark.parametrize("unit", [KMH, MPH])
def test_one_screen_holds_the_answer(
    ride: str, unit: SpeedUnit, request: pytest.FixtureRequest
) -> None:
    result: MeasuredRide = request.getfixturevalue(ride)
    lines = [line for line, _ in ride_lines(result, unit)]
    assert max(map(len, lines)) <= WIDTH
    headline = next(index for index, line in enumerate(lines) if line.startswith("Top speed"))
    assert headline <= 2
    top = result["top_speed"].two_way_mps
    assert lines[headline] == f"Top speed        {text(top, SPEED, unit)}"
    for first in ("Fastest second ", "Best 5 seconds ", "Highest reading ", "Not measured  "):
        assert sum(line.startswith(first) for line in lines) == 1
    said = " ".join(" ".join(lines).split())
    for needed in ("mean of ", "nearly always too high", BRACKETS):
        assert needed in said
    for dialect in ("9 rides of 10", "may carry a figure", "points up", "not the figure"):
        assert dialect not in said


def test_a_reader_of_miles_finds_no_kilometre_in_the_figures_of_speed(
    good_result: MeasuredRide,
) -> None:
    lines = [text for text, _ in ride_lines(good_result, MPH)]
    until = next(index for index, line in enumerate(lines) if line.startswith("Highest reading"))
    said = " ".join(lines[: until + 1])
    assert said.count("mph") >= 5 and "km/h" not in said and "m/s" not in said


@pytest.mark.parametrize("ride", ["good_result", "rough_result"])
def test_every_particular_caution_is_whole_and_the_gravest_first(
    ride: str, request: pytest.FixtureRequest
) -> None:
    result: MeasuredRide = request.getfixturevalue(ride)
    text = " ".join(" ".join(line for line, _ in ride_lines(result, KMH)).split())
    particular = [one for one in result.cautions if not one.general and one.code != "weak_signal"]
    assert particular
    places = [text.index(" ".join(for_reader(one.text, KMH).split())) for one in particular]
    assert places == sorted(places)
    assert [one.gravity for one in particular] == sorted(
        (one.gravity for one in particular), reverse=True
    )


def test_no_answer_is_said_in_the_first_place(good_result: MeasuredRide) -> None:
    result = without_top_speed(good_result, "no luck")
    assert "Top speed        none: no luck" in [line for line, _ in ride_lines(result, KMH)]
    assert meaning(result, KMH) == "No top speed can be given: no luck."


def test_without_two_directions_the_fastest_second_is_the_top_speed(
    good_result: MeasuredRide,
) -> None:
    one_way = replace(
        good_result["top_speed"],
        two_way_mps=None,
        two_way_runs=(),
        reason="one way only",
        headline="best_1s_mps",
    )
    result = concluded(good_result.with_record("top_speed", one_way))
    lines = [line for line, _ in ride_lines(result, KMH)]
    at = lines.index(f"Top speed        {text(one_way.best_1s_mps, SPEED, KMH)}")
    assert lines[at + 1].strip() == "fastest second, in one direction only"
    assert "Both directions  none: one way only" in lines
    assert not any(line.startswith("Fastest second") for line in lines)


def test_a_rough_figure_is_a_range_with_its_reason(good_result: MeasuredRide) -> None:
    wide = replace(
        good_result["top_speed"],
        best_1s_mps=Estimate(22.0, 12.0, 32.0),
        two_way_mps=None,
        two_way_runs=(),
        headline="best_1s_mps",
    )
    result = concluded(good_result.with_record("top_speed", wide))
    lines = [line for line, _ in ride_lines(result, KMH)]
    at = lines.index("Top speed        somewhere from 43 to 115 km/h")
    assert lines[at + 1].strip() == "the ride tells it too roughly to name one figure"
    # Half of the value is the last width that is named: 10 of 20, and not a hair more.
    edge = replace(wide, best_1s_mps=Estimate(20.0, 15.0, 25.0))
    assert concluded(good_result.with_record("top_speed", edge)).figures["best_1s_mps"].firm
    over = replace(wide, best_1s_mps=Estimate(20.0, 15.0, 25.01))
    assert not concluded(good_result.with_record("top_speed", over)).figures["best_1s_mps"].firm


def test_of_a_weak_ride_no_figure_is_named(good_result: MeasuredRide) -> None:
    weak = replace(good_result["signal"], grade="too weak")
    result = concluded(good_result.with_record("signal", weak))
    assert any(figure.estimate for figure in result.figures.values())
    for figure in result.figures.values():
        assert figure.firm is None
        assert figure.estimate is None or figure.words_in(KMH).startswith("somewhere from ")
    lines = [line for line, _ in ride_lines(result, KMH)]
    assert lines[2].startswith("Top speed        somewhere from ")
    assert lines[3].strip() == "the signal is too weak to name one figure"


def test_a_slow_log_says_what_it_cannot_show(slow_motion: Motion) -> None:
    result = analyse(slow_motion)
    text = " ".join(
        " ".join(line for line, _ in signal_lines(result.source, result["signal"], KMH)).split()
    )
    assert "At 1 fix a second weave and wobble cannot be shown" in text
    assert "reports no speed of its own" in text
    assert "fall" in text and "between fixes 1 s apart" in text
    assert "neither their number nor the dilution of precision" in text
    lines = " ".join(line for line, _ in ride_lines(result, KMH))
    assert "two neighbouring positions" in " ".join(lines.split())


def test_the_verdict_opens_the_signal_screen(rough_result: MeasuredRide) -> None:
    lines = signal_lines(rough_result.source, rough_result["signal"], KMH)
    assert lines[2][0].startswith(rough_result["signal"].verdict[:40])
    text = " ".join(" ".join(line for line, _ in lines).split())
    for flag in ("settling", "badly placed", "jumps away", "interrupted"):
        assert flag in text
    assert "1 gap. The gap lasts 12" in text


@pytest.mark.parametrize(
    ("fixes", "says"),
    [
        (20, "Too weak for firm figures: it covers only 1.9 s with a settled receiver."),
        (21, "Good enough with care, from the first fix on: it covers only 2 s."),
        (41, "Good enough with care, from the first fix on: it covers only 4 s."),
    ],
)
def test_how_long_a_log_must_be(good_motion: Motion, fixes: int, says: str) -> None:
    track = good_motion.track
    few = np.arange(len(track)) < fixes
    arrays: dict[str, Any] = {
        name: value[few].copy()
        for name, value in vars(track).items()
        if isinstance(value, np.ndarray)
    }
    quality = judge_signal(estimate_motion(replace(track, **arrays)))
    assert quality.verdict == says
