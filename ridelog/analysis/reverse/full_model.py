"""The speed of a reverse from its beginning to its end: possible ones, drawn from what fixes tell.

The machine pulls away from rest, runs on with small bends, brakes to rest: one model for both ends
and all between, its instants drawn from what the ends alone leave open. Derivation: METHOD.md of
reverse, (7) and (8).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ridelog.analysis.braking.corners import built_up
from ridelog.analysis.reverse.boundaries import (
    ANYWHERE_M,
    BEND_S,
    BUILD_S,
    EASE_S,
    GRID_S,
    JERK_OUT,
    LASTS_S,
    NOTHING,
    PULL,
    RIDE,
    RIDING_S,
    Edge,
    Shapes,
    bordered,
    products_of,
    way_for_one,
)
from ridelog.analysis.reverse.evidence import Projection
from ridelog.core.interval import systematic
from ridelog.core.track import BoolArray, FloatArray, IntArray

# Instants tried as the ends alone have them; walkers among the likely ones, their rounds at every
# step and at the last one, and possible speeds drawn at the end. Own choice: fewer shake the ends
# of the interval, more take time in proportion.
_TRIALS, _WALKERS, _ROUNDS, _LAST_ROUNDS, POSSIBLE = 600, 80, 15, 45, 400
# Steps are not smaller than this: own choice to bound the work at 20 steps.
_LEAST_SHARE = 0.05
# The ends were found with the same fixes between them: drawn with this share of their evidence. Own
# choice: (8) weighs it out again, so it only says how widely the first trials lie.
_TEMPER = 0.5
_SEED = 20261127
# How long pull and brake last, any length as likely by its logarithm. Own choice: from what one
# takes to build up to more than a reverse at 1 m/s² can use. [s]
_LASTS_S = (0.3, 6.0)
# So is how long the speed is held between, added to this: own choice, without it not to hold at all
# would be likelier than anything. [s]
_HELD_S = 0.5
# Stands for no other travel: any number far off the grid does exactly the same.
_NEVER = 10**5
# How lively the hand is between pull and brake is open, one for a reverse: from a speed that is
# held to one that is changed every second. Slope that is left between, one standard deviation, and
# intensity of the jerk. Own choice: the first is as good as even, the last as lively as riding
# outside; more levels between change little that six do not span. [m/s²], [m²/s⁵]
_EVEN = (0.001, 0.005, 0.02, 0.08, 0.25, 0.25)
_JERK = (1.0e-6, 2.0e-5, 4.0e-4, 0.008, 0.1, 0.5)
# Longer reverses have their bends further apart: own choice to bound the work, from some 12 s on.
_MOST_BENDS = 20
# Bends of the other travel beside its brake (pull): own choice, little of it takes part here.
_BENDS_OUT = 1
# The machine is at rest at the end: so close are speed and slope to zero there. Own choice: below
# what any receiver tells, and not so small that the equations lose digits.
_AT_REST = 0.01
# A second, the same as for the top speed of a ride.
_WINDOW_S = 1.0
# Other travel takes part for a short time beyond where it is this fast. Own choice: the crawl below
# which travel and scatter look alike.
_RIDING_MPS = 0.5
_BUILD = round(BUILD_S / GRID_S)
# The size of slow errors is itself only learnt: the same as in the filter's cautious draws.
_SLOW_FACTOR = 1.35
# Walkers may go this far beyond the first trials: own choice, one second.
_ROOM = 20


def possible_best_mps(along: Projection, start: Edge, end: Edge) -> FloatArray | None:
    """Return equally likely best seconds of a reverse, shape (POSSIBLE,). [m/s]

    ``along`` holds the fixes from well before it to well after, ``start`` and ``end`` what its ends
    alone leave open. The mean of the whole where it is shorter than a second; None if no trial is
    in order. Own derivation: METHOD.md of reverse, (7) and (8).
    """
    random = np.random.default_rng(_SEED)
    drawn = _drawn(start, end, random)
    if drawn is None:
        return None
    trials, told = drawn
    fixes = _Fixes.of(along, trials, start.median_s)
    likely = _WholeModel.of(fixes, trials).likely
    # From what the ends say apart to what all fixes say together by steps that leave half of the
    # trials of use (annealed: Del Moral, Doucet, Jasra 2006).
    weighed, share = -told, 0.0
    while share < 1.0:
        share, before = _next_share(likely, weighed, share), share
        weight = weighed + (share - before) * likely
        chosen = systematic(np.exp(weight - weight.max()), _WALKERS, random)
        trials, likely, weighed = trials[chosen], likely[chosen], np.zeros(_WALKERS)
        for _ in range(_ROUNDS if share < 1.0 else _LAST_ROUNDS):
            moved = _moved(trials, random)
            there = _WholeModel.of(fixes, moved).likely
            better = np.log(random.random(_WALKERS)) < share * (there - likely)
            trials = np.where(better[:, None], moved, trials)
            likely = np.where(better, there, likely)
    model = _WholeModel.of(fixes, trials)
    return np.concatenate([model.best_mps(random) for _ in range(POSSIBLE // _WALKERS)])


def _next_share(likely: FloatArray, weighed: FloatArray, share: float) -> float:
    """Return how far the likelihood may enter so that half of the trials stay of use."""
    low, high = share, 1.0
    for _ in range(12):
        weight = weighed + (high - share) * likely
        weight = np.exp(weight - weight.max())
        if weight.sum() ** 2 >= 0.5 * _WALKERS * (weight**2).sum():
            if high == 1.0:
                break
            low = high
        else:
            above = high
        high = 0.5 * (low + above)
    return max(high, share + _LEAST_SHARE) if high < 1.0 - _LEAST_SHARE else 1.0


# A trial is a row of whole numbers: when the pull begins and ends, the brake begins, and rest is
# reached; when other travel ends and begins (far away: there is none); how lively the hand is.
# Instants are in steps of GRID_S from a common origin.
_START, _PULLED, _BRAKE, _END, _BEFORE, _AFTER, _LIVELY = range(7)
# What is moved together: one end, either pull or brake, the other travel, everything. Own choice:
# how soon walkers have gone everywhere depends on it, not where they may go.
_TOGETHER = np.array(
    [[1, 1, 0, 0, 0, 0], [0, 0, 1, 1, 0, 0], [1, 0, 0, 1, 1, 1], [0, 1, 0, 0, 0, 0],
     [0, 0, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 0], [1, 1, 1, 1, 1, 1]],
)  # fmt: skip


def _drawn(
    start: Edge, end: Edge, random: np.random.Generator
) -> tuple[IntArray, FloatArray] | None:
    """Return trials and the logarithm of the density with which they were drawn."""
    trials = np.empty((_TRIALS, 7), dtype=np.int64)
    told = np.zeros(_TRIALS)
    cuts = np.sqrt(np.array(LASTS_S[1:]) * np.array(LASTS_S[:-1]))
    bounds = np.concatenate([_LASTS_S[:1], cuts, _LASTS_S[1:]])
    for edge, inward, columns in (
        (start, 1.0, (_START, _PULLED, _BEFORE)), (end, -1.0, (_END, _BRAKE, _AFTER)),
    ):  # fmt: skip
        evidence = _TEMPER * (edge.evidence - edge.evidence.max())
        weight = np.exp(evidence)
        picked = random.choice(len(weight), _TRIALS, p=weight / weight.sum())
        told += evidence[picked]
        among = np.searchsorted(cuts, edge.lasts_s[picked])
        # Evenly by the logarithm between neighbours of the lengths tried.
        share = random.random(_TRIALS)
        lasts = bounds[among] ** (1.0 - share) * bounds[among + 1] ** share
        at_s = edge.at_s[picked] - start.median_s
        other = (edge.other_s[picked] - start.median_s) / GRID_S
        steps = at_s / GRID_S, (at_s + inward * lasts) / GRID_S, other
        for column, step in zip(columns, steps, strict=True):
            trials[:, column] = np.rint(np.where(np.isfinite(step), step, -inward * _NEVER))
    trials[:, _LIVELY] = random.integers(len(_JERK), size=_TRIALS)
    good = np.flatnonzero(_possible(trials))
    if not len(good):
        return None
    good = np.resize(good, _TRIALS)
    return trials[good], told[good]


def _possible(trials: IntArray) -> BoolArray:
    """Return which trials are in order: pull before brake, other travel outside."""
    first, pulled, brake, last = trials[:, :4].T
    lasts = np.stack([pulled - first, last - brake]) * GRID_S
    shortest, longest = lasts.min(axis=0), lasts.max(axis=0)
    good: BoolArray = (shortest >= _LASTS_S[0] - 1e-6) & (longest <= _LASTS_S[1] + 1e-6)
    good &= (last - first > 2 * _BUILD) & (brake - pulled >= _BUILD)
    good &= (trials[:, _BEFORE] <= first) & (trials[:, _AFTER] >= last)
    good &= (trials[:, _LIVELY] >= 0) & (trials[:, _LIVELY] < len(_JERK))
    return good


def _moved(trials: IntArray, random: np.random.Generator) -> IntArray:
    """Return a step of each walker along the difference of two others, and a little aside."""
    count = len(trials)
    one, two = random.integers(count, size=(2, count))
    step = random.choice([0.3, 0.6, 1.0], count)[:, None] * (trials[one, :6] - trials[two, :6])
    step[np.abs(step) > 0.1 * _NEVER] = 0.0
    step += random.standard_normal((count, 6)) * random.choice([0.7, 2.0], (count, 1))
    moved = trials.copy()
    moved[:, :6] += np.rint(step * _TOGETHER[random.integers(len(_TOGETHER), size=count)]).astype(
        np.int64
    )
    moved[:, _LIVELY] += random.choice([-1, 0, 0, 1], count)
    return moved


@dataclass(frozen=True)
class _Fixes:
    """Products of every shape with each other and with the fixes, from which trials pick theirs.

    Shapes are a constant, nothing, and one change of slope at each instant of the grid: of the
    reverse (``back``, ``bend`` apart), of the other travel before (from ``low``) and after it (up
    to ``high``).
    """

    products: FloatArray
    onto: FloatArray
    square: float
    bend: int
    bends: int
    back: tuple[int, int]
    low: int
    high: int

    @staticmethod
    def of(along: Projection, trials: IntArray, origin_s: float) -> "_Fixes":
        """Return the products over the fixes around the reverse."""
        at_s, path_s = along.time_s - origin_s, along.path_time_s - origin_s
        start, end = int(trials[:, _START].min()) - _ROOM, int(trials[:, _END].max()) + _ROOM
        middle = 0.5 * GRID_S * (start + end)
        first_s, last_s = path_s[0], path_s[-1]
        beside = (path_s < GRID_S * start) | (path_s > GRID_S * end)
        fast = np.abs(along.path_mps) > _RIDING_MPS
        riding = path_s[fast & (beside | (along.path_mps > 0.0))]
        first_s = max(first_s, riding[riding < middle].max(initial=-np.inf) - RIDING_S)
        last_s = min(last_s, riding[riding > middle].min(initial=np.inf) + RIDING_S)
        taken = (at_s >= first_s - 1e-6) & (at_s <= last_s + 1e-6)
        low, high = int(np.floor(first_s / GRID_S)) - 1, int(np.ceil(last_s / GRID_S)) + 1
        groups = (
            NOTHING,
            Shapes(start, end, -1.0, BUILD_S),
            Shapes(low, end, 1.0, EASE_S, before=True),
            Shapes(start, high + 1, 1.0, EASE_S),
        )
        products = products_of(
            along, at_s, taken, groups, drift_mps=along.drift_mps, slow_factor=_SLOW_FACTOR
        )
        bend = max(round(BEND_S / GRID_S), -(-(end - start) // _MOST_BENDS))
        return _Fixes(*products, bend, (end - start) // bend, (start, end), low, high)

    def changes(self, trials: IntArray) -> tuple[IntArray, BoolArray]:
        """Return when changes of slope begin, (trials, 4 + bends), and which there are."""
        first, pulled, brake, last = trials[:, :4].T
        ends = np.stack([first, pulled, brake - _BUILD, last - _BUILD], axis=1)
        bends = first[:, None] + self.bend * np.arange(1, self.bends + 1)
        used = np.concatenate([ends == ends, bends < ends[:, 3:]], axis=1)
        return np.concatenate([ends, bends], axis=1), used

    def picked(self, trials: IntArray, changes: IntArray, used: BoolArray) -> IntArray:
        """Return the shapes that each trial takes."""
        nothing, (start, end) = 1, self.back
        outer = round(BEND_S / GRID_S) * np.arange(_BENDS_OUT + 1)
        ending, beginning = trials[:, [_BEFORE]] - outer, trials[:, [_AFTER]] + outer
        before = 2 + end - start
        after = before + end - self.low
        return np.concatenate(
            [np.zeros((len(trials), 1), dtype=np.int64),
             np.where(used, 2 + changes - start, nothing),
             np.where(ending >= self.low, before + ending - self.low, nothing),
             np.where(beginning <= self.high, after + beginning - start, nothing)], axis=1,
        )  # fmt: skip

    @cached_property
    def prior(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """The factors of the shapes before anything is seen, for each level of liveliness.

        Precision, precision times mean, the mean's square under it, half its log determinant.
        """
        outer = [RIDE[1] ** -2, *[1.0 / (JERK_OUT * BEND_S)] * _BENDS_OUT]
        pull, inner = PULL[1] ** -2, np.arange(5, 5 + self.bends)
        # The pull ends in about no acceleration, the brake begins from it: their changes cancel.
        once = np.diag([ANYWHERE_M**-2, pull, 0.0, 0.0, pull, *[0.0] * self.bends, *outer, *outer])
        even, bend = np.zeros_like(once), np.zeros_like(once)
        even[1:3, 1:3] = even[3:5, 3:5] = 1.0
        bend[inner, inner] = 1.0 / (GRID_S * self.bend)
        mean = np.zeros(len(once))
        mean[[1, 4]], mean[[2, 3]] = PULL[0], -PULL[0]
        mean[[5 + self.bends, 6 + self.bends + _BENDS_OUT]] = RIDE[0]
        levels = zip(_EVEN, _JERK, strict=True)
        precision = np.stack([once + even / e**2 + bend / j for e, j in levels])
        half_log_det = 0.5 * np.linalg.slogdet(precision)[1]
        return precision, precision @ mean, precision @ mean @ mean, half_log_det


@dataclass(frozen=True)
class _WholeModel:
    """Every trial's linear model of the fixes, solved.

    ``changes`` is when the changes of slope of the reverse begin (their factors are those from the
    second on), ``factor`` from ``bordered``, ``likely`` the logarithm of the trial's density.
    """

    trials: IntArray
    changes: IntArray
    factor: FloatArray
    likely: FloatArray

    @staticmethod
    def of(fixes: _Fixes, trials: IntArray) -> "_WholeModel":
        """Return the models of trials; what is not possible has no likelihood at all."""
        start, end = fixes.back
        good = _possible(trials) & (trials[:, _START] >= start) & (trials[:, _END] < end)
        # Something that can be solved stands in for what is not possible.
        trials = np.where(good[:, None], trials, trials[np.argmax(good)])
        changes, used = fixes.changes(trials)
        picked = fixes.picked(trials, changes, used)
        precision, pulled, square, half_log_det = fixes.prior
        lively = trials[:, _LIVELY]
        among = picked[:, :, None] * len(fixes.onto) + picked[:, None, :]
        normal = np.take(fixes.products, among) + precision[lively]
        # Speed and slope at the end are zero.
        left_s: FloatArray = GRID_S * (trials[:, [_END]] - changes).astype(np.float64)
        rest = np.stack([np.where(used, built_up(left_s, BUILD_S), 0.0), used], axis=1) / _AT_REST
        inner = slice(1, 1 + changes.shape[1])
        normal[:, inner, inner] += np.swapaxes(rest, 1, 2) @ rest
        corner = 1.001 * (fixes.square + float(square.max())) + 10.0
        factor, pivots = bordered(normal, fixes.onto[picked] + pulled[lively], corner)
        likely = 0.5 * (corner - pivots[:, -1] ** 2 - square[lively])
        likely += half_log_det[lively] - np.log(pivots[:, :-1]).sum(axis=1)
        # Any length of pull, hold and brake is as likely by its logarithm.
        lengths = np.diff(trials[:, [_START, _PULLED, _BRAKE, _END]], axis=1)
        lengths[:, 1] += round(_HELD_S / GRID_S) - _BUILD
        likely -= np.log(lengths).sum(axis=1)
        return _WholeModel(trials, changes, factor, np.where(good, likely, -np.inf))

    def best_mps(self, random: np.random.Generator) -> FloatArray:
        """Return the best second of a speed drawn for each trial, shape (trials,)."""
        size = self.factor.shape[1] - 1
        root, onto = self.factor[:, :size, :size], self.factor[:, size, :size, None]
        noise = random.standard_normal(onto.shape)
        drawn = np.linalg.solve(np.swapaxes(root, 1, 2), onto + noise)[..., 0]
        factors = drawn[:, 1 : 1 + self.changes.shape[1]]
        first, last = self.trials[:, _START], self.trials[:, _END]
        window = round(_WINDOW_S / GRID_S)
        grid = first[:, None] + np.arange(max(int((last - first).max()), window) + 1)
        # At rest after the end.
        after = np.minimum(grid, last[:, None])[:, :, None] - self.changes[:, None]
        every = way_for_one(GRID_S * np.arange(float(after.max()) + 1.0), BUILD_S)
        way = (every[np.maximum(after, 0)] @ factors[:, :, None])[..., 0]
        best = (way[:, window:] - way[:, :-window]).max(axis=1) / _WINDOW_S
        # The mean of the whole if it is shorter.
        share = np.minimum(1.0, GRID_S * (last - first) / _WINDOW_S)
        result: FloatArray = np.maximum(best / share, 0.0)
        return result
