"""Flags of the signal that need the whole ride: settling, geometry, satellites, standstill."""

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.spans import runs_of
from ridelog.core.track import BoolArray, FlagArray, FloatArray, Track
from ridelog.filtering.state_space import Solution, StateSpace

# "5 to 10: moderate" in the usual wording of dilution of precision; from memory, no standard.
POOR_HDOP = 5.0
# Four satellites solve for position and clock; a fifth is the first that can contradict:
# follows from four unknowns.
FEW_SATELLITES = 5
# A log whose receiver tells no HDOP is compared with its own rest, in windows of this length, the
# first of which that looks like it ends settling. Own choice: a shorter one may look good by luck.
# [s]
_WINDOW_S = 10.0
# So long a receiver has to be steady before it is believed: the shortest run of fixes in which an
# error that still moves can be told from noise. Own choice. [s]
STEADY_S = 2.0
# ... and so many fixes at least, the fewest of which one can contradict the others: follows from
# two unknowns of an even pace.
STEADY_FIXES = 3
# How much worse than usual counts as settling: satellites fewer than in the rest, times the mean
# squared misfit, times the speed of a slide; a fix alone errs so far by chance once in 8,000
# (exp(-9)). A share of such fixes is left to jumps. Own choices.
_FEWER_SATELLITES, _WORSE_RESIDUAL, _SLIDES_BEYOND = 3.0, 2.5, 6.0
_MISFIT_BEYOND, JUMPS_SHARE = 9.0, 0.25
# HDOP that falls at this pace, seen over so many seconds, is not yet what the ride will have,
# METHOD.md, filtering (31); less than so much is its flicker. Own choices. [1/s], [s], [1]
_FALLS_PER_S, _WITHIN_S, _FLICKER_HDOP = 0.0625, 4.0, 0.15
# A place that slides faster than this against its reported speed, times HDOP, has not been found
# yet. Own choice: settled receivers' logs stay below it at each two seconds but for jumps.
_OUTRUNS_MPS, _ANY_SPEED_MPS = 1.0, 1e4
# With fewer such fixes there is no rest to compare with. Own choice.
_LEAST_TO_COMPARE = 10
# A slide is over within so long, and begins within the first of it; riding is faster than a walk.
# Own choices.
_SLIDE_S, _FIRST_S, _RIDE_MPS = 15.0, 0.5, 2.0
# A standstill lasts at least this long, below this speed: own choices; a shorter stop is told as
# slow travel.
_STAND_S, _STAND_MPS = 3.0, 0.25
# Its mean velocity is below this: own choice. [m/s]
_STAND_MEAN_MPS = 0.15
# Between fixes so close a machine's own travel shows: own choice, that of a wander. [s]
_OFTEN_S = 0.42
# Whether positions moved during a supposed stand: means over this long, this far apart, and this
# many standard deviations of their difference beside three of what drift adds. Own choices.
_MEAN_S, _APART_S, _BEYOND = 1.0, 3.0, 3.0
# A machine in use is not ridden slower than this for seconds: common practice, no source.
_SLOWEST_TRAVEL_MPS = 0.4


def geometry_flags(track: Track) -> FlagArray:
    """Return POOR_GEOMETRY and FEW_SATELLITES per row, where the log tells."""
    flags = np.zeros(len(track), dtype=np.uint32)
    with np.errstate(invalid="ignore"):
        flags[track.hdop > POOR_HDOP] |= np.uint32(Flag.POOR_GEOMETRY)
        flags[track.satellites < FEW_SATELLITES] |= np.uint32(Flag.FEW_SATELLITES)
    return flags


def seen_poorly(hdop: FloatArray, satellites: FloatArray) -> BoolArray:
    """Return where a receiver itself tells that it is badly placed, shape of its arguments.

    Three satellites leave the height to be assumed; a log that counts none at all counts nothing.
    """
    poorly: BoolArray = (hdop > POOR_HDOP) | ((satellites > 0) & (satellites < FEW_SATELLITES - 1))
    return poorly


