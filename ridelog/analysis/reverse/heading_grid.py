"""Forward or backward, at every moment: body heading and sign of travel, inferred over a ride.

A velocity V along a body of heading psi is s |V| u(psi) with a sign s: (s, psi) and (-s, psi + pi)
look the same. What tells them apart is that a body's heading goes on through a stop, that it turns
only as it travels, and that riding is mostly forward. All three are the transitions of one hidden
Markov chain over a grid of headings and the two signs; its forward-backward sums give the
probability of reverse at every step. Derivation: DEVELOPERS.md, "Reverse".
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from ridelog.track import FloatArray, IntArray

# Bins of heading: 5 degrees, a third of what a heading of 1 m/s is known to.
BINS = 72
# A body turns by this much for each metre it travels, one standard deviation squared: a circle of
# 3 m radius turns 0.33 rad in a metre, a machine on full lock of 1.5 m twice that. Own choice.
_TURN_RAD2_PER_M = 0.27
# ... and at a stand hardly at all: 3 degrees in 10 s.
_TURN_RAD2_PER_S = 4e-4
# Share of the speed by which the direction of travel may differ from the body's (side slip, an
# antenna that is not over the rear axle).
_SLIP = 0.12
# Likelihood that a velocity is wrong altogether, relative to a perfect one.
_WRONG = 2e-4
# Changes of sign: as often as this when the machine is at rest ...
_CHANGES_PER_S = 0.3
# ... and only where the speed can have passed zero between two steps at this deceleration.
_STOPPING_MPS2 = 3.0
# A new heading at a stand, by hand: rarely.
_TURNED_BY_HAND_PER_S = 0.002
# Reverse is slower and shorter than riding forward: its cost in nats a second.
_COST_AT_REST, _COST_AT_SPEED, _SPEED_MPS, _LARGEST_COST = 0.06, 0.25, 2.5, 4.0
# A ride begins forward with these odds.
_FORWARD_FIRST = 0.9
_FIRST = np.array([_FORWARD_FIRST, 1.0 - _FORWARD_FIRST])
# Only slower than this can a sign change be near; elsewhere two numbers are carried along.
_SLOW_MPS, _MARGIN_S = 1.5, 1.5
# What is known before an interruption fades over this time.
_INTERRUPTED_S, _FORGETTING_S = 2.5, 20.0
# Walks are made once for these variances (log spaced), a step takes the nearest.
_LEVELS = np.geomspace(1e-5, 3.0, 60)


# Chances below this cannot turn the answer of a whole ride; likelihoods of a few steps in a row do
# not underflow.
_NEGLIGIBLE, _RESCALED_EVERY = 1.0e-12, 4


@dataclass(frozen=True)
class Steps:
    """What a ride shows of its velocity, step by step; arrays of shape (m,).

    Attributes
    ----------
    time_s : strictly increasing. [s]
    velocity_mps : shape (m, 2), east and north. [m/s]
    sd_mps : standard deviation of each component. [m/s]
    weight : share of an independent observation that each step is (errors are correlated), 0..1.
    """

    time_s: FloatArray
    velocity_mps: FloatArray
    sd_mps: FloatArray
    weight: FloatArray

    @property
    def speed_mps(self) -> FloatArray:
        """Return the speed of each step. [m/s]"""
        speed: FloatArray = np.hypot(self.velocity_mps[:, 0], self.velocity_mps[:, 1])
        return speed


@dataclass(frozen=True)
class _Moves:
    """What may happen between a step and the one before it, arrays of shape (m,)."""

    walk: IntArray
    change: FloatArray
    by_hand: FloatArray
    renew: FloatArray
    cost: FloatArray


def reverse_probability(steps: Steps) -> FloatArray:
    """Return the probability that the machine travels backwards, at every step, shape (m,)."""
    m = len(steps.time_s)
    if m == 0:
        return np.zeros(0)
    moves = _moves(steps)
    regions = _slow_regions(steps.time_s, steps.speed_mps)
    kernels = _kernels()
    forward: list[FloatArray] = []
    odds = _FIRST
    at = 0
    for first, stop in regions:
        odds = _carried(odds, moves, at, first)
        odds = (1.0 - moves.renew[first]) * odds + moves.renew[first] * _FIRST
        likelihood = _likelihoods(steps, moves, first, stop)
        alpha = np.empty((stop - first, 2, BINS))
        state = np.repeat(odds[:, None] / BINS, BINS, axis=1)
        for k in range(first, stop):
            if k > first:
                state = _moved(state, kernels, moves, k)
            state = state * likelihood[k - first]
            if k % _RESCALED_EVERY == 0 or k + 1 == stop:
                state /= state.sum()
            alpha[k - first] = state
        forward.append(alpha)
        odds = state.sum(axis=1)
        at = stop

    backwards = np.zeros(m)
    tail = np.ones(2)
    end = m
    for (first, stop), alpha in zip(reversed(regions), reversed(forward), strict=True):
        tail = _carried_back(tail, moves, stop, end)
        both = alpha[-1].sum(axis=1) * tail
        backwards[stop:end] = both[1] / both.sum()
        beta = np.repeat(tail[:, None], BINS, axis=1)
        likelihood = _likelihoods(steps, moves, first, stop)
        for k in range(stop - 1, first - 1, -1):
            alpha[k - first] *= beta
            beta = beta * likelihood[k - first]
            if k > first:
                beta = _moved_back(beta, kernels, moves, k)
            if k % _RESCALED_EVERY == 0 or k == first:
                beta /= beta.max()
        each = alpha.sum(axis=2)
        backwards[first:stop] = each[:, 1] / each.sum(axis=1)
        tail = beta.mean(axis=1)
        tail = (1.0 - moves.renew[first]) * tail + moves.renew[first] * float(_FIRST @ tail)
        end = first
    tail = _carried_back(tail, moves, 0, end)
    both = _FIRST * tail
    backwards[:end] = both[1] / both.sum()
    return backwards


def _moves(steps: Steps) -> _Moves:
    speed = steps.speed_mps
    step_s = np.diff(steps.time_s, prepend=steps.time_s[0])
    before = np.concatenate([speed[:1], speed[:-1]])
    sd = np.maximum(steps.sd_mps, np.concatenate([steps.sd_mps[:1], steps.sd_mps[:-1]]))
    reach = np.sqrt(4.0 * sd**2 + (_STOPPING_MPS2 * step_s) ** 2)
    # A first step has nothing before it, and no reach either.
    gate = np.exp(-(((before + speed) / np.maximum(reach, 1e-9)) ** 2))
    # Noise at a stand is no travel and must not turn the body.
    way = np.sqrt(np.maximum(0.5 * (before**2 + speed**2) - 6.0 * sd**2, 0.0)) * step_s
    variance = _TURN_RAD2_PER_M * way + _TURN_RAD2_PER_S * step_s
    resting = np.exp(-(speed**2) / (4.0 * sd**2 + 0.01))
    cost = np.minimum(_COST_AT_REST + _COST_AT_SPEED * (speed / _SPEED_MPS) ** 2, _LARGEST_COST)
    return _Moves(
        walk=np.searchsorted(_LEVELS, variance).clip(0, len(_LEVELS) - 1),
        change=np.minimum(_CHANGES_PER_S * step_s * gate, 0.5),
        by_hand=np.minimum(_TURNED_BY_HAND_PER_S * step_s * resting, 0.5),
        renew=np.where(step_s > _INTERRUPTED_S, 1.0 - np.exp(-step_s / _FORGETTING_S), 0.0),
        cost=np.exp(-cost * np.minimum(step_s, 1.0)),
    )


@cache
def _kernels() -> FloatArray:
    """Return walks on the circle of bins, shape (levels, BINS, BINS), with exact variances.

    Eigenvalues exp(-var / b² (1 - cos(2 pi m / BINS))) are those of small steps to either
    neighbour at random times, so steps far below a bin survive the grid.
    """
    bin_rad = 2.0 * np.pi / BINS
    turns = 1.0 - np.cos(2.0 * np.pi * np.arange(BINS) / BINS)
    row = np.fft.ifft(np.exp(-_LEVELS[:, None] / bin_rad**2 * turns)).real
    place = (np.arange(BINS)[:, None] - np.arange(BINS)) % BINS
    return np.maximum(row[:, place], 0.0)


def _slow_regions(time_s: FloatArray, speed: FloatArray) -> list[tuple[int, int]]:
    """Return first and one-past-last step of stretches in which the sign could change."""
    # At an interruption what is known begins anew, so it needs the grid as well.
    broken = np.diff(time_s) > _INTERRUPTED_S
    near = np.append(broken, False) | np.concatenate([[False], broken])
    slow = np.flatnonzero((speed < _SLOW_MPS) | near)
    if not len(slow):
        return []
    cuts = np.flatnonzero(np.diff(time_s[slow]) > 2.0 * _MARGIN_S)
    firsts = slow[np.concatenate([[0], cuts + 1])]
    lasts = slow[np.concatenate([cuts, [len(slow) - 1]])]
    starts = np.searchsorted(time_s, time_s[firsts] - _MARGIN_S)
    stops = np.searchsorted(time_s, time_s[lasts] + _MARGIN_S, side="right")
    # At a fix a second the margin holds one step; two are wanted.
    starts = np.minimum(starts, np.maximum(firsts - 2, 0))
    stops = np.maximum(stops, np.minimum(lasts + 3, len(time_s)))
    joined: list[tuple[int, int]] = []
    for first, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((first, stop))
    return joined


def _likelihoods(steps: Steps, moves: _Moves, first: int, stop: int) -> FloatArray:
    """Return the likelihood of each step's velocity, with what reverse costs, (k, 2, BINS)."""
    heading = 2.0 * np.pi * np.arange(BINS) / BINS
    velocity = steps.velocity_mps[first:stop]
    along = velocity[:, :1] * np.sin(heading) + velocity[:, 1:] * np.cos(heading)
    across = velocity[:, :1] * np.cos(heading) - velocity[:, 1:] * np.sin(heading)
    spread = (steps.sd_mps[first:stop] ** 2 + (_SLIP * steps.speed_mps[first:stop]) ** 2)[:, None]
    weight = steps.weight[first:stop, None]
    out = np.empty((stop - first, 2, BINS))
    for sign, row in ((1.0, 0), (-1.0, 1)):
        off = across**2 + np.minimum(sign * along, 0.0) ** 2
        out[:, row] = (np.exp(-off / (2.0 * spread)) + _WRONG) ** weight
    out[:, 1] *= moves.cost[first:stop, None]
    return out


