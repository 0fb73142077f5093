"""Sideways and lengthways motion in the band of weave, second by second, from the log's own fixes.

The smoothed motion must not be asked: a smoother takes a fast wobble for noise, and how much of it
is left depends on how lively the ride is. So the velocities (or positions) that the log itself
reports are filtered into the band, and split along the smoothed course, which only has to be right
to a few degrees for that.

Source
------
Band: Appl. Sci. 2021, 11(16), 7393 (weave of two-wheelers usually below 4-5 Hz); a hand steers
below 0.7 Hz or so (from memory: 0.2-2 Hz at most). Upper edge: below half the rate of the fixes.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.handling.turns import runs_of
from ridelog.filtering.motion import Motion
from ridelog.flags import Flag
from ridelog.geodesy import to_local
from ridelog.track import BoolArray, FloatArray

LOW_HZ, HIGH_HZ = 0.8, 3.0
# The upper edge keeps this share of the rate: the filter has to fall before half of it.
_TOP_SHARE = 0.44
# Half length of the filter, half width of its edges, and how much more errors below the band count.
_REACH_S, _EDGE_HZ, _STOP_WEIGHT = 2.6, 0.15, 4.0
WINDOW_S = 1.0
# Slower than this a course is too rough; faster swings than this are turns, not a straight.
_LEAST_SPEED_MPS, _TURN_RADPS, _AROUND_S = 2.0, 0.35, 0.8
# Of the fixes of a window, and of those that its filter sees, this share may be filled in.
_MOST_FILLED = 0.15
# Holes of up to this many missing fixes are filled in.
_LONGEST_FILL = 3
# Speeds kept of every window, to tell how much of it lay above an onset.
SAMPLES = 5


@dataclass(frozen=True)
class Seconds:
    """Windows of one second on straights; arrays of shape (k,), or (k, SAMPLES) for speed.

    start_s : [s]
    speed_mps : smoothed speed at instants through the window. [m/s]
    across, along : mean square of the velocity in band. [m²/s²]
    across_rate, along_rate : mean square of its rate of change. [m²/s⁴]
    freedom : degrees of freedom of a window's mean square of white noise.
    """

    start_s: FloatArray
    speed_mps: FloatArray
    across: FloatArray
    along: FloatArray
    across_rate: FloatArray
    along_rate: FloatArray
    freedom: float

    def __len__(self) -> int:
        return len(self.start_s)


def top_of_band_hz(rate_hz: float) -> float:
    """Return the upper edge of the band that a log of this rate can see. [Hz]"""
    return min(HIGH_HZ, _TOP_SHARE * rate_hz)


def seconds_in_band(motion: Motion, *, excluded: tuple[tuple[float, float], ...] = ()) -> Seconds:
    """Return what every usable second of straight riding holds in the band of weave.

    Parameters
    ----------
    motion : Motion
        The smoothed ride, at 5 Hz or more.
    excluded : tuple of (start_s, end_s)
        Stretches to leave out, such as reverse travel.
    """
    reported = motion.speed_source == "reported"
    order = 0 if reported else 1
    step = 1.0 / motion.rate_hz
    filters = [band_filter(motion.rate_hz, order + extra) for extra in (0, 1)]
    reach = len(filters[0]) // 2
    per_window = max(2, round(WINDOW_S / step))
    parts: list[tuple[FloatArray, ...]] = []
    for time_s, seen, filled, speed, course in _stretches(motion, step, reported):
        if len(time_s) < 2 * reach + per_window:
            continue
        sine, cosine = np.sin(course), np.cos(course)
        across, along = [], []
        for kernel in filters:
            east, north = (np.convolve(seen[:, axis], kernel, "same") for axis in (0, 1))
            across.append((east * cosine - north * sine) ** 2)
            along.append((east * sine + north * cosine) ** 2)
        whole = np.arange(len(time_s))
        inside = (whole >= reach) & (whole < len(time_s) - reach)
        around = max(1, round(_AROUND_S / step))
        swing = np.abs(course[2 * around :] - course[: -2 * around]) / (2 * around * step)
        straight = np.pad(swing, around, constant_values=np.inf) < _TURN_RADPS
        straight = _throughout(straight, around)
        good = inside & straight & (speed > _LEAST_SPEED_MPS)
        for start, end in excluded:
            good &= (time_s < start - _AROUND_S) | (time_s > end + _AROUND_S)
        share = np.convolve(filled, np.ones(2 * reach + 1) / (2 * reach + 1), "same")
        good &= share <= _MOST_FILLED
        for first, stop in runs_of(good):
            count = (stop - first) // per_window
            if not count:
                continue
            # In the middle of the run, so that both ends keep the same distance from it.
            begin = first + (stop - first - count * per_window) // 2
            block = slice(begin, begin + count * per_window)

            def mean(values: FloatArray, block: slice = block, count: int = count) -> FloatArray:
                result: FloatArray = values[block].reshape(count, per_window).mean(axis=1)
                return result

            kept = mean(filled) <= _MOST_FILLED
            picks = np.linspace(0, per_window - 1, SAMPLES).round().astype(np.int64)
            parts.append(
                tuple(
                    values[kept]
                    for values in (
                        time_s[block][::per_window],
                        speed[block].reshape(count, per_window)[:, picks],
                        mean(across[0]),
                        mean(along[0]),
                        mean(across[1]),
                        mean(along[1]),
                    )
                )
            )
    freedom = _freedom(filters[0] if reported else band_filter(motion.rate_hz, 1), per_window)
    if not parts:
        none = np.zeros(0)
        return Seconds(none, np.zeros((0, SAMPLES)), none, none, none, none, freedom)
    return Seconds(*(np.concatenate(column) for column in zip(*parts, strict=True)), freedom)


def band_filter(rate_hz: float, derivative: int) -> FloatArray:
    """Return a band-pass of linear phase, or one that also differentiates, for ``np.convolve``.

    Least squares over frequency: one in the band, nothing outside it, free over the edges, every
    error relative to what the derivative does to that frequency. Below the band errors count
    _STOP_WEIGHT times, and more the slower they are, since a ride's slow motion is large.

    Parameters
    ----------
    rate_hz : float
        Fixes a second. [Hz]
    derivative : int
        0, 1 or 2: units of the result are those of the input by second to this power.
    """
    reach = round(_REACH_S * rate_hz)
    time_s = np.arange(reach + 1) / rate_hz
    top = top_of_band_hz(rate_hz)
    frequency = np.linspace(0.01, 0.5 * rate_hz, 1200)
    below = frequency < LOW_HZ - _EDGE_HZ
    inside = (frequency > LOW_HZ + _EDGE_HZ) & (frequency < top - _EDGE_HZ)
    asked = below | inside | (frequency > top + _EDGE_HZ)
    weight = np.where(below, _STOP_WEIGHT * LOW_HZ / frequency, 1.0)[asked]
    weight = weight / (2.0 * np.pi * frequency[asked]) ** derivative
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


def _freedom(kernel: FloatArray, count: int) -> float:
    """Return the degrees of freedom of a mean square over ``count`` samples of filtered noise."""
    whole = np.correlate(kernel, kernel, "full")
    alike = whole[len(kernel) - 1 :][:count] / whole[len(kernel) - 1]
    pairs = count - np.arange(len(alike))
    total = count + 2.0 * float(np.sum(pairs[1:] * alike[1:] ** 2))
    return count**2 / total


def _throughout(mask: BoolArray, around: int) -> BoolArray:
    """Return where a mask holds from ``around`` samples before to as many after."""
    total = np.concatenate([[0], np.cumsum(~mask)])
    index = np.arange(len(mask))
    result: BoolArray = (
        total[np.minimum(index + around + 1, len(mask))] - total[np.maximum(index - around, 0)]
    ) == 0
    return result


def _stretches(
    motion: Motion, step: float, reported: bool
) -> list[tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]]:
    """Return time, vectors seen, what is filled in, speed and course of each unbroken stretch.

    All on an even grid; vectors have shape (m, 2), east and north.
    """
    lost = Flag.SPEED_JUMP if reported else Flag.JUMP
    rows = np.flatnonzero(motion.used & np.isfinite(motion.speed_mps))
    rows = rows[np.argsort(motion.track.time_s[rows], kind="stable")]
    track = motion.track
    if reported:
        speed, course = track.speed_mps[rows], track.course_rad[rows]
        seen = np.stack([speed * np.sin(course), speed * np.cos(course)], axis=1)
    else:
        seen = np.stack(
            to_local(track.latitude_deg[rows], track.longitude_deg[rows], *motion.origin_deg),
            axis=1,
        )
    time_s = track.time_s[rows]
    fitted_course = motion.course_rad[rows]
    good = (
        np.isfinite(seen).all(axis=1)
        & ((motion.flags[rows] & np.uint32(lost)) == 0)
        & np.isfinite(fitted_course)
        & (motion.speed_mps[rows] > 0.5 * _LEAST_SPEED_MPS)
        & (time_s >= motion.settled_s)
    )
    time_s, seen, rows = time_s[good], seen[good], rows[good]
    fitted_course = fitted_course[good]
    found = []
    for first, stop in runs_of(np.diff(time_s) <= (_LONGEST_FILL + 1.5) * step):
        part = slice(first, stop + 1)
        inner = time_s[part]
        grid = np.arange(inner[0], inner[-1] + 0.25 * step, step)
        nearest = np.abs(
            inner[np.clip(np.searchsorted(inner, grid - 0.5 * step), 0, len(inner) - 1)] - grid
        )
        found.append(
            (
                grid,
                np.stack([np.interp(grid, inner, seen[part][:, axis]) for axis in (0, 1)], axis=1),
                (nearest > 0.5 * step).astype(np.float64),
                np.interp(grid, inner, motion.speed_mps[rows[part]]),
                np.interp(grid, inner, np.unwrap(fitted_course[part])),
            )
        )
    return found