def still_better(time_s: FloatArray, hdop: FloatArray) -> BoolArray:
    """Return where HDOP still falls, judged by what had come until then, shape (m,).

    Parameters
    ----------
    time_s, hdop : ndarray, shape (m,)
        Fixes in time order, NaN where unknown. [s], [1]
    """
    before = np.searchsorted(time_s, time_s - _WITHIN_S)
    flat = np.maximum(_FLICKER_HDOP, _FALLS_PER_S * (time_s - time_s[before]))
    better: BoolArray = hdop[before] - hdop > flat
    return better


def usual_interval_s(time_s: FloatArray) -> float:
    """Return the usual time between fixes, 0 of a single one. [s]"""
    return float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0


def steady_span_s(interval_s: float) -> tuple[float, float]:
    """Return the shortest and the longest span on which a receiver is judged steady. [s]

    Fixes come up to half their usual interval early or late: a lost one is not made up for.
    """
    span_s = max(STEADY_S, (STEADY_FIXES - 1) * interval_s)
    return span_s - 0.5 * interval_s, span_s + 0.5 * interval_s


def outrunning(
    time_s: FloatArray,
    position_m: FloatArray,
    speed_mps: FloatArray,
    hdop: FloatArray,
    step_m: float,
) -> BoolArray:
    """Return from which fixes on positions go farther than the reported speed, shape (m,).

    No chord is longer than the way ridden: METHOD.md, filtering (32). Unlike a fit, which takes
    slow positions and a speed of nothing for rest, this tells with three fixes.

    Parameters
    ----------
    time_s, position_m, speed_mps, hdop : ndarray, shape (m,) or (m, 2)
        The usable fixes in time order, NaN where unknown. [s], [m], [m/s], [1]
    step_m : float
        Step in which positions are written. [m]
    """
    # An unknown speed is outrun by nothing, and is only of its own windows.
    told = np.where(np.isfinite(speed_mps), speed_mps, _ANY_SPEED_MPS)
    ridden = np.append(0.0, np.cumsum(0.5 * (told[1:] + told[:-1]) * np.diff(time_s)))
    _, span_s = steady_span_s(usual_interval_s(time_s))
    last = np.searchsorted(time_s, time_s + span_s, side="right") - 1
    chord = np.hypot(*(position_m[last] - position_m).T)
    poorest = np.fmax(1.0, np.fmax(hdop, hdop[last]))
    allowed = _OUTRUNS_MPS * poorest * (time_s[last] - time_s) + np.sqrt(2.0) * step_m
    outrun: BoolArray = chord - (ridden[last] - ridden) > allowed
    return outrun


def settled_from(
    time_s: FloatArray,
    hdop: FloatArray,
    satellites: FloatArray,
    misfit: FloatArray,
    drift_mps: FloatArray,
    usual_drift_mps: float,
    outrun: BoolArray,
) -> float:
    """Return the time from which a receiver is steady.

    A receiver that tells its HDOP is judged at each moment by what has come until STEADY_S later:
    so whoever listens beside it is told what the finished log says. One that does not is compared
    with the rest of its log. METHOD.md, "Settling".

    Parameters
    ----------
    time_s, hdop, satellites : ndarray, shape (m,)
        The usable fixes in time order, NaN where unknown.
    misfit : ndarray, shape (m,)
        Squared position residual over its expected value, 1 on average.
    drift_mps : ndarray, shape (m,)
        Speed at which the position slides against the reported velocity, NaN without one.
    usual_drift_mps : float
        Its standard deviation over the ride.
    outrun : ndarray of bool, shape (m,)
        What ``outrunning`` tells.

    Returns
    -------
    float
        A time of ``time_s``; NaN if the log ends before the receiver settled.
    """
    bad = misfit > _MISFIT_BEYOND
    unready = seen_poorly(hdop, satellites)
    _, length_s = steady_span_s(usual_interval_s(time_s))
    least = STEADY_FIXES
    with np.errstate(invalid="ignore"):
        bad |= drift_mps > _SLIDES_BEYOND * usual_drift_mps
        if np.isfinite(hdop).any():
            unready |= still_better(time_s, hdop)
        else:
            bad |= _fewer_than_later(time_s, satellites)
            length_s, least = _WINDOW_S, 1
    bad |= unready
    # A jump of the position is left out as a jump, however far it goes.
    capped = np.minimum(misfit, _MISFIT_BEYOND)
    first = 0
    while first < len(time_s):
        stop = int(np.searchsorted(time_s, time_s[first] + length_s, side="right"))
        here = slice(first, stop)
        steady = bad[here].mean() <= JUMPS_SHARE and capped[here].mean() <= _WORSE_RESIDUAL
        # Where a log ends what it holds must do; else a hole shows nothing.
        steady &= stop - first >= least or stop == len(time_s)
        if steady and not outrun[first] and not unready[here].any():
            return float(time_s[first])
        wrong = np.flatnonzero(bad[here])
        first += int(wrong[-1]) + 1 if len(wrong) else 1
    return float("nan")


