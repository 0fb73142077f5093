"""Turns of a known radius at a known speed: v² / r, v / omega, and from where on a turn is one.

Turning from 0.1 rad/s and 15 degrees on, means over a second from 5 Hz on and over two below:
handling's METHOD.md, common practice, no source.
"""

from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.handling.turns import (
    least_duration_s,
    measure_turns,
    turns_of,
    window_length_s,
)
from ridelog.filtering.motion import Motion, NoiseSummary

RATE = np.radians(30.0)


def ridden(*turns: tuple[float, float, float], speed_mps: float = 5.0, **changes: Any) -> Motion:
    """Return a ride of a minute; each turn begins at a time, lasts a time and has an angle."""
    courses, course = [(0.0, 0.0)], 0.0
    for start_s, length_s, angle_deg in turns:
        courses += [(start_s, course), (start_s + length_s, course + angle_deg)]
        course += angle_deg
    courses.append((60.0, course))
    return known_motion([(0.0, speed_mps), (60.0, speed_mps)], turns=courses, **changes)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("rate_hz", [10.0, 4.0])
def test_a_turn_of_a_circle(side: float, rate_hz: float) -> None:
    found = measure_turns(ridden((20.0, 6.0, side * 180.0), rate_hz=rate_hz))
    assert found.turns_seen == 1 and found.lateral_window_s == (1.0 if rate_hz > 5.0 else 2.0)
    (turn,) = found.turns
    assert turn.angle_rad == pytest.approx(side * np.pi, abs=0.06)
    assert (turn.start_s, turn.end_s) == pytest.approx((20.0, 26.0), abs=0.35)
    assert turn.duration_s == pytest.approx(turn.end_s - turn.start_s)
    assert turn.speed_mps == pytest.approx(5.0, abs=0.01)
    lateral, radius = found.max_lateral_accel_mps2, found.min_turn_radius_m
    assert lateral is not None and radius is not None
    assert lateral.value == pytest.approx(5.0 * RATE, rel=0.01)
    assert radius.value == pytest.approx(5.0 / RATE, rel=0.01)
    # Draws that are 0.05 m/s faster turn as much: 1 % more of either.
    assert lateral.high / lateral.value == pytest.approx(1.0 + 1.645 * 0.01, abs=0.003)
    assert radius.high / radius.value == pytest.approx(1.0 + 1.645 * 0.01, abs=0.003)
    assert turn.rough_lateral_mps2 == pytest.approx(5.0 * RATE, rel=0.05)
    assert turn.rough_radius_m == pytest.approx(5.0 / RATE, rel=0.05)
    assert found.lateral_reason == found.radius_reason == turn.reason == ""


def test_the_hardest_and_the_tightest_are_not_the_same_turn() -> None:
    """At 8 m/s with 20 degrees a second, then at 2 m/s with 60."""
    motion = known_motion(
        [(0.0, 8.0), (20.0, 8.0), (24.0, 2.0), (50.0, 2.0)],
        turns=[(0.0, 0.0), (8.0, 0.0), (14.0, 120.0), (30.0, 120.0), (34.0, 360.0), (50.0, 360.0)],
    )
    found = measure_turns(motion)
    assert found.max_lateral_accel_mps2 is not None and found.min_turn_radius_m is not None
    assert found.max_lateral_accel_mps2.value == pytest.approx(8.0 * np.radians(20.0), rel=0.02)
    assert found.min_turn_radius_m.value == pytest.approx(2.0 / np.radians(60.0), rel=0.03)
    assert [turn.angle_rad > 0.0 for turn in found.turns] == [True, True]
    only = measure_turns(motion, excluded=((29.0, 31.0),))
    assert only.turns_seen == 1 and len(only.turns) == 1


@pytest.mark.parametrize(("angle_deg", "length_s", "seen"), [
    (13.0, 1.5, False), (19.0, 1.5, True), (-19.0, 1.5, True),
    # 0.09 and 0.11 rad/s for six seconds.
    (30.9, 6.0, False), (37.8, 6.0, True),
])  # fmt: skip
def test_from_where_on_a_bend_is_a_turn(angle_deg: float, length_s: float, seen: bool) -> None:
    assert len(turns_of(ridden((20.0, length_s, angle_deg)))) == seen


