"""What a stretch must show beside its probability before it is called reverse, and its figures.

Each guard answers for one thing that looks the same in a log: noise, a receiver that overshoots at
a stop, a machine turned round by hand, pivoting on the spot. A guard that does not hold makes the
stretch ``uncertain`` and puts its sentence into the evidence.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.reverse.candidates import Candidate
from ridelog.analysis.reverse.evidence import Readings
from ridelog.analysis.reverse.full_model import POSSIBLE
from ridelog.analysis.reverse.heading_hmm import Steps
from ridelog.analysis.windows import window_means
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.interval import estimate, estimate_of_possible, even_normals
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

_SPACING_S = 0.05
_WINDOW_S = 1.0
# A window this many standard deviations below the best may have been the best.
_NEAR_SD = 2.5
_SEED = 20261127
# Own choices unless said otherwise, set on simulated rides and held against public logs.
_SURE = 0.9
_SLOWEST_MPS, _WANDERS = 0.45, 4.0
# What is slower or shorter than this is not worth a doubt: it is left out.
_NOISE_MPS, _NOISE_M, _NOISE_SIGMAS = 0.35, 0.5, 2.5
_SHORTEST_M, _SIGMAS, _WANDER_S = 0.5, 4.5, 5.0
# Riding forward, near by: this far at this speed.
_RIDE_M, _RIDE_MPS, _NEAR_S = 3.0, 1.0, 25.0
# No machine turns tighter than 1 m; a foot on the ground or a swing by hand does.
_TIGHTEST_RAD_PER_M, _COURSE_S = 1.0, 0.8
# A filtered position runs on at a stop by its lag times the speed before, and comes back: lag by
# kind of log, from 5 Hz up and below.
_LAG_S = {("reported", True): 0.2, ("positions", True): 0.4,
          ("reported", False): 0.5, ("positions", False): 0.8}  # fmt: skip
_BEFORE_S = 3.5
# Positions written in steps of more than half a second's travel cannot show which way it goes.
_COARSE_S = 0.5
# Nobody turns a quad round by hand in less than this: common sense, no source.
_BY_HAND_S = 4.5
_AT_REST_MPS = 0.3
# Below this rate a reverse of less than two fixes could be one bad fix.
_DENSE_HZ = 2.5
_FEW_FIXES, _SPARSE_M, _SPARSE_POSITIONS_M, _SPARSE_POSITIONS_MPS = 2, 1.0, 2.0, 0.6


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
    motion: Motion, start_s: float, end_s: float, possible_mps: FloatArray | None = None
) -> Measured:
    """Return the figures of a stretch inside one piece.

    The best seconds that a model of the whole reverse allows (``full_model``) may be given: it
    knows how a machine moves and takes the pull for even, drawn paths take every bend for as likely
    and flatten a peak. Neither is known to be right: the first gives two of three, the other one.
    """
    paths = motion.paths(start_s, end_s, spacing_s=_SPACING_S)
    length_s = float(paths.time_s[-1] - paths.time_s[0])
    means = window_means(paths, min(_WINDOW_S, length_s))[1]
    moved = paths.position_m[-1] - paths.position_m[0]
    straight = np.hypot(moved[0], moved[1])
    draws = (len(straight) - 1) // 2
    return Measured(
        fitted_mps=float(means[:, 0].max()),
        possible_mps=_possible(means) if possible_mps is None else _shared(means, possible_mps),
        distance_m=float(paths.distance_m[-1, 0]),
        displacement_m=float(straight[0]),
        displacement_sd_m=float(straight[1 + draws :].std()),
    )


def _possible(means: FloatArray) -> FloatArray:
    """Return equally likely best seconds from the estimate that drawn paths give."""
    best = estimate(_best_columns(means), smallest=0.0)
    if best is None:
        return np.full(POSSIBLE, np.nan)
    sd_mps = max(best.high - best.value, best.value - best.low) / QUANTILE
    possible: FloatArray = np.maximum(best.value + sd_mps * even_normals(POSSIBLE, _SEED), 0.0)
    return possible


def _shared(means: FloatArray, possible_mps: FloatArray) -> FloatArray:
    result: FloatArray = np.where(np.arange(POSSIBLE) % 3 > 0, possible_mps, _possible(means))
    return result


def _best_columns(means: FloatArray) -> FloatArray:
    """Return the best window of every column, freed from choosing in a reverse's own way.

    A reverse lasts some seconds. If one second of it was the fastest, choosing adds nothing to its
    speed; if it was even, choosing adds what is the most of errors alone over all windows that may
    have been the best. All between is as likely: half is taken off, and the whole is spread evenly.
    Draws about a path that errors have already made bumpy show neither (METHOD.md of reverse, (9)).
    """
    draws = (means.shape[1] - 1) // 2
    fitted, cautious = means[:, 0], means[:, 1 + draws :]
    fastest = int(fitted.argmax())
    errors = cautious - fitted[:, None]
    near = fitted >= fitted[fastest] - _NEAR_SD * errors[fastest].std()
    added = errors[near].max(axis=0)
    even = float(added.mean()) * np.linspace(-0.5, 0.5, draws)
    return np.concatenate(
        [fitted[fastest, None], fitted[fastest] + 0.5 * added, cautious.max(axis=0) + even]
    )


def joined(parts: list[Measured]) -> Measured:
    """Return the figures of several stretches together, the choosing of the best included."""
    return Measured(
        fitted_mps=max(part.fitted_mps for part in parts),
        possible_mps=np.max([part.possible_mps for part in parts], axis=0),
        distance_m=sum(part.distance_m for part in parts),
        displacement_m=sum(part.displacement_m for part in parts),
        displacement_sd_m=float(np.sqrt(sum(part.displacement_sd_m**2 for part in parts))),
    )


@dataclass(frozen=True)
class Neighbours:
    """What lies around a stretch.

    forward_before, forward_after : whether the machine rode forward near by.
    stand_before_s, stand_after_s : rest between forward travel and the stretch; NaN at an end of
        the log. [s]
    speed_before_mps : highest speed in the seconds before it. [m/s]
    """

    forward_before: bool
    forward_after: bool
    stand_before_s: float
    stand_after_s: float
    speed_before_mps: float


def neighbours_of(steps: Steps, backwards: FloatArray, candidate: Candidate) -> Neighbours:
    """Return what lies around a stretch."""
    time_s, speed = steps.time_s, steps.speed_mps
    step_s = np.minimum(np.gradient(time_s), 1.0)
    riding = np.where((backwards < 0.5) & (speed > _RIDE_MPS), speed * step_s, 0.0)
    before = (time_s < candidate.start_s) & (time_s > candidate.start_s - _NEAR_S)
    after = (time_s > candidate.end_s) & (time_s < candidate.end_s + _NEAR_S)
    moving = time_s[(speed > _AT_REST_MPS) & (backwards < 0.5)]
    earlier, later = moving[moving < candidate.start_s], moving[moving > candidate.end_s]
    just = (time_s < candidate.start_s - 0.5) & (time_s > candidate.start_s - _BEFORE_S)
    return Neighbours(
        forward_before=bool(riding[before].sum() > _RIDE_M),
        forward_after=bool(riding[after].sum() > _RIDE_M),
        stand_before_s=candidate.start_s - float(earlier[-1]) if len(earlier) else np.nan,
        stand_after_s=float(later[0]) - candidate.end_s if len(later) else np.nan,
        speed_before_mps=float(speed[just].max()) if just.any() else 0.0,
    )


def is_noise(measured: Measured) -> bool:
    """Return whether a stretch is no more than the scatter of a machine at rest."""
    # A smoother flattens a slow move of some seconds: not the fitted path's speed counts, but
    # the one that is possible.
    top = measured.top_speed
    slow = (measured.fitted_mps if top is None else top.high) < _NOISE_MPS
    return slow or measured.displacement_m < max(
        _NOISE_M, _NOISE_SIGMAS * measured.displacement_sd_m
    )


def doubts(
    motion: Motion,
    steps: Steps,
    candidate: Candidate,
    measured: Measured,
    around: Neighbours,
    readings: Readings,
) -> tuple[str, ...]:
    """Return what speaks against a stretch, a sentence part for each guard that does not hold."""
    best = measured.fitted_mps
    wander = readings.wander_mps
    found: list[str] = []
    if candidate.probability <= _SURE:
        found.append("the course alone leaves it open")
    if best < max(_SLOWEST_MPS, _WANDERS * wander):
        found.append("it is hardly faster than this receiver wanders at a stand")
    least = max(_SHORTEST_M, _SIGMAS * measured.displacement_sd_m, _WANDER_S * wander)
    if measured.displacement_m < least:
        found.append("it is hardly longer than this receiver wanders")
    if not (around.forward_before or around.forward_after):
        found.append("no riding forward lies near enough to compare with")
    if _tightest(steps, candidate) > _TIGHTEST_RAD_PER_M:
        found.append("it turns tighter than a machine does on its wheels")
    dense = motion.rate_hz >= _DENSE_HZ
    lag = _LAG_S[(motion.speed_source, dense)]
    if measured.displacement_m < lag * around.speed_before_mps:
        found.append("a receiver that overshoots at a stop and comes back would show the same")
    if not dense:
        found += _sparse(motion, candidate, measured, best)
    if readings.step_m > _COARSE_S * best:
        found.append("the log writes positions in steps too coarse for it")
    found += readings.disagreement(candidate.start_s, candidate.end_s)
    found += _handled(around)
    if candidate.cut:
        found.append("the log is interrupted at its edge")
    return tuple(found)


def _sparse(motion: Motion, candidate: Candidate, measured: Measured, best: float) -> list[str]:
    rows = motion.used & (motion.track.time_s >= candidate.start_s)
    rows &= motion.track.time_s <= candidate.end_s
    few = np.count_nonzero(rows) < _FEW_FIXES
    positions = motion.speed_source == "positions"
    short = measured.displacement_m < (_SPARSE_POSITIONS_M if positions else _SPARSE_M)
    slow = positions and best < _SPARSE_POSITIONS_MPS
    return ["it is too short or too slow for fixes this far apart"] if few or short or slow else []


def _handled(around: Neighbours) -> list[str]:
    """Return a doubt if the machine stood long enough to be turned round by hand."""
    stands = [
        stand
        for stand, rode in (
            (around.stand_before_s, around.forward_before),
            (around.stand_after_s, around.forward_after),
        )
        if rode and np.isfinite(stand)
    ]
    if stands and min(stands) < _BY_HAND_S:
        return []
    return ["the machine stood long enough to be turned round by hand"]


def _tightest(steps: Steps, candidate: Candidate) -> float:
    """Return the largest course change for each metre inside a stretch. [rad/m]"""
    inside = slice(candidate.first, candidate.stop)
    time_s, velocity = steps.time_s[inside], steps.velocity_mps[inside]
    group = np.floor((time_s - time_s[0]) / _COURSE_S).astype(np.int64)
    count = np.maximum(np.bincount(group), 1)
    mean = np.stack([np.bincount(group, velocity[:, axis]) / count for axis in (0, 1)], axis=1)
    speed = np.hypot(mean[:, 0], mean[:, 1])
    course = np.arctan2(mean[:, 0], mean[:, 1])
    turned = np.abs((np.diff(course) + np.pi) % (2.0 * np.pi) - np.pi)
    way = 0.5 * (speed[1:] + speed[:-1]) * _COURSE_S
    moving = np.minimum(speed[1:], speed[:-1]) > _AT_REST_MPS
    return float((turned[moving] / way[moving]).max()) if moving.any() else 0.0
