"""Turn by turn: where the course swings, lateral acceleration and radius, the hardest and tightest.

Derivation: METHOD.md of handling, (1) to (4).
"""

from dataclasses import dataclass, field, replace

import numpy as np

from ridelog.analysis.handling.lateral import (
    chosen_and_held,
    greatest_of,
    mean_laterals,
    radii,
    speed_by_fixes,
    usable_at,
)
from ridelog.analysis.windows import Windows, windows_of
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

# What counts as turning: a course that swings faster than this (6 degrees a second; a hand that
# rides straight on stays below 0.05 rad/s) and in all by this much. Common practice, no source.
_TURNING_RADPS = 0.1
_LEAST_TURN_RAD = np.radians(15.0)
# Weave (1 Hz and faster) must not cut a turn into pieces: the swing is averaged over this long.
_SWING_S = 0.6
# The course of a crawl is noise.
_LEAST_SPEED_MPS, _LEAST_SPEED_SD = 0.6, 4.0
# Fixes further apart than this, and than this many usual intervals, are not one turn.
_HOLE_S, _HOLE_INTERVALS = 0.5, 2.2
# The grid on which swings are looked for. [s]
_STEP_S = 0.1
# The mean of one second from 5 Hz on, of two below (standards differ: UN R79 asks for 100 Hz and a
# filter of 0.5 Hz, which passes about half of a turn of one second). Common practice, no source.
_FAST_HZ, _WINDOW_S, _SLOW_WINDOW_S = 4.5, 1.0, 2.0
# A turn must be longer than the window, for its ramps, and hold four fixes: two to see it, one on
# either side to see where it ends.
_LEAST_WINDOWS, _SLOW_LEAST_WINDOWS, _LEAST_FIXES = 1.5, 1.25, 4.0
# Intensity of jerk of a turn of 3 m/s² that is put on within half a second: 3² / 0.5. [m²/s⁵]
_TURN_JERK = 18.0
# A shorter turn may be the hardest one if it is so in this share of the draws.
_MAY_BE = 0.1
# A radius is read over at most this share of a turn, or its ramps count in.
_RADIUS_SHARE = 2.0 / 3.0
# Turns that are drawn: the hardest and the tightest. More only lengthen the list.
_HARDEST, _TIGHTEST = 30, 8
_SPACING_S = 0.1
_NO_SIGNAL = "its signal may not carry a figure"


@dataclass(frozen=True)
class Turn:
    """One turn of the fitted path.

    Attributes
    ----------
    start_s, end_s : from where the course swings faster than 0.1 rad/s until it no longer does. [s]
    angle_rad : change of course, clockwise (to the right) positive. [rad]
    speed_mps : mean speed. [m/s]
    lateral_accel_mps2 : its best window's mean, positive to either side, None if the turn is too
        short for this log or its signal is unusable. [m/s²]
    radius_m : the smallest radius over a window inside the turn, None likewise. [m]
    reason : why a figure is missing, else empty.
    rough_lateral_mps2, rough_radius_m : of its fastest swing, from the fixes' fitted courses; only
        to decide which turns are looked at closely.
    """

    start_s: float
    end_s: float
    angle_rad: float
    speed_mps: float
    lateral_accel_mps2: Estimate | None = None
    radius_m: Estimate | None = None
    reason: str = ""
    rough_lateral_mps2: float = field(default=0.0, repr=False)
    rough_radius_m: float = field(default=0.0, repr=False)

    @property
    def duration_s(self) -> float:
        """How long it lasts. [s]"""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Turns:
    """The turns of a ride in time order (the hardest and tightest of many), and the extremes.

    Attributes
    ----------
    turns : those looked at closely.
    turns_seen : how many turns the ride has.
    lateral_window_s : over which lateral acceleration is a mean. [s]
    max_lateral_accel_mps2 : of the hardest turn, None with ``lateral_reason``. [m/s²]
    min_turn_radius_m : of the tightest turn, None with ``radius_reason``. [m]
    """

    turns: tuple[Turn, ...]
    turns_seen: int
    lateral_window_s: float
    max_lateral_accel_mps2: Estimate | None
    min_turn_radius_m: Estimate | None
    lateral_reason: str
    radius_reason: str


def window_length_s(rate_hz: float) -> float:
    """Return over how long a log of this rate can tell a mean of lateral acceleration. [s]"""
    return _WINDOW_S if rate_hz >= _FAST_HZ else _SLOW_WINDOW_S


