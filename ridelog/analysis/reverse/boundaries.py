"""When a reverse begins and ends: where the signed speed leaves zero and comes back to it.

Along the heading the machine brakes to rest, stands for some time or none, and pulls away
backwards. Every instant of either gives a linear model of the fixes around, whose evidence weighs
it. Derivation: METHOD.md of reverse, (4) to (6).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ridelog.analysis.braking.corners import built_up
from ridelog.analysis.reverse.evidence import Projection
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.observations import CRAWL_SD_MPS
from ridelog.filtering.state_space import DRIFT_TIME_S, SLOW_SPEED_TIME_S

# Instants are tried this far apart, first every so many of them. Own choice: fine enough for ends
# told to a tenth; the coarse step is no longer than pull and brake take to build up.
GRID_S, _COARSE = 0.05, 4
# The edge is looked for within this of where it seemed to be; so much of the reverse takes part,
# at most this share of it, and so much of what came before (after) it. Own choice: the longest pull
# tried lies inside; more takes time and asks the model to hold for longer.
_REACH_S, _INSIDE_S, _INSIDE_SHARE, OUTSIDE_S = 2.5, 3.5, 0.6, 6.0
# Other travel takes part for this long beyond where it is this fast. Own choice: two of its bends;
# what is ridden further away tells nothing of the stop.
_RIDING_MPS, RIDING_S = 1.0, 1.2
# A pull builds up, a brake lets go, over some tenths of a second (StVZO § 41 (12): 0.6 s for
# response and build-up together).
BUILD_S, EASE_S = 0.3, 0.2
# Backing off from a stop is done gently, about 1 m/s² give or take half, then at an even speed
# give or take 0.25 m/s²: common practice, no source. Ridden on or braked forward: 1.5 +- 1.5.
PULL, _EVEN, RIDE = (1.0, 0.5), 0.25, (1.5, 1.5)
# How long that pull lasts is open. Own choice: from hardly more than it takes to build up to one
# that ends at 3 m/s, each about half as long again as the one before. [s]
LASTS_S = (0.4, 0.7, 1.1, 1.6, 2.3, 3.2)
# Beside that the slope may change this often, by the root of this jerk's intensity times the time
# between. Own choice: by 0.4 m/s² inside a reverse, which is ridden gently, and more outside; more
# lets bends stand for the pull, less leaves a lively hand to it. [s], [m²/s⁵]
BEND_S, _JERK_IN, JERK_OUT = 0.6, 0.25, 0.5
# Own choice: as many bends as lie in what takes part inside; outside those next to the stop.
_BENDS_IN, _BENDS_OUT = 5, 3
# An instant this much less likely (logarithm) is not looked at closely: own choice, it weighs
# 0.00005 of the likeliest. Of the other travel's instants only so many are: own choice to bound
# the work. No prior knowledge of where the machine is. [m]
_CUT, _MOST_OTHER, ANYWHERE_M = 10.0, 8, 50.0
# Stands for no other travel: any number far off the grid does exactly the same.
_NEVER = -(10**6)


@dataclass(frozen=True)
class Edge:
    """What the fixes leave open of one end of a reverse; arrays of shape (k,).

    median_s : when the reverse begins or ends. [s]
    at_s, other_s : that and when the other travel ends or begins, NaN if there is none. [s]
    lasts_s : how long the pull (the brake) lasts. [s]
    evidence : logarithm of the fixes' density, up to a constant.
    """

    median_s: float
    at_s: FloatArray
    other_s: FloatArray
    lasts_s: FloatArray
    evidence: FloatArray


def edge_of(along: Projection, near_s: float, side: int, length_s: float) -> Edge | None:
    """Return what the fixes leave open of when a reverse begins (``side`` -1) or ends (+1).

    ``near_s`` is where that seems to be, ``length_s`` how long the reverse seems to last. None if
    too few fixes lie around. Own derivation: METHOD.md of reverse, (4) to (6).
    """
    # Time runs into the reverse from here on: an end is a beginning read backwards.
    sign = -float(side)
    path_s = sign * (along.path_time_s - near_s)
    inside_s = min(_INSIDE_S, _INSIDE_SHARE * length_s, float(path_s.max()))
    outside_s = max(-OUTSIDE_S, float(path_s.min()))
    riding = path_s[(path_s < -BUILD_S) & (along.path_mps > _RIDING_MPS)]
    if len(riding):
        outside_s = max(outside_s, float(riding.max()) - RIDING_S)
    at_s = sign * (along.time_s - near_s)
    taken = (at_s >= outside_s - 1e-6) & (at_s <= inside_s + 1e-6)
    if np.count_nonzero(taken) < 4:
        return None
    first = int(np.ceil(max(outside_s, -_REACH_S) / GRID_S))
    last = int(np.floor(min(inside_s - BUILD_S, _REACH_S) / GRID_S))
    if last <= first:
        return None
    ends = int(np.floor(outside_s / GRID_S)) - 1, int(np.ceil(inside_s / GRID_S)) + 1
    groups = (
        Shapes(first, ends[1] + 1, -1.0, BUILD_S),
        Shapes(ends[0], last + 1, 1.0, EASE_S, before=True),
        NOTHING,
    )
    products = products_of(along, at_s, taken, groups, order=1, sign=sign)
    model = _EdgeModel(*products, along.drift_mps, first, ends)
    starts = np.arange(first, last + 1)
    others = np.arange(ends[0] + 2, last + 1, _COARSE)
    lengths = np.rint(np.array(LASTS_S) / GRID_S).astype(np.int64)
    tried = _together(starts[::_COARSE], np.append(_NEVER, others), lengths[1::2])
    evidence = model.evidence(*tried)
    start, other = (each[evidence > evidence.max() - _CUT] for each in tried[:2])
    fine = _around(start, len(starts))
    alone, moved = other == _NEVER, other[other > _NEVER]
    others = _around(moved, _MOST_OTHER) if len(moved) else moved
    others = np.append([_NEVER] if alone.any() else [], others[others >= ends[0]]).astype(np.int64)
    start, other, lasts = _together(fine[(fine >= first) & (fine <= last)], others, lengths)
    evidence = model.evidence(start, other, lasts)
    weight = np.bincount(start - first, np.exp(evidence - evidence.max()), len(starts))
    below = np.cumsum(weight) - 0.5 * weight
    median = float(np.interp(0.5 * weight.sum(), below, starts))
    at_s, other_s = (near_s + sign * GRID_S * each.astype(np.float64) for each in (start, other))
    other_s[other == _NEVER] = np.nan
    lasts_s: FloatArray = GRID_S * lasts.astype(np.float64)
    return Edge(near_s + sign * GRID_S * median, at_s, other_s, lasts_s, evidence)


def _around(likely: IntArray, most: int) -> IntArray:
    """Return at most about so many instants that span the likely ones and their neighbours."""
    low, high = int(likely.min()) - _COARSE + 1, int(likely.max()) + _COARSE - 1
    return np.arange(low, high + 1, max(1, -(-(high - low) // most)))


def _together(
    starts: IntArray, others: IntArray, lasts: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Return all combinations in which the other travel ends before the reverse begins."""
    start, other, length = (
        each.ravel() for each in np.meshgrid(starts, others, lasts, indexing="ij")
    )
    kept = other <= start
    return start[kept], other[kept], length[kept]


