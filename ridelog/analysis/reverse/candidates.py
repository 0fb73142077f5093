"""From the probability of reverse to stretches with edges where the machine moved off and stopped.

Between stops a stretch is as certain as its probability; at a stop the sign means nothing, so the
edges are looked for in the fixes themselves (``boundaries``).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.reverse.boundaries import OUTSIDE_S, Edge, edge_of
from ridelog.analysis.reverse.evidence import Projection, Readings, projected
from ridelog.analysis.reverse.full_model import possible_best_mps
from ridelog.analysis.reverse.heading_hmm import Steps
from ridelog.core.spans import runs_of
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion, Piece

# A stretch shorter than this is none.
_FINE_S = 0.05
# More likely reverse than not; and likely enough to be named while the ride leaves it open.
_LIKELY, _POSSIBLE = 0.5, 0.2
# The speed of a longer reverse is that of the fitted path.
_LONGEST_S = 25.0
# Steps further apart than this have an interruption between them.
_INTERRUPTED_S = 2.5
# A step is travel from this speed on.
_OFF_MPS = 0.15
# What never gets faster than this, or further, is a receiver's scatter at a stand, not travel.
_LEAST_MPS, _LEAST_M = 0.3, 0.35


@dataclass(frozen=True)
class Candidate:
    """A stretch that may well be reverse.

    start_s, end_s : where it moved off and came to rest. [s]
    probability : mean over its moving steps.
    first, stop : its steps, one past the last.
    cut : it begins or ends at an interruption of the log.
    best_mps : equally likely best seconds, shape (draws,); None where the fixes are too few for
        it. [m/s]
    """

    start_s: float
    end_s: float
    probability: float
    first: int
    stop: int
    cut: bool
    best_mps: FloatArray | None


def candidates_of(
    motion: Motion, steps: Steps, backwards: FloatArray, readings: Readings
) -> tuple[Candidate, ...]:
    """Return the stretches that may well be reverse and are travel at all, in time order.

    Where the whole ride leaves it open which of two kinds of stretches are the reverses (both as
    long and as fast), the less likely kind is a candidate too.
    """
    found: list[Candidate] = []
    # Apart from each other: at a stop between the two kinds both are open.
    likely = backwards > _LIKELY
    for inside in (likely, (backwards > _POSSIBLE) & ~likely):
        for first, stop in _runs(steps, inside):
            candidate = _candidate(motion, readings, steps, backwards, first, stop)
            if candidate is not None:
                found.append(candidate)
    return tuple(sorted(found, key=lambda candidate: candidate.start_s))


def _runs(steps: Steps, inside: BoolArray) -> list[tuple[int, int]]:
    """Return first and one-past-last step of every run, an interruption of the log ends one."""
    apart = np.flatnonzero(np.diff(steps.time_s) > _INTERRUPTED_S) + 1
    runs: list[tuple[int, int]] = []
    for first, stop in runs_of(inside):
        limits = [first, *apart[(apart > first) & (apart < stop)].tolist(), stop]
        runs += list(zip(limits[:-1], limits[1:], strict=True))
    return runs


def _candidate(
    motion: Motion, readings: Readings, steps: Steps, backwards: FloatArray, first: int, stop: int
) -> Candidate | None:
    speed = steps.speed_mps
    moving = np.flatnonzero(speed[first:stop] > _OFF_MPS) + first
    if len(moving) < 2 or speed[first:stop].max() < _LEAST_MPS:
        return None
    way = steps.velocity_mps[first:stop] * np.gradient(steps.time_s)[first:stop, None]
    if np.hypot(*way.sum(axis=0)) < _LEAST_M:
        return None
    ends = int(moving[0]), int(moving[-1])
    start_s, end_s, best_mps = _edges(motion, readings, steps, backwards, ends)
    if end_s - start_s < _FINE_S:
        return None
    pieces = [(p.start_s, p.end_s) for p in motion.pieces]
    cut = any(abs(end_s - b) < 0.3 for _, b in pieces[:-1])
    cut |= any(abs(start_s - a) < 0.3 for a, _ in pieces[1:])
    return Candidate(start_s, end_s, float(backwards[moving].mean()), first, stop, cut, best_mps)


def _edges(
    motion: Motion, readings: Readings, steps: Steps, backwards: FloatArray, moving: tuple[int, int]
) -> tuple[float, float, FloatArray | None]:
    """Return when the machine moved off and came to rest, and its possible best seconds.

    ``moving`` are the first and the last moving step.
    """
    backing = backwards > _LIKELY
    backing[moving[0] : moving[1] + 1] = True
    seemed = [float(steps.time_s[step]) for step in moving]
    pieces = [
        next(p for p in motion.pieces if p.start_s - 1e-6 <= near_s <= p.end_s + 1e-6)
        for near_s in seemed
    ]

    def along(first_s: float, last_s: float, piece: Piece) -> Projection | None:
        first_s, last_s = (
            max(first_s - OUTSIDE_S, piece.start_s),
            min(last_s + OUTSIDE_S, piece.end_s),
        )
        if last_s - first_s <= _FINE_S:
            return None
        return projected(motion, readings, steps, backing, first_s, last_s)

    edges: list[Edge | None] = []
    for near_s, side, piece in zip(seemed, (-1, +1), pieces, strict=True):
        around = along(near_s, near_s, piece)
        length_s = seemed[1] - seemed[0]
        edges.append(None if around is None else edge_of(around, near_s, side, length_s))
    start_s, end_s = (
        near_s if edge is None else float(np.clip(edge.median_s, piece.start_s, piece.end_s))
        for near_s, edge, piece in zip(seemed, edges, pieces, strict=True)
    )
    start, end = edges
    best_mps = None
    if start and end and pieces[0] is pieces[1] and _FINE_S < end_s - start_s < _LONGEST_S:
        whole = along(start_s, end_s, pieces[0])
        best_mps = None if whole is None else possible_best_mps(whole, start, end)
    return start_s, end_s, best_mps
