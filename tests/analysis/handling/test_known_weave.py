"""A machine that swings from side to side by a known angle and pace, and one that does not.

A course that swings by A sin(2 pi f t) at a speed v has the lateral velocity v A sin and its rate
2 pi f times that; mean squares are half of the squares (any textbook). Weave of two-wheelers lies
below 4-5 Hz (Appl. Sci. 2021, 11(16), 7393).
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.handling.band import (
    Seconds,
    raw_stretches,
    seconds_in_band,
    top_of_band_hz,
)
from ridelog.analysis.handling.weave import condensed, measure_weave
from ridelog.core.flags import Flag
from ridelog.filtering.motion import Motion

ANGLE_RAD = np.radians(2.0)


def swinging(
    hz: float, *, speed_mps: float = 6.0, length_s: float = 60.0, rate_hz: float = 10.0,
    angle_rad: float = ANGLE_RAD, from_mps: float | None = None, **changes: Any,
) -> Motion:  # fmt: skip
    """Return a ride north whose course swings; at an even speed, or faster and faster."""
    time_s = np.arange(0.0, length_s + 0.01, 0.02)
    course = np.degrees(angle_rad) * np.sin(2.0 * np.pi * hz * time_s)
    turns = list(zip(time_s.tolist(), course.tolist(), strict=True))
    begin = speed_mps if from_mps is None else from_mps
    knots = [(0.0, begin), (length_s, speed_mps)]
    motion = known_motion(knots, turns=turns, rate_hz=rate_hz, **changes)
    # The smoother takes a fast swing for noise: its course goes straight on.
    return replace(motion, course_rad=np.zeros(len(motion.track)))


@pytest.mark.parametrize("source", ["reported", "positions"])
@pytest.mark.parametrize(("hz", "rate_hz"), [(1.5, 10.0), (2.2, 10.0), (1.3, 5.0)])
def test_a_swing_in_band_has_its_mean_squares(source: str, hz: float, rate_hz: float) -> None:
    motion = swinging(hz, rate_hz=rate_hz, speed_source=source)
    found = seconds_in_band(motion)
    # Beside both ends the filter's reach of 2.6 s and 0.8 s for the course are kept.
    assert len(found) == pytest.approx(60 - 6, abs=2)
    square = 0.5 * (6.0 * ANGLE_RAD) ** 2
    assert found.across.mean() == pytest.approx(square, rel=0.06)
    assert found.across_rate.mean() == pytest.approx(square * (2.0 * np.pi * hz) ** 2, rel=0.08)
    assert found.along.mean() < 0.01 * square
    assert found.mean_speed_mps == pytest.approx(6.0) and found.weight.sum() == pytest.approx(1.0)
    assert found.mean_square_mps2 == pytest.approx(36.0)
    assert (np.diff(found.start_s) > 0.99).all()


@pytest.mark.parametrize("hz", [0.4, 3.6])
def test_what_lies_outside_of_the_band_is_not_passed(hz: float) -> None:
    found = seconds_in_band(swinging(hz))
    assert found.across.mean() < 0.02 * 0.5 * (6.0 * ANGLE_RAD) ** 2


@pytest.mark.parametrize(("rate_hz", "top_hz"), [(10.0, 3.0), (5.0, 2.2), (4.6, 2.024)])
def test_the_band_ends_well_below_half_of_the_rate(rate_hz: float, top_hz: float) -> None:
    assert top_of_band_hz(rate_hz) == pytest.approx(top_hz)


def test_only_straight_riding_faster_than_a_walk_counts() -> None:
    whole = len(seconds_in_band(swinging(1.5)))
    assert len(seconds_in_band(swinging(1.5, speed_mps=1.9))) == 0
    assert len(seconds_in_band(swinging(1.5, speed_mps=2.1))) == whole
    # 10 s left out lose as many and 0.8 s to either side.
    kept = seconds_in_band(swinging(1.5), excluded=((25.0, 35.0),))
    assert whole - 13 <= len(kept) <= whole - 11
    assert not ((kept.start_s > 23.2) & (kept.start_s < 35.8)).any()
    for rate, straight in ((0.3, True), (0.4, False)):
        motion = swinging(1.5)
        bend = np.clip(motion.track.time_s - 28.0, 0.0, 4.0) * rate
        turned = seconds_in_band(replace(motion, course_rad=bend))
        assert (len(turned) > whole - 3) is straight


def test_holes_of_three_fixes_are_filled_and_counted() -> None:
    for lost, stretches in ((1, 1), (3, 1), (4, 2)):
        motion = swinging(1.5)
        used = np.ones(len(motion.track), dtype=bool)
        used[300 : 300 + lost] = False
        found = raw_stretches(replace(motion, used=used), 26, ())
        assert len(found) == stretches
        assert sum(float(one.filled.sum()) for one in found) == (lost if stretches == 1 else 0)
    # What was rejected is lost too; of a reported speed a jump of position is not.
    motion = swinging(1.5)
    for flag, source, lost in (
        (Flag.SPEED_JUMP, "reported", 2), (Flag.JUMP, "reported", 0),
        (Flag.JUMP, "positions", 2), (Flag.SPEED_JUMP, "positions", 0),
    ):  # fmt: skip
        flags = motion.flags.copy()
        flags[300:302] |= np.uint32(flag)
        (one,) = raw_stretches(replace(motion, flags=flags, speed_source=source), 26, ())
        assert one.filled.sum() == lost


def test_a_second_with_too_much_filled_in_is_left_out() -> None:
    """Two of ten fixes are more than 0.15."""
    whole = len(seconds_in_band(swinging(1.5)))
    counts = []
    for lost in (1, 2):
        motion = swinging(1.5)
        used = np.ones(len(motion.track), dtype=bool)
        used[300 : 300 + lost] = False
        counts.append(len(seconds_in_band(replace(motion, used=used))))
    assert counts == [whole, whole - 1]


def test_a_machine_that_swings_at_every_speed_and_one_that_never_does() -> None:
    """The rate of yaw: 2 pi f A / sqrt(2), the same at every speed."""
    motion = swinging(1.5, from_mps=3.0, speed_mps=9.0, length_s=160.0)
    found = measure_weave(motion)
    assert [one.from_mps for one in found.weave][0] == 3.0 and found.weave[-1].to_mps == 9.0
    rms = 2.0 * np.pi * 1.5 * ANGLE_RAD / np.sqrt(2.0)
    for one in found.weave[1:-1]:
        assert one.yaw_rate_rms_radps is not None and one.reason == ""
        assert one.yaw_rate_rms_radps.value == pytest.approx(rms, rel=0.1)
    assert sum(one.seconds for one in found.weave) == len(seconds_in_band(motion))
    calm = measure_weave(swinging(1.5, from_mps=3.0, speed_mps=9.0, length_s=160.0, angle_rad=3e-3))
    assert calm.weave_onset_mps is None and calm.weave_reason.startswith("no swinging from side")
    assert f"in {len(seconds_in_band(motion))} s of straight riding" in calm.weave_reason
    slow = measure_weave(swinging(1.5, rate_hz=4.0))
    assert slow.weave_reason.startswith("a log of 4 fixes a second cannot show weave")
    short = measure_weave(swinging(1.5, length_s=13.0))
    assert "s were ridden straight and faster than a walk with a good signal" in short.weave_reason
    even = measure_weave(swinging(1.5, length_s=120.0))
    assert even.weave_reason.startswith("all straight riding was at one speed")


@pytest.mark.parametrize(
    ("count", "most", "together"), [(100, 100, 1), (101, 100, 2), (350, 100, 4)]
)
def test_many_seconds_are_taken_together(count: int, most: int, together: int) -> None:
    one = np.arange(count, dtype=np.float64)
    seconds = Seconds(one, one[::-1, None].copy(), np.ones(1), one, one, one, one, 10.0)
    found = condensed(seconds, most)
    assert len(found) == count // together and found.freedom == 10.0 * together
    # Neighbours in speed, the slowest few that fill no group left out.
    spare = count % together
    assert found.mean_speed_mps.min() == pytest.approx((together - 1) / 2.0 + spare)
    assert found.across.sum() == pytest.approx(one[: count - spare].sum() / together)
