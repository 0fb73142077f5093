"""What a measured ride tells of its machine, as numbers with the covariance of their errors.

The subjects of the ride have found its starts, brakings, turns, top speed and coast-down; here
their records and draws are turned into what a model of the machine can be fitted to.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.acceleration.runs import RunDraws
from ridelog.analysis.coasting.measure import CoastDown
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.standing_start.paths import LOST_S, OPENING_SHARES
from ridelog.machine.passages import Curve, axis_of, curve_by_way, passage_of, way_of

# The grid of speeds: steps of about this, at most so many. Own choice: finer steps cost time and
# share more of their errors.
_STEP_MPS, _MOST_STEPS = 0.5, 24
# A start counts as full throttle if it gains this share of what the best start of its direction
# gains in the same range of speeds; riders differ by less from start to start. Common practice, no
# source.
_FULL_SHARE = 0.88
_RANGE = (0.25, 0.55)
# Starts that reach less of the best one's speed are let be: own choice, too short to be compared.
_LEAST_OF_BEST = 0.6
# Below this speed the throttle may still be opening: own choice.
_OPEN_MPS = 1.0
# A start is read up to so near its own highest speed: beyond, the rider may have eased
# off. Own choices.
_EASED_SHARE, _EASED_MPS = 0.07, 0.5
# Wind and slope on a top speed of one direction alone, as a share of it: 1.2 m/s of wind and
# 0.2 % of slope move the balance of a small machine by about as much. Common practice, no source.
ONE_WAY_SHARE = 0.02
# The mean of two directions lies below the speed in still air when wind or slope let another limit
# take over in one of them: up to this share of half their difference, usually (own simulation).
_UNEVEN = 0.15
# The last of a run at the top that is looked at, machine (7): own choice, a longer part has more of
# the way to the top in it, a shorter one no clear trend. [s]
_LAST_S, _LEAST_LAST_S, _SPACING_S = 2.5, 2.0, 0.1
# The standing start that shows the pull while the throttle may still be opening, METHOD.md (31):
# short, so that little else counts. Own choice.
START_MPS = 2.0
# How well one start is known at best beside what its opening hides: own choice. [s]
_LEAST_START_S = 0.02
# Starts this much slower than the quickest show a dawdling rider, not a throttle: own choice.
_QUICK = 1.3
# Hard stops: those that slow at least this share of the hardest one. Common practice, no source.
_HARD_SHARE = 0.7


@dataclass(frozen=True)
class NearTop:
    """Mean speed and acceleration over the last seconds at the top, with standard deviations.

    ``way`` is 1 along the ride's axis, -1 against it, 0 where slope and wind play no part.
    """

    speed_mps: float
    speed_sd_mps: float
    accel_mps2: float
    accel_sd_mps2: float
    way: float = 0.0


@dataclass(frozen=True)
class TimedStart:
    """Standing starts of one direction: speed, mean time to it from a throttle that opens at once.

    time_sd_s : standard deviation of that mean. [s]
    way : as of ``NearTop``.
    ramps : how likely a controller's ramp opened the throttle, and no hand.
    """

    speed_mps: float
    time_s: float
    time_sd_s: float
    way: float = 0.0
    ramps: float = float(OPENING_SHARES[1])


@dataclass(frozen=True)
class CalibrationData:
    """What one ride tells; whatever it does not tell is None.

    pull : acceleration at full throttle, direction by direction.
    coasting : deceleration without drive, likewise.
    top_mps : top speed that was held, mean of both directions where there are both, with the
        standard deviation of its error. [m/s]
    near_top : the last seconds at the top of one direction, or of two opposite ones; goes before
        ``top_mps``, since it allows for a run that had not quite settled, and for wind or slope
        that let another limit take over in one direction.
    starts : short standing starts of each direction, less what the opening throttle takes.
    axis_rad : the line of the strip; ``way`` is 1 along it, clockwise from north.
    place_deg : latitude and longitude, None if unknown.
    decel_mps2 : of hard stops, each with its interval.
    lateral_mps2 : largest lateral acceleration in a turn.
    """

    name: str
    pull: Curve | None = None
    coasting: Curve | None = None
    top_mps: tuple[float, float] | None = None
    near_top: tuple[NearTop, ...] = ()
    starts: tuple[TimedStart, ...] = ()
    decel_mps2: tuple[Estimate, ...] = ()
    lateral_mps2: Estimate | None = None
    axis_rad: float = 0.0
    place_deg: tuple[float, float] | None = None


def calibration_data_of(ride: MeasuredRide) -> CalibrationData:
    """Return what a ride tells of its machine.

    What touches travel that may have been in reverse tells nothing of a machine that pulls forward:
    such runs are dropped.
    """
    doubtful = ride["reverse"].possible_spans
    top = _forward_top(ride["top_speed"], doubtful)
    starts = [
        one
        for one in ride["launches"].drawn
        if one.run.standing and not _touches((one.run.earliest_s, one.run.top_s), doubtful)
    ]
    stops = [
        one.mean_decel_mps2
        for one in ride["braking"].stops
        if not _touches((one.start_s, one.end_s), doubtful)
    ]
    hardest = max((stop.value for stop in stops), default=0.0)
    runs = () if top is None else top.two_way_runs
    courses = [one.run.course_rad for one in starts] or [
        float(np.radians(run.course_deg)) for run in runs
    ]
    axis = axis_of(np.array(courses)) if courses else 0.0
    track = ride.motion.track
    return CalibrationData(
        name=ride.name,
        pull=pull_of(ride.motion, starts, axis),
        coasting=coasting_of(ride.motion, ride["coasting"], axis, doubtful),
        top_mps=None if top is None else top_of(top),
        near_top=() if top is None else near_top_of(ride.motion, top, axis),
        starts=starts_of(starts, axis),
        axis_rad=axis,
        place_deg=(float(track.latitude_deg[0]), float(track.longitude_deg[0])),
        decel_mps2=tuple(stop for stop in stops if stop.value >= _HARD_SHARE * hardest),
        lateral_mps2=ride["handling"].max_lateral_accel_mps2,
    )


def pull_of(motion: Motion, starts: Sequence[RunDraws], axis_rad: float) -> Curve | None:
    """Return the acceleration at full throttle over speed, None if no start tells it.

    The starts are those of the launches, but not their draws, which bind a whole start to one
    shape: with them fewer intervals of predicted times held (tests/suites/predict.py). The pull
    curve of the subject "acceleration" is not taken: it tells means over windows 1 m/s wide, which
    round off the bend where one limit hands over to the next, counts starts from 0.7 of the
    hardest, and does not tell speeds that one direction alone passed from those of both.

    Standing starts that gain nearly as much as the best count as full throttle.
    """
    best = max((one.run.top_mps for one in starts), default=0.0)
    starts = [one for one in starts if one.run.top_mps > _LEAST_OF_BEST * best]
    grid = _grid(_OPEN_MPS, (1.0 - _EASED_SHARE) * best)
    if len(grid) < 4:
        return None
    passages = []
    for start in starts:
        one = passage_of(motion, (start.run.earliest_s, start.run.top_s), grid)
        eased = start.run.top_mps - max(_EASED_MPS, _EASED_SHARE * start.run.top_mps)
        one.rate_mps2[grid[1:] > eased] = np.nan
        passages.append(one)
    inside = (grid[1:] > _RANGE[0] * best) & (grid[:-1] < _RANGE[1] * best)
    strength = np.array([np.mean(one.rate_mps2[inside, 0]) for one in passages])
    strength = np.nan_to_num(strength, nan=0.0)
    # Only among one direction: wind and slope part the two by as much as a gentle hand would.
    turned = np.array([one.course_rad for one in passages])
    full = [
        value > _FULL_SHARE * np.max(strength[np.cos(turned - course) > 0.0])
        for value, course in zip(strength, turned, strict=True)
    ]
    kept = [one for one, taken in zip(passages, full, strict=True) if taken]
    return curve_by_way(kept, grid, axis_rad)


def coasting_of(
    motion: Motion, coasting: CoastDown, axis_rad: float, doubtful: tuple[Span, ...] = ()
) -> Curve | None:
    """Return the deceleration without drive over speed, None if the machine never rolled freely.

    From the stretches themselves, since the fit of the subject has slope and wind taken out, which
    are wanted here.
    """
    kept = [one for one in coasting.coasts if not _touches((one.start_s, one.end_s), doubtful)]
    if not kept:
        return None
    grid = _grid(max(min(one.to_mps for one in kept), 1.0), max(one.from_mps for one in kept))
    if len(grid) < 3:
        return None
    passages = [passage_of(motion, (one.start_s, one.end_s), grid[::-1]) for one in kept]
    return curve_by_way(passages, grid[::-1], axis_rad)


def starts_of(starts: Sequence[RunDraws], axis_rad: float) -> tuple[TimedStart, ...]:
    """Return the hard standing starts of each direction, none where there are none.

    Only starts that reach most of the best one's speed count, and of those the mean over what is
    usual: a rider who dawdles once has not opened the throttle slowly. What the opening of each
    draw takes on average is taken off its time: METHOD.md, (31).
    """
    best = max((one.run.top_mps for one in starts), default=0.0)
    hard = [one for one in starts if one.run.top_mps > _LEAST_OF_BEST * best]
    goal = np.array([START_MPS])
    found = []
    for way in (1.0, -1.0):
        group = [one for one in hard if way_of(one.run.course_rad, axis_rad) == way]
        told = [(one, estimate_of_possible(one.passes(goal)[0] - one.start_s)) for one in group]
        timed = [(one, time) for one, time in told if time is not None]
        if not timed:
            continue
        value = np.array([time.value for _, time in timed])
        sd = np.array([time.sd for _, time in timed])
        alike = np.array([one.alike_s for one, _ in timed])
        ramps = float(np.mean([_ramped(one) for one, _ in timed]))
        quick = value <= _QUICK * value.min()
        value, sd, alike = value[quick], sd[quick], alike[quick]
        value = value - LOST_S[0] - ramps * (LOST_S[1] - LOST_S[0])
        # The part that every opening hides is the machine's own opening, not an error.
        own = np.maximum(sd**2 - alike**2, _LEAST_START_S**2)
        alone = float(np.sqrt(np.sum(own))) / len(sd)
        scatter = float(np.std(value, ddof=1)) / np.sqrt(len(value)) if len(value) > 1 else 0.0
        found.append(TimedStart(START_MPS, float(value.mean()), max(alone, scatter), way, ramps))
    return tuple(found)


def _ramped(start: RunDraws) -> float:
    """Return how likely a ramp opened the throttle: METHOD.md, (31).

    By how far the draws of ramps move the mean start, of what a true ramp would move it.
    """
    ramp = start.opening == 1
    if ramp.all() or not ramp.any():
        return float(ramp.all())
    earlier_s = float(start.start_s[~ramp].mean() - start.start_s[ramp].mean())
    return float(np.clip(np.mean(ramp) * earlier_s / (LOST_S[1] - LOST_S[0]), 0.0, 1.0))


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
    return alone.value, float(np.hypot(alone.sd, ONE_WAY_SHARE * alone.value))


def near_top_of(motion: Motion, top: TopSpeed, axis_rad: float) -> tuple[NearTop, ...]:
    """Return the last seconds before the end of the best second, in both directions if there are.

    The record of the top speed has no trend of the speed, which tells whether it was still rising:
    so the paths are drawn again here, over these seconds alone.
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
        moved = paths.position_m[-1, :, 0] - paths.position_m[0, :, 0]
        way = way_of(float(np.arctan2(moved[0], moved[1])), axis_rad)
        found.append(NearTop(*_value_and_sd(speed.mean(axis=0)), *_value_and_sd(slope), way))
    # Across the strip neither its slope nor its wind is known.
    return tuple(found) if all(one.way for one in found) else tuple(found[:1])


def _forward_top(top: TopSpeed, doubtful: tuple[Span, ...]) -> TopSpeed | None:
    """Return the top speed unless one of its runs may have been in reverse."""
    runs = [(run.start_s, run.end_s) for run in top.two_way_runs]
    if np.isfinite(top.at_s):
        runs.append((top.at_s, top.at_s + 1.0))
    return None if any(_touches(run, doubtful) for run in runs) else top


def _value_and_sd(columns: FloatArray) -> tuple[float, float]:
    """Return a figure freed from bias, as in ``core.interval``, and the spread of its error."""
    draws = (len(columns) - 1) // 2
    value = 2.0 * float(columns[0]) - float(columns[1 : 1 + draws].mean())
    return value, float(columns[1 + draws :].std())


def _grid(low_mps: float, high_mps: float) -> FloatArray:
    steps = int(np.clip(np.floor((high_mps - low_mps) / _STEP_MPS), 0, _MOST_STEPS))
    return np.linspace(low_mps, high_mps, steps + 1) if steps else np.zeros(0)


def _touches(span: Span, others: Sequence[Span]) -> bool:
    return any(span[0] < last and span[1] > first for first, last in others)