@pytest.mark.parametrize(("speed_mps", "sd_mps", "seen"), [
    (0.55, 0.02, False), (0.65, 0.02, True), (1.1, 0.3, False), (1.3, 0.3, True),
])  # fmt: skip
def test_the_course_of_a_crawl_is_noise(speed_mps: float, sd_mps: float, seen: bool) -> None:
    motion = ridden((20.0, 6.0, 180.0), speed_mps=speed_mps, sd_mps=sd_mps)
    assert bool(turns_of(motion)) is seen


@pytest.mark.parametrize(("rate_hz", "hole_s", "turns"), [
    (10.0, 0.4, 1), (10.0, 0.6, 2), (2.0, 1.0, 1), (2.0, 1.5, 2),
])  # fmt: skip
def test_fixes_far_apart_are_not_one_turn(rate_hz: float, hole_s: float, turns: int) -> None:
    """Half a second, or 2.2 intervals of the log."""
    turn = (20.0, 6.0, 180.0)
    time_s = ridden(turn, rate_hz=rate_hz).track.time_s
    used = (time_s < 22.5 + 1e-6) | (time_s > 22.5 + hole_s - 1e-3)
    assert len(turns_of(ridden(turn, rate_hz=rate_hz, used=used))) == turns


def test_a_gap_cuts_a_turn() -> None:
    assert len(turns_of(ridden((20.0, 6.0, 180.0), gaps=((22.9, 23.1),)))) == 2


@pytest.mark.parametrize(
    ("rate_hz", "source", "white_m", "least_s"),
    [
        (10.0, "reported", 0.1, 1.5), (5.0, "reported", 9.9, 1.5), (4.4, "reported", 0.1, 2.5),
        (1.0, "reported", 0.1, 3.88), (2.0, "reported", 0.1, 2.5),
        # 4 pi (s² / (f q))^(1/6), (4) of handling: 0.001 m² s over 18 m²/s⁵, and 1 m² s.
        (10.0, "positions", 0.1, 2.457), (1.0, "positions", 1.0, 7.763),
    ],
)  # fmt: skip
def test_how_long_a_turn_must_last(
    rate_hz: float, source: str, white_m: float, least_s: float
) -> None:
    noise = NoiseSummary(white_m, 0.05, 0.03, 0.02)
    motion = ridden(rate_hz=rate_hz, speed_source=source, noise=noise)
    assert least_duration_s(motion) == pytest.approx(least_s, rel=1e-3)
    assert window_length_s(rate_hz) == (1.0 if rate_hz >= 4.5 else 2.0)


def test_a_short_turn_may_have_been_the_hardest() -> None:
    """Of a second at 80 degrees a second, beside one of six at 30; or at 20, which cannot be."""
    long, short = (20.0, 6.0, 180.0), (40.0, 1.0, 80.0)
    found = measure_turns(ridden(long, short))
    assert found.max_lateral_accel_mps2 is None and found.turns_seen == 2
    assert found.lateral_reason.startswith("the hardest turn may be one of 1.")
    assert found.lateral_reason.endswith(
        ": a log of 10 fixes a second can measure turns of 1.5 s and more"
    )
    assert found.turns[1].reason.startswith("it lasted 1.") and found.turns[0].reason == ""
    slow = measure_turns(ridden(long, (40.0, 1.0, 20.0)))
    assert slow.max_lateral_accel_mps2 is not None
    assert slow.max_lateral_accel_mps2.value == pytest.approx(5.0 * RATE, rel=0.01)


def test_why_there_is_none() -> None:
    none = measure_turns(ridden())
    assert none.lateral_reason == none.radius_reason
    assert none.lateral_reason == "the ride holds no turn of 15 degrees or more that the log shows"
    only = measure_turns(ridden((40.0, 1.0, 80.0), speed_source="positions"))
    assert only.lateral_reason.startswith("the longest turn lasted 1.")
    assert "10 fixes a second without reported speed can measure turns of 2.5 s" in (
        only.lateral_reason
    )
    motion = ridden((20.0, 6.0, 180.0))
    bad = ridden((20.0, 6.0, 180.0), speed_sd_mps=np.where(
        np.abs(motion.track.time_s - 23.0) < 5.0, 0.5, 0.02))  # fmt: skip
    unseen = measure_turns(bad)
    assert unseen.lateral_reason == "no turn is free of settling, poor geometry, jumps and gaps"
