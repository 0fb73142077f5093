"""Turn by turn: where the course swings, lateral acceleration and radius, the hardest and tightest.

Figures are means over windows of drawn paths. Derivation: METHOD.md of handling, (1) to (4).
"""

from dataclasses import dataclass, field, replace

import numpy as np

from ridelog.analysis.windows import Windows, windows_of
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.motion import Motion, Paths

# What counts as turning: a course that swings faster than this (6 degrees a second; a hand that
# rides straight on stays below 0.05 rad/s) and in all by this much. Common practice, no source.
_TURNING_RADPS = 0.1
_LEAST_TURN_RAD = np.radians(15.0)
# Weave (1 Hz and faster) must not cut a turn into pieces: the swing is averaged over this long. Own
# choice: shorter lets weave through, longer rounds short turns off.
_SWING_S = 0.6
# The course of a crawl is noise. Own choice: at four deviations it is known to 14 degrees, about
# the least turn.
_LEAST_SPEED_MPS, _LEAST_SPEED_SD = 0.6, 4.0
# Fixes further apart than this, and than this many usual intervals, are not one turn. Own choice:
# one missing fix (two intervals that jitter) is bridged, more hide a turn's course.
_HOLE_S, _HOLE_INTERVALS = 0.5, 2.2
# The grid on which swings are looked for: own choice, a tenth of the shortest window. [s]
_STEP_S = 0.1
# The mean of one second from 5 Hz on, of two below (standards differ: UN R79 asks for 100 Hz and a
# filter of 0.5 Hz, which passes about half of a turn of one second). Common practice, no source.
_FAST_HZ, _WINDOW_S, _SLOW_WINDOW_S = 4.5, 1.0, 2.0
# A turn must be longer than the window, for its ramps, and hold four fixes: two to see it, one on
# either side to see where it ends. Own choice: shorter turns read low, as their ramps count in.
_LEAST_WINDOWS, _SLOW_LEAST_WINDOWS, _LEAST_FIXES = 1.5, 1.25, 4.0
# Intensity of jerk of a turn of 3 m/s² that is put on within half a second, 3² / 0.5: METHOD.md of
# handling, (4); the turn is own choice. [m²/s⁵]
_TURN_JERK = 18.0
# A shorter turn may be the hardest one if it is so in this share of the draws. Own choice: an
# interval for nine rides of ten leaves a tenth.
_MAY_BE = 0.1
# A radius is read over at most this share of a turn, or its ramps count in: that of the window in
# the shortest turn measured, 1 / 1.5 (derived).
_RADIUS_SHARE = 2.0 / 3.0
# Turns that are drawn: the hardest and the tightest by a rough look. Own choice: more mostly
# lengthen the list.
_HARDEST, _TIGHTEST = 30, 8
# Own choice: the sums of (1) hardly depend on it, and it places a window to 0.05 s.
_SPACING_S = 0.1
_NO_SIGNAL = "its signal may not carry a figure"