@dataclass(frozen=True)
class _EdgeModel:
    """Products of every shape that a model may be made of with each other and with the fixes.

    A model is a choice of shapes, so its normal equations are picked out of these: constant, drift,
    a change of slope at each instant of the reverse and of the other travel before it, nothing.
    """

    products: FloatArray
    onto: FloatArray
    square: float
    drift_mps: float
    first: int
    ends: tuple[int, int]

    def evidence(self, start: IntArray, other: IntArray, lasts: IntArray) -> FloatArray:
        """Return the logarithm of the fixes' density under each model, less a constant."""
        nothing = len(self.onto) - 1
        bend = round(BEND_S / GRID_S)
        reverse = [start, start + lasts, *(start + bend * k for k in range(1, _BENDS_IN + 1))]
        before = [other - bend * k for k in range(_BENDS_OUT + 1)]
        offset = 2 + self.ends[1] - self.first + 1 - self.ends[0]
        picked = np.stack(
            [np.zeros_like(start), np.ones_like(start)]
            + [np.where(k <= self.ends[1], 2 + k - self.first, nothing) for k in reverse]
            + [np.where(k >= self.ends[0], offset + k, nothing) for k in before],
            axis=1,
        )
        prior, mean = self._prior()
        normal = self.products[picked[:, :, None], picked[:, None, :]] + prior
        corner = 1.001 * (self.square + float(mean @ prior @ mean)) + 10.0
        pivots = bordered(normal, self.onto[picked] + prior @ mean, corner)[1]
        explained = corner - pivots[:, -1] ** 2
        result: FloatArray = 0.5 * explained - np.log(pivots[:, :-1]).sum(axis=1)
        return result

    def _prior(self) -> tuple[FloatArray, FloatArray]:
        """Return precision and mean of the shapes' factors."""
        even = _EVEN**-2
        precision = np.diag(
            [ANYWHERE_M**-2, self.drift_mps**-2, PULL[1] ** -2 + even, even]
            + [1.0 / (_JERK_IN * BEND_S)] * _BENDS_IN
            + [RIDE[1] ** -2]
            + [1.0 / (JERK_OUT * BEND_S)] * _BENDS_OUT
        )
        # The pull ends in about no acceleration: its two changes of slope cancel.
        precision[2, 3] = precision[3, 2] = even
        mean = np.zeros(len(precision))
        mean[2], mean[3], mean[4 + _BENDS_IN] = PULL[0], -PULL[0], RIDE[0]
        return precision, mean


