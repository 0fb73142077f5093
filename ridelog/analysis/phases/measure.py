"""The ride in phases: standstill, launch, pull, steady, coasting, braking, turning, reverse.

Each instant speaks for the kinds that its motion allows; the most probable sequence is found with a
cost for every change. Measured brakings and reverse travel are laid over it. Derivation: METHOD.md
of phases.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ridelog.analysis.braking.corners import coasting_limit_mps2, smoothed
from ridelog.analysis.braking.measure import Brakings
from ridelog.analysis.fitted import FittedPath, fitted_paths
from ridelog.core.compiled import routine
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.motion import Motion

_ndtr = routine("scipy.special", "ndtr", "scipy.special._special_ufuncs")
KINDS = ("standstill", "launch", "pull", "steady", "coasting", "braking", "turning", "reverse")
# Kinds that motion alone tells; launches and reverse are named afterwards.
LIKELY = ("standstill", "pull", "steady", "coasting", "braking", "turning")
# What each kind looks like. A machine at rest stirs by centimetres a second, a steady hand by
# 0.15 m/s² and 0.06 rad/s (grades of 1 or 2 %, small corrections); pulls end at 6 m/s² and brakings
# at 10 (a tyre's grip), turns at 2.5 rad/s: common practice, no source.
_REST_MPS, _REST_MPS2 = 0.06, 0.10
_STEADY_MPS2, _STEADY_RADPS = 0.15, 0.06
_PULL_MPS2, _BRAKE_MPS2, _TURN_RADPS = (0.15, 6.0), 10.0, (0.12, 2.5)
_ROLL_MPS2 = 0.06
# A turn may be ridden at any acceleration of this size: own choice, what is pulled or braked much
# harder in a bend is called a pull or a braking.
_TURNING_MPS2 = 0.7
# Moving is any speed up to this: own choice, faster than any small machine; twice as much would
# favour rest by 0.7 in logarithms of odds.
_FASTEST_MPS = 60.0
# Means are taken over this long or this many intervals between fixes. Own choice: shorter is noise,
# longer rounds short phases off.
_WIDTH_S, _WIDTH_INTERVALS = 0.4, 1.0
# Own choice: turns last longer than changes of speed, and slow ones show only in a longer mean.
_TURN_WIDTH_S = 1.2
# Errors of neighbouring instants are alike over about this long, so that they count as one. Own
# choice: shorter takes noise for changes, longer loses short phases.
_ALIKE_S = 0.5
# A change of kind costs this, in logarithms of odds: riders change what they do every few seconds.
# Own choice: less cuts the ride up, more swallows short phases.
_CHANGE_COST = 5.0
# No instant is proof: kinds that look impossible keep these odds against the likeliest. Own choice:
# half a second then pays for one change of kind (6.9 over 5), not for there and back.
_DOUBT = 1e-3

# What is shorter than this, or than two fixes, is no phase of its own; common practice, no source.
_SHORTEST_S, _SHORTEST_INTERVALS = 0.8, 1.0
# Fixes this far apart cannot tell what the machine did between them, as with top speeds.
_LONGEST_INTERVAL_S = 2.1
# What was measured by itself stays, however short.
_MEASURED = ("braking", "reverse")


@dataclass
class PhaseSpan:
    """A run of one kind; those next to each other share an instant. [s]"""

    kind: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Phase:
    """One phase; speeds are those of the fitted path at its ends, never negative."""

    kind: str
    start_s: float
    end_s: float
    from_mps: float
    to_mps: float


@dataclass(frozen=True)
class Phases:
    """The phases of a ride in time order; where the log has a gap, or nothing is known, is none.

    "coasting" and "steady" say how the machine moved: a throttle cannot be seen in a log.
    """

    each: tuple[Phase, ...]


def divide_ride(
    motion: Motion,
    *,
    brakings: Brakings | None = None,
    reverse_spans: Sequence[Span] = (),
    launch_starts_s: Sequence[float] = (),
) -> Phases:
    """Return the phases of a ride; none if its fixes are more than 2.1 s apart.

    Measured brakings and travel backwards decide where those begin and end; when a measured
    standing start left zero moves the boundary next to it. [s]
    """
    if 1.0 / motion.rate_hz > _LONGEST_INTERVAL_S:
        return Phases(())
    shortest = max(_SHORTEST_S, _SHORTEST_INTERVALS / motion.rate_hz)
    braked = [(b.start_s, b.end_s) for b in brakings.each] if brakings else []
    found: list[Phase] = []
    for path in fitted_paths(motion):
        odds = _log_odds(path, motion.usual_speed_sd_mps, motion.rate_hz)
        names = np.array(LIKELY)[most_probable(odds)]
        for stretches, name in ((braked, "braking"), (reverse_spans, "reverse")):
            for start_s, end_s in stretches:
                first, stop = np.searchsorted(path.time_s, [start_s, end_s])
                names[first:stop] = name
        edges = np.flatnonzero(names[1:] != names[:-1]) + 1
        instants = path.time_s[[0, *edges, -1]].tolist()
        runs = zip(names[[0, *edges]].tolist(), instants[:-1], instants[1:], strict=True)
        spans = without_short([PhaseSpan(*run) for run in runs], shortest, _MEASURED)
        _name_launches(spans, launch_starts_s)
        for span in spans:
            speeds = np.interp([span.start_s, span.end_s], path.time_s, path.speed_mps)
            found.append(Phase(span.kind, span.start_s, span.end_s, *speeds.tolist()))
    return Phases(tuple(found))


def _name_launches(spans: list[PhaseSpan], starts_s: Sequence[float]) -> None:
    """Call a pull after a standstill a launch; measured standing starts decide where it begins."""
    for before, span in pairwise(spans):
        if before.kind != "standstill":
            continue
        if span.kind == "pull":
            span.kind = "launch"
        for start_s in starts_s:
            if abs(start_s - span.start_s) < 1.0 and before.start_s < start_s < span.end_s:
                before.end_s = span.start_s = start_s
                if span.kind == "steady":
                    span.kind = "launch"


def without_short(
    spans: list[PhaseSpan], shortest_s: float, kept: Collection[str]
) -> list[PhaseSpan]:
    """Return spans in order of time, none shorter than a time unless alone or of a ``kept`` kind.

    The shortest gives way to the longer of its neighbours first, then neighbours of one kind become
    one span; the list is changed in place.
    """

    def length_s(span: PhaseSpan) -> float:
        return np.inf if span.kind in kept else span.end_s - span.start_s

    lengths = np.array([length_s(span) for span in spans])
    while len(spans) > 1 and lengths.min() < shortest_s:
        short = int(lengths.argmin())
        beside = spans[max(short - 1, 0) : short] + spans[short + 1 : short + 2]
        longer = max(beside, key=lambda span: span.end_s - span.start_s)
        gone = spans.pop(short)
        longer.start_s = min(longer.start_s, gone.start_s)
        longer.end_s = max(longer.end_s, gone.end_s)
        if 0 < short < len(spans) and spans[short - 1].kind == spans[short].kind:
            spans[short - 1].end_s = spans.pop(short).end_s
        before = max(short - 1, 0)
        anew = [length_s(span) for span in spans[before : short + 1]]
        after = len(lengths) - (len(spans) - before - len(anew))
        lengths = np.concatenate([lengths[:before], anew, lengths[after:]])
    return spans


def _log_odds(path: FittedPath, speed_sd_mps: float, rate_hz: float) -> FloatArray:
    """Return the logarithm of each instant's likelihood under each kind, shape (m, 6).

    ``speed_sd_mps`` is the usual uncertainty of the path's speed, ``rate_hz`` of its log's fixes.
    """
    spacing = float(path.time_s[1] - path.time_s[0])
    width_s = max(_WIDTH_S, _WIDTH_INTERVALS / rate_hz)
    width = max(1, round(width_s / spacing))
    speed = path.speed_mps
    turn_width_s = max(_TURN_WIDTH_S, width_s)
    accel = smoothed(path.accel_mps2, width)
    yaw = np.abs(smoothed(path.yaw_rate_radps, max(1, round(turn_width_s / spacing))))
    # Means over a width are differences of two velocities, along and across, by it.
    accel_sd = np.full_like(speed, np.sqrt(2.0) * speed_sd_mps / width_s)
    yaw_sd = np.sqrt(2.0) * speed_sd_mps / turn_width_s / np.maximum(speed, 0.3)
    speed_sd = np.full_like(speed, speed_sd_mps)
    limit = coasting_limit_mps2(speed)

    moving = _between(speed, 0.15, _FASTEST_MPS, speed_sd)
    straight = 2.0 * _normal(yaw, np.hypot(_STEADY_RADPS, yaw_sd))
    rest = 2.0 * _normal(speed, np.hypot(_REST_MPS, speed_sd))
    rest *= _normal(accel, np.hypot(_REST_MPS2, accel_sd))
    kinds = [
        # Where the machine rests its course is noise: any rate of turn is as likely.
        rest * _between(yaw, 0.0, _TURN_RADPS[1], yaw_sd),
        moving * straight * _between(accel, *_PULL_MPS2, accel_sd),
        moving * straight * _normal(accel, np.hypot(_STEADY_MPS2, accel_sd)),
        moving * straight * _between(-accel, _ROLL_MPS2, limit, accel_sd),
        # Braking goes on in a bend.
        moving * _between(-accel, limit, _BRAKE_MPS2, accel_sd)
        * _between(yaw, 0.0, _TURN_RADPS[1], yaw_sd),
        moving * _between(yaw, *_TURN_RADPS, yaw_sd)
        * _normal(accel, np.hypot(_TURNING_MPS2, accel_sd)),
    ]  # fmt: skip
    likelihood = np.stack(kinds, axis=1)
    best = likelihood.max(axis=1, keepdims=True)
    share = likelihood / np.maximum(best, 1e-300) + _DOUBT
    odds: FloatArray = np.log(share) * min(1.0, spacing / _ALIKE_S)
    return odds


def most_probable(odds: FloatArray) -> IntArray:
    """Return the kind of each instant in the likeliest sequence, shape (m,).

    A. J. Viterbi, "Error bounds for convolutional codes and an asymptotically optimum decoding
    algorithm", IEEE Trans. Inf. Theory 13 (1967) 260-269.
    """
    totals = np.empty_like(odds)
    total = np.zeros(odds.shape[1])
    for here, odd in zip(totals, odds, strict=True):
        total = np.maximum(total, total.max() - _CHANGE_COST, out=here)
        total += odd
    # Backwards, each kind goes on until another one pays for the change.
    best = totals.argmax(axis=1)
    pays = totals < totals.max(axis=1, keepdims=True) - _CHANGE_COST
    chosen = np.empty(len(odds), dtype=np.int64)
    kind = best[-1]
    for instant in range(len(odds) - 1, 0, -1):
        chosen[instant] = kind
        if pays[instant - 1, kind]:
            kind = best[instant - 1]
    chosen[0] = kind
    return chosen


def _between(
    value: FloatArray, low: FloatArray | float, high: FloatArray | float, sd: FloatArray
) -> FloatArray:
    """Return the density of a value anywhere between two bounds, seen with an error."""
    spread = np.maximum(sd, 1e-6)
    inside: FloatArray = _ndtr((value - low) / spread) - _ndtr((value - high) / spread)
    return np.maximum(inside, 0.0) / (high - low)


def _normal(value: FloatArray, sd: FloatArray) -> FloatArray:
    density: FloatArray = np.exp(-0.5 * (value / sd) ** 2) / (np.sqrt(2.0 * np.pi) * sd)
    return density
