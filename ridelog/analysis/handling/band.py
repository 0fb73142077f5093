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

from ridelog.analysis.handling.filters import degrees_of_freedom, filter_of
from ridelog.analysis.handling.raw import RawStretch, raw_stretches
from ridelog.core.spans import runs_of
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

LOW_HZ, HIGH_HZ = 0.8, 3.0
# The upper edge keeps this share of the rate: the filter has to fall before half of it.
_TOP_SHARE = 0.44
WINDOW_S = 1.0
# Of the fixes of a window, and of those that its filter sees, this share may be filled in.
_MOST_FILLED = 0.15
# The filter sees what goes on around a window too; speeds are kept for so many parts of that.
_NODES = 27


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
    for stretch in raw_stretches(motion, excluded=excluded):
        if len(stretch.time_s) < span:
            continue
        good = stretch.straight.copy()
        good[:reach] = good[-reach:] = False
        even = np.ones(2 * reach + 1) / (2 * reach + 1)
        good &= np.convolve(stretch.filled, even, "same") <= _MOST_FILLED
        powers = _powers(stretch, filters)
        for first, stop in runs_of(good):
            count = (stop - first) // per_window
            if not count:
                continue
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
    start_s, speeds, across, along, across_rate, along_rate = (
        np.concatenate(column) for column in zip(*parts, strict=True)
    )
    return Seconds(start_s, speeds, weight, across, along, across_rate, along_rate, freedom)


def _powers(stretch: RawStretch, filters: list[FloatArray]) -> list[FloatArray]:
    """Return the squares of what each filter passes, across and along the smoothed course."""
    sine, cosine = np.sin(stretch.course_rad), np.cos(stretch.course_rad)
    found = []
    for kernel in filters:
        east, north = (np.convolve(stretch.seen[:, axis], kernel, "same") for axis in (0, 1))
        found += [(east * cosine - north * sine) ** 2, (east * sine + north * cosine) ** 2]
    return found
