"""Where a ride turns: stretches of the fitted path over which the course swings one way."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.spans import runs_of
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


@dataclass(frozen=True)
class Swing:
    """One turn of the fitted path, before anything is said about its uncertainty.

    start_s, end_s : from where the course swings faster than 0.1 rad/s to where it falls below. [s]
    angle_rad : change of course, clockwise positive. [rad]
    speed_mps : mean speed. [m/s]
    rough_lateral_mps2, rough_radius_m : of its fastest swing, from the fixes' fitted courses; only
        to decide which turns are looked at closely.
    """

    start_s: float
    end_s: float
    angle_rad: float
    speed_mps: float
    rough_lateral_mps2: float
    rough_radius_m: float

    @property
    def duration_s(self) -> float:
        """How long it lasts. [s]"""
        return self.end_s - self.start_s


def turns_of(
    motion: Motion, *, excluded: tuple[tuple[float, float], ...] = ()
) -> tuple[Swing, ...]:
    """Return the turns of the fitted path in time order.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches that no turn may touch, such as reverse travel.

    Returns
    -------
    tuple of Swing
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
    found: list[Swing] = []
    for first, stop in runs_of(joined):
        part = slice(first, stop + 1)
        found.extend(_turns(time_s[part], motion.course_rad[rows[part]], speed[part]))
    return tuple(
        turn
        for turn in found
        if not any(turn.end_s > start and turn.start_s < end for start, end in excluded)
    )


def _turns(time_s: FloatArray, course_rad: FloatArray, speed_mps: FloatArray) -> list[Swing]:
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
                Swing(
                    start_s,
                    end_s,
                    angle,
                    float(speed[inside].mean()),
                    float((speed[inside] * np.abs(swing[inside])).max()),
                    float((speed[inside] / np.abs(swing[inside])).min()),
                )
            )
    return sorted(found, key=lambda turn: turn.start_s)