def _fewer_than_later(time_s: FloatArray, satellites: FloatArray) -> BoolArray:
    """Return where plainly fewer satellites were used than after the first quarter of a log."""
    later = time_s > time_s[0] + 0.25 * (time_s[-1] - time_s[0])
    if not np.isfinite(satellites[later]).any():
        return np.zeros(len(time_s), dtype=bool)
    fewer: BoolArray = satellites < np.nanmedian(satellites[later]) - _FEWER_SATELLITES
    return fewer


def slid_until(time_s: FloatArray, speed_mps: FloatArray) -> float:
    """Return until when bare positions of unknown quality slid in, the first time if they did not.

    A log that begins moving, is fastest in its first seconds, comes to rest and is never that fast
    again shows its receiver finding its place: a ride begins at rest, or goes on.

    Parameters
    ----------
    time_s, speed_mps : ndarray, shape (m,)
        The usable fixes in time order, with the fitted speed. [s], [m/s]
    """
    since = time_s - time_s[0]
    early = np.flatnonzero(since <= _SLIDE_S)
    top = early[np.argmax(speed_mps[early])]
    slow = speed_mps < _SLOWEST_TRAVEL_MPS
    rests = np.flatnonzero(slow & (np.arange(len(slow)) > top))
    if not len(rests) or since[rests[0]] > _SLIDE_S or slow[:top][since[:top] > _FIRST_S].any():
        return float(time_s[0])
    later = speed_mps[rests[0] :]
    ridden = float(np.sum((later > _RIDE_MPS)[:-1] * np.diff(time_s[rests[0] :])))
    slid = ridden > _SLIDE_S and speed_mps[top] > later.max()
    return float(time_s[rests[0]]) if slid else float(time_s[0])


def settling_factor(residual: FloatArray, settling: BoolArray) -> float:
    """Return how many times noisier a receiver was while it settled.

    Parameters
    ----------
    residual : ndarray, shape (m, 2)
        Reported velocity, or position, less the fitted one; NaN where there is none.
    settling : ndarray of bool, shape (m,)
        Fixes before the receiver had settled.

    Returns
    -------
    float
        At least 1; NaN with fewer than ten such fixes on either side.
    """
    squares = (residual**2).sum(axis=1)
    known = np.isfinite(squares)
    before, after = squares[known & settling], squares[known & ~settling]
    if min(len(before), len(after)) < _LEAST_TO_COMPARE:
        return float("nan")
    return max(1.0, float(np.sqrt(np.mean(before) / max(np.median(after) / np.log(2), 1e-6))))


