"""Gross errors found before the model sees them: jumps, excursions, steps and slews of position.

A receiver's position may leap tens of metres and come back, step for good, or slide away for
seconds while its Doppler speed stays true. The first are left out; where the position has moved
for good, the model is told that its position may have stepped there.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.observations import Observations
from ridelog.filtering.shared_offsets import HARDEST_MPS2, find_shared_offsets

# Robust standard deviations beyond which a step is gross, derived: exp(-6^2 / 2), one in 10^8 of
# normal noise of two axes. So rare is own choice: it leaves room for the tails of real receivers.
_GROSS = 6.0
# An excursion is at most this long; a longer one counts as two steps. Own choice: the fixes of an
# excursion are left out, so that a longer one would take too much of a ride.
_LONGEST_EXCURSION_S = 15.0
# So few fixes between a leap and the edge of a piece tell nothing worth a step: own choice, the
# same as a piece must have.
_FEW_FIXES = 4
# Fewer readings show no usual scatter: the same as go into a median.
_FEW_READINGS = 5
# A slide of the position against the reported velocity, held over a second, that no receiver's
# usual drift (below 0.1 m/s) explains: own choice, slower slides are left to the drift.
_SLEW_MPS = 1.5
# Median length of an error of two axes over its standard deviation on one, sqrt(2 ln 2): exact, of
# Rayleigh's distribution.
_RAYLEIGH_MEDIAN = 1.1774
# The same of what an error departs from the median of itself and four others, which is itself one
# time in five: measured on 400,000 simulated normal errors, to half a percent.
_OFF_FIVE_MEDIAN = 1.007
# Readings around a spike agree to within this share of it: own choice.
_LEVEL_SHARE = 0.25


@dataclass(frozen=True)
class Screened:
    """Which observations to leave out, and where the position may step.

    good_position, good_velocity : shape (m,); a believed crawl is a good velocity.
    steps : shape (m - 1,).
    excursions : fixes of leaps that came back, shape (m,); they are no good positions.
    leaps : intervals of leaps that did not, shape (m - 1,), at an edge of a piece too.
    """

    good_position: BoolArray
    good_velocity: BoolArray
    steps: BoolArray
    excursions: BoolArray
    leaps: BoolArray


def screen(seen: Observations) -> Screened:
    """Return the gross errors of a ride's observations."""
    m = len(seen.time_s)
    good_velocity = _good_velocities(seen)
    interval = np.diff(seen.time_s)
    moved = moved_aside(seen, good_velocity)[1]
    size = np.hypot(moved[:, 0], moved[:, 1])
    usual = float(np.median(size[~seen.breaks])) / _RAYLEIGH_MEDIAN if (~seen.breaks).any() else 0.0
    reported = np.isfinite(seen.velocity_mps[:, 0]).any()
    lag_s = interval if reported else np.maximum(2.0 * interval, 0.75)
    allowed = (
        _GROSS * max(usual, 0.02) * np.maximum(seen.factor[1:], 1.0)
        + 0.5 * HARDEST_MPS2 * lag_s * interval
        + 1.5 * seen.position_step_m
    )
    excursions, leaps = _sort_leaps(seen, moved, allowed, np.flatnonzero(size > allowed))
    good_position = ~excursions
    steps = np.zeros(m - 1, dtype=bool)
    _steps_and_edges(seen, leaps, good_position, steps)
    if reported:
        _mark_slews(seen, moved, good_position, steps)
    else:
        shared = find_shared_offsets(seen, good_position)
        good_position &= ~shared
        # What came back needs no step.
        steps &= ~(shared[1:] | shared[:-1])
    return Screened(good_position, good_velocity, steps, excursions, leaps)


