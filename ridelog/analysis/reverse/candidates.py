"""From the probability of reverse to stretches with edges where the machine moved off and stopped.

Between stops a stretch is as certain as its probability; at a stop the sign means nothing, so the
edges are taken from the speed of the fitted path.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.reverse.evidence import fitted
from ridelog.analysis.reverse.heading_grid import Steps
from ridelog.filtering.motion import Motion
from ridelog.track import BoolArray, FloatArray

# The fitted path is looked at this finely for edges.
_FINE_S = 0.05
# More likely reverse than not; and likely enough to be named while the ride leaves it open.
_LIKELY, _POSSIBLE = 0.5, 0.2
# Steps further apart than this have an interruption between them.
_INTERRUPTED_S = 2.5
# A step is travel from this speed on.
_OFF_MPS = 0.15
# The line through these shares of the height that is reached within some seconds meets zero where
# the machine moved off; the change of sign is looked for this far around a stretch.
_LOW_SHARE, _HIGH_SHARE, _RISE_S, _BACK_S = 0.3, 0.7, 3.0, 0.6
# A pull builds up and a brake lets go over some tenths of a second, which the line leaves out; a
# smoothed speed starts earlier the less it is known. Measured on simulated rides: median error of
# an edge 0.12 s inside up to a standard deviation of 0.055 m/s, 0.4 s outside from 0.09 on.
_BUILD_S, _SHARP_SD_MPS, _BLUR_S_PER_MPS, _MOST_BLUR_S = 0.12, 0.055, 14.0, 0.5
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


def candidates_of(motion: Motion, steps: Steps, backwards: FloatArray) -> tuple[Candidate, ...]:
    """Return the stretches that may well be reverse and are travel at all, in time order.

    Where the whole ride leaves it open which of two kinds of stretches are the reverses (both as
    long and as fast), the less likely kind is a candidate too.
    """
    found: list[Candidate] = []
    for likely in (_LIKELY, _POSSIBLE):
        for first, stop in _runs(steps, backwards > likely):
            if any(c.first < stop and first < c.stop for c in found):
                continue
            candidate = _candidate(motion, steps, backwards, steps.speed_mps, first, stop)
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
    """Return when the machine moved off (side -1) or came to rest (+1) at one end of a stretch.

    A smoothed speed leaves zero too early and reaches its height too late, so a straight line
    through two shares of that height is followed down to zero.
    """
    at = float(steps.time_s[moving])
    piece = next(p for p in motion.pieces if p.start_s - 1e-6 <= at <= p.end_s + 1e-6)
    limit = float(np.clip(steps.time_s[outer] + side * _BACK_S, piece.start_s, piece.end_s))
    inside = float(np.clip(at - side * _RISE_S, piece.start_s, piece.end_s))
    path = fitted(motion, min(limit, inside), max(limit, inside), _FINE_S)
    time_s, speed = path.time_s, path.speed_mps[:, 0]
    if side > 0:
        time_s, speed = time_s[::-1], speed[::-1]
    # Now the outside comes first; what lies before the slowest moment there is other travel.
    near = int(np.count_nonzero((time_s - at) * side >= -1e-9))
    slowest = int(np.argmin(speed[: max(near, 1)]))
    time_s, speed = time_s[slowest:], speed[slowest:]
    height = float(speed.max())
    low, high = max(_LOW_SHARE * height, _OFF_MPS), max(_HIGH_SHARE * height, 2.0 * _OFF_MPS)
    above_low, above_high = np.flatnonzero(speed >= low), np.flatnonzero(speed >= high)
    if not len(above_high) or above_low[0] == 0:
        return float(time_s[0])
    first, second = float(time_s[above_low[0]]), float(time_s[above_high[0]])
    start_s = first - (second - first) * low / (high - low)
    nearby = np.abs(steps.time_s - start_s) <= 1.0
    blurred_s = _BLUR_S_PER_MPS * (float(steps.sd_mps[nearby].mean()) - _SHARP_SD_MPS)
    start_s -= side * (min(blurred_s, _MOST_BLUR_S) - _BUILD_S)
    # The slowest moment outside is as far as a stretch can go.
    nearest, farthest = sorted((float(time_s[0]), float(time_s[-1])))
    return min(max(start_s, nearest), farthest)
