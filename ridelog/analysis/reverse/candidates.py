"""From the probability of reverse to stretches with edges where the machine moved off and stopped.

Between stops a stretch is as certain as its probability; at a stop the sign means nothing, so the
edges are taken from the speed of the fitted path.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.reverse.evidence import fitted
from ridelog.analysis.reverse.heading_grid import Steps
from ridelog.filtering.motion import Motion
from ridelog.track import FloatArray

# The fitted path is looked at this finely for edges.
_FINE_S = 0.05
# A machine has moved off at this speed; its start is where a straight line through this and twice
# this speed meets zero, at most this far away.
_OFF_MPS, _BACK_S = 0.15, 0.6
# What never gets faster than this, or further, is a receiver's scatter at a stand, not travel.
_LEAST_MPS, _LEAST_M = 0.3, 0.35


@dataclass(frozen=True)
class Candidate:
    """A stretch that is more likely reverse than forward.

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


def candidates_of(motion: Motion, steps: Steps, backwards: FloatArray) -> tuple[Candidate, ...]:
    """Return the stretches that are more likely reverse than forward and are travel at all."""
    speed = steps.speed_mps
    turns = np.diff(np.concatenate([[False], backwards > 0.5, [False]]).astype(np.int8))
    edges = np.flatnonzero(turns).reshape(-1, 2)
    found: list[Candidate] = []
    for first, stop in edges.tolist():
        # An interruption of the log ends a stretch: nothing is known of its inside.
        inner = np.flatnonzero(np.diff(steps.time_s[first:stop]) > 2.5) + first + 1
        limits = [first, *inner.tolist(), stop]
        for a, b in zip(limits[:-1], limits[1:], strict=True):
            candidate = _candidate(motion, steps, backwards, speed, a, b)
            if candidate is not None:
                found.append(candidate)
    return tuple(found)


def _candidate(
    motion: Motion, steps: Steps, backwards: FloatArray, speed: FloatArray, first: int, stop: int
) -> Candidate | None:
    moving = np.flatnonzero(speed[first:stop] > _OFF_MPS) + first
    if len(moving) < 2 or speed[first:stop].max() < _LEAST_MPS:
        return None
    way = steps.velocity_mps[first:stop] * np.gradient(steps.time_s)[first:stop, None]
    if np.hypot(*way.sum(axis=0)) < _LEAST_M:
        return None
    # Half a step to either side belongs to the change; the edge lies at the slowest moment there.
    start_s = _edge(motion, steps, int(moving[0]), first, -1)
    end_s = _edge(motion, steps, int(moving[-1]), stop - 1, +1)
    if end_s - start_s < _FINE_S:
        return None
    ends = [(p.start_s, p.end_s) for p in motion.pieces]
    cut = any(abs(end_s - b) < 0.3 for _, b in ends[:-1])
    cut |= any(abs(start_s - a) < 0.3 for a, _ in ends[1:])
    return Candidate(start_s, end_s, float(backwards[moving].mean()), first, stop, cut)


def _edge(motion: Motion, steps: Steps, moving: int, outer: int, side: int) -> float:
    """Return when the machine moved off (side -1) or came to rest (+1) at one end of a stretch."""
    at = float(steps.time_s[moving])
    limit = float(steps.time_s[outer]) + side * _BACK_S
    pieces = [p for p in motion.pieces if p.start_s - 1e-6 <= at <= p.end_s + 1e-6]
    limit = min(max(limit, pieces[0].start_s), pieces[0].end_s)
    # From a second inside the stretch outwards, so that both speeds of the line are seen.
    inside = float(np.clip(at - side * 1.0, pieces[0].start_s, pieces[0].end_s))
    path = fitted(motion, min(limit, inside), max(limit, inside), _FINE_S)
    time_s, speed = path.time_s, path.speed_mps[:, 0]
    if side > 0:
        time_s, speed = time_s[::-1], speed[::-1]
    # Now outside comes first. The stretch begins after the last slow moment before it moves.
    near = (time_s - at) * side >= -1e-9
    slow = np.flatnonzero(near & (speed < _OFF_MPS))
    if not len(slow):
        # A rolling change, or the edge of the log: the slowest moment.
        outside = np.flatnonzero(near)
        return float(time_s[outside[np.argmin(speed[outside])]]) if len(outside) else at
    last = int(slow[-1])
    faster = np.flatnonzero(speed[last:] >= 2.0 * _OFF_MPS)
    reach = abs(time_s[last + int(faster[0])] - time_s[last]) if len(faster) else 0.0
    return float(
        np.clip(time_s[last] + side * min(reach, _BACK_S), min(path.time_s), max(path.time_s))
    )