def least_duration_s(motion: Motion) -> float:
    """Return how long a turn must last to be measured. [s]

    Fixes of white position error s, dt apart, seen through white jerk of intensity q pass a motion
    of angular frequency w by 1 / (1 + s² dt w⁶ / q): half at w = (q / (s² dt))^(1/6). Positions
    alone show a turn in full if it lasts two such periods, 4 pi / w; reported speeds, with one
    derivative less to take, are limited by the fixes instead.
    """
    rate_hz = motion.rate_hz
    windows = _LEAST_WINDOWS if rate_hz >= _FAST_HZ else _SLOW_LEAST_WINDOWS
    # A log whose clock is off by a little is still of the rate it was set to.
    least = max(windows * window_length_s(rate_hz), 0.97 * _LEAST_FIXES / rate_hz)
    if motion.speed_source == "reported":
        return least
    noise = motion.noise.position_white_m**2 / rate_hz
    return float(max(least, 4.0 * np.pi * (noise / _TURN_JERK) ** (1.0 / 6.0)))


def measure_turns(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> Turns:
    """Return the lateral acceleration and radius of a ride's turns.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches that may not carry a figure, such as reverse travel.
    """
    length = window_length_s(motion.rate_hz)
    least = least_duration_s(motion)
    seen = turns_of(motion, excluded=excluded)
    windows = windows_of(motion, length, excluded=excluded)
    close = sorted(seen, key=lambda turn: -turn.rough_lateral_mps2)[:_HARDEST]
    tight = sorted(seen, key=lambda turn: turn.rough_radius_m)[:_TIGHTEST]
    turns: list[Turn] = []
    # The columns of the turns long enough to carry the ride's figure, and bounds of the others.
    laterals: list[FloatArray] = []
    curvatures: list[FloatArray] = []
    short: list[tuple[FloatArray, FloatArray | None, float]] = []
    fixes = np.sort(motion.track.time_s[motion.used])
    for turn in sorted({*close, *tight}, key=lambda turn: turn.start_s):
        lateral, curvature = _columns(motion, turn, windows, fixes)
        accel = None if lateral is None else estimate(lateral, smallest=0.0)
        if lateral is None or accel is None:
            turns.append(replace(turn, reason=_NO_SIGNAL))
            continue
        if turn.duration_s < least:
            short.append((lateral, curvature, turn.duration_s))
            turns.append(replace(turn, reason=_too_short(turn.duration_s, least)))
            continue
        laterals.append(lateral)
        radius = None
        if curvature is not None:
            curvatures.append(curvature)
            radius = _radius(curvature)
        turns.append(replace(turn, lateral_accel_mps2=accel, radius_m=radius))
    none = _why_none(seen, turns, motion, least)
    hardest, reason = _extreme(laterals, [(x, lasted) for x, _, lasted in short])
    tightest, radius_reason = _extreme(
        curvatures, [(x, lasted) for _, x, lasted in short if x is not None]
    )
    needs = ": " + _needs(motion, least)
    return Turns(
        turns=tuple(turns),
        turns_seen=len(seen),
        lateral_window_s=length,
        max_lateral_accel_mps2=None if hardest is None else estimate(hardest, smallest=0.0),
        min_turn_radius_m=None if tightest is None else _radius(tightest),
        lateral_reason=(
            f"the hardest turn {reason}{needs}" if reason else "" if laterals else none
        ),
        radius_reason=(
            f"the tightest turn {radius_reason}{needs}"
            if radius_reason
            else "" if curvatures else none
        ),
    )  # fmt: skip


def _extreme(
    long: list[FloatArray], short: list[tuple[FloatArray, float]]
) -> tuple[FloatArray | None, str]:
    """Return the columns of the greatest of the long turns, or why a short one forbids it."""
    if not long:
        return None, ""
    greatest = greatest_of(long)
    for columns, lasted in short:
        if np.mean(columns[1:] > greatest[1:]) > _MAY_BE:
            # Whatever the longer turns show, the ride's extreme may have been this one's.
            return None, f"may be one of {lasted:.1f} s"
    return greatest, ""


def _columns(
    motion: Motion, turn: Turn, windows: Windows, fix_s: FloatArray
) -> tuple[FloatArray | None, FloatArray | None]:
    """Return the columns of a turn's largest lateral acceleration and of its curvature."""
    length = windows.length_s
    paths = motion.paths(
        turn.start_s - 0.5 * length, turn.end_s + 0.5 * length, spacing_s=_SPACING_S
    )
    usable = usable_at(windows, paths.time_s)
    speed = speed_by_fixes(paths, fix_s)
    _, mean = mean_laterals(paths, length, usable, speed)
    # How the speed ran between the fixes is not seen: half the difference of both ways counts.
    _, by_path = mean_laterals(paths, length, usable, paths.speed_mps)
    both = 0.5 * (mean + by_path)
    lateral = chosen_and_held(np.abs(mean), np.abs(both)) if len(mean) else None
    inner = min(length, _RADIUS_SHARE * turn.duration_s)
    inside = (paths.time_s >= turn.start_s - 1e-6) & (paths.time_s + inner <= turn.end_s + 1e-6)
    # What is usable over the whole length is so over less of it.
    inside &= usable
    radius = radii(paths, inner, inside, speed)
    if not len(radius):
        return lateral, None
    return lateral, chosen_and_held(1.0 / radius)


def _radius(curvature: FloatArray) -> Estimate | None:
    """Return the radius of a largest curvature; the errors of curvature are the even ones."""
    bend = estimate(curvature, smallest=1e-4)
    if bend is None:
        return None
    return Estimate(1.0 / bend.value, 1.0 / bend.high, 1.0 / bend.low, bend.level)


def _too_short(duration_s: float, least_s: float) -> str:
    return f"it lasted {duration_s:.1f} s, less than the {least_s:.1f} s that this log needs"


def _needs(motion: Motion, least_s: float) -> str:
    kind = "" if motion.speed_source == "reported" else " without reported speed"
    return (
        f"a log of {motion.rate_hz:.3g} fixes a second{kind} can measure turns of "
        f"{least_s:.1f} s and more"
    )


def _why_none(seen: tuple[Turn, ...], turns: list[Turn], motion: Motion, least_s: float) -> str:
    if not seen:
        return "the ride holds no turn of 15 degrees or more that the log shows"
    if all(turn.reason == _NO_SIGNAL for turn in turns):
        return "no turn is free of settling, poor geometry, jumps and gaps"
    longest = max(turn.duration_s for turn in seen)
    return f"the longest turn lasted {longest:.1f} s: " + _needs(motion, least_s)


def turns_of(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> tuple[Turn, ...]:
    """Return the turns of the fitted path in time order.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches that no turn may touch, such as reverse travel.

    Returns
    -------
    tuple of Turn
        Swings of 15 degrees and more, faster than 0.1 rad/s throughout, however short.
    """
    rows = np.flatnonzero(motion.used & np.isfinite(motion.speed_mps))
    rows = rows[np.argsort(motion.track.time_s[rows], kind="stable")]
    if len(rows) < 3:
        return ()
    time_s, speed = motion.track.time_s[rows], motion.speed_mps[rows]
    known = np.isfinite(motion.course_rad[rows]) & (
        speed > np.maximum(_LEAST_SPEED_MPS, _LEAST_SPEED_SD * motion.speed_sd_mps[rows])
    )
    longest = max(_HOLE_S, _HOLE_INTERVALS / motion.rate_hz)
    joined = known[1:] & known[:-1] & (np.diff(time_s) <= longest)
    for start_s, end_s in motion.gaps:
        joined &= ~((time_s[:-1] >= start_s - 1e-6) & (time_s[1:] <= end_s + 1e-6))
    found: list[Turn] = []
    for first, stop in runs_of(joined):
        part = slice(first, stop + 1)
        found.extend(_turns(time_s[part], motion.course_rad[rows[part]], speed[part]))
    return tuple(
        turn
        for turn in found
        if not any(turn.end_s > start and turn.start_s < end for start, end in excluded)
    )


def _turns(time_s: FloatArray, course_rad: FloatArray, speed_mps: FloatArray) -> list[Turn]:
    """Return the turns of one unbroken stretch."""
    course = np.unwrap(course_rad)
    # Not finer than the fixes deserve: an hour at one fix a second needs no grid of 0.1 s.
    step = max(_STEP_S, 0.25 * float(np.median(np.diff(time_s))))
    grid = np.arange(time_s[0], time_s[-1] + 1e-9, step)
    if len(grid) < 3:
        return []
    ahead = np.minimum(grid + 0.5 * _SWING_S, grid[-1])
    behind = np.maximum(grid - 0.5 * _SWING_S, grid[0])
    swing = np.interp(ahead, time_s, course) - np.interp(behind, time_s, course)
    swing /= ahead - behind
    speed = np.interp(grid, time_s, speed_mps)
    found = []
    for side in (1.0, -1.0):
        for first, stop in runs_of(side * swing > _TURNING_RADPS):
            start_s, end_s = float(grid[first]), float(grid[stop - 1])
            angle = float(np.subtract(*np.interp([end_s, start_s], time_s, course)))
            if side * angle < _LEAST_TURN_RAD:
                continue
            inside = slice(first, stop)
            found.append(
                Turn(
                    start_s,
                    end_s,
                    angle,
                    float(speed[inside].mean()),
                    rough_lateral_mps2=float((speed[inside] * np.abs(swing[inside])).max()),
                    rough_radius_m=float((speed[inside] / np.abs(swing[inside])).min()),
                )
            )
    return sorted(found, key=lambda turn: turn.start_s)