def _good_velocities(seen: Observations) -> BoolArray:
    """Return where a reported velocity, or crawl, agrees with the median of its neighbours."""
    known = np.isfinite(seen.velocity_mps[:, 0]) | seen.crawl
    good = known.copy()
    moving = np.isfinite(seen.velocity_mps[known, 0])
    if known.sum() < _FEW_READINGS or not moving.any():
        return good
    # In a log that hardly moves, what its readings at rest scatter by is all there is to go by.
    if moving.sum() < _FEW_READINGS:
        moving = np.ones(len(moving), dtype=bool)
    # A spike may read zero as well as any other speed.
    velocity = np.nan_to_num(seen.velocity_mps[known])
    around = np.stack([_median_of_five(velocity[:, axis]) for axis in (0, 1)], axis=1)
    off = np.hypot(*(velocity - around).T)
    spread = float(np.median(off[moving])) / _OFF_FIVE_MEDIAN
    spacing = np.gradient(seen.time_s)[known]
    reach = 2.0 * spacing
    lone = off > _GROSS * max(spread, 0.1)
    gross = off > _GROSS * max(spread, 0.1) + HARDEST_MPS2 * np.maximum(reach, 0.3)
    # At a fix a second the machine itself may change as much as a spike does: there the chord
    # between the fixes before and after decides.
    chord, within = _chord_velocity(seen)
    chord, within = chord[known], within[known]
    apart = np.hypot(*(velocity - chord).T)
    apart_moving = apart[moving & np.isfinite(apart)]
    usual = float(np.median(apart_moving)) / _RAYLEIGH_MEDIAN if len(apart_moving) else np.inf
    with np.errstate(invalid="ignore"):
        against = apart > _GROSS * usual + within
    level = _off_a_level(np.hypot(*velocity.T), max(_GROSS * 0.1, 1.5 * seen.speed_step_mps))
    good[known] = ~(gross | (lone & against) | level)
    return good


def _median_of_five(values: FloatArray) -> FloatArray:
    """Return the median of each value and two neighbours on either side, mirrored at the ends."""
    wider = np.pad(values, 2, mode="reflect")
    fives = np.stack([wider[shift : shift + len(values)] for shift in range(5)], axis=1)
    median: FloatArray = np.partition(fives, 2, axis=1)[:, 2]
    return median


def _off_a_level(speed: FloatArray, least_mps: float) -> BoolArray:
    """Return where the two readings on either side agree with each other as the middle does not.

    A machine that peaks climbs and falls over several readings; one that leaves a level for a
    single reading and is back on it was misread. Needs no position.
    """
    level = np.zeros(len(speed), dtype=bool)
    four = np.stack([speed[:-4], speed[1:-3], speed[3:-1], speed[4:]])
    off = np.abs(speed[2:-2] - four.mean(axis=0))
    level[2:-2] = (off > least_mps) & (np.ptp(four, axis=0) < _LEVEL_SHARE * off)
    return level


def _chord_velocity(seen: Observations) -> tuple[FloatArray, FloatArray]:
    """Return the mean velocity around each fix, shape (m, 2), and how far it may be off, (m,).

    From the fix before to the fix after; at an edge of a piece from or to the fix itself, where
    braking or pulling evenly puts its velocity half the change away. NaN for a lone fix.
    """
    joined = ~seen.breaks
    before, after = np.append(False, joined), np.append(joined, False)
    place = np.arange(len(seen.time_s))
    first, last = place - before, place + after
    span = np.where(last > first, seen.time_s[last] - seen.time_s[first], np.nan)
    chord: FloatArray = (seen.position_m[last] - seen.position_m[first]) / span[:, None]
    return chord, np.where(before & after, 0.125, 0.5) * HARDEST_MPS2 * span