def _moved(state: FloatArray, kernels: FloatArray, moves: _Moves, k: int) -> FloatArray:
    state = state @ kernels[moves.walk[k]]
    change, by_hand, renew = moves.change[k], moves.by_hand[k], moves.renew[k]
    if change > _NEGLIGIBLE:
        state = (1.0 - change) * state + change * state[::-1]
    if by_hand > _NEGLIGIBLE:
        state = (1.0 - by_hand) * state + (by_hand / BINS) * state.sum(axis=1)[:, None]
    if renew > 0.0:
        state = (1.0 - renew) * state + renew * state.sum() * _FIRST[:, None] / BINS
    return state


def _moved_back(beta: FloatArray, kernels: FloatArray, moves: _Moves, k: int) -> FloatArray:
    """Undo the steps of ``_moved`` in the opposite order (each is its own transpose or a walk)."""
    change, by_hand, renew = moves.change[k], moves.by_hand[k], moves.renew[k]
    if renew > 0.0:
        beta = (1.0 - renew) * beta + renew * float(_FIRST @ beta.mean(axis=1))
    if by_hand > _NEGLIGIBLE:
        beta = (1.0 - by_hand) * beta + (by_hand / BINS) * beta.sum(axis=1)[:, None]
    if change > _NEGLIGIBLE:
        beta = (1.0 - change) * beta + change * beta[::-1]
    # The walk is symmetric.
    result: FloatArray = beta @ kernels[moves.walk[k]]
    return result


def _carried(odds: FloatArray, moves: _Moves, first: int, stop: int) -> FloatArray:
    """Return the odds of both signs after a fast stretch, in which neither can change."""
    for k in range(first, stop):
        if moves.renew[k] > 0.0:
            odds = (1.0 - moves.renew[k]) * odds + moves.renew[k] * _FIRST
        odds = odds * np.array([1.0, moves.cost[k]])
        odds = odds / odds.sum()
    return odds


def _carried_back(tail: FloatArray, moves: _Moves, first: int, stop: int) -> FloatArray:
    for k in range(stop - 1, first - 1, -1):
        tail = tail * np.array([1.0, moves.cost[k]])
        if moves.renew[k] > 0.0:
            tail = (1.0 - moves.renew[k]) * tail + moves.renew[k] * float(_FIRST @ tail)
        tail = tail / tail.max()
    return tail
