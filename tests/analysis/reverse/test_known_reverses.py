"""What speaks against a reverse, each guard from both sides, and what is read off a known ride.

The edges are those of reverse's METHOD.md: common practice, no source; 1 m is the tightest circle a
machine turns on its wheels.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.reverse.candidates import (
    Measured,
    Neighbours,
    _best_columns,
    candidates_of,
    doubts,
    is_noise,
    measured,
    neighbours_of,
)
from ridelog.analysis.reverse.evidence import projected, readings_of, steps_of
from ridelog.analysis.reverse.heading_hmm import Steps, reverse_probability
from ridelog.analysis.reverse.measure import _marked, find_reverse
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.flags import Flag
from ridelog.core.interval import estimate
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

# Forward, a stop, 2 m/s backwards for some seconds, a stop, forward.
BACK = [(0.0, 0.0), (4.0, 0.0), (6.0, 4.0), (12.0, 4.0), (14.0, 0.0), (16.0, 0.0), (17.0, -2.0),
        (19.0, -2.0), (20.0, 0.0), (22.0, 0.0), (24.0, 4.0), (30.0, 4.0), (32.0, 0.0),
        (40.0, 0.0)]  # fmt: skip


def straight_steps(speed: float = 2.0, count: int = 20, turn_rad: float = 0.0) -> Steps:
    """Return steps of 0.2 s; half way through them the course turns at once."""
    course = np.where(np.arange(count) < count // 2, 0.0, turn_rad)
    velocity = speed * np.stack([np.sin(course), np.cos(course)], axis=1)
    return Steps(0.2 * np.arange(count, dtype=np.float64), velocity, np.full(count, 0.05),
                 np.full(count, 0.2))  # fmt: skip


def told(**changes: Any) -> list[str]:
    """Return the doubts about a plain reverse, some of which is changed."""
    usual: dict[str, Any] = {
        "probability": 0.95, "cut": False, "fitted": 2.0, "way": 4.0, "way_sd": 0.05,
        "forward": ["before"], "stand_s": 2.0, "before_mps": 1.0, "wander": 0.05, "step": 0.01,
        "reported": True, "rate_hz": 10.0, "disagreement": "", "steps": straight_steps(),
        "fixes": 40,
    } | changes  # fmt: skip
    source = "reported" if usual["reported"] else "positions"
    time_s = np.linspace(0.0, 4.0, usual["fixes"])
    motion: Any = SimpleNamespace(
        rate_hz=usual["rate_hz"], speed_source=source, used=np.ones(len(time_s), dtype=bool),
        track=SimpleNamespace(time_s=time_s),
    )  # fmt: skip
    candidate: Any = SimpleNamespace(
        probability=usual["probability"], cut=usual["cut"], start_s=0.0, end_s=4.0,
        steps=slice(0, len(usual["steps"].time_s)),
    )  # fmt: skip
    figures = Measured(usual["fitted"], np.zeros(0), usual["way"], usual["way"], usual["way_sd"])
    around = Neighbours(usual["forward"], usual["stand_s"], usual["before_mps"])
    readings: Any = SimpleNamespace(
        wander_mps=usual["wander"], step_m=usual["step"], reported=usual["reported"],
        disagreement=lambda start, end: usual["disagreement"],
    )  # fmt: skip
    return doubts(motion, usual["steps"], candidate, figures, around, readings)


@pytest.mark.parametrize(
    ("still", "against", "words"),
    [
        ({"probability": 0.91}, {"probability": 0.9}, "the course alone leaves it open"),
        ({"fitted": 0.46}, {"fitted": 0.44}, "hardly faster than this receiver wanders"),
        ({"fitted": 0.81, "wander": 0.2}, {"fitted": 0.79, "wander": 0.2}, "hardly faster"),
        ({"way": 0.51, "before_mps": 0.0}, {"way": 0.49, "before_mps": 0.0},
         "hardly longer than this receiver wanders"),
        ({"way_sd": 0.88}, {"way_sd": 0.9}, "hardly longer"),  # 4.5 deviations of 4 m
        ({"wander": 0.49, "fitted": 9.0}, {"wander": 0.81, "fitted": 9.0}, "hardly longer"),
        ({"forward": ["after"]}, {"forward": []}, "no riding forward lies near enough"),
        # Lags of 0.2, 0.4, 0.5 and 0.8 s at the speed before: 4 m.
        ({"before_mps": 19.9}, {"before_mps": 20.1}, "overshoots at a stop and comes back"),
        ({"before_mps": 9.9, "reported": False}, {"before_mps": 10.1, "reported": False},
         "overshoots"),
        ({"before_mps": 7.9, "rate_hz": 2.0}, {"before_mps": 8.1, "rate_hz": 2.0}, "overshoots"),
        ({"before_mps": 4.9, "rate_hz": 2.0, "reported": False},
         {"before_mps": 5.1, "rate_hz": 2.0, "reported": False}, "overshoots"),
        ({"rate_hz": 2.0, "way": 1.01}, {"rate_hz": 2.0, "way": 0.99}, "fixes this far apart"),
        ({"rate_hz": 2.5, "way": 0.9}, {"rate_hz": 2.49, "way": 0.9}, "fixes this far apart"),
        ({"rate_hz": 2.0, "fixes": 2}, {"rate_hz": 2.0, "fixes": 1}, "fixes this far apart"),
        ({"rate_hz": 2.0, "reported": False, "way": 2.01},
         {"rate_hz": 2.0, "reported": False, "way": 1.99}, "fixes this far apart"),
        ({"rate_hz": 2.0, "reported": False, "fitted": 0.61},
         {"rate_hz": 2.0, "reported": False, "fitted": 0.59}, "fixes this far apart"),
        # Twice the step beside a reported course, four times in positions alone: 4 m.
        ({"step": 1.99}, {"step": 2.01}, "steps too coarse for it"),
        ({"step": 0.99, "reported": False}, {"step": 1.01, "reported": False}, "too coarse"),
        ({}, {"disagreement": "positions and reported speed do not agree on it"}, "do not agree"),
        ({"stand_s": 4.4}, {"stand_s": 4.5}, "long enough to be turned round by hand"),
        ({}, {"cut": True}, "the log is interrupted at its edge"),
        # A turn at once is one between means over 0.8 s: 1.6 m of way at 2 m/s.
        ({"steps": straight_steps(turn_rad=1.5)}, {"steps": straight_steps(turn_rad=2.4)},
         "turns tighter than a machine does"),
        # The course of a crawl is noise.
        ({"steps": straight_steps(0.29, turn_rad=1.5)},
         {"steps": straight_steps(0.6, turn_rad=1.5)}, "turns tighter"),
    ],
)  # fmt: skip
def test_what_speaks_against_a_reverse(
    still: dict[str, Any], against: dict[str, Any], words: str
) -> None:
    assert not any(words in one for one in told(**still))
    (found,) = told(**against)
    assert words in found


def test_a_plain_reverse_has_nothing_against_it() -> None:
    assert told() == []


@pytest.mark.parametrize(("fitted", "way", "way_sd", "noise"), [
    (0.36, 2.0, 0.05, False), (0.34, 2.0, 0.05, True), (1.0, 0.51, 0.05, False),
    (1.0, 0.49, 0.05, True), (1.0, 2.0, 0.79, False), (1.0, 2.0, 0.81, True),
])  # fmt: skip
def test_what_is_no_more_than_scatter(
    fitted: float, way: float, way_sd: float, noise: bool
) -> None:
    nothing = np.full(4, np.nan)
    assert is_noise(Measured(fitted, nothing, way, way, way_sd)) is noise
    # What is possible counts before the fitted path: somewhere from 0.3 to 0.5 m/s.
    possible = np.linspace(0.3, 0.5, 200)
    assert not is_noise(Measured(0.1, possible, 2.0, 2.0, 0.05))


def beside(forward_s: float, *, speed: float = 2.0, apart_s: float = 2.0,
           before: bool = True) -> Neighbours:  # fmt: skip
    """Return what lies around a reverse from 40 to 44 s: some riding before or after it."""
    time_s = np.arange(0.0, 100.0, 0.2)
    first = 40.0 - apart_s - forward_s if before else 44.0 + apart_s
    north = np.where((time_s > first - 1e-6) & (time_s < first + forward_s - 1e-6), speed, 0.0)
    back = (time_s > 40.0) & (time_s < 44.0)
    north[back] = -1.0
    steps = Steps(time_s, np.stack([0.0 * north, north], axis=1), np.full(len(time_s), 0.05),
                  np.full(len(time_s), 0.2))  # fmt: skip
    candidate: Any = SimpleNamespace(start_s=40.0, end_s=44.0)
    return neighbours_of(steps, np.where(back, 1.0, 0.0), candidate)


@pytest.mark.parametrize("before", [True, False])
def test_what_lies_around_a_reverse(before: bool) -> None:
    side = "before" if before else "after"
    # 3 m at more than 1 m/s, within 25 s.
    assert beside(1.8, before=before).forward == [side]
    assert beside(1.4, before=before).forward == []
    assert beside(9.0, speed=0.99, before=before).forward == []
    assert beside(1.8, apart_s=22.5, before=before).forward == [side]
    assert beside(1.8, apart_s=26.0, before=before).forward == []
    assert beside(1.8, apart_s=6.0, before=before).stand_s == pytest.approx(6.0, abs=0.21)
    assert beside(1.4, before=before).stand_s == np.inf


def test_how_fast_it_was_just_before() -> None:
    """Between half a second and 3.5 s before it moved off."""
    for apart_s, speed in ((0.6, 2.0), (3.2, 2.0), (3.6, 0.0)):
        assert beside(2.0, apart_s=apart_s).speed_before_mps == speed
    assert beside(2.0, apart_s=-2.4 + 0.2 * 10).speed_before_mps == 2.0
    assert beside(2.0, before=False).speed_before_mps == 0.0


def test_a_known_reverse_step_by_step() -> None:
    motion = known_motion(BACK)
    steps = steps_of(motion)
    # Close where it is slow, whole seconds where it is not; both ends stay.
    assert (steps.time_s[0], steps.time_s[-1]) == pytest.approx((0.0, 40.0))
    assert np.diff(steps.time_s).min() == pytest.approx(0.2)
    speeds = np.interp(steps.time_s, *np.array(BACK).T)
    assert steps.velocity_mps[:, 1] == pytest.approx(speeds, abs=1e-6)
    assert (steps.sd_mps == 0.05).all()
    assert steps.weight == pytest.approx(np.clip(np.diff(steps.time_s, prepend=-0.2), 0.0, 1.0))
    backwards = reverse_probability(steps)
    back = speeds < -0.3
    assert backwards[back].min() > 0.9 and backwards[speeds > 0.3].max() < 0.1
    (only,) = candidates_of(motion, steps, backwards, readings_of(motion))
    assert (only.start_s, only.end_s) == pytest.approx((16.0, 20.0), abs=0.35)
    assert only.probability > 0.9 and not only.cut
    # Both ends ease alike, and an end is a beginning read backwards.
    assert 16.0 - only.start_s == pytest.approx(only.end_s - 20.0, abs=0.05)
    figures = measured(motion, 16.0, 20.0)
    # A second up, two at 2 m/s, a second down: 6 m.
    assert figures.fitted_mps == pytest.approx(2.0, abs=1e-3)
    assert figures.distance_m == pytest.approx(6.0, abs=0.01)
    assert figures.displacement_m == pytest.approx(6.0, abs=0.01)
    # The draws are 0.05 m/s slower and faster for three seconds.
    inner = measured(motion, 16.5, 19.5)
    assert inner.displacement_sd_m == pytest.approx(0.15, abs=0.01)
    assert figures.top_speed is not None
    assert figures.top_speed.value == pytest.approx(2.0, abs=0.002)
    short = measured(motion, 16.0, 16.6)
    assert short.fitted_mps == pytest.approx(0.6, abs=0.01)
    given = measured(motion, 16.0, 20.0, np.full(len(figures.possible_mps), 9.0))
    assert (given.possible_mps[1::2] == 9.0).all()
    assert given.possible_mps[::2] == pytest.approx(figures.possible_mps[::2])


@pytest.mark.parametrize(
    ("second_mps", "spread"),
    [
        # The most of three errors has the mean 0.846 and the variance 0.559 (H. A. David and H. N.
        # Nagaraja, Order Statistics, 2003, section 3.2, from memory); to that comes an even spread.
        (2.0, (0.559 + 0.846**2 / 3.0) ** 0.5),
        # One second was plainly the fastest: nothing was chosen.
        (1.0, 1.0),
    ],
)
def test_errors_are_as_likely_noise_as_motion_that_was_not_seen(
    second_mps: float, spread: float
) -> None:
    draws, error_mps = 20_000, 0.05
    errors = error_mps * np.random.default_rng(4).standard_normal((3, 2 * draws))
    means = np.array([[2.0], [second_mps], [second_mps]]) + np.append(np.zeros((3, 1)), errors, 1)
    best = estimate(_best_columns(means))
    assert best is not None
    assert best.value == pytest.approx(2.0, abs=1e-9)
    half = 0.5 * (best.high - best.low)
    # The wider side counts, a little more than both together.
    assert half == pytest.approx(1.645 * spread * error_mps, rel=0.08)


def test_a_long_straight_is_thinned_to_a_step_a_second() -> None:
    steps = steps_of(known_motion([(0.0, 5.0), (60.0, 5.0)]))
    assert np.median(np.diff(steps.time_s)) == pytest.approx(1.0)
    assert steps.weight[1:-1] == pytest.approx(1.0)
    # Within three seconds of what is slower than 2.2 m/s every step is there.
    slow = steps_of(known_motion([(0.0, 5.0), (30.0, 5.0), (32.0, 2.1), (34.0, 5.0), (60.0, 5.0)]))
    close = np.diff(slow.time_s) < 0.3
    inside = slow.time_s[1:][close]
    assert inside.min() == pytest.approx(29.0, abs=0.3)
    assert inside.max() == pytest.approx(35.0, abs=0.3)


def test_readings_are_those_that_were_believed() -> None:
    motion = known_motion([(0.0, 3.0), (20.0, 3.0)], turns=[(0.0, 90.0)])
    flags = motion.flags.copy()
    flags[10] |= np.uint32(Flag.JUMP)
    flags[20] |= np.uint32(Flag.SPEED_JUMP)
    plain = readings_of(known_motion([(0.0, 3.0), (20.0, 3.0)], turns=[(0.0, 90.0)], flags=flags))
    assert len(plain.time_s) == 200 and plain.reported
    assert np.isnan(plain.velocity_mps[19]).all() and np.isnan(plain.speed_mps[19])
    assert plain.velocity_mps[0] == pytest.approx([3.0, 0.0], abs=1e-9)
    assert plain.position_m[:, 0] == pytest.approx(3.0 * plain.time_s, abs=0.02)
    # No stand to learn from.
    assert plain.wander_mps == 0.1


@pytest.mark.parametrize(("stand_s", "learnt"), [(24.0, False), (31.0, True)])
def test_how_far_a_receiver_wanders_is_learnt_at_a_stand(stand_s: float, learnt: bool) -> None:
    """0.2 m/s at a stand of 25 s and more; white noise of positions is taken off."""
    motion = known_motion([(0.0, 0.0), (stand_s, 0.0), (stand_s + 4.0, 8.0)])
    track = motion.track
    slid: FloatArray = 0.2 * np.minimum(track.time_s, stand_s) / 111_320.0
    latitude = track.latitude_deg + slid
    sliding = replace(motion, track=replace(track, latitude_deg=latitude))
    noisy = replace(sliding, noise=replace(motion.noise, position_white_m=1e-3))
    assert readings_of(noisy).wander_mps == pytest.approx(0.2 if learnt else 0.1, rel=0.02)
    # 0.3 m of white noise, ten fixes a second and two seconds apart: 0.02 m²/s² of it a second.
    white = replace(sliding, noise=replace(motion.noise, position_white_m=0.3))
    wanted = np.sqrt(0.04 - 2.0 * 0.09 * 0.2 / 4.0) if learnt else 0.1
    assert readings_of(white).wander_mps == pytest.approx(wanted, rel=0.05)


def test_reported_speed_and_positions_must_agree() -> None:
    motion = known_motion(BACK)
    readings = readings_of(motion)
    assert readings.disagreement(16.0, 20.0) == ""
    assert readings_of(known_motion(BACK, speed_source="positions")).disagreement(16.0, 20.0) == ""
    # With the other sign the two differ by twice the way.
    turned = replace(readings, velocity_mps=-readings.velocity_mps)
    assert "do not agree" in turned.disagreement(16.0, 20.0)
    # Half of the way and half a metre is allowed: of 6 m by speed, 3.5 m.
    for share, words in ((1.55, ""), (1.65, "do not agree")):
        moved = replace(readings, position_m=readings.position_m * share)
        assert words in moved.disagreement(16.0, 20.0)
        assert bool(words) == bool(moved.disagreement(16.0, 20.0))
    silent = readings.velocity_mps.copy()
    silent[160:185] = np.nan
    lacking = replace(readings, velocity_mps=silent)
    assert lacking.disagreement(16.0, 20.0) == ("the receiver reports no speed or course during it")
    silent = readings.velocity_mps.copy()
    silent[165:185] = np.nan
    assert replace(readings, velocity_mps=silent).disagreement(16.0, 20.0) == ""


def projection(motion: Motion, span: tuple[float, float]) -> Any:
    steps = steps_of(motion)
    backing = np.interp(steps.time_s, *np.array(BACK).T) < -0.1
    return projected(motion, readings_of(motion), steps, backing, span)


def test_fixes_are_laid_along_the_heading() -> None:
    """The nose points north throughout; ways and speeds are those of the knots."""
    motion = known_motion(BACK)
    along = projection(motion, (10.0, 24.0))
    wanted = np.interp(along.path_time_s, *np.array(BACK).T)
    assert along.path_mps == pytest.approx(wanted, abs=0.02)
    assert along.speed_mps == pytest.approx(np.interp(along.time_s, *np.array(BACK).T), abs=0.02)
    # From 10 s: 8 m, 4 m of braking, and 6 m back.
    at = np.searchsorted(along.time_s, [12.0, 15.0, 20.5])
    assert along.way_m[at] == pytest.approx([8.0, 12.0, 6.0], abs=0.15)
    assert (along.white_m, along.drift_mps, along.white_mps, along.slow_mps) == (
        0.1, 0.03, 0.05, 0.02,
    )  # fmt: skip
    # At rest the log repeats itself, and below a crawl that says nothing of the sign.
    assert along.crawling[(along.time_s > 14.5) & (along.time_s < 15.5)].all()
    assert not along.crawling[np.abs(along.speed_mps) > 0.5].any()


def test_a_known_reverse_is_found_and_told() -> None:
    motion = known_motion(BACK)
    found = find_reverse(motion)
    (one,) = found.segments
    assert found.state == one.state == "found"
    assert found.reason == "told by the course through the stops."
    assert one.evidence == (
        "the course turns by 180° at the stop and no turn of the path explains it, riding forward "
        "before and after, over 99 % likely by the course."
    )
    assert found.distance_m == one.distance_m == pytest.approx(6.0, abs=0.1)
    assert found.top_speed_mps is not None
    assert found.top_speed_mps.low < 2.0 < found.top_speed_mps.high
    assert found.spans == ((one.start_s, one.end_s),) and found.possible_spans == ()
    none = find_reverse(motion, has_reverse=False)
    assert none.distance_m == 0.0
    assert none.state == "none" and "the set-up says" in none.reason
    forward = find_reverse(known_motion([(t, abs(v)) for t, v in BACK]))
    assert forward.state == "none" and forward.top_speed_mps is None
    # What the receiver contradicts stays open.
    fast = motion.track.speed_mps.copy()
    fast[160:201] = np.nan
    unsure = find_reverse(replace(motion, track=replace(motion.track, speed_mps=fast)))
    assert unsure.state == "uncertain" and unsure.spans == () and len(unsure.possible_spans) == 1
    assert unsure.top_speed_mps is None and unsure.distance_m == 0.0
    assert unsure.segments[0].evidence.endswith(
        "; but the receiver reports no speed or course during it."
    )


def test_marks_decide_and_join() -> None:
    motion = known_motion(BACK)
    found = find_reverse(motion, marks=((16.0, 18.0), (18.0, 20.0)))
    (one,) = found.segments
    assert (one.start_s, one.end_s, one.state) == (16.0, 20.0, "marked")
    assert one.evidence == "marked by the rider." and found.reason == "told by the rider's marks."
    assert found.distance_m == pytest.approx(6.0, abs=0.01)
    moving, _ = _marked(motion, 10.0, 18.0)
    assert "the mark begins and ends while the machine moves" in moving.evidence
    late, _ = _marked(motion, 15.0, 18.0)
    assert "the mark ends while the machine moves" in late.evidence
    # Beyond the end of what the log covers there is nothing to mark, however near.
    parted = known_motion(BACK, pieces=[(0.0, 21.0), (25.0, 40.0)])
    for mark in ((21.1, 21.3), (20.85, 21.3)):
        with pytest.raises(NotEnoughDataError, match="lies in an interruption of the log"):
            _marked(parted, *mark)
    assert _marked(parted, 20.7, 21.3)[0].state == "marked"
    both = find_reverse(motion, marks=((25.0, 26.0),))
    assert both.reason == "told by the rider's marks and the course through the stops."
    assert [one.state for one in both.segments] == ["found", "marked"]