def moved_aside(seen: Observations, good: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Return the velocity at each fix and how far positions moved beyond it in each interval.

    Velocities that are not good are filled from their neighbours; of a log without any, from the
    positions around. Shapes (m, 2) and (m - 1, 2), 0 across breaks. [m/s], [m]
    """
    velocity, carried = _carried(seen, good, np.diff(seen.time_s))
    moved = np.diff(seen.position_m, axis=0) - carried
    moved[seen.breaks] = 0.0
    return velocity, moved


def _carried(
    seen: Observations, good: BoolArray, interval: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return velocities, (m, 2), and how far the machine should have moved, (m - 1, 2)."""
    # A position held at a stand tells "slow" even where no speed is reported.
    if np.isfinite(seen.velocity_mps[good]).any():
        velocity = np.where(good[:, None], seen.velocity_mps, np.nan)
        velocity[seen.crawl & good] = 0.0
        known = np.isfinite(velocity[:, 0])
        filled = np.stack(
            [np.interp(seen.time_s, seen.time_s[known], velocity[known, axis]) for axis in (0, 1)],
            axis=1,
        )
        carried: FloatArray = 0.5 * (filled[1:] + filled[:-1]) * interval[:, None]
        return filled, carried
    # Loads slowly, and only logs of positions alone need it.
    from scipy.ndimage import median_filter

    rate = np.diff(seen.position_m, axis=0) / interval[:, None]
    width = 2 * max(2, round(0.75 / seen.usual_interval_s)) + 1
    smooth = np.stack([median_filter(rate[:, axis], width, mode="nearest") for axis in (0, 1)], 1)
    result: FloatArray = smooth * interval[:, None]
    return np.concatenate([smooth, smooth[-1:]]), result


def _sort_leaps(
    seen: Observations,
    moved: FloatArray,
    allowed: FloatArray,
    leaps: IntArray,
) -> tuple[BoolArray, BoolArray]:
    """Return the fixes of excursions that come back, (m,), and the leaps that stay, (m - 1,)."""
    away = np.zeros(len(seen.time_s), dtype=bool)
    staying = np.zeros(len(moved), dtype=bool)
    broken = np.concatenate([[0], np.cumsum(seen.breaks)])
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(moved, axis=0)])
    position = 0
    while position < len(leaps):
        leap = int(leaps[position])
        back = None
        for later in range(position + 1, min(position + 40, len(leaps))):
            landing = int(leaps[later])
            if seen.time_s[landing] - seen.time_s[leap] > _LONGEST_EXCURSION_S:
                break
            if broken[landing] > broken[leap]:
                break
            miss = np.hypot(*(total[landing + 1] - total[leap]))
            if miss <= 1.5 * max(allowed[leap], allowed[landing]):
                back = later
                break
        if back is None:
            staying[leap] = True
            position += 1
        else:
            away[leap + 1 : int(leaps[back]) + 1] = True
            position = back + 1
    return away, staying


def _steps_and_edges(
    seen: Observations, leaps: BoolArray, good: BoolArray, steps: BoolArray
) -> None:
    """Take leaps that do not come back as steps, or leave out a few fixes at an edge."""
    edges = np.flatnonzero(seen.breaks)
    starts = np.concatenate([[0], edges + 1])
    ends = np.append(edges, len(seen.time_s) - 1)
    for leap in np.flatnonzero(leaps):
        piece = int(np.searchsorted(edges, leap))
        first, last = int(starts[piece]), int(ends[piece])
        if last - leap <= _FEW_FIXES and leap + 1 - first > last - leap:
            good[leap + 1 : last + 1] = False
        elif leap + 1 - first <= _FEW_FIXES:
            good[first : leap + 1] = False
        else:
            steps[leap] = True


def _mark_slews(seen: Observations, moved: FloatArray, good: BoolArray, steps: BoolArray) -> None:
    """Leave out fixes that slide against the reported velocity for a second or more."""
    width = max(1, round(1.0 / seen.usual_interval_s))
    if len(moved) <= width:
        return
    kept = np.where((good[1:] & good[:-1])[:, None] & ~steps[:, None], moved, 0.0)
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(kept, axis=0)])
    slide = np.hypot(*(total[width:] - total[:-width]).T)
    span = seen.time_s[width:] - seen.time_s[:-width]
    step_noise = float(np.median(np.hypot(*kept.T))) / _RAYLEIGH_MEDIAN
    factor = np.maximum(seen.factor[width:], seen.factor[:-width])
    sliding = slide > _SLEW_MPS * span + _GROSS * step_noise * np.clip(factor, 1.0, 3.0)
    for first in np.flatnonzero(sliding):
        good[first + 1 : first + width] = False
        steps[first : first + width] = True
