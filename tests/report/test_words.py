from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.ride import analyse
from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.flags import Flag
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.present.words import (
    FLAG_WORDS,
    bounds_words,
    clean,
    clock_words,
    course_words,
    duration_words,
    joined,
    share_words,
    shortened,
    speed_words,
)
from ridelog.report.screen import WIDTH, ride_lines, signal_lines
from ridelog.report.sentences import meaning, rate_words, two_way

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


@pytest.mark.parametrize(
    ("low", "value", "high", "words", "bounds"),
    [
        (5.03, 5.0831, 5.13, "18.3 km/h", ("18.1", "18.5")),
        (10.0, 10.005, 10.01, "36.02 km/h", ("36.00", "36.04")),
        (5.0, 10.0, 15.0, "36 km/h", ("18", "54")),
        (0.0, 0.0, 0.0, "0.0 km/h", ("0.0", "0.0")),
    ],
)
def test_decimals_follow_the_interval(
    low: float, value: float, high: float, words: str, bounds: tuple[str, str]
) -> None:
    estimate = Estimate(value, low, high)
    assert speed_words(estimate, KMH) == words
    assert bounds_words(estimate, KMH) == bounds


def test_a_mile_an_hour_is_shown_in_miles() -> None:
    assert speed_words(Estimate(4.4704, 4.42, 4.52), MPH) == "10.0 mph"


def test_times_and_lengths_of_time() -> None:
    assert duration_words(7.26) == "7.3 s"
    assert duration_words(59.7) == "1 min 0 s"
    assert duration_words(3 * 3600 + 61) == "3 h 1 min"
    same = clock_words("2024-06-08T09:00:00Z", "2024-06-08T09:03:31.600Z")
    assert same == "8 June 2024, 09:00:00 to 09:03:31 UTC"
    over = clock_words("2024-06-08T23:59:00Z", "2024-06-09T00:01:00Z")
    assert over == "8 June 2024, 23:59:00 to 9 June 2024, 00:01:00 UTC"
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
    ride: str, unit: object, request: pytest.FixtureRequest
) -> None:
    result: MeasuredRide = request.getfixturevalue(ride)
    lines = [text for text, _ in ride_lines(result, unit)]  # type: ignore[arg-type]
    assert max(map(len, lines)) <= WIDTH
    headline = next(index for index, line in enumerate(lines) if line.startswith("Top speed"))
    assert headline <= 2
    assert "in 9 rides of 10" in lines[headline]
    text = " ".join(" ".join(lines).split())
    for needed in ("not the figure", "Best 5 seconds", "Both directions", "Not measured wind"):
        assert needed in text


@pytest.mark.parametrize("ride", ["good_result", "rough_result"])
def test_every_particular_caution_is_whole_and_the_gravest_first(
    ride: str, request: pytest.FixtureRequest
) -> None:
    result: MeasuredRide = request.getfixturevalue(ride)
    text = " ".join(" ".join(line for line, _ in ride_lines(result, KMH)).split())
    particular = [one for one in result.cautions if not one.general and one.code != "weak_signal"]
    assert particular
    places = [text.index(" ".join(one.text.split())) for one in particular]
    assert places == sorted(places)
    assert [one.gravity for one in particular] == sorted(
        (one.gravity for one in particular), reverse=True
    )


def test_no_answer_is_said_in_the_first_place(good_result: MeasuredRide) -> None:
    none = replace(
        good_result["top_speed"],
        best_1s_mps=None,
        best_5s_mps=None,
        two_way_mps=None,
        runs=(),
        reason="no luck",
    )
    result = good_result.with_record("top_speed", none)
    assert "Top speed        none: no luck" in [text for text, _ in ride_lines(result, KMH)]
    assert meaning(result) == "No top speed can be given: no luck."
    assert two_way(result, KMH) == "none: no luck"


def test_a_slow_log_says_what_it_cannot_show(slow_motion: Motion) -> None:
    result = analyse(slow_motion)
    text = " ".join(
        " ".join(line for line, _ in signal_lines(result.source, result["signal"])).split()
    )
    assert "At 1 fix a second weave and wobble cannot be shown" in text
    assert "reports no speed of its own" in text
    assert "fall" in text and "between fixes 1 s apart" in text
    assert "neither their number nor the dilution of precision" in text
    lines = " ".join(line for line, _ in ride_lines(result, KMH))
    assert "two neighbouring positions" in " ".join(lines.split())


def test_the_verdict_opens_the_signal_screen(rough_result: MeasuredRide) -> None:
    lines = signal_lines(rough_result.source, rough_result["signal"])
    assert lines[2][0].startswith(rough_result["signal"].verdict[:40])
    text = " ".join(" ".join(line for line, _ in lines).split())
    for flag in ("settling", "badly placed", "jumps away", "interrupted"):
        assert flag in text
    assert "1 gap. The gap lasts 12" in text


def test_a_log_of_a_few_seconds_is_weak(good_motion: Motion) -> None:
    track = good_motion.track
    few = np.arange(len(track)) < 40
    arrays: dict[str, Any] = {
        name: value[few].copy()
        for name, value in vars(track).items()
        if isinstance(value, np.ndarray)
    }
    quality = judge_signal(estimate_motion(replace(track, **arrays)))
    assert quality.grade == "weak"
    assert quality.verdict == "Too weak for firm figures: it covers only 4 s."