@dataclass(frozen=True)
class Turn:
    """One turn of the fitted path.

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
    """Return how long a turn must last to be measured, (4) of handling. [s]

    Positions alone show a turn in full if it lasts two periods of what white jerk passes by half;
    reported speeds, with one derivative less to take, are limited by the fixes instead.
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
    """Return the lateral acceleration and radius of a ride's turns, none that ``excluded`` touches.

    Excluded are stretches that may not carry a figure, such as reverse travel. [s]
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
        elif turn.duration_s < least:
            short.append((lateral, curvature, turn.duration_s))
            lasted = f"{turn.duration_s:.1f} s, less than the {least:.1f} s that this log needs"
            turns.append(replace(turn, reason=f"it lasted {lasted}"))
        else:
            laterals.append(lateral)
            curvatures += [] if curvature is None else [curvature]
            radius = None if curvature is None else _radius(curvature)
            turns.append(replace(turn, lateral_accel_mps2=accel, radius_m=radius))
    needs = _needs(motion, least)
    none = _why_none(seen, turns, needs)
    hardest, reason = _extreme("hardest", laterals, [(x, t) for x, _, t in short], needs)
    bends = [(x, t) for _, x, t in short if x is not None]
    tightest, radius_reason = _extreme("tightest", curvatures, bends, needs)
    return Turns(
        turns=tuple(turns),
        turns_seen=len(seen),
        lateral_window_s=length,
        max_lateral_accel_mps2=None if hardest is None else estimate(hardest, smallest=0.0),
        min_turn_radius_m=None if tightest is None else _radius(tightest),
        lateral_reason=reason if laterals else none,
        radius_reason=radius_reason if curvatures else none,
    )


def _extreme(
    which: str, long: list[FloatArray], short: list[tuple[FloatArray, float]], needs: str
) -> tuple[FloatArray | None, str]:
    """Return the columns of the greatest of the long turns, or why a short one forbids it."""
    if not long:
        return None, ""
    stacked = np.stack(long)
    inflated = 1 + stacked.shape[1] // 2
    chosen = stacked[:, :inflated].max(axis=0)
    greatest = np.concatenate([chosen, stacked[int(stacked[:, 0].argmax()), inflated:]])
    for columns, lasted in short:
        if np.mean(columns[1:] > greatest[1:]) > _MAY_BE:
            # Whatever the longer turns show, the ride's extreme may have been this one's.
            return None, f"the {which} turn may be one of {lasted:.1f} s: {needs}"
    return greatest, ""


def _columns(
    motion: Motion, turn: Turn, windows: Windows, fix_s: FloatArray
) -> tuple[FloatArray | None, FloatArray | None]:
    """Return the columns of a turn's largest lateral acceleration and of its curvature."""
    length = windows.length_s
    paths = motion.paths(
        turn.start_s - 0.5 * length, turn.end_s + 0.5 * length, spacing_s=_SPACING_S
    )
    usable = _usable_at(windows, paths.time_s)
    speed = speed_by_fixes(paths, fix_s)
    _, mean = mean_laterals(paths, length, usable, speed)
    # How the speed ran between the fixes is not seen: half the difference of both ways counts.
    _, by_path = mean_laterals(paths, length, usable, paths.speed_mps)
    both = 0.5 * (mean + by_path)
    lateral = _chosen_and_held(np.abs(mean), np.abs(both)) if len(mean) else None
    inner = min(length, _RADIUS_SHARE * turn.duration_s)
    inside = (paths.time_s >= turn.start_s - 1e-6) & (paths.time_s + inner <= turn.end_s + 1e-6)
    # What is usable over the whole length is so over less of it.
    inside &= usable
    radius = radii(paths, inner, inside, speed)
    return lateral, _chosen_and_held(1.0 / radius) if len(radius) else None


def _radius(curvature: FloatArray) -> Estimate | None:
    """Return the radius of a largest curvature; the errors of curvature are the even ones."""
    bend = estimate(curvature, smallest=1e-4)
    if bend is None:
        return None
    return Estimate(1.0 / bend.value, 1.0 / bend.high, 1.0 / bend.low, bend.level)


def _needs(motion: Motion, least_s: float) -> str:
    kind = "" if motion.speed_source == "reported" else " without reported speed"
    return (
        f"a log of {motion.rate_hz:.3g} fixes a second{kind} can measure turns of "
        f"{least_s:.1f} s and more"
    )


def _why_none(seen: tuple[Turn, ...], turns: list[Turn], needs: str) -> str:
    if not seen:
        return "the ride holds no turn of 15 degrees or more that the log shows"
    if all(turn.reason == _NO_SIGNAL for turn in turns):
        return "no turn is free of settling, poor geometry, jumps and gaps"
    return f"the longest turn lasted {max(turn.duration_s for turn in seen):.1f} s: {needs}"