def bordered(normal: FloatArray, right: FloatArray, corner: float) -> tuple[FloatArray, FloatArray]:
    """Return the Cholesky factors of normal matrices bordered by their right sides, and pivots.

    One factor gives both the determinant and the square that the fit explains: the last pivot,
    squared, is what is left of the corner. ``normal`` has the shape (models, p, p).
    """
    size = normal.shape[1]
    matrix = np.empty((len(normal), size + 1, size + 1))
    matrix[:, :size, :size] = normal
    matrix[:, size, :size] = matrix[:, :size, size] = right
    matrix[:, size, size] = corner
    factor = np.linalg.cholesky(matrix)
    return factor, np.diagonal(factor, axis1=1, axis2=2)


class Shapes(NamedTuple):
    """Changes of slope at instants of the grid, of what comes after them or of what was before.

    first, stop : the instants, in steps of GRID_S.
    size : what one of slope counts.
    build_s : over which the slope builds up. [s]
    """

    first: int
    stop: int
    size: float
    build_s: float
    before: bool = False


# A shape that does nothing, for what a model does not have: its size is 0 by definition.
NOTHING = Shapes(0, 1, 0.0, BUILD_S)


def products_of(
    along: Projection,
    at_s: FloatArray,
    taken: BoolArray,
    groups: Sequence[Shapes],
    *,
    order: int = 0,
    sign: float = 1.0,
    drift_mps: float = 0.0,
    slow_factor: float = 1.0,
) -> tuple[FloatArray, FloatArray, float]:
    """Return products of shapes with each other and with what was seen, and the seen square.

    All are divided by the fixes' noise. The first shapes are powers of time, up to an order, of the
    way alone. ``at_s`` are the fixes' instants, ``sign`` is -1 where they run backwards.
    ``drift_mps`` is that of positions which no shape stands for, ``slow_factor`` widens the
    reported speeds' slow errors.
    """
    time_s, told = along.time_s, taken & np.isfinite(along.speed_mps)
    told &= np.isfinite(along.white_mps)
    place, speed = at_s[taken][:, None], at_s[told][:, None]
    ways, speeds = [place ** np.arange(order + 1)], [np.zeros((len(speed), order + 1))]
    for first, stop, size, build_s, before in groups:
        side, knots_s = -1.0 if before else 1.0, GRID_S * np.arange(first, stop)
        ways.append(size * side * way_for_one(side * (place - knots_s), build_s))
        speeds.append(size * built_up(side * (speed - knots_s), build_s))
    since_s = time_s[taken] - time_s[taken][0]
    cover = drift_mps**2 * _slid(since_s, DRIFT_TIME_S) + along.white_m**2 * np.eye(len(since_s))
    # One filter makes position and speed: what both err alike must not count twice, receiver (11).
    cover += along.walk_m**2 * np.minimum(since_s[:, None], since_s)
    root = np.linalg.cholesky(cover)
    shapes = np.linalg.solve(root, np.concatenate(ways, axis=1))
    seen = sign * np.linalg.solve(root, along.way_m[taken])
    if told.any():
        apart_s = np.abs(time_s[told][:, None] - time_s[told])
        cover = (slow_factor * along.slow_mps) ** 2 * np.exp(-apart_s / SLOW_SPEED_TIME_S)
        white = np.where(along.crawling[told], CRAWL_SD_MPS, along.white_mps)
        root = np.linalg.cholesky(cover + np.diag(white**2))
        shapes = np.append(shapes, np.linalg.solve(root, np.concatenate(speeds, axis=1)), axis=0)
        seen = np.append(seen, np.linalg.solve(root, along.speed_mps[told]))
    return shapes.T @ shapes, shapes.T @ seen, float(seen @ seen)


def _slid(since_s: FloatArray, time_s: float) -> FloatArray:
    """Return the covariance of the way slid since 0 at a rate of 1 with a correlation time.

    The double integral of exp(-|u - v| / time_s) from 0 to either instant.
    """
    one, two = since_s[:, None], since_s
    rate = 1.0 / time_s
    return time_s * (
        2.0 * np.minimum(one, two)
        - time_s
        * (1.0 - np.exp(-rate * one) - np.exp(-rate * two) + np.exp(-rate * abs(one - two)))
    )


def way_for_one(after_s: FloatArray, build_s: float) -> FloatArray:
    """Return the way for one of slope: the integral of ``built_up``."""
    inside = np.clip(after_s / build_s, 0.0, 1.0)
    later = np.maximum(after_s - build_s, 0.0)
    grown = 0.25 * inside**2 + (np.cos(np.pi * inside) - 1.0) / (2.0 * np.pi**2)
    return build_s**2 * grown + 0.5 * later * (build_s + later)