def find_still(solution: Solution, speed_variance: FloatArray) -> BoolArray:
    """Return where the machine stood: slow for three seconds or more, as far as can be told.

    A solution's speed scatters by its own uncertainty, so the limit widens with it, but never so
    far that slow travel could hide in it. Where positions drift at a walking pace, only a stand
    long enough to average the drift out can be told from slow travel; no other is believed.
    """
    space = solution.space
    velocity = solution.states[:, 1]
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    creeps = _shows_creeping(space)
    least, most_mean = (_SLOWEST_TRAVEL_MPS,) * 2 if creeps else (_STAND_MPS, _STAND_MEAN_MPS)
    limit = np.clip(2.0 * np.sqrt(speed_variance), least, _SLOWEST_TRAVEL_MPS)
    slow = speed < limit
    still = np.zeros(space.n, dtype=bool)
    for first, stop in runs_of(slow):
        duration = space.time_s[stop - 1] - space.time_s[first]
        if duration < _STAND_S or space.breaks[first : stop - 1].any():
            continue
        drift = float(np.median(solution.precisions.drift[first : stop - 1]))
        if 2.0 * drift * _share_left(duration / space.drift_time_s) > _SLOWEST_TRAVEL_MPS:
            continue
        # Moving slowly one way is not standing: the mean velocity must vanish too.
        mean = np.hypot(*velocity[first:stop].mean(axis=0))
        if mean < most_mean:
            # The edges are where it starts and stops: leave them to the data.
            margin = 0.5
            time_s = space.time_s[first:stop]
            still[first:stop] = (time_s >= time_s[0] + margin) & (time_s <= time_s[-1] - margin)
            if space.d == 4:
                still[first:stop] &= ~_travelled(solution, first, stop)
    return still


def _travelled(solution: Solution, first: int, stop: int) -> BoolArray:
    """Return around which instants of a supposed stand the positions themselves moved on.

    A first round that is too smooth can take a slow move for rest, and holding it at rest would
    then hide it for good; so the mean positions of two seconds, three seconds apart, must agree
    within what noise and drift allow. Only for positions alone: a reported speed tells by itself.
    """
    space = solution.space
    time_s = space.time_s[first:stop]
    weight = np.where(
        np.isfinite(space.position_m[first:stop, 0]), solution.precisions.position[first:stop], 0.0
    )
    position = np.nan_to_num(space.position_m[first:stop])
    held = np.concatenate([[0.0], np.cumsum(weight)])
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(weight[:, None] * position, axis=0)])

    def mean(start_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        a = np.searchsorted(time_s, start_s - 1e-6)
        b = np.searchsorted(time_s, start_s + _MEAN_S, side="right")
        known = held[b] - held[a]
        return (total[b] - total[a]) / np.maximum(known, 1e-12)[:, None], known

    before, known_before = mean(time_s - 0.5 * _APART_S - 0.5 * _MEAN_S)
    after, known_after = mean(time_s + 0.5 * _APART_S - 0.5 * _MEAN_S)
    both = (known_before > 0.0) & (known_after > 0.0)
    variance = 1.0 / np.where(both, known_before, 1.0) + 1.0 / np.where(both, known_after, 1.0)
    drift = float(np.median(solution.precisions.drift[first : stop - 1]))
    allowed = _BEYOND * np.sqrt(variance) + 3.0 * drift * _APART_S
    if _shows_creeping(space):
        allowed = np.maximum(allowed, _SLOWEST_TRAVEL_MPS * _APART_S)
    moved = both & (np.hypot(*(after - before).T) > allowed)
    # How many such neighbourhoods begin before an instant and end after it.
    reach_s = 0.5 * (_APART_S + _MEAN_S)
    change = np.zeros(len(time_s) + 1, dtype=np.int64)
    np.add.at(change, np.searchsorted(time_s, time_s[moved] - reach_s), 1)
    np.add.at(change, np.searchsorted(time_s, time_s[moved] + reach_s, side="right"), -1)
    near: BoolArray = np.cumsum(change[:-1]) > 0
    return near


def _shows_creeping(space: StateSpace) -> bool:
    """Return whether bare positions come so often that a creep at a stand is told from travel."""
    placed = space.time_s[np.isfinite(space.position_m[:, 0])]
    return space.d == 4 and len(placed) > 1 and float(np.median(np.diff(placed))) < _OFTEN_S


def _share_left(ratio: float) -> float:
    """Return the share of a drift's sd that its mean keeps, filtering (16)."""
    return float(np.sqrt(2.0 * (ratio - 1.0 + np.exp(-ratio)))) / ratio
