"""Forward or backward, at every moment: body heading and sign of travel, inferred over a ride.

A body's heading goes on through a stop, it turns only as it travels, and riding is mostly forward:
the transitions of one hidden Markov chain over a grid of headings and the two signs. Between the
slow regions of a ride only the odds of the signs are carried on. METHOD.md of reverse, (1) to (3).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ridelog.core.spans import runs_of
from ridelog.core.track import BoolArray, FloatArray, IntArray

# Bins of heading: 5 degrees. Own choice: below the slip of 7 degrees; finer takes time.
BINS = 72
# A body turns by this much for each metre it travels, one standard deviation squared: a circle of
# 3 m radius turns 0.33 rad in a metre, a machine on full lock of 1.5 m twice that. Own choice.
_TURN_RAD2_PER_M = 0.27
# ... and at a stand hardly at all: 4 degrees in 10 s. Own choice: more forgets a heading in a long
# stop.
_TURN_RAD2_PER_S = 4e-4
# Share of the speed by which the direction of travel may differ from the body's (side slip, an
# antenna that is not over the rear axle). Own choice: 7 degrees; more, each step tells less.
_SLIP = 0.12
# Likelihood that a velocity is wrong altogether, relative to a perfect one. Own choice: from
# 4.1 standard deviations off on all count alike, so that one bad step decides nothing alone.
_WRONG = 2e-4
# Changes of sign: as often as this when the machine is at rest. Own choice: a stop of some seconds
# leaves both ways open; the course decides ...
_CHANGES_PER_S = 0.3
# ... and only where the speed can have passed zero between two steps at this deceleration. Own
# choice: a firm stop and pull; more lets signs change while rolling.
_STOPPING_MPS2 = 3.0
# A new heading at a stand, by hand: rarely. Own choice: once in 8 minutes of standing; more takes
# reverses for turns by hand.
_TURNED_BY_HAND_PER_S = 0.002
# Reverse is slower and shorter than riding forward: its cost in nats a second. Own choice: ten
# seconds at 1 m/s cost 1, at 5 m/s 11; more overrules the course, less leaves the ride's sign open.
_COST_AT_REST, _COST_AT_SPEED, _SPEED_MPS, _LARGEST_COST = 0.06, 0.25, 2.5, 4.0
# A ride begins forward with these odds: own choice, worth some 20 s of what slow reverse costs.
_FIRST = np.array([0.9, 1.0 - 0.9])
# Only slower than this can a sign change be near; elsewhere two numbers are carried along. Own
# choice: there (2) leaves less than e to minus 12, at steps of 0.2 s and an sd of up to 0.3 m/s.
_SLOW_MPS, _MARGIN_S = 1.5, 1.5
# What is known before an interruption longer than this fades over this time. Own choice: a machine
# may be turned or moved unseen; slower fading trusts a heading across minutes.
INTERRUPTED_S, _FORGETTING_S = 2.5, 20.0
# Walks are made once for these variances (log spaced), a step takes the nearest above. Own choice:
# its standard deviation is 11 % too large at most.
_LEVELS = np.geomspace(1e-5, 3.0, 60)
# Chances below this cannot turn the answer of a whole ride (own choice); likelihoods of a few steps
# in a row do not underflow: at least 4e-6 each, to the fourth 2e-22.
_NEGLIGIBLE, _RESCALED_EVERY = 1.0e-12, 4
# So many steps of regions are passed side by side: own choice, some 20 MB; the sums are alike.
_AT_ONCE = 8192


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
    """What may happen between a step and the one before it, arrays of shape (m,).

    ``kept``, shape (m, BINS // 2 + 1), is what turning leaves of each frequency around the circle.
    """

    kept: FloatArray
    change: FloatArray
    renew: FloatArray
    cost: FloatArray


def reverse_probability(steps: Steps) -> FloatArray:
    """Return the probability that the machine travels backwards, at every step, shape (m,)."""
    m = len(steps.time_s)
    if m == 0:
        return np.zeros(0)
    moves = _moves(steps)
    regions = _slow_regions(steps.time_s, steps.speed_mps)
    groups = list(_groups(regions))
    # Chances of both signs, and of the headings where it is slow, given what came before ...
    odds, at = _FIRST, 0
    alphas: list[FloatArray] = []
    for group in groups:
        for (first, stop), alpha in zip(group, _forward(steps, moves, group), strict=True):
            renew = moves.renew[first]
            odds = (1.0 - renew) * _carried(odds, moves, at, first) + renew * _FIRST
            alphas.append(np.tensordot(odds / odds.sum(), alpha, axes=(0, 1)))
            odds, at = alphas[-1][-1].sum(axis=1), stop
    # ... and, backwards, of all that follows.
    backwards = np.zeros(m)
    tail, end = np.ones(2), m
    for group in groups[::-1]:
        for (first, stop), given in zip(group[::-1], _backward(steps, moves, group), strict=True):
            alpha = alphas.pop()
            tail = _carried(tail, moves, stop, end)
            backwards[stop:end] = _share_of_reverse(alpha[-1].sum(axis=1) * tail)
            beta = np.tensordot(tail, given, axes=(0, 1))
            backwards[first:stop] = _share_of_reverse((alpha * beta[:-1]).sum(axis=2))
            renew = moves.renew[first]
            tail = beta[-1].mean(axis=1)
            tail = (1.0 - renew) * tail + renew * float(_FIRST @ tail)
            tail, end = tail / tail.max(), first
    backwards[:end] = _share_of_reverse(_FIRST * _carried(tail, moves, 0, end))
    return backwards


def _share_of_reverse(chances: FloatArray) -> FloatArray:
    share: FloatArray = chances[..., 1] / chances.sum(axis=-1)
    return share


def _forward(steps: Steps, moves: _Moves, regions: list[tuple[int, int]]) -> list[FloatArray]:
    """Return chances through regions, shape (k, 2, 2, BINS), for either sign before the region.

    They are linear in the chances of the signs before, so that regions can be passed side by side.
    """
    side = _side_by_side(steps, moves, regions)
    passed = np.empty((*side.seen.shape[:2], 2, 2, BINS))
    # The heading is not carried over a fast stretch: any is as likely.
    state = np.tile(np.eye(2)[:, :, None] / BINS, (len(regions), 1, 1, BINS))
    for k, live in enumerate(side.live):
        state = state[:live]
        if k:
            state = side.moved(state, k)
            if side.renews[k]:
                renew = side.renew[k, :live]
                anew = state.sum(axis=(2, 3), keepdims=True) / BINS * _FIRST[:, None]
                state = (1.0 - renew) * state + renew * anew
        state = np.multiply(state, side.seen[k, :live, None], out=passed[k, :live])
        if k % _RESCALED_EVERY == 0:
            state /= state.sum(axis=(1, 2, 3), keepdims=True)
    return [passed[: side.length[place], place] for place in np.argsort(side.order)]


def _backward(steps: Steps, moves: _Moves, regions: list[tuple[int, int]]) -> list[FloatArray]:
    """Return likelihoods of what follows each step of regions, for either sign after the region.

    Shape (k + 1, 2, 2, BINS), the last region first: the last entry is of what is seen from the
    first step on. Linear as in ``_forward``.
    """
    side = _side_by_side(steps, moves, regions, back=True)
    passed = np.empty((len(side.live) + 1, len(regions), 2, 2, BINS))
    state = np.tile(np.eye(2)[:, :, None], (len(regions), 1, 1, BINS))
    for k, live in enumerate(side.live):
        passed[k, :live] = state = state[:live]
        state = np.multiply(state, side.seen[k, :live, None], out=passed[k + 1, :live])
        if side.renews[k]:
            renew = side.renew[k, :live]
            anew = (state * _FIRST[:, None]).sum(axis=(2, 3), keepdims=True) / BINS
            state = (1.0 - renew) * state + renew * anew
        state = side.moved(state, k)
        if k % _RESCALED_EVERY == 0:
            state /= state.max(axis=(1, 2, 3), keepdims=True)
    ends = [(place, side.length[place]) for place in np.argsort(side.order)[::-1]]
    return [np.concatenate([passed[n - 1 :: -1, one], passed[n, None, one]]) for one, n in ends]


def _groups(regions: list[tuple[int, int]]) -> Iterator[list[tuple[int, int]]]:
    """Yield neighbouring regions that are passed side by side, each as long as the longest."""
    group: list[tuple[int, int]] = []
    longest = 0
    for first, stop in regions:
        longest = max(longest, stop - first)
        if group and longest * (len(group) + 1) > _AT_ONCE:
            yield group
            group, longest = [], stop - first
        group.append((first, stop))
    if group:
        yield group


@dataclass(frozen=True)
class _SideBySide:
    """What happens at each step of regions, the longest first; ``order`` has their numbers.

    live : how many regions are as long as that, shape (longest,).
    seen : likelihoods, shape (longest, regions, 2, BINS).
    kept, change, renew : as in ``_Moves``, shapes (longest, regions, 1, 1, many or 1).
    changes, renews : whether any of them does at a step.
    """

    order: IntArray
    length: IntArray
    live: list[int]
    seen: FloatArray
    kept: FloatArray
    change: FloatArray
    renew: FloatArray
    changes: list[bool]
    renews: list[bool]

    def moved(self, state: FloatArray, k: int) -> FloatArray:
        """Return chances (r, 2, 2, BINS) one step on, or back.

        The body turns, is turned by hand, the sign changes: all three treat every heading alike
        and commute, so their way back is the same.
        """
        spectrum = np.fft.rfft(state)
        spectrum *= self.kept[k, : len(state)]
        state = np.fft.irfft(spectrum, BINS)
        if self.changes[k]:
            change = self.change[k, : len(state)]
            state = (1.0 - change) * state + change * state[:, :, ::-1]
        return state


def _side_by_side(
    steps: Steps, moves: _Moves, regions: list[tuple[int, int]], back: bool = False
) -> _SideBySide:
    """Return the steps of regions from their first ones on, or from their last ones ``back``."""
    first, stop = np.array(regions).T
    order = np.argsort(first - stop, kind="stable")
    first, length = first[order], (stop - first)[order]
    number = np.arange(length[0])[:, None]
    inside = number < length
    step = np.where(inside, first + (length - 1 - number if back else number), first)
    seen = np.ones((*step.shape, 2, BINS))
    seen[inside] = _likelihoods(steps, moves, step[inside])
    change, renew = moves.change[step], moves.renew[step]
    return _SideBySide(
        order, length, inside.sum(axis=1).tolist(), seen, moves.kept[step][:, :, None, None],
        change[:, :, None, None, None], renew[:, :, None, None, None],
        change.any(axis=1).tolist(), renew.any(axis=1).tolist(),
    )  # fmt: skip


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
    by_hand = np.minimum(_TURNED_BY_HAND_PER_S * step_s * resting, 0.5)
    # Never quite nothing, so that rounding never decides.
    kept = _walks(variance) * (1.0 - np.maximum(by_hand, _NEGLIGIBLE))[:, None]
    # Turned by hand, every heading is as likely: the sum stays.
    kept[:, 0] = 1.0
    change = np.minimum(_CHANGES_PER_S * step_s * gate, 0.5)
    return _Moves(
        kept=kept,
        change=np.where(change > _NEGLIGIBLE, change, 0.0),
        renew=np.where(step_s > INTERRUPTED_S, 1.0 - np.exp(-step_s / _FORGETTING_S), 0.0),
        cost=np.exp(-cost * np.minimum(step_s, 1.0)),
    )


def _walks(variance: FloatArray) -> FloatArray:
    """Return what walks on the circle of bins leave of each frequency, (m, BINS // 2 + 1).

    exp(-var / b² (1 - cos(2 pi m / BINS))) is that of small steps to either neighbour at random
    times: its variance is exact, and steps far below a bin survive the grid.
    """
    bin_rad = 2.0 * np.pi / BINS
    turns = 1.0 - np.cos(bin_rad * np.arange(BINS // 2 + 1))
    level = np.searchsorted(_LEVELS, variance).clip(0, len(_LEVELS) - 1)
    kept: FloatArray = np.exp(-_LEVELS[:, None] / bin_rad**2 * turns)[level]
    return kept


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


def _likelihoods(steps: Steps, moves: _Moves, step: IntArray) -> FloatArray:
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
