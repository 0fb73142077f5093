"""From the motion of a ride to what it tells of the machine: pulls, rolling out, top speed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.acceleration.runs import find_runs
from ridelog.analysis.launches.measure import Launches
from ridelog.analysis.launches.windows import Window
from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.standing_start.paths import UNSEEN_START_S
from ridelog.machine.curves import Passage, mean_curve, passage
from ridelog.machine.evidence import Curve, NearTop

_SPACING_S = 0.1
# The grid of speeds: steps of about this, at most so many.
_STEP_MPS, _MOST_STEPS = 0.5, 24
# A pull counts as full throttle if it gains this share of what the best pull of its direction gains
# in the same range of speeds, and at least the second share of what the best of all gains; riders
# differ by less from start to start. Common practice, no source.
_FULL_SHARE, _OPPOSITE_SHARE = 0.88, 0.6
_RANGE = (0.25, 0.55)
# Below this speed the throttle may still be opening.
_OPEN_MPS = 1.0
# A pull is read up to so near its own highest speed: beyond, the rider may have eased off.
_EASED_SHARE, _EASED_MPS = 0.07, 0.5
# What rolling out can reach (as for braking: 0.5 m/s² and 0.0042 v²), and how long it must last.
_ROLLING_MPS2, _AIR_PM, _ROLLING_S, _ROLLING_GAIN_MPS = 0.5, 0.0042, 2.5, 1.0
_TRIM_S = 0.6
# A stretch that slows less than this share of the strongest of its direction had some drive left.
_UNDRIVEN_SHARE = 0.75
# Wind and slope on a top speed of one direction alone, as a share of it: 1.2 m/s of wind and
# 0.2 % of slope move the balance of a small machine by about as much. Common practice, no source.
_ONE_WAY_SHARE = 0.02
# The mean of two directions lies below the speed in still air when wind or slope let another limit
# take over in one of them: up to this share of half their difference, usually (own simulation).
_UNEVEN = 0.15

# The last of a run at the top that is looked at. [s]
_LAST_S, _LEAST_LAST_S = 2.5, 2.0
# How well one start is known at best beside what all share. [s]
_LEAST_START_S = 0.02
# The standing start that shows how the throttle is opened: short, so that little else counts.
START_WINDOW = Window("0-2 m/s", 0.0, 2.0, None)


@dataclass(frozen=True)
class _Fitted:
    time_s: FloatArray
    speed_mps: FloatArray


def pull_of(motion: Motion, *, excluded: Sequence[Span] = ()) -> Curve | None:
    """Return the acceleration at full throttle over speed, None if the ride has no such pull.

    Standing starts that gain nearly as much as the best of them count as full throttle.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : sequence of (start_s, end_s)
        Stretches that may not carry it, such as reverse travel.
    """
    runs = [run for run in find_runs(motion, excluded=tuple(excluded)) if run.standing]
    if not runs:
        return None
    best = max(run.top_mps for run in runs)
    runs = [run for run in runs if run.top_mps > 0.6 * best]
    grid = _grid(_OPEN_MPS, (1.0 - _EASED_SHARE) * best)
    if len(grid) < 4:
        return None
    passages = []
    for run in runs:
        one = passage(motion, (run.earliest_s, run.top_s), grid, rising=True)
        eased = run.top_mps - max(_EASED_MPS, _EASED_SHARE * run.top_mps)
        one.rate_mps2[grid[1:] > eased] = np.nan
        passages.append(one)
    inside = (grid[1:] > _RANGE[0] * best) & (grid[:-1] < _RANGE[1] * best)
    strength = np.array([np.mean(one.rate_mps2[inside, 0]) for one in passages])
    strength = np.nan_to_num(strength, nan=0.0)
    # Only among one direction: wind and slope part the two by as much as a gentle hand would.
    turned = [one.course_rad for one in passages]
    full = np.array(
        [
            value > _FULL_SHARE * np.max(strength[np.cos(np.array(turned) - course) > 0.0])
            and value > _OPPOSITE_SHARE * np.max(strength)
            for value, course in zip(strength, turned, strict=True)
        ]
    )
    return mean_curve([one for one, taken in zip(passages, full, strict=True) if taken], grid)


def rolling_of(motion: Motion, *, excluded: Sequence[Span] = ()) -> Curve | None:
    """Return the deceleration without drive over speed, None if the ride never rolled out."""
    found = [slow for piece in _pieces(motion) for slow in _slows(piece, motion)]
    found = [slow for slow in found if not _touches(slow, excluded)]
    if not found:
        return None
    tops = [float(np.max(_speeds(motion, stretch))) for stretch in found]
    lows = [float(np.min(_speeds(motion, stretch))) for stretch in found]
    grid = _grid(max(min(lows), 1.0), max(tops))[::-1]
    if len(grid) < 3:
        return None
    passages = [passage(motion, stretch, grid, rising=False) for stretch in found]
    return mean_curve([one for one in passages if _undriven(one, passages)], grid)


def _undriven(one: Passage, passages: Sequence[Passage]) -> bool:
    """Return whether a stretch slows down about as fast as the strongest of its direction.

    Only its direction: wind and slope part the two directions by as much as some drive would.
    """
    alike = [other for other in passages if np.cos(other.course_rad - one.course_rad) > 0.0]
    rates = [np.nan_to_num(other.rate_mps2[:, 0], nan=1e-9) for other in alike]
    share = one.rate_mps2[:, 0] / np.max(rates, axis=0)
    seen = share[np.isfinite(share)]
    return len(seen) >= 2 and float(np.median(seen)) > _UNDRIVEN_SHARE


def start_of(launches: Launches) -> tuple[float, float, float] | None:
    """Return speed, mean time and its own standard deviation of the hard standing starts, or None.

    Only starts that reach most of the best one's speed count, and of those the mean over what is
    usual: a rider who dawdles once has not opened the throttle slowly.

    Parameters
    ----------
    launches : Launches
        Timed over ``START_WINDOW``.
    """
    best = max((one.top_mps for one in launches.launches), default=0.0)
    times = [
        one.windows[0].time_s
        for one in launches.launches
        if one.top_mps > 0.6 * best and one.windows[0].time_s is not None
    ]
    if not times:
        return None
    value = np.array([one.value for one in times])
    sd = np.array([one.sd for one in times])
    quick = value <= 1.3 * value.min()
    value, sd = value[quick], sd[quick]
    # The part that all starts share is counted once, by the fit.
    own = float(np.sqrt(np.sum(np.maximum(sd**2 - UNSEEN_START_S**2, _LEAST_START_S**2)))) / len(sd)
    scatter = float(np.std(value, ddof=1)) / np.sqrt(len(value)) if len(value) > 1 else 0.0
    assert START_WINDOW.to_mps is not None
    return START_WINDOW.to_mps, float(value.mean()), max(own, scatter)


def top_of(top: TopSpeed) -> tuple[float, float] | None:
    """Return the top speed and the standard deviation of its error, None without one. [m/s]

    The mean of two directions if there is one, else the best five seconds or the best second of
    one direction, with what wind and slope may have done to it.
    """
    if top.two_way_mps is not None:
        speeds = [run.speed_mps.value for run in top.two_way_runs]
        apart = 0.5 * (max(speeds) - min(speeds)) if speeds else 0.0
        return top.two_way_mps.value, float(np.hypot(top.two_way_mps.sd, _UNEVEN * apart))
    alone = top.best_5s_mps or top.best_1s_mps
    if alone is None or alone.value < 1.0:
        return None
    return alone.value, float(np.hypot(alone.sd, _ONE_WAY_SHARE * alone.value))


def near_top_of(motion: Motion, top: TopSpeed) -> tuple[NearTop, ...]:
    """Return the last seconds before the end of the best second, in both directions if there are.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    top : TopSpeed
        Its top speed.
    """
    if top_of(top) is None:
        return ()
    ends = [run.end_s for run in top.two_way_runs]
    if top.two_way_mps is None or len(ends) != 2:
        ends = [top.at_s + 1.0] if top.best_1s_mps is not None else []
    found = []
    for end_s in ends:
        # A gap just before the best second leaves too little to see a trend in.
        inside = [p for p in motion.pieces if p.start_s <= end_s - _LEAST_LAST_S < p.end_s]
        if not inside or end_s > inside[0].end_s + _SPACING_S:
            continue
        paths = motion.paths(max(end_s - _LAST_S, inside[0].start_s), end_s, spacing_s=_SPACING_S)
        speed = paths.speed_mps
        # Slope of a straight line through all instants: the ends alone are noisier.
        weight = paths.time_s - paths.time_s.mean()
        slope = weight @ speed / float(weight @ weight)
        mean = speed.mean(axis=0)
        found.append(NearTop(*_value_and_sd(mean), *_value_and_sd(slope)))
    return tuple(found)


def _value_and_sd(columns: FloatArray) -> tuple[float, float]:
    """Return a figure freed from bias, as in ``analysis.interval``, and the spread of its error."""
    draws = (len(columns) - 1) // 2
    value = 2.0 * float(columns[0]) - float(columns[1 : 1 + draws].mean())
    return value, float(columns[1 + draws :].std())


def _grid(low_mps: float, high_mps: float) -> FloatArray:
    steps = int(np.clip(np.floor((high_mps - low_mps) / _STEP_MPS), 0, _MOST_STEPS))
    return np.linspace(low_mps, high_mps, steps + 1) if steps else np.zeros(0)


def _pieces(motion: Motion) -> list[_Fitted]:
    found = []
    for piece in motion.pieces:
        if piece.end_s - piece.start_s < 2.0 or not piece.end_s > motion.settled_s:
            continue
        paths = motion.paths(
            max(piece.start_s, motion.settled_s), piece.end_s, draws=0, spacing_s=_SPACING_S
        )
        found.append(_Fitted(paths.time_s, paths.speed_mps[:, 0]))
    return found


def _slows(path: _Fitted, motion: Motion) -> list[Span]:
    """Return stretches that slow down no harder than rolling out can."""
    speed, time_s = path.speed_mps, path.time_s
    width = max(round(0.6 / _SPACING_S), round(1.0 / motion.rate_hz / _SPACING_S), 1)
    if len(speed) <= 2 * width:
        return []
    rate = np.zeros_like(speed)
    rate[width:-width] = (speed[2 * width :] - speed[: -2 * width]) / (2 * width * _SPACING_S)
    rolling = (
        (speed > _OPEN_MPS) & (rate < -0.05) & (rate > -(_ROLLING_MPS2 + _AIR_PM * speed**2) - 0.15)
    )
    found = []
    for first, stop in runs_of(rolling):
        start_s, end_s = float(time_s[first]) + _TRIM_S, float(time_s[stop - 1]) - _TRIM_S
        inside = (time_s >= start_s) & (time_s <= end_s)
        if end_s - start_s < _ROLLING_S:
            continue
        if float(speed[inside][0] - speed[inside][-1]) >= _ROLLING_GAIN_MPS:
            found.append((start_s, end_s))
    return found


def _speeds(motion: Motion, stretch: Span) -> FloatArray:
    return motion.paths(*stretch, draws=0, spacing_s=_SPACING_S).speed_mps[:, 0]


def _touches(stretch: Span, excluded: Sequence[Span]) -> bool:
    return any(stretch[0] < last and stretch[1] > first for first, last in excluded)
