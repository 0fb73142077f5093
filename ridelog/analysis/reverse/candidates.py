"""Stretches that may be reverse: where they begin and end, how fast, and what speaks against them.

At a stop the sign means nothing, so the ends are looked for in the fixes themselves. Each guard
answers for one thing that looks the same in a log; one that does not hold makes the stretch
``uncertain``.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ridelog.analysis.reverse.boundaries import OUTSIDE_S, Edge, edge_of
from ridelog.analysis.reverse.evidence import Projection, Readings, projected
from ridelog.analysis.reverse.full_model import POSSIBLE, possible_best_mps
from ridelog.analysis.reverse.heading_hmm import INTERRUPTED_S, Steps
from ridelog.analysis.windows import window_means
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.interval import estimate, estimate_of_possible, even_normals
from ridelog.core.spans import runs_of
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion, Piece

# A stretch shorter than this is none; the speed of a reverse longer than the other is that of the
# fitted path. Own choice: one step of the ends' grid; the model's work grows with the cube of it.
_FINE_S, _LONGEST_S = 0.05, 25.0
# More likely reverse than not; and likely enough to be named while the ride leaves it open. Own
# choice: lower names more that was forward, higher leaves an open ride unsaid.
_LIKELY, _POSSIBLE = 0.5, 0.2
# A step is travel from this speed on. Own choice: above what receivers wander at a stand.
_OFF_MPS = 0.15
# What never gets faster than this, or further, is a receiver's scatter at a stand, not travel: own
# choice, what is less could only end as uncertain.
_LEAST_MPS, _LEAST_M = 0.3, 0.35
# A second, the same as for the top speed of a ride.
_WINDOW_S = 1.0
# A window this many standard deviations below the best may have been the best. Own choice: one in
# 160 lies beyond; more counts in windows that never were.
_NEAR_SD = 2.5
_SEED = 20261127
# Own choices unless said otherwise, set on simulated rides and held against public logs.
_SURE = 0.9
_SLOWEST_MPS, _WANDERS = 0.45, 4.0
# What is slower or shorter than the first three is not worth a doubt and is left out; what is
# shorter than the others is uncertain. Own choice: more hides short reverses, less names scatter.
_NOISE_MPS, _NOISE_M, _NOISE_SIGMAS = 0.35, 0.5, 2.5
_SHORTEST_M, _SIGMAS, _WANDER_S = 0.5, 4.5, 5.0
# Riding forward, near by: this far at this speed. Own choice: a length or two of the machine; less
# may be scatter, from longer ago the heading may have been changed by hand.
_RIDE_M, _RIDE_MPS, _NEAR_S = 3.0, 1.0, 25.0
# No machine turns tighter than 1 m; a foot on the ground or a swing by hand does: common practice,
# no source. Courses are means over so long (own choice: shorter ones show noise as turns).
_TIGHTEST_RAD_PER_M, _COURSE_S = 1.0, 0.8
# A filtered position runs on at a stop by its lag times the speed before, and comes back: lag by
# kind of log, from 5 Hz up and below. Own choice: longer makes short reverses uncertain, shorter
# calls a receiver's overshoot a reverse.
_LAG_S = {("reported", True): 0.2, ("positions", True): 0.4,
          ("reported", False): 0.5, ("positions", False): 0.8}  # fmt: skip
# Own choice: that lag has faded within so long; slower before, a stop has nothing to overshoot.
_BEFORE_S = 3.5
# Roundings of both ends, step / sqrt(6), turn the course of a way of four steps by 6 degrees, one
# standard deviation: own choice, a reverse turns it by half a circle. Beside a reported course
# positions need only confirm it, by a way of five standard deviations of that difference.
_COARSE_STEPS = {"reported": 2.0, "positions": 4.0}
# Nobody turns a quad round by hand in less than this: common practice, no source.
_BY_HAND_S = 4.5
# Own choice: above what receivers wander at a stand, below a walk.
_AT_REST_MPS = 0.3
# Below this rate a reverse of less than two fixes could be one bad fix, and needs so much way and
# speed. Own choice: between logs of one fix a second and of five; less, one error makes a reverse.
_DENSE_HZ = 2.5
_FEW_FIXES, _SPARSE_M, _SPARSE_POSITIONS_M, _SPARSE_POSITIONS_MPS = 2, 1.0, 2.0, 0.6


@dataclass(frozen=True)
class Candidate:
    """A stretch that may well be reverse.

    start_s, end_s : where it moved off and came to rest. [s]
    probability : mean over its moving steps.
    steps : which steps are its own.
    cut : it begins or ends at an interruption of the log.
    best_mps : equally likely best seconds, shape (POSSIBLE,); None where the fixes are too few for
        it. [m/s]
    """

    start_s: float
    end_s: float
    probability: float
    steps: slice
    cut: bool
    best_mps: FloatArray | None


def candidates_of(
    motion: Motion, steps: Steps, backwards: FloatArray, readings: Readings
) -> list[Candidate]:
    """Return the stretches that may well be reverse and are travel at all, in time order.

    Where the whole ride leaves it open which of two kinds of stretches are the reverses (both as
    long and as fast), the less likely kind is a candidate too.
    """
    found: list[Candidate] = []
    # An interruption of the log ends a run.
    apart = np.flatnonzero(np.diff(steps.time_s) > INTERRUPTED_S) + 1
    # Apart from each other: at a stop between the two kinds both are open.
    likely = backwards > _LIKELY
    for inside in (likely, (backwards > _POSSIBLE) & ~likely):
        for first, stop in runs_of(inside):
            limits = [first, *apart[(apart > first) & (apart < stop)].tolist(), stop]
            for run in pairwise(limits):
                candidate = _candidate(motion, readings, steps, backwards, slice(*run))
                found += [candidate] if candidate else []
    return sorted(found, key=lambda candidate: candidate.start_s)


def _candidate(
    motion: Motion, readings: Readings, steps: Steps, backwards: FloatArray, run: slice
) -> Candidate | None:
    """Return a run of steps as a stretch from moving off to rest, None if it is no travel."""
    speed = steps.speed_mps[run]
    moving = np.flatnonzero(speed > _OFF_MPS) + run.start
    if len(moving) < 2 or speed.max() < _LEAST_MPS:
        return None
    way = steps.velocity_mps[run] * np.gradient(steps.time_s)[run, None]
    if np.hypot(*way.sum(axis=0)) < _LEAST_M:
        return None
    backing = backwards > _LIKELY
    backing[moving[0] : moving[-1] + 1] = True

    def along(first_s: float, last_s: float, piece: Piece) -> Projection | None:
        span = max(first_s - OUTSIDE_S, piece.start_s), min(last_s + OUTSIDE_S, piece.end_s)
        if span[1] - span[0] <= _FINE_S:
            return None
        return projected(motion, readings, steps, backing, span)

    seemed: list[float] = steps.time_s[moving[[0, -1]]].tolist()
    pieces = [
        next(p for p in motion.pieces if p.start_s - 1e-6 <= near_s <= p.end_s + 1e-6)
        for near_s in seemed
    ]
    ends, edges = list[float](), list[Edge | None]()
    for near_s, side, piece in zip(seemed, (-1, +1), pieces, strict=True):
        around = along(near_s, near_s, piece)
        edges.append(edge_of(around, near_s, side, seemed[1] - seemed[0]) if around else None)
        at_s = edges[-1].median_s if edges[-1] else near_s
        ends.append(float(np.clip(at_s, piece.start_s, piece.end_s)))
    (start_s, end_s), (start, end) = ends, edges
    if end_s - start_s < _FINE_S:
        return None
    best_mps = None
    if start and end and pieces[0] is pieces[1] and end_s - start_s < _LONGEST_S:
        whole = along(start_s, end_s, pieces[0])
        best_mps = possible_best_mps(whole, start, end) if whole else None
    cut = any(abs(end_s - piece.end_s) < 0.3 for piece in motion.pieces[:-1])
    cut |= any(abs(start_s - piece.start_s) < 0.3 for piece in motion.pieces[1:])
    return Candidate(start_s, end_s, float(backwards[moving].mean()), run, cut, best_mps)


@dataclass(frozen=True)
class Measured:
    """Figures of a stretch.

    fitted_mps : best one-second mean of the fitted path, of the whole if it is shorter. [m/s]
    possible_mps : equally likely best seconds, shape (POSSIBLE,).
    distance_m : way on the fitted path. [m]
    displacement_m, displacement_sd_m : from its start to its end, straight. [m]
    """

    fitted_mps: float
    possible_mps: FloatArray
    distance_m: float
    displacement_m: float
    displacement_sd_m: float

    @property
    def top_speed(self) -> Estimate | None:
        """Return the best second with its interval. [m/s]"""
        return estimate_of_possible(self.possible_mps)


def measured(
    motion: Motion, start_s: float, end_s: float, best_mps: FloatArray | None = None
) -> Measured:
    """Return the figures of a stretch inside one piece.

    The best seconds that a model of the whole reverse allows (``full_model``) may be given: it
    knows how a machine moves and takes the pull for even, drawn paths take every bend for as likely
    and flatten a peak. Neither is known to be right: each gives half of the possible best seconds.
    """
    paths = motion.paths(start_s, end_s)
    length_s = float(paths.time_s[-1] - paths.time_s[0])
    means = window_means(paths, min(_WINDOW_S, length_s))[1]
    best = estimate(_best_columns(means), smallest=0.0)
    if best is None:
        possible = np.full(POSSIBLE, np.nan)
    else:
        sd_mps = max(best.high - best.value, best.value - best.low) / QUANTILE
        possible = np.maximum(best.value + sd_mps * even_normals(POSSIBLE, _SEED), 0.0)
    if best_mps is not None:
        possible = np.where(np.arange(POSSIBLE) % 2 > 0, best_mps, possible)
    moved = paths.position_m[-1] - paths.position_m[0]
    straight = np.hypot(moved[0], moved[1])
    return Measured(
        fitted_mps=float(means[:, 0].max()),
        possible_mps=possible,
        distance_m=float(paths.distance_m[-1, 0]),
        displacement_m=float(straight[0]),
        displacement_sd_m=float(straight[1 + len(straight) // 2 :].std()),
    )


def _best_columns(means: FloatArray) -> FloatArray:
    """Return the best window of every column, freed from choosing in a reverse's own way.

    A path errs by noise that it follows, of which choosing takes the most fortunate, and by motion
    that it smooths away, of which choosing misses the most. Which of the two its errors are is not
    in the log: all between is as likely, and the middle is the fitted path's own best. Draws about
    a path that errors have already made bumpy show neither (METHOD.md of reverse, (9)).
    """
    draws = (means.shape[1] - 1) // 2
    fitted, cautious = means[:, 0], means[:, 1 + draws :]
    fastest = int(fitted.argmax())
    errors = cautious - fitted[:, None]
    near = fitted >= fitted[fastest] - _NEAR_SD * errors[fastest].std()
    most = float(errors[near].max(axis=0).mean())
    between = most * np.linspace(-1.0, 1.0, draws)
    return np.concatenate([np.full(1 + draws, fitted[fastest]), cautious.max(axis=0) + between])


@dataclass(frozen=True)
class Neighbours:
    """What lies around a stretch.

    forward : on which sides the machine rode forward near by, "before" or "after".
    stand_s : shortest rest between it and forward travel on those sides, else infinite. [s]
    speed_before_mps : highest speed in the seconds before it. [m/s]
    """

    forward: list[str]
    stand_s: float
    speed_before_mps: float


def neighbours_of(steps: Steps, backwards: FloatArray, candidate: Candidate) -> Neighbours:
    """Return what lies around a stretch."""
    speed, forward = steps.speed_mps, backwards < 0.5
    ridden = np.where(
        forward & (speed > _RIDE_MPS), speed * np.minimum(np.gradient(steps.time_s), 1.0), 0.0
    )
    before_s, after_s = candidate.start_s - steps.time_s, steps.time_s - candidate.end_s
    sides, stand_s = list[str](), np.inf
    for side, apart_s in (("before", before_s), ("after", after_s)):
        if ridden[(apart_s > 0.0) & (apart_s < _NEAR_S)].sum() > _RIDE_M:
            sides.append(side)
            moving = (speed > _AT_REST_MPS) & forward & (apart_s > 0.0)
            stand_s = min(stand_s, float(apart_s[moving].min(initial=np.inf)))
    just = (before_s > 0.5) & (before_s < _BEFORE_S)
    return Neighbours(sides, stand_s, float(speed[just].max(initial=0.0)))


def is_noise(figures: Measured) -> bool:
    """Return whether a stretch is no more than the scatter of a machine at rest."""
    # A smoother flattens a slow move of some seconds: not the fitted path's speed counts, but
    # the one that is possible.
    top = figures.top_speed
    slow = (figures.fitted_mps if top is None else top.high) < _NOISE_MPS
    least_m = max(_NOISE_M, _NOISE_SIGMAS * figures.displacement_sd_m)
    return slow or figures.displacement_m < least_m


def doubts(
    motion: Motion,
    steps: Steps,
    candidate: Candidate,
    figures: Measured,
    around: Neighbours,
    readings: Readings,
) -> list[str]:
    """Return what speaks against a stretch, a sentence part for each guard that does not hold."""
    best_mps, way_m, wander_mps = figures.fitted_mps, figures.displacement_m, readings.wander_mps
    least_m = max(_SHORTEST_M, _SIGMAS * figures.displacement_sd_m, _WANDER_S * wander_mps)
    dense = motion.rate_hz >= _DENSE_HZ
    overshoot_m = _LAG_S[(motion.speed_source, dense)] * around.speed_before_mps
    disagreement = readings.disagreement(candidate.start_s, candidate.end_s)
    guards = (
        (candidate.probability <= _SURE, "the course alone leaves it open"),
        (best_mps < max(_SLOWEST_MPS, _WANDERS * wander_mps),
         "it is hardly faster than this receiver wanders at a stand"),
        (way_m < least_m, "it is hardly longer than this receiver wanders"),
        (not around.forward, "no riding forward lies near enough to compare with"),
        (_tightest(steps, candidate) > _TIGHTEST_RAD_PER_M,
         "it turns tighter than a machine does on its wheels"),
        (way_m < overshoot_m,
         "a receiver that overshoots at a stop and comes back would show the same"),
        (not dense and _is_sparse(motion, candidate, way_m, best_mps),
         "it is too short or too slow for fixes this far apart"),
        (way_m < _COARSE_STEPS[motion.speed_source] * readings.step_m,
         "the log writes positions in steps too coarse for it"),
        (bool(disagreement), disagreement),
        (around.stand_s >= _BY_HAND_S, "the machine stood long enough to be turned round by hand"),
        (candidate.cut, "the log is interrupted at its edge"),
    )  # fmt: skip
    return [words for against, words in guards if against]


def _is_sparse(motion: Motion, candidate: Candidate, way_m: float, best_mps: float) -> bool:
    rows = motion.used & (motion.track.time_s >= candidate.start_s)
    rows &= motion.track.time_s <= candidate.end_s
    few = bool(np.count_nonzero(rows) < _FEW_FIXES)
    if motion.speed_source == "positions":
        return few or way_m < _SPARSE_POSITIONS_M or best_mps < _SPARSE_POSITIONS_MPS
    return few or way_m < _SPARSE_M


def _tightest(steps: Steps, candidate: Candidate) -> float:
    """Return the largest course change for each metre inside a stretch. [rad/m]"""
    time_s, velocity = steps.time_s[candidate.steps], steps.velocity_mps[candidate.steps]
    group = np.floor((time_s - time_s[0]) / _COURSE_S).astype(np.int64)
    count = np.maximum(np.bincount(group), 1)
    mean = np.stack([np.bincount(group, velocity[:, axis]) / count for axis in (0, 1)], axis=1)
    speed = np.hypot(mean[:, 0], mean[:, 1])
    course = np.arctan2(mean[:, 0], mean[:, 1])
    turned = np.abs((np.diff(course) + np.pi) % (2.0 * np.pi) - np.pi)
    way = 0.5 * (speed[1:] + speed[:-1]) * _COURSE_S
    moving = np.minimum(speed[1:], speed[:-1]) > _AT_REST_MPS
    return float((turned[moving] / way[moving]).max()) if moving.any() else 0.0
