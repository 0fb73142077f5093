"""What a log's own habits are taken for: each rule on both sides of its edge, by hand."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.core.flags import Flag
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.observations import SPEED_STEPS_MPS, observations_of, written_step
from ridelog.filtering.receiver.habits import (
    StaticHold,
    find_frozen_positions,
    find_static_hold,
    without_static_hold,
)
from ridelog.filtering.smoother import estimate_motion


def rows_of(track: Track, kept: Any) -> Track:
    arrays = {k: v[kept].copy() for k, v in vars(track).items() if isinstance(v, np.ndarray)}
    return replace(track, **arrays)


@pytest.mark.parametrize(("rate_hz", "pause_s", "broken"), [
    # 2.5 s and 3.5 intervals, whichever is longer; ten seconds at the most.
    (10.0, 2.4, False), (10.0, 2.6, True), (1.0, 3.0, False), (1.0, 4.0, True),
    (0.5, 6.0, False), (0.5, 8.0, True), (0.25, 8.0, False), (0.25, 12.0, True),
])  # fmt: skip
def test_how_long_a_pause_interrupts(rate_hz: float, pause_s: float, broken: bool) -> None:
    track = known_motion([(0.0, 5.0), (120.0, 5.0)], rate_hz=rate_hz).track
    kept = (track.time_s <= 40.0 + 1e-6) | (track.time_s >= 40.0 + pause_s - 1e-6)
    seen = observations_of(rows_of(track, kept))
    assert np.flatnonzero(seen.breaks).tolist() == ([round(40.0 * rate_hz)] if broken else [])
    # The log's own segments interrupt whatever the pause is.
    segment = np.where(track.time_s > 80.0, 1, 0)
    cut = observations_of(replace(track, segment=segment)).breaks
    assert np.flatnonzero(cut).tolist() == [round(80.0 * rate_hz)]


@pytest.mark.parametrize(("fixes", "told"), [(2, False), (3, True)])
def test_a_piece_needs_three_fixes(fixes: int, told: bool) -> None:
    track = known_motion([(0.0, 5.0), (60.0, 5.0)], rate_hz=1.0).track
    kept = (track.time_s < 30.0) | ((track.time_s > 39.5) & (track.time_s < 39.5 + fixes))
    motion = estimate_motion(rows_of(track, kept))
    assert np.isfinite(motion.speed_mps[:30]).all()
    assert np.isfinite(motion.speed_mps[30:]).all() is np.bool_(told)
    assert len(motion.pieces) == 1 + told and motion.used.all()
    assert len(motion.gaps) == 1 and (motion.flags[30] & np.uint32(Flag.GAP))


def steps(step: float, count: int, *, off: float = 0.0, lone: int = 0) -> FloatArray:
    """Return multiples of a step, all off by a share of it or some by half of it."""
    values = step * (3.0 + np.arange(count) + off * np.where(np.arange(count) % 2, 1.0, -1.0))
    values[:lone] += 0.5 * step
    return values


@pytest.mark.parametrize(("values", "step"), [
    (steps(0.1, 2), 0.0), (steps(0.1, 30), 0.1), (steps(0.1, 30, off=0.19), 0.1),
    (steps(0.1, 30, off=0.21), 0.01), (steps(0.1, 100, lone=1), 0.1),
    # So few values are near to multiples by chance: half of 1e-4 ** (1/3) of a step.
    (steps(0.1, 3, off=0.022), 0.1), (steps(0.1, 3, off=0.0241), 0.0),
])  # fmt: skip
def test_the_step_in_which_a_speed_is_written(values: FloatArray, step: float) -> None:
    some = tuple(each for each in SPEED_STEPS_MPS if round(np.log10(each), 9) % 1.0 == 0.0)
    assert written_step(values, some) == pytest.approx(step)


def log(speed: FloatArray, **changes: Any) -> Any:
    """Return a log at 10 Hz that goes north as its speed says."""
    gone = np.cumsum(speed) * 0.1
    usual = {
        "time_s": 0.1 * np.arange(len(speed)), "breaks": np.zeros(len(speed) - 1, dtype=bool),
        "position_m": np.stack([0.0 * gone, gone], axis=1), "speed_step_mps": 0.001,
        "position_step_m": 0.0,
    }  # fmt: skip
    return SimpleNamespace(**usual | changes)


def stop(zeros: int, pace: float, passages: int = 2) -> FloatArray:
    """Return a speed with zeros at its begin, and at its end for two passages."""
    ridden = np.concatenate([np.linspace(pace, 4.0, 30), np.linspace(4.0, pace, 30)])
    first = zeros // 2 if passages == 2 else zeros
    return np.concatenate([np.zeros(first), ridden, np.zeros(zeros - first)])


@pytest.mark.parametrize(("speed", "changes", "found"), [
    (stop(5, 0.5), {}, True), (stop(4, 0.5), {}, False), (stop(9, 0.5, passages=1), {}, False),
    # Positions are let go here; then 0.2 m/s, or one and a half steps, must be missing.
    (stop(9, 0.21), {}, True), (stop(9, 0.19), {}, False),
    (stop(9, 0.31), {"speed_step_mps": 0.2}, True), (stop(9, 0.29), {"speed_step_mps": 0.2}, False),
])  # fmt: skip
def test_zeros_that_are_a_hold(speed: FloatArray, changes: dict[str, Any], found: bool) -> None:
    moving = 0.01 * np.arange(len(speed))[:, None] * [1.0, 0.0]
    seen = log(speed, **changes)
    hold = find_static_hold(replace_position(seen, seen.position_m + moving), speed)
    assert (hold is not None) is found
    if hold is not None:
        assert hold.pace_mps == pytest.approx(np.min(speed[speed > 0.0]))
        assert not hold.repeated.any() and not hold.crept.any()


def replace_position(seen: Any, position_m: FloatArray) -> Any:
    return SimpleNamespace(**vars(seen) | {"position_m": position_m})


@pytest.mark.parametrize(("slips", "repeated"), [(4, 38), (9, 0)])
def test_positions_that_repeat_between_zeros_but_for_slips(slips: int, repeated: int) -> None:
    """Two stands of 22 zeros: 42 steps, of which four fifths must not move."""
    speed = stop(44, 0.1)
    seen = log(speed)
    slipped = np.zeros(len(speed))
    slipped[1 : 1 + slips] = 0.02
    hold = find_static_hold(
        replace_position(seen, seen.position_m + np.cumsum(slipped)[:, None]), speed
    )
    assert (hold is not None) is (repeated > 0)
    assert hold is None or hold.repeated.sum() == repeated


def test_no_hold_is_faster_than_a_walk() -> None:
    hold = find_static_hold(log(stop(9, 2.5)), stop(9, 2.5))
    assert hold is not None and hold.pace_mps == 1.5


@pytest.mark.parametrize(("released_m", "crept"), [(0.84, False), (0.88, True)])
def test_a_hold_that_lets_go_elsewhere_crept_on(released_m: float, crept: bool) -> None:
    """0.5^2 / 0.7 + 0.5 = 0.857 m: a gentle start and stop below 0.5 m/s, and the receiver."""
    speed = stop(20, 0.5)
    seen = log(speed)
    north = seen.position_m[:, 1] - seen.position_m[0, 1]
    north[10:] += released_m - north[10]
    hold = find_static_hold(replace_position(seen, np.stack([0.0 * north, north], axis=1)), speed)
    assert hold is not None and hold.repeated.any()
    assert hold.crept[:10].all() is np.bool_(crept) and not hold.crept[10:].any()


@pytest.mark.parametrize(("broken", "crept"), [(8, True), (9, False), (11, True)])
def test_what_moved_across_an_interruption_crept_on_for_nobody(broken: int, crept: bool) -> None:
    """Ten zeros, and the machine 5 m on at the next fix: the tenth interval hides how."""
    speed = np.concatenate([stop(20, 0.5), stop(20, 0.5)])
    seen = log(speed)
    place = seen.position_m + np.where(np.arange(len(speed)) < 10, 0.0, 5.0)[:, None]
    seen = replace_position(seen, place)
    seen.breaks = np.arange(len(speed) - 1) == broken
    hold = find_static_hold(seen, speed)
    assert hold is not None and hold.crept[:10].all() is np.bool_(crept)


@pytest.mark.parametrize(("stood_s", "step_m", "interval_s", "found"), [
    (2.0, 0.0, 0.1, True), (1.9, 0.0, 0.1, False), (2.0, 0.019, 0.1, True),
    (2.0, 0.021, 0.1, False), (3.0, 0.0, 1.0, True), (2.0, 0.0, 1.0, False),
])  # fmt: skip
def test_how_long_bare_positions_must_repeat(
    stood_s: float, step_m: float, interval_s: float, found: bool
) -> None:
    """Two seconds and three times, by positions that are written finely."""
    stands = round(stood_s / interval_s)
    position = np.concatenate([np.arange(10.0), np.full(stands, 9.0), 10.0 + np.arange(10.0)])
    seen = log(np.zeros(len(position)), position_step_m=step_m,
               position_m=0.6 * interval_s * np.stack([position, 0.0 * position], axis=1),
               time_s=interval_s * np.arange(len(position)))  # fmt: skip
    hold = find_frozen_positions(seen)
    assert (hold is not None) is found
    if hold is not None:
        assert np.flatnonzero(hold.repeated).tolist() == list(range(10, 10 + stands))
        assert hold.pace_mps == pytest.approx(0.6)


@pytest.mark.parametrize(("pace", "sd"), [(0.4, 0.35), (1.0, 0.7)])
def test_zeros_of_a_hold_say_no_more_than_slow(pace: float, sd: float) -> None:
    """The crawl's 0.35 m/s at 0.5 m/s, and wider as the hold is."""
    seen = observations_of(known_motion([(0.0, 2.0), (9.0, 2.0)]).track)
    repeated, crept = np.zeros((2, len(seen.time_s)), dtype=bool)
    repeated[10:20], crept[15:30] = True, True
    found = without_static_hold(replace(seen, crawl=~repeated), StaticHold(pace, repeated, crept))
    assert found.crawl_sd_mps == pytest.approx(sd)
    assert (found.held == repeated).all() and (found.crawl == ~crept).all()
