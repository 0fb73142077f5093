"""Sideways and lengthways motion in the band of weave, second by second, from the log's own fixes.

The log's own velocities (or positions) are filtered into the band, since a smoother takes a fast
wobble for noise, and split along the smoothed course.

Source
------
Band: Appl. Sci. 2021, 11(16), 7393 (weave of two-wheelers usually below 4-5 Hz); a hand steers
below 0.7 Hz or so (from memory: 0.2-2 Hz at most). Upper edge: below half the rate of the fixes.
Own derivation: METHOD.md of handling, (5), (6) and (9).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.geodesy import to_local
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion

# Above a hand's steering and inside what weaves usually are, below 4-5 Hz (Appl. Sci. 2021, 11(16),
# 7393). Own choice within that: one or two swings a second matter here, higher up is mostly noise.
LOW_HZ, HIGH_HZ = 0.8, 3.0
# The upper edge keeps this share of the rate: the filter has to fall before half of it. Own choice:
# leaves 0.27 Hz for that at 4.5 fixes a second, where half an edge takes 0.15 Hz.
_TOP_SHARE = 0.44
# Own choice: about one swing of a weave; longer windows mix speeds of a machine that accelerates.
WINDOW_S = 1.0
# Of the fixes of a window, and of those that its filter sees, this share may be filled in. Own
# choice: what is filled in swings less than was ridden; stricter loses logs that drop fixes.
_MOST_FILLED = 0.15
# The filter sees what goes on around a window too; speeds are kept for so many parts of that. Own
# choice: parts of 0.23 s, in which a pull of 4 m/s² gains 0.9 m/s; finer ones take memory.
_NODES = 27
# Slower than this a course is too rough; faster swings than this are turns, not a straight. Own
# choice: 14 m of radius at 5 m/s; gentler bends count as straight.
_LEAST_SPEED_MPS, _TURN_RADPS = 2.0, 0.35
# What a straight keeps from turns and from stretches that are left out, and half of what a swing is
# taken over. Own choice: together more than a period of weave, so that weave is no turn. [s]
_AROUND_S = 0.8
# Holes of up to this many missing fixes are filled in. Own choice: 0.8 s at 5 fixes a second, less
# than a swing; longer ones are guessed.
_LONGEST_FILL = 3
# Half length of the filters, half width of their edges, and how much more errors below a band
# count. Own choice: longer loses more of a straight's ends, shorter lets slow riding through.
_REACH_S, _EDGE_HZ, _STOP_WEIGHT = 2.6, 0.15, 4.0


@dataclass(frozen=True)
class Seconds:
    """Windows of one second on straights; arrays of shape (k,), or (k, nodes) for speed.

    start_s : [s]
    speed_mps : smoothed speed through all that the filter sees of the window. [m/s]
    weight : shape (nodes,), how much of a window's mean square comes from each of those, sum 1.
    across, along : mean square of the velocity in band. [m²/s²]
    across_rate, along_rate : mean square of its rate of change. [m²/s⁴]
    freedom : degrees of freedom of a window's mean square of white noise.
    """

    start_s: FloatArray
    speed_mps: FloatArray
    weight: FloatArray
    across: FloatArray
    along: FloatArray
    across_rate: FloatArray
    along_rate: FloatArray
    freedom: float

    def __len__(self) -> int:
        return len(self.start_s)

    @property
    def mean_speed_mps(self) -> FloatArray:
        """Mean speed of each window, as the filter weighs it. [m/s]"""
        return self.speed_mps @ self.weight

    @property
    def mean_square_mps2(self) -> FloatArray:
        """Mean square of the speed of each window, weighed likewise. [m²/s²]"""
        result: FloatArray = self.speed_mps**2 @ self.weight
        return result


@dataclass(frozen=True)
class RawStretch:
    """One unbroken stretch of fixes; arrays of shape (m,), evenly spaced in time.

    time_s : [s]
    seen : shape (m, 2), east and north: reported velocity, or position. [m/s] or [m]
    filled : 1 where no fix was and the value is interpolated, else 0.
    speed_mps, course_rad : of the smoothed motion, the course not wrapped.
    straight : fast enough, away from turns and from what is left out, and from the ends.
    """

    time_s: FloatArray
    seen: FloatArray
    filled: FloatArray
    speed_mps: FloatArray
    course_rad: FloatArray
    straight: BoolArray

    def passed(self, kernel: FloatArray) -> list[FloatArray]:
        """Return what a filter passes of what was seen, east and north."""
        return [np.convolve(seen, kernel, "same") for seen in self.seen.T]


def top_of_band_hz(rate_hz: float) -> float:
    """Return the upper edge of the band that a log of this rate can see. [Hz]"""
    return min(HIGH_HZ, _TOP_SHARE * rate_hz)


def seconds_in_band(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> Seconds:
    """Return what every usable second of straight riding holds in the band of weave.

    Of a log of 5 Hz or more, without what is excluded, such as reverse travel.
    """
    order = 0 if motion.speed_source == "reported" else 1
    step = 1.0 / motion.rate_hz
    top = top_of_band_hz(motion.rate_hz)
    filters = [filter_of(motion.rate_hz, LOW_HZ, top, order + extra) for extra in (0, 1)]
    reach = len(filters[0]) // 2
    per_window = max(2, round(WINDOW_S / step))
    span = per_window + 2 * reach
    nodes = np.unique(np.linspace(0, span, _NODES + 1).round().astype(np.int64)[:-1])
    sizes = np.diff(np.append(nodes, span))
    # What happens at a time shows in the mean square by the square of the response to it.
    weight = np.add.reduceat(np.convolve(filters[0] ** 2, np.ones(per_window)), nodes)
    weight /= weight.sum()
    parts: list[tuple[FloatArray, ...]] = []
    for stretch in raw_stretches(motion, reach, excluded):
        even = np.ones(2 * reach + 1) / (2 * reach + 1)
        good = stretch.straight & (np.convolve(stretch.filled, even, "same") <= _MOST_FILLED)
        sine, cosine = np.sin(stretch.course_rad), np.cos(stretch.course_rad)
        powers = []
        for kernel in filters:
            east, north = stretch.passed(kernel)
            powers += [(east * cosine - north * sine) ** 2, (east * sine + north * cosine) ** 2]
        for first, stop in runs_of(good):
            count = (stop - first) // per_window
            # In the middle of the run, so that both ends keep the same distance from it.
            begin = first + (stop - first - count * per_window) // 2
            begins = begin + per_window * np.arange(count)
            whole = begins[:, None] + np.arange(per_window)
            kept = stretch.filled[whole].mean(axis=1) <= _MOST_FILLED
            around = stretch.speed_mps[begins[:, None] - reach + np.arange(span)]
            parts.append(
                (
                    stretch.time_s[begins][kept],
                    (np.add.reduceat(around, nodes, axis=1) / sizes)[kept],
                    *(power[whole].mean(axis=1)[kept] for power in powers),
                )
            )
    freedom = degrees_of_freedom(filters[0], per_window)
    if not parts:
        none = np.zeros(0)
        return Seconds(none, np.zeros((0, len(nodes))), weight, none, none, none, none, freedom)
    start_s, speeds, across, along, across_rate, along_rate = map(
        np.concatenate, zip(*parts, strict=True)
    )
    return Seconds(start_s, speeds, weight, across, along, across_rate, along_rate, freedom)


def raw_stretches(motion: Motion, reach: int, excluded: tuple[Span, ...]) -> list[RawStretch]:
    """Return the stretches ridden at more than a crawl, from the fixes that are believed.

    Velocities where the log reports speed, else positions. Fixes that the filter rejected are
    missing ones; up to three in a row are filled in. Straights keep so many fixes' ``reach`` of a
    filter from the ends of a stretch.
    """
    reported = motion.speed_source == "reported"
    step = 1.0 / motion.rate_hz
    track = motion.track
    rows = motion.known_rows[np.isfinite(motion.course_rad[motion.known_rows])]
    if reported:
        speed, course = track.speed_mps[rows], track.course_rad[rows]
        seen = np.stack([speed * np.sin(course), speed * np.cos(course)], axis=1)
    else:
        place = track.latitude_deg[rows], track.longitude_deg[rows]
        seen = np.stack(to_local(*place, *motion.origin_deg), axis=1)
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
        if len(grid) <= 2 * reach:
            continue
        # A fix for a place of the grid is one within half a step of it.
        near = inner[np.minimum(np.searchsorted(inner, grid - 0.5 * step), len(inner) - 1)]
        speed = np.interp(grid, inner, motion.speed_mps[rows[part]])
        course = np.interp(grid, inner, np.unwrap(motion.course_rad[rows[part]]))
        straight = _straight(grid, speed, course, step, excluded)
        straight[:reach] = straight[-reach:] = False
        even = np.stack([np.interp(grid, inner, seen[part, axis]) for axis in (0, 1)], axis=1)
        filled = (np.abs(near - grid) > 0.5 * step).astype(np.float64)
        found.append(RawStretch(grid, even, filled, speed, course, straight))
    return found


def _straight(
    time_s: FloatArray,
    speed_mps: FloatArray,
    course_rad: FloatArray,
    step_s: float,
    excluded: tuple[Span, ...],
) -> BoolArray:
    """Return where it is fast enough and away from turns and from what is left out."""
    around = max(1, round(_AROUND_S / step_s))
    if len(time_s) <= 2 * around:
        return np.zeros(len(time_s), dtype=bool)
    swing = np.full(len(time_s), np.inf)
    swing[around:-around] = np.abs(course_rad[2 * around :] - course_rad[: -2 * around])
    turning = swing / (2.0 * around * step_s) >= _TURN_RADPS
    straight: BoolArray = np.convolve(turning, np.ones(2 * around + 1), "same") < 0.5
    straight &= speed_mps > _LEAST_SPEED_MPS
    for start, end in excluded:
        straight &= (time_s < start - _AROUND_S) | (time_s > end + _AROUND_S)
    return straight


def filter_of(rate_hz: float, low_hz: float, high_hz: float, derivative: int = 0) -> FloatArray:
    """Return a filter that passes a band, shape (2 x round(_REACH_S rate_hz) + 1,), for convolve.

    Least squares over frequency: one in the band, nothing outside it, free over the edges, every
    error relative to what the derivative (0, 1 or 2) does to that frequency. Below the band errors
    count four times, and more the slower they are, since a ride's slow motion is large. The edges
    are given by their middles, ``low_hz`` 0 for all that is slower than the other.
    """
    reach = round(_REACH_S * rate_hz)
    time_s = np.arange(reach + 1) / rate_hz
    frequency = np.linspace(0.01, 0.5 * rate_hz, 1200)
    below = frequency < low_hz - _EDGE_HZ
    inside = frequency < high_hz - _EDGE_HZ
    if low_hz > 0.0:
        inside &= frequency > low_hz + _EDGE_HZ
    asked = below | inside | (frequency > high_hz + _EDGE_HZ)
    weight = np.where(below, _STOP_WEIGHT * low_hz / frequency, 1.0)[asked]
    # A filter that passes the slowest motion must do so in absolute terms.
    weight /= (2.0 * np.pi * np.maximum(frequency[asked], 0.0 if low_hz else 0.1)) ** derivative
    wanted = np.where(inside, (2.0 * np.pi * frequency) ** derivative, 0.0)[asked]
    phase = 2.0 * np.pi * np.outer(frequency[asked], time_s)
    # An odd derivative is an odd filter; i and i squared give the signs.
    odd = derivative % 2 == 1
    basis = 2.0 * (-np.sin(phase) if odd else np.cos(phase))
    basis[:, 0] = 0.0 if odd else 1.0
    sign = -1.0 if derivative == 2 else 1.0
    half, *_ = np.linalg.lstsq(basis * weight[:, None], sign * wanted * weight, rcond=None)
    mirror = -half[:0:-1] if odd else half[:0:-1]
    kernel: FloatArray = np.concatenate([mirror, half])
    return kernel


def degrees_of_freedom(kernel: FloatArray, count: int) -> float:
    """Return the degrees of freedom of a mean square over ``count`` samples of filtered noise."""
    whole = np.correlate(kernel, kernel, "full")
    alike = whole[len(kernel) - 1 :][:count] / whole[len(kernel) - 1]
    pairs = count - np.arange(len(alike))
    return count**2 / (count + 2.0 * float(np.sum(pairs[1:] * alike[1:] ** 2)))
