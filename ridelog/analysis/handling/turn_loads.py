"""Turn by turn: lateral acceleration, radius, and what the hardest and the tightest turn were."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.handling.lateral import (
    chosen_and_held,
    greatest_of,
    mean_laterals,
    radii,
    speed_by_fixes,
    usable_at,
)
from ridelog.analysis.handling.turns import Swing, turns_of
from ridelog.analysis.windows import Windows, windows_of
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

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


@dataclass(frozen=True)
class Turn:
    """One turn.

    Attributes
    ----------
    start_s, end_s : from where the course swings faster than 0.1 rad/s until it no longer does. [s]
    angle_rad : change of course, clockwise (to the right) positive. [rad]
    speed_mps : mean speed. [m/s]
    lateral : its best window's mean of lateral acceleration, positive to either side, None if the
        turn is too short for this log or its signal is unusable. [m/s²]
    radius : the smallest radius over a window inside the turn, None likewise. [m]
    reason : why a figure is missing, else empty.
    """

    start_s: float
    end_s: float
    angle_rad: float
    speed_mps: float
    lateral: Estimate | None
    radius: Estimate | None
    reason: str


@dataclass(frozen=True)
class TurnLoads:
    """The turns of a ride in time order (the hardest and tightest of many), and the extremes.

    Attributes
    ----------
    turns : those looked at closely.
    seen : how many turns the ride has.
    window_s : over which lateral acceleration is a mean. [s]
    max_lateral : of the hardest turn, None with ``reason``. [m/s²]
    min_radius : of the tightest turn, None with ``radius_reason``. [m]
    """

    turns: tuple[Turn, ...]
    seen: int
    window_s: float
    max_lateral: Estimate | None
    min_radius: Estimate | None
    reason: str
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


def measure_turns(motion: Motion, *, excluded: tuple[tuple[float, float], ...] = ()) -> TurnLoads:
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
    swings = turns_of(motion, excluded=excluded)
    windows = windows_of(motion, length, excluded=excluded)
    close = sorted(swings, key=lambda turn: -turn.rough_lateral_mps2)[:_HARDEST]
    tight = sorted(swings, key=lambda turn: turn.rough_radius_m)[:_TIGHTEST]
    drawn = sorted({*close, *tight}, key=lambda turn: turn.start_s)
    turns: list[Turn] = []
    # The columns of the turns long enough to carry the ride's figure, and bounds of the others.
    laterals: list[FloatArray] = []
    curvatures: list[FloatArray] = []
    short: list[tuple[FloatArray, FloatArray | None, float]] = []
    fixes = np.sort(motion.track.time_s[motion.used])
    for swing in drawn:
        lateral, curvature = _columns(motion, swing, windows, fixes)
        load = None if lateral is None else estimate(lateral, smallest=0.0)
        if lateral is None or load is None:
            turns.append(_without(swing, "its signal may not carry a figure"))
            continue
        if swing.duration_s < least:
            short.append((lateral, curvature, swing.duration_s))
            turns.append(_without(swing, _too_short(swing.duration_s, least)))
            continue
        laterals.append(lateral)
        radius = None
        if curvature is not None:
            curvatures.append(curvature)
            radius = _radius(curvature)
        turns.append(
            Turn(swing.start_s, swing.end_s, swing.angle_rad, swing.speed_mps, load, radius, "")
        )
    none = _why_none(swings, turns, motion, least)
    hardest, reason = _extreme(laterals, [(x, lasted) for x, _, lasted in short])
    tightest, radius_reason = _extreme(
        curvatures, [(x, lasted) for _, x, lasted in short if x is not None]
    )
    needs = ": " + _needs(motion, least)
    return TurnLoads(
        turns=tuple(turns),
        seen=len(swings),
        window_s=length,
        max_lateral=None if hardest is None else estimate(hardest, smallest=0.0),
        min_radius=None if tightest is None else _radius(tightest),
        reason=f"the hardest turn {reason}{needs}" if reason else "" if laterals else none,
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
    motion: Motion, swing: Swing, windows: Windows, fix_s: FloatArray
) -> tuple[FloatArray | None, FloatArray | None]:
    """Return the columns of a turn's largest lateral acceleration and of its curvature."""
    length = windows.length_s
    paths = motion.paths(
        swing.start_s - 0.5 * length, swing.end_s + 0.5 * length, spacing_s=_SPACING_S
    )
    usable = usable_at(windows, paths.time_s)
    speed = speed_by_fixes(paths, fix_s)
    _, mean = mean_laterals(paths, length, usable, speed)
    # How the speed ran between the fixes is not seen: half the difference of both ways counts.
    _, by_path = mean_laterals(paths, length, usable, paths.speed_mps)
    both = 0.5 * (mean + by_path)
    lateral = chosen_and_held(np.abs(mean), np.abs(both)) if len(mean) else None
    inner = min(length, _RADIUS_SHARE * swing.duration_s)
    inside = (paths.time_s >= swing.start_s - 1e-6) & (paths.time_s + inner <= swing.end_s + 1e-6)
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


def _without(swing: Swing, reason: str) -> Turn:
    return Turn(swing.start_s, swing.end_s, swing.angle_rad, swing.speed_mps, None, None, reason)


def _too_short(duration_s: float, least_s: float) -> str:
    return f"it lasted {duration_s:.1f} s, less than the {least_s:.1f} s that this log needs"


def _needs(motion: Motion, least_s: float) -> str:
    kind = "" if motion.speed_source == "reported" else " without reported speed"
    return (
        f"a log of {motion.rate_hz:.3g} fixes a second{kind} can measure turns of "
        f"{least_s:.1f} s and more"
    )


def _why_none(swings: tuple[Swing, ...], turns: list[Turn], motion: Motion, least_s: float) -> str:
    if not swings:
        return "the ride holds no turn of 15 degrees or more that the log shows"
    if all(turn.reason.startswith("its signal") for turn in turns):
        return "no turn is free of settling, poor geometry, jumps and gaps"
    longest = max(swing.duration_s for swing in swings)
    return f"the longest turn lasted {longest:.1f} s: " + _needs(motion, least_s)