def turns_of(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> tuple[Turn, ...]:
    """Return the turns of the fitted path in time order, none that touches what is excluded.

    Swings of 15 degrees and more, faster than 0.1 rad/s throughout, however short.
    """
    rows = motion.known_rows
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
            inner = speed[first:stop]
            found.append(
                Turn(
                    start_s,
                    end_s,
                    angle,
                    float(inner.mean()),
                    rough_lateral_mps2=float((inner * side * swing[first:stop]).max()),
                    rough_radius_m=float((inner / (side * swing[first:stop])).min()),
                )  # fmt: skip
            )
    return sorted(found, key=lambda turn: turn.start_s)


def speed_by_fixes(paths: Paths, fix_s: FloatArray) -> FloatArray:
    """Return the speed at the fixes, linear in between, shape (m, columns). [m/s]

    Between fixes a second apart the course of a tight turn swings by 70 degrees; a smooth curve
    between the two velocities cuts that corner, and its speed dips by up to a tenth where the
    machine held it. ``fix_s`` are the times of the fixes, increasing. [s]
    """
    time_s, speed = paths.time_s, paths.speed_mps
    knots = fix_s[(fix_s > time_s[0] + 1e-6) & (fix_s < time_s[-1] - 1e-6)]
    knots = np.concatenate([time_s[:1], knots, time_s[-1:]])
    nearest = np.clip(np.searchsorted(time_s, knots), 1, len(time_s) - 1)
    nearest -= (knots - time_s[nearest - 1]) < (time_s[nearest] - knots)
    nearest = np.unique(nearest)
    right = np.clip(np.searchsorted(time_s[nearest], time_s, side="right"), 1, len(nearest) - 1)
    first, last = nearest[right - 1], nearest[right]
    share = ((time_s - time_s[first]) / (time_s[last] - time_s[first]))[:, None]
    return speed[first] + share * (speed[last] - speed[first])


def mean_laterals(
    paths: Paths, length_s: float, usable: BoolArray, speed_mps: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return start (k,) and mean lateral acceleration (k, columns) of every usable window.

    Means of v dψ/dt, positive clockwise [m/s²], over a length to the nearest step of the grid [s].
    ``usable`` says where a window may start, shape (m,), ``speed_mps`` is from ``speed_by_fixes``.
    """
    first, last, span_s = _windows(paths, length_s, usable)
    # Between two instants of the grid the course swings by the angle between the two velocities;
    # v dψ/dt integrates to the mean speed times that angle.
    lateral = _summed(0.5 * (speed_mps[1:] + speed_mps[:-1]) * paths.turned_rad)
    return paths.time_s[first], (lateral[last] - lateral[first]) / span_s


def radii(paths: Paths, length_s: float, usable: BoolArray, speed_mps: FloatArray) -> FloatArray:
    """Return the radius of every usable window, way by course change, shape (k, columns). [m]

    Parameters as in ``mean_laterals``; windows must lie inside the turn, else straight parts count
    in.
    """
    first, last, _ = _windows(paths, length_s, usable)
    course = _summed(paths.turned_rad)
    way = _summed(0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(paths.time_s)[:, None])
    angle = np.abs(course[last] - course[first])
    return (way[last] - way[first]) / np.maximum(angle, 1e-6)


def _summed(steps: FloatArray) -> FloatArray:
    """Return the sum of the steps since the first instant, one row longer."""
    return np.concatenate([np.zeros((1, steps.shape[1])), np.cumsum(steps, axis=0)])


def _chosen_and_held(figures: FloatArray, spread: FloatArray | None = None) -> FloatArray:
    """Return the columns from which a largest window's figure is estimated, shape (columns,).

    ``figures`` are those of every window, shape (windows, columns). What choosing adds is told by
    the best window of each draw, of sharp and cautious draws in equal parts; the width comes from
    the fitted path's own best window in the cautious draws, of ``spread`` where the figures do not
    hold all that is uncertain: METHOD.md of handling, (3).
    """
    draws = (figures.shape[1] - 1) // 2
    best, half = figures.max(axis=0), draws // 2
    held = (figures if spread is None else spread)[int(figures[:, 0].argmax()), 1 + draws :]
    return np.concatenate([best[: 1 + draws - half], best[1 + draws : 1 + draws + half], held])


def _usable_at(windows: Windows, time_s: FloatArray) -> BoolArray:
    """Return where a window may start: the windows at the fixes on either side are usable."""
    if not len(windows.start_s):
        return np.zeros(len(time_s), dtype=bool)
    last = len(windows.start_s) - 1
    right = np.minimum(np.searchsorted(windows.start_s, time_s - 1e-6), last)
    left = np.maximum(np.searchsorted(windows.start_s, time_s + 1e-6, side="right") - 1, 0)
    return windows.usable[left] & windows.usable[right]


def _windows(paths: Paths, length_s: float, usable: BoolArray) -> tuple[IntArray, IntArray, float]:
    """Return first and last instants of the usable windows, and their true length."""
    spacing = float(paths.time_s[1] - paths.time_s[0])
    width = max(1, round(length_s / spacing))
    first = np.flatnonzero(usable[: max(0, len(paths.time_s) - width)])
    return first, first + width, width * spacing
