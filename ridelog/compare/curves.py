"""The curves of a comparison: pull at every speed, where it crosses, and the fastest runs."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.acceleration.measure import AccelerationCurve
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.difference import Difference, difference_of
from ridelog.compare.matching import Rides
from ridelog.compare.pairs import LEAST_PAIRS, difference_of_pairs
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.interval import estimate
from ridelog.core.track import FloatArray

# Steps of speed at which the curves are told: own choice, neighbours share their errors. [m/s]
_STEP_MPS = 0.5
# Where the curves cross is looked for in steps far below the width of its interval: own
# choice. [m/s]
_FINE_STEP_MPS = 0.05
# Slower than this the machine stands; what receivers show at rest: common practice, no source.
_STANDING_MPS = 0.5
# A pull from standstill takes less; longer runs are left out: own choice.
_LONGEST_S = 45.0
# The run has ended where the speed has fallen by this share of its highest, as far as a gust or a
# rise may take it: what follows is coasting or the brakes. Own choice.
_FALLEN = 0.05


@dataclass(frozen=True)
class Crossing:
    """Where the pull curves cross.

    speed_mps : with the interval that holds the true crossing in nine comparisons of ten.
    harder_below : whether the machine pulls harder below that speed after the change.
    """

    speed_mps: Estimate
    harder_below: bool


@dataclass(frozen=True)
class PullCurves:
    """Both sides' pull at the speeds that both hold.

    speed_mps : shape (k,), increasing.
    differences : one for each speed.
    crossing : None if the curves do not cross, or not clearly.
    """

    speed_mps: FloatArray
    differences: tuple[Difference, ...]
    crossing: Crossing | None


Pulls = list[tuple[Estimate | None, ...]]


def pull_curves_of(
    speed_mps: FloatArray,
    before: Pulls,
    after: Pulls,
    sharp: tuple[FloatArray, Pulls, Pulls],
    by: Callable[[list[Estimate], list[Estimate]], Difference] = difference_of,
) -> PullCurves | None:
    """Return both sides' curves, None if fewer than two speeds are held by both.

    A side holds for each ride its pull at these speeds, None where the ride does not tell.
    ``sharp`` is the same in fine steps, freed from the width of the windows: where they cross.
    ``by`` makes the difference of two sides.
    """
    speed_mps, differences = _differences(speed_mps, before, after, by)
    if len(speed_mps) < 2:
        return None
    return PullCurves(speed_mps, tuple(differences), crossing_of(*_differences(*sharp, by)))


def _differences(
    speed_mps: FloatArray,
    before: Pulls,
    after: Pulls,
    by: Callable[[list[Estimate], list[Estimate]], Difference],
) -> tuple[FloatArray, list[Difference]]:
    """Return the speeds that every ride tells, and the difference at each of them."""
    columns = zip(zip(*before, strict=True), zip(*after, strict=True), strict=True)
    # The same rides at every speed: a ride that drops out would bend the curve.
    told = {
        k: by([e for e in first if e], [e for e in second if e])
        for k, (first, second) in enumerate(columns)
        if all((*first, *second))
    }
    return speed_mps[list(told)], list(told.values())


def crossing_of(speed_mps: FloatArray, differences: list[Difference]) -> Crossing | None:
    """Return where a difference changes its sign for good.

    The interval holds every speed at which the difference's own interval holds nought: at the true
    crossing the difference is nought, which that interval holds in nine cases of ten (inversion of
    a test, as Fieller's for a ratio). A crossing is told only if the intervals on both sides of it
    leave nought out, in opposite directions. METHOD.md, "Where the pull curves cross".
    """
    if not differences or any(each.contrast is None for each in differences):
        return None  # with one ride a side nothing is known of how curves repeat
    low = np.array([each.difference.low for each in differences])
    high = np.array([each.difference.high for each in differences])
    value = np.array([each.difference.value for each in differences])
    sure = np.where(low > 0.0, 1, np.where(high < 0.0, -1, 0))
    clear = np.flatnonzero(sure)
    turns = np.flatnonzero(np.diff(sure[clear]))
    if len(turns) != 1:
        return None
    left, right = int(clear[turns[0]]), int(clear[turns[0] + 1])
    inner = slice(left, right + 1)
    sign = float(sure[left])
    # On the left the near end of the interval reaches nought first, on the right the other one.
    nearest, furthest = (low, high) if sign > 0.0 else (-high, -low)
    begins = _falls_through(speed_mps[inner], nearest[inner], first=True)
    ends = _falls_through(speed_mps[inner], furthest[inner], first=False)
    middle = _falls_through(speed_mps[inner], sign * value[inner], first=True)
    ordered = sorted((begins, middle, ends))
    return Crossing(Estimate(ordered[1], ordered[0], ordered[2], LEVEL), sign > 0.0)


def _falls_through(speed_mps: FloatArray, values: FloatArray, *, first: bool) -> float:
    """Return where values pass from positive to negative, the first or the last such place."""
    places = np.flatnonzero((values[:-1] > 0.0) & (values[1:] <= 0.0))
    k = int(places[0] if first else places[-1])
    share = values[k] / (values[k] - values[k + 1])
    return float(speed_mps[k] + share * (speed_mps[k + 1] - speed_mps[k]))


def curves_of(before: Rides, after: Rides, *, pairs: bool = False) -> PullCurves | None:
    """Return both sides' pull curves at the speeds that every ride with a curve holds.

    ``pairs``: the sides are two drive modes of the same logs.
    """
    pulls: list[list[tuple[str, AccelerationCurve]]] = [
        [
            (ride.source.sha256, ride["acceleration"])
            for ride in side
            if len(ride["acceleration"].speed_mps)
        ]
        for side in (before, after)
    ]
    balanced = [[each for each in side if each[1].both_ways] for side in pulls]
    # One direction only: no better than what there is, if both sides have no more.
    chosen = balanced if all(balanced) else pulls
    if not all(chosen):
        return None
    logs = [[sha256 for sha256, _ in side] for side in chosen]
    told = [[pull for _, pull in side] for side in chosen]
    by = difference_of
    if pairs and logs[0] == logs[1] and len(logs[0]) >= LEAST_PAIRS:
        by = difference_of_pairs
    curves = [pull.speed_mps for side in told for pull in side]
    lowest, highest = max(curve[0] for curve in curves), min(curve[-1] for curve in curves)
    speed = np.arange(lowest, highest + 1e-9, _STEP_MPS)
    sides = [[tuple(pull.at(float(v)) for v in speed) for pull in side] for side in told]
    fine = np.arange(lowest, highest + 1e-9, _FINE_STEP_MPS)
    sharp = [[tuple(map(estimate, pull.sharp(fine))) for pull in side] for side in told]
    return pull_curves_of(speed, sides[0], sides[1], (fine, sharp[0], sharp[1]), by)


@dataclass(frozen=True)
class BestRun:
    """Speed over time of the run that holds a ride's best second.

    time_s : seconds since the machine pulled away, NaN-free, increasing.
    speed_mps : smoothed speed.
    """

    time_s: FloatArray
    speed_mps: FloatArray


def best_run(ride: MeasuredRide) -> BestRun | None:
    """Return a ride's fastest run, None if it has no best second or no start before it."""
    at_s = ride["top_speed"].at_s
    motion = ride.motion
    time_s, speed = motion.track.time_s[motion.known_rows], motion.speed_mps[motion.known_rows]
    if not np.isfinite(at_s) or not len(time_s):
        return None
    peak = int(np.searchsorted(time_s, at_s + 0.5))
    if peak >= len(time_s):
        return None
    standing = np.flatnonzero(speed[:peak] < _STANDING_MPS)
    if not len(standing) or time_s[peak] - time_s[standing[-1]] > _LONGEST_S:
        return None
    first = int(standing[-1])
    if np.max(np.diff(time_s[first : peak + 1]), initial=0.0) > 2.5:
        return None  # a gap: nobody knows how the speed rose
    fallen = np.flatnonzero(speed[peak:] < (1.0 - _FALLEN) * speed[peak])
    last = peak + int(fallen[0]) if len(fallen) else len(time_s) - 1
    # Where the straight line between both fixes leaves zero is the start, as well as can be told.
    start_s = _start_of(time_s[first : first + 2], speed[first : first + 2])
    inside = slice(first + 1, last + 1)
    return BestRun(
        np.concatenate([[0.0], time_s[inside] - start_s]), np.concatenate([[0.0], speed[inside]])
    )


def _start_of(time_s: FloatArray, speed_mps: FloatArray) -> float:
    rise = speed_mps[1] - speed_mps[0]
    back = speed_mps[0] * (time_s[1] - time_s[0]) / rise if rise > 1e-6 else 0.0
    return float(max(time_s[0] - back, time_s[0] - (time_s[1] - time_s[0])))
