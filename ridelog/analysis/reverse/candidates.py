"""From the probability of reverse to stretches with edges where the machine moved off and stopped.

Between stops a stretch is as certain as its probability; at a stop the sign means nothing, so the
edges are looked for in the fixes themselves (``edges``).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.reverse.along import along_heading
from ridelog.analysis.reverse.edges import OUTSIDE_S, edge_s
from ridelog.analysis.reverse.heading_grid import Steps
from ridelog.analysis.reverse.readings import Readings
from ridelog.filtering.motion import Motion
from ridelog.track import BoolArray, FloatArray

# A stretch shorter than this is none.
_FINE_S = 0.05
# More likely reverse than not; and likely enough to be named while the ride leaves it open.
_LIKELY, _POSSIBLE = 0.5, 0.2
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
    """

    start_s: float
    end_s: float
    probability: float
    first: int
    stop: int
    cut: bool


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
    turns = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    runs: list[tuple[int, int]] = []
    for first, stop in turns.reshape(-1, 2).tolist():
        limits = [first, *apart[(apart > first) & (apart < stop)].tolist(), stop]
        runs += list(zip(limits[:-1], limits[1:], strict=True))
    return runs


def _candidate(
    motion: Motion,
    readings: Readings,
    steps: Steps,
    backwards: FloatArray,
    first: int,
    stop: int,
) -> Candidate | None:
    speed = steps.speed_mps
    moving = np.flatnonzero(speed[first:stop] > _OFF_MPS) + first
    if len(moving) < 2 or speed[first:stop].max() < _LEAST_MPS:
        return None
    way = steps.velocity_mps[first:stop] * np.gradient(steps.time_s)[first:stop, None]
    if np.hypot(*way.sum(axis=0)) < _LEAST_M:
        return None
    ends = int(moving[0]), int(moving[-1])
    start_s, end_s = _edges(motion, readings, steps, backwards, ends)
    if end_s - start_s < _FINE_S:
        return None
    pieces = [(p.start_s, p.end_s) for p in motion.pieces]
    cut = any(abs(end_s - b) < 0.3 for _, b in pieces[:-1])
    cut |= any(abs(start_s - a) < 0.3 for a, _ in pieces[1:])
    return Candidate(start_s, end_s, float(backwards[moving].mean()), first, stop, cut)


def _edges(
    motion: Motion,
    readings: Readings,
    steps: Steps,
    backwards: FloatArray,
    moving: tuple[int, int],
) -> tuple[float, float]:
    """Return when the machine moved off and came to rest, from the first and last moving step."""
    backing = backwards > _LIKELY
    backing[moving[0] : moving[1] + 1] = True
    seemed = [float(steps.time_s[step]) for step in moving]
    edges: list[float] = []
    for near_s, side in zip(seemed, (-1, +1), strict=True):
        piece = next(p for p in motion.pieces if p.start_s - 1e-6 <= near_s <= p.end_s + 1e-6)
        first_s, last_s = (
            max(near_s - OUTSIDE_S, piece.start_s),
            min(near_s + OUTSIDE_S, piece.end_s),
        )
        edge = None
        if last_s - first_s > _FINE_S:
            along = along_heading(motion, readings, steps, backing, first_s, last_s)
            edge = edge_s(along, near_s, side, seemed[1] - seemed[0])
        edges.append(near_s if edge is None else float(np.clip(edge, piece.start_s, piece.end_s)))
    return edges[0], edges[1]
