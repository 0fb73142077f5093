"""The linear models of a reverse against normal densities written out with the whole covariance.

METHOD.md of reverse, (4) to (8): every instant gives a model y = S k + noise with k normal, so its
evidence is that of a normal y. Shapes and covariances are integrated by numbers here.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.reverse.boundaries import (
    NOTHING,
    Shapes,
    _EdgeModel,
    products_of,
)
from ridelog.analysis.reverse.evidence import Projection
from ridelog.analysis.reverse.full_model import _Fixes, _WholeModel
from ridelog.core.track import FloatArray
from ridelog.filtering.state_space import DRIFT_TIME_S, SLOW_SPEED_TIME_S


def grown(after_s: float, build_s: float) -> tuple[float, float]:
    """Return speed and way for one of slope that builds up as a raised cosine."""
    if after_s <= 0.0:
        return 0.0, 0.0
    time_s = np.linspace(0.0, after_s, 2001)
    share = np.clip(time_s / build_s, 0.0, 1.0)
    slope = 0.5 - 0.5 * np.cos(np.pi * share)
    speed = np.concatenate([[0.0], np.cumsum(0.5 * (slope[1:] + slope[:-1]))]) * time_s[1]
    way = 0.5 * (speed[1:] + speed[:-1]).sum() * time_s[1]
    return float(speed[-1]), float(way)


def seen(walk_m: float = 0.02) -> Projection:
    """Return fixes of a reverse from 6 to 10 s, seen at uneven instants; some without speed."""
    rng = np.random.default_rng(11)
    at_s = np.sort(rng.uniform(0.0, 14.0, 36))
    at_s -= at_s[0]
    path_s = np.arange(0.0, 14.0, 0.05)
    speed = np.interp(path_s, [0, 3, 5, 6, 7.2, 9, 10, 11, 12, 14],
                      [3, 3, 0, 0, -1.3, -1.3, 0, 0, 2,
                      2])  # fmt: skip
    way = np.cumsum(speed) * 0.05
    told = np.interp(at_s, path_s, speed) + 0.06 * rng.standard_normal(len(at_s))
    crawling = np.abs(told) < 0.3
    told[::5] = np.nan
    return Projection(
        time_s=at_s, way_m=np.interp(at_s, path_s, way) + 0.1 * rng.standard_normal(len(at_s)),
        speed_mps=np.where(crawling & np.isfinite(told), 0.0, told), crawling=crawling,
        path_time_s=path_s, path_mps=speed, white_m=0.1, drift_mps=0.04, white_mps=0.06,
        slow_mps=0.03, walk_m=walk_m,
    )  # fmt: skip


def slid(one_s: float, two_s: float) -> float:
    """Return the double integral of the correlation exp(-|u - v| / time)."""
    one = (np.arange(400) + 0.5) * one_s / 400
    two = (np.arange(400) + 0.5) * two_s / 400
    apart = np.abs(one[:, None] - two)
    return float(np.exp(-apart / DRIFT_TIME_S).mean() * one_s * two_s)


def noise_of(along: Projection, drift_mps: float = 0.0, factor: float = 1.0) -> FloatArray:
    """Return the covariance of all ways, then of all speeds that were told."""
    time_s, told = along.time_s, np.isfinite(along.speed_mps)
    count, tells = len(time_s), int(told.sum())
    noise = np.zeros((count + tells, count + tells))
    for i, one in enumerate(time_s):
        for j, two in enumerate(time_s):
            noise[i, j] = along.walk_m**2 * min(one, two) + (along.white_m**2 if i == j else 0.0)
            if drift_mps:
                noise[i, j] += drift_mps**2 * slid(one, two)
    apart_s = np.abs(time_s[told][:, None] - time_s[told])
    white = np.where(along.crawling[told], 0.35, along.white_mps)
    noise[count:, count:] = (factor * along.slow_mps) ** 2 * np.exp(-apart_s / SLOW_SPEED_TIME_S)
    noise[count:, count:] += np.diag(white**2)
    return noise


def shape(along: Projection, knot_s: float, size: float, build_s: float, *,
          before: bool = False) -> FloatArray:  # fmt: skip
    """Return the ways and told speeds of one change of slope."""
    side = -1.0 if before else 1.0
    told = np.isfinite(along.speed_mps)
    ways = [size * side * grown(side * (t - knot_s), build_s)[1] for t in along.time_s]
    speeds = [size * grown(side * (t - knot_s), build_s)[0] for t in along.time_s[told]]
    return np.array(ways + speeds)


def density(seen: FloatArray, mean: FloatArray, cover: FloatArray) -> float:
    """Return the logarithm of a normal density, less its constant."""
    off = seen - mean
    return float(-0.5 * off @ np.linalg.solve(cover, off) - 0.5 * np.linalg.slogdet(cover)[1])


def observed(along: Projection) -> FloatArray:
    return np.append(along.way_m, along.speed_mps[np.isfinite(along.speed_mps)])


@pytest.mark.parametrize("backwards", [False, True])
def test_products_of_shapes_and_fixes(backwards: bool) -> None:
    along = seen()
    told = np.isfinite(along.speed_mps)
    sign = -1.0 if backwards else 1.0
    at_s = sign * along.time_s
    first = -140 if backwards else 120
    groups = (Shapes(first, first + 2, -1.0, 0.3), Shapes(first, first + 1, 2.0, 0.2, before=True))
    products, onto, square = products_of(
        along, at_s, np.ones(36, dtype=bool), groups, order=1, sign=sign, drift_mps=0.05,
        slow_factor=1.5,
    )  # fmt: skip
    read = replace(along, time_s=at_s)
    flat = [np.append(at_s**k, np.zeros(told.sum())) for k in (0, 1)]
    columns = [*flat, shape(read, 0.05 * first, -1.0, 0.3),
               shape(read, 0.05 * (first + 1), -1.0, 0.3),
               shape(read, 0.05 * first, 2.0, 0.2, before=True)]  # fmt: skip
    shapes = np.stack(columns, axis=1)
    # The way runs the other way when time does; the speed does not.
    values = np.append(sign * along.way_m, along.speed_mps[told])
    noise = noise_of(along, 0.05, 1.5)
    weighed = np.linalg.solve(noise, shapes)
    assert products == pytest.approx(shapes.T @ weighed, rel=2e-4, abs=1e-3)
    assert onto == pytest.approx(weighed.T @ values, rel=2e-4, abs=1e-2)
    assert square == pytest.approx(values @ np.linalg.solve(noise, values), rel=1e-4)


def test_without_a_known_noise_speeds_tell_nothing() -> None:
    along = seen()
    groups, taken = (Shapes(100, 103, -1.0, 0.3),), along.time_s < 9.0
    silent = replace(along, speed_mps=np.full(36, np.nan))
    blind = replace(along, white_mps=np.inf)
    for one, two in zip(products_of(silent, along.time_s, taken, groups),
                        products_of(blind, along.time_s, taken, groups), strict=True):  # fmt: skip
        assert one == pytest.approx(two)


def test_the_evidence_of_an_end_is_a_normal_density() -> None:
    """Pull 1 +- 0.5 that ends evenly within 0.25, bends of 0.25 and 0.5 m²/s⁵ over 0.6 s."""
    along = seen()
    first, ends = 100, (10, 200)
    groups = (Shapes(first, 201, -1.0, 0.3), Shapes(10, 151, 1.0, 0.2, before=True), NOTHING)
    products = products_of(along, along.time_s, np.ones(36, dtype=bool), groups, order=1)
    model = _EdgeModel(*products, along.drift_mps, first, ends)
    noise, values = noise_of(along), observed(along)
    flat = np.append(np.ones(36), np.zeros(len(values) - 36))
    line = np.append(along.time_s, np.zeros(len(values) - 36))

    def told(start: int, other: int, lasts: int) -> float:
        columns, mean = [flat, line], np.array([0.0, 0.0, 1.0, -1.0] + [0.0] * 5 + [1.5, 0, 0, 0])
        for k in (start, start + lasts, *(start + 12 * n for n in range(1, 6))):
            columns.append(shape(along, 0.05 * k, -1.0, 0.3) if k <= 200 else 0.0 * flat)
        for k in (other - 12 * n for n in range(4)):
            gone = k < 10
            columns.append(0.0 * flat if gone else shape(along, 0.05 * k, 1.0, 0.2, before=True))
        precision = np.diag([50.0**-2, 0.04**-2, 4.0, 0.0] + [1 / 0.15] * 5 + [1 / 2.25]
                            + [1 / 0.3] * 3)  # fmt: skip
        precision[2:4, 2:4] += 16.0
        shapes = np.stack(columns, axis=1)
        spread = shapes @ np.linalg.solve(precision, shapes.T)
        return density(values, shapes @ mean, noise + spread)

    tried = [(120, 100, 22), (120, -(10**6), 22), (118, 96, 46), (126, 30, 8), (150, 150, 64)]
    found = model.evidence(*np.array(tried).T)
    wanted = np.array([told(*one) for one in tried])
    assert found - found[0] == pytest.approx(wanted - wanted[0], abs=0.02)


def test_the_whole_reverse_is_a_normal_density() -> None:
    along = seen()
    # Start, pulled, brake, end; other travel ends and begins; how lively.
    trials = np.array([[120, 144, 180, 200, 100, 220, 2], [122, 140, 176, 198, 96, 221, 0],
                       [118, 150, 170, 202, -(10**6), 10**6, 4], [120, 144, 180, 200, 100, 220, 5],
                       [120, 144, 147, 200, 100, 220, 2]])  # fmt: skip
    fixes = _Fixes.of(along, trials, 0.0)
    # Two seconds' thinning is not needed: a bend every 0.6 s.
    assert fixes.bend == 12 and fixes.bends == (222 - 98) // 12
    model = _WholeModel.of(fixes, trials)
    assert model.likely[4] == -np.inf  # the brake begins before the pull is over
    taken = (along.time_s >= 0.05 * (fixes.low + 1)) & (along.time_s <= 0.05 * (fixes.high - 1))
    near = replace(along, **{n: getattr(along, n)[taken] for n in ("time_s", "way_m", "speed_mps",
                                                                   "crawling")})  # fmt: skip
    since = replace(near, time_s=near.time_s - near.time_s[0])
    noise, values = noise_of(since, 0.04, 1.35), observed(near)
    flat = np.append(np.ones(taken.sum()), np.zeros(len(values) - taken.sum()))
    even = (0.001, 0.005, 0.02, 0.08, 0.25, 0.25)
    jerk = (1e-6, 2e-5, 4e-4, 0.008, 0.1, 0.5)
    middles = []

    def told(row: Any) -> float:
        start, pulled, brake, end, before, after, lively = (int(k) for k in row)
        knots = [start, pulled, brake - 6, end - 6]
        bends = [start + 12 * n for n in range(1, fixes.bends + 1)]
        kept = [k for k in bends if k < end - 6]
        columns = [flat] + [shape(near, 0.05 * k, -1.0, 0.3) for k in knots + kept]
        outer = [(k, True) for k in (before, before - 12)] + [
            (k, False) for k in (after, after + 12)
        ]
        mean = [0.0, 1.0, -1.0, -1.0, 1.0] + [0.0] * len(kept) + [1.5, 0.0, 1.5, 0.0]
        for k, early in outer:
            gone = k < fixes.low if early else k > fixes.high
            columns.append(0.0 * flat if gone else shape(near, 0.05 * k, 1.0, 0.2, before=early))
        precision = np.diag([50.0**-2, 4.0, 0.0, 0.0, 4.0]
                            + [1.0 / (0.6 * jerk[lively])] * len(kept)
                            + [1 / 2.25, 1 / 0.3] * 2)  # fmt: skip
        precision[1:3, 1:3] += even[lively] ** -2.0
        precision[3:5, 3:5] += even[lively] ** -2.0
        # At rest when it ends: speed and slope are zero, within 0.01.
        rest = np.zeros((2, len(mean)))
        for n, k in enumerate(knots + kept):
            rest[:, 1 + n] = grown(0.05 * (end - k), 0.3)[0], 1.0
        shapes = np.vstack([np.stack(columns, axis=1), rest])
        cover = np.pad(noise, (0, 2)) + np.diag([0.0] * len(values) + [1e-4, 1e-4])
        all_seen, center = np.append(values, [0.0, 0.0]), np.array(mean)
        spread = shapes @ np.linalg.solve(precision, shapes.T)
        whole = cover + spread
        off = np.linalg.solve(whole, all_seen - shapes @ center)
        factors = center + np.linalg.solve(precision, shapes.T @ off)
        time_s = np.arange(0.05 * start, 0.05 * end + 1.0, 0.05)
        way = [sum(a * grown(min(t, 0.05 * end) - 0.05 * k, 0.3)[1] for a, k in
                   zip(factors[1:], knots + kept, strict=False)) for t in time_s]  # fmt: skip
        middles.append(max(np.array(way)[20:] - np.array(way)[:-20]))
        # The hold is half a second more than from the end of the pull to what builds up the brake.
        lengths = [pulled - start, brake - pulled + 10 - 6, end - brake]
        return density(all_seen, shapes @ center, whole) - float(np.log(lengths).sum())

    wanted = np.array([told(row) for row in trials[:4]])
    assert model.likely[:4] - model.likely[0] == pytest.approx(wanted - wanted[0], abs=0.1)

    class Middle:
        """Draws nothing but the middle."""

        def standard_normal(self, size: Any) -> FloatArray:
            return np.zeros(size)

    middle: Any = Middle()
    assert model.best_mps(middle)[:4] == pytest.approx(np.array(middles), abs=0.01)
