"""What the log itself says of the motion, on an even grid: its velocities, or its positions."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.geodesy import to_local
from ridelog.core.spans import runs_of
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion

# Slower than this a course is too rough; faster swings than this are turns, not a straight.
_LEAST_SPEED_MPS, _TURN_RADPS = 2.0, 0.35
# What a straight keeps from turns and from stretches that are left out. [s]
_AROUND_S = 0.8
# Holes of up to this many missing fixes are filled in.
_LONGEST_FILL = 3


@dataclass(frozen=True)
class RawStretch:
    """One unbroken stretch of fixes; arrays of shape (m,), evenly spaced in time.

    time_s : [s]
    seen : shape (m, 2), east and north: reported velocity, or position. [m/s] or [m]
    filled : 1 where no fix was and the value is interpolated, else 0.
    speed_mps, course_rad : of the smoothed motion, the course not wrapped.
    straight : fast enough, and away from turns and from what is left out.
    """

    time_s: FloatArray
    seen: FloatArray
    filled: FloatArray
    speed_mps: FloatArray
    course_rad: FloatArray
    straight: BoolArray


def raw_stretches(
    motion: Motion, *, excluded: tuple[tuple[float, float], ...] = ()
) -> list[RawStretch]:
    """Return the stretches ridden at more than a crawl, from the fixes that are believed.

    Velocities where the log reports speed, else positions. Fixes that the filter rejected are
    missing ones; up to three in a row are filled in.
    """
    reported = motion.speed_source == "reported"
    step = 1.0 / motion.rate_hz
    track = motion.track
    rows = np.flatnonzero(motion.used & np.isfinite(motion.course_rad))
    rows = rows[np.argsort(track.time_s[rows], kind="stable")]
    if reported:
        speed, course = track.speed_mps[rows], track.course_rad[rows]
        seen = np.stack([speed * np.sin(course), speed * np.cos(course)], axis=1)
    else:
        seen = np.stack(
            to_local(track.latitude_deg[rows], track.longitude_deg[rows], *motion.origin_deg),
            axis=1,
        )
    lost = Flag.SPEED_JUMP if reported else Flag.JUMP
    good = (
        np.isfinite(seen).all(axis=1)
        & ((motion.flags[rows] & np.uint32(lost)) == 0)
        & (motion.speed_mps[rows] > 0.5 * _LEAST_SPEED_MPS)
        & (track.time_s[rows] >= motion.settled_s)
    )
    seen, rows = seen[good], rows[good]
    time_s = track.time_s[rows]
    found = []
    for first, stop in runs_of(np.diff(time_s) <= (_LONGEST_FILL + 1.5) * step):
        part = slice(first, stop + 1)
        inner = time_s[part]
        grid = np.arange(inner[0], inner[-1] + 0.25 * step, step)
        # A fix for a place of the grid is one within half a step of it.
        near = inner[np.minimum(np.searchsorted(inner, grid - 0.5 * step), len(inner) - 1)]
        speed = np.interp(grid, inner, motion.speed_mps[rows[part]])
        course = np.interp(grid, inner, np.unwrap(motion.course_rad[rows[part]]))
        found.append(
            RawStretch(
                time_s=grid,
                seen=np.stack(
                    [np.interp(grid, inner, seen[part][:, axis]) for axis in (0, 1)], axis=1
                ),
                filled=(np.abs(near - grid) > 0.5 * step).astype(np.float64),
                speed_mps=speed,
                course_rad=course,
                straight=_straight(grid, speed, course, step, excluded),
            )
        )
    return found


def _straight(
    time_s: FloatArray,
    speed_mps: FloatArray,
    course_rad: FloatArray,
    step_s: float,
    excluded: tuple[tuple[float, float], ...],
) -> BoolArray:
    around = max(1, round(_AROUND_S / step_s))
    swing = np.full(len(time_s), np.inf)
    if len(time_s) > 2 * around:
        swing[around:-around] = np.abs(course_rad[2 * around :] - course_rad[: -2 * around])
        swing[around:-around] /= 2.0 * around * step_s
    straight = _throughout(swing < _TURN_RADPS, around) & (speed_mps > _LEAST_SPEED_MPS)
    for start, end in excluded:
        straight &= (time_s < start - _AROUND_S) | (time_s > end + _AROUND_S)
    return straight


def _throughout(mask: BoolArray, around: int) -> BoolArray:
    """Return where a mask holds from ``around`` samples before to as many after."""
    total = np.concatenate([[0], np.cumsum(~mask)])
    index = np.arange(len(mask))
    result: BoolArray = (
        total[np.minimum(index + around + 1, len(mask))] - total[np.maximum(index - around, 0)]
    ) == 0
    return result
