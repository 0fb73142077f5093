"""Forward or backward, at every moment: body heading and sign of travel, inferred over a ride.

A body's heading goes on through a stop, it turns only as it travels, and riding is mostly forward:
the transitions of one hidden Markov chain over a grid of headings and the two signs. Between the
slow regions of a ride only the odds of the signs are carried on. METHOD.md of reverse, (1) to (3).
"""

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from ridelog.core.spans import runs_of
from ridelog.core.track import BoolArray, FloatArray, IntArray

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
_FIRST = np.array([0.9, 1.0 - 0.9])
# Only slower than this can a sign change be near; elsewhere two numbers are carried along.
_SLOW_MPS, _MARGIN_S = 1.5, 1.5
# What is known before an interruption fades over this time.
INTERRUPTED_S, _FORGETTING_S = 2.5, 20.0
# Walks are made once for these variances (log spaced), a step takes the nearest above.
_LEVELS = np.geomspace(1e-5, 3.0, 60)
# Chances below this cannot turn the answer of a whole ride; likelihoods of a few steps in a row do
# not underflow.
_NEGLIGIBLE, _RESCALED_EVERY = 1.0e-12, 4


@dataclass(frozen=True)
class Steps:
    """What a ride shows of its velocity, step by step; arrays of shape (m,).

    time_s : strictly increasing. [s]
    velocity_mps : shape (m, 2), east and north. [m/s]
    sd_mps : standard deviation of each component. [m/s]
    weight : share of an independent observation that each step is (errors are correlated), 0..1.
    """

    time_s: FloatArray
    velocity_mps: FloatArray
    sd_mps: FloatArray
    weight: FloatArray

    @cached_property
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
    likelihoods = [_likelihoods(steps, moves, slice(*region)) for region in regions]
    # Chances of both signs, and of the headings where it is slow, given what came before ...
    odds, at = _FIRST, 0
    alphas: list[FloatArray] = []
    for (first, stop), seen in zip(regions, likelihoods, strict=True):
        renew = moves.renew[first]
        odds = (1.0 - renew) * _carried(odds, moves, at, first) + renew * _FIRST
        alphas.append(_forward(moves, first, odds / odds.sum(), seen))
        odds, at = alphas[-1][-1].sum(axis=1), stop
    # ... and, backwards, of all that follows.
    backwards = np.zeros(m)
    tail, end = np.ones(2), m
    for (first, stop), seen in zip(regions[::-1], likelihoods[::-1], strict=True):
        alpha = alphas.pop()
        tail = _carried(tail, moves, stop, end)
        backwards[stop:end] = _share_of_reverse(alpha[-1].sum(axis=1) * tail)
        beta = _backward(moves, first, tail, seen)
        backwards[first:stop] = _share_of_reverse((alpha * beta).sum(axis=2))
        renew = moves.renew[first]
        tail = (seen[0] * beta[0]).mean(axis=1)
        tail = (1.0 - renew) * tail + renew * float(_FIRST @ tail)
        tail, end = tail / tail.max(), first
    backwards[:end] = _share_of_reverse(_FIRST * _carried(tail, moves, 0, end))
    return backwards


def _share_of_reverse(chances: FloatArray) -> FloatArray:
    share: FloatArray = chances[..., 1] / chances.sum(axis=-1)
    return share


def _forward(moves: _Moves, first: int, odds: FloatArray, seen: FloatArray) -> FloatArray:
    """Return chances through a region given what came before, shape (k, 2, BINS)."""
    alpha = np.empty_like(seen)
    # The heading is not carried over a fast stretch: any is as likely.
    state = np.repeat(odds[:, None] / BINS, BINS, axis=1)
    for k in range(len(seen)):
        if k:
            state = _moved(state, moves, first + k)
            if renew := moves.renew[first + k]:
                state = (1.0 - renew) * state + renew / BINS * state.sum() * _FIRST[:, None]
        state = state * seen[k]
        if k % _RESCALED_EVERY == 0:
            state /= state.sum()
        alpha[k] = state
    return alpha


def _backward(moves: _Moves, first: int, tail: FloatArray, seen: FloatArray) -> FloatArray:
    """Return likelihoods through a region of what follows each step, shape (k, 2, BINS)."""
    beta = np.empty_like(seen)
    beta[-1] = tail[:, None]
    for k in range(len(seen) - 1, 0, -1):
        state = beta[k] * seen[k]
        if renew := moves.renew[first + k]:
            state = (1.0 - renew) * state + renew / BINS * float(_FIRST @ state.sum(axis=1))
        state = _moved(state, moves, first + k)
        if k % _RESCALED_EVERY == 0:
            state /= state.max()
        beta[k - 1] = state
    return beta


def _moved(state: FloatArray, moves: _Moves, step: int) -> FloatArray:
    """Return chances one step on, or back, shape (2, BINS).

    The body turns, is turned by hand, the sign changes: all three treat every heading alike and
    commute, so their way back is the same.
    """
    state = state @ _walks()[moves.walk[step]]
    by_hand, change = moves.by_hand[step], moves.change[step]
    if by_hand > _NEGLIGIBLE:
        state = (1.0 - by_hand) * state + by_hand / BINS * state.sum(axis=1, keepdims=True)
    if change > _NEGLIGIBLE:
        state = (1.0 - change) * state + change * state[::-1]
    return state


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
        renew=np.where(step_s > INTERRUPTED_S, 1.0 - np.exp(-step_s / _FORGETTING_S), 0.0),
        cost=np.exp(-cost * np.minimum(step_s, 1.0)),
    )


@cache
def _walks() -> FloatArray:
    """Return walks on the circle of bins, one of each level's variance, (levels, BINS, BINS).

    exp(-var / b² (1 - cos(2 pi m / BINS))) is that of small steps to either neighbour at random
    times: its variance is exact, and steps far below a bin survive the grid.
    """
    bin_rad = 2.0 * np.pi / BINS
    turns = 1.0 - np.cos(bin_rad * np.arange(BINS // 2 + 1))
    kept = np.exp(-_LEVELS[:, None] / bin_rad**2 * turns)
    # Chances far below the largest come out as rounding errors of either sign.
    row = np.maximum(np.fft.irfft(kept, BINS), 0.0)
    place = (np.arange(BINS)[:, None] - np.arange(BINS)) % BINS
    return row[:, place]


def _slow_regions(time_s: FloatArray, speed: FloatArray) -> list[tuple[int, int]]:
    """Return first and one-past-last step of stretches in which the sign could change."""
    slow = speed < _SLOW_MPS
    # At an interruption what is known begins anew, so it needs the grid as well.
    broken = np.diff(time_s) > INTERRUPTED_S
    slow[1:] |= broken
    slow[:-1] |= broken
    near = within(time_s, time_s[slow], _MARGIN_S)
    # At a fix a second the margin holds one step; two are wanted.
    for steps in (1, 2):
        near[steps:] |= slow[:-steps]
        near[:-steps] |= slow[steps:]
    return runs_of(near)


def within(time_s: FloatArray, marks_s: FloatArray, reach_s: float) -> BoolArray:
    """Return which times lie within a reach of any of the (sorted) marks."""
    until = np.searchsorted(marks_s, time_s + reach_s, side="right")
    return until > np.searchsorted(marks_s, time_s - reach_s)


def _likelihoods(steps: Steps, moves: _Moves, step: slice) -> FloatArray:
    """Return the likelihood of some steps' velocities, with what reverse costs, (k, 2, BINS)."""
    heading = 2.0 * np.pi * np.arange(BINS) / BINS
    velocity = steps.velocity_mps[step]
    along = velocity[:, :1] * np.sin(heading) + velocity[:, 1:] * np.cos(heading)
    across = velocity[:, :1] * np.cos(heading) - velocity[:, 1:] * np.sin(heading)
    speed_square = (velocity**2).sum(axis=1)
    spread = (steps.sd_mps[step] ** 2 + _SLIP**2 * speed_square)[:, None]
    off = across**2 + np.minimum(along, 0.0) ** 2
    out = np.empty((len(velocity), 2, BINS))
    out[:, 0] = (np.exp(-off / (2.0 * spread)) + _WRONG) ** steps.weight[step, None]
    # Backwards along a heading is forwards along the opposite one.
    out[:, 1] = np.roll(out[:, 0], BINS // 2, axis=1) * moves.cost[step, None]
    return out


def _carried(chances: FloatArray, moves: _Moves, first: int, stop: int) -> FloatArray:
    """Return the chances of both signs past a fast stretch, in which neither can change.

    Interruptions lie in slow regions, so reverse only grows less likely by what it costs.
    """
    carried: FloatArray = chances * [1.0, float(np.prod(moves.cost[first:stop]))]
    return carried
