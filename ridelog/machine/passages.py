"""Rates of change of speed over passages of both directions, each direction counting half."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.core.crossings import first_reached
from ridelog.core.spans import Span
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion

# What one direction alone may owe to wind and slope: a slope of 0.4 % and a wind of 1.2 m/s on
# the air drag of a small machine (2 C v w / m). Common practice, no source.
_SLOPE_MPS2, _WIND_PER_S = 0.04, 0.007
# Where both directions pass this many speeds, their difference tells what one alone owes to wind
# and slope: from so many of the nearest, to this share of it and of the usual size.
_LEAST_BOTH, _NEAREST, _ODD_SHARE = 3, 6, 0.3
# Two courses are of one direction, or opposite, when they differ by less than this from 0 or 180.
_ALIKE_RAD = np.radians(45.0)
_SPACING_S = 0.05


@dataclass(frozen=True)
class Curve:
    """A rate of change of speed at some speeds.

    speed_mps, accel_mps2 : shape (k,); for coasting the deceleration, positive when slowing.
    covariance : of the errors of ``accel_mps2``, (k, k). [m²/s⁴]
    """

    speed_mps: FloatArray
    accel_mps2: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Passage:
    """One stretch of gaining or losing speed: rates between neighbouring speeds of a grid.

    The rate between two speeds is their difference over the time between the instants at which
    each is first reached; no derivative is taken, so noise is not blown up.

    rate_mps2 : shape (k, 1 + 2 draws), NaN where a column does not pass both speeds.
    course_rad : direction of travel.
    """

    rate_mps2: FloatArray
    course_rad: float


def passage_of(motion: Motion, span: Span, grid_mps: FloatArray) -> Passage:
    """Return the rates of a span over a grid of k + 1 speeds, rising or falling."""
    sign = 1.0 if grid_mps[-1] > grid_mps[0] else -1.0
    paths = motion.paths(*span, spacing_s=_SPACING_S)
    reached = np.maximum.accumulate(sign * paths.speed_mps, axis=0)
    taken = np.diff(first_reached(paths.time_s, reached, reached, sign * grid_mps), axis=0)
    rate = np.abs(np.diff(grid_mps))[:, None] / np.where(taken > 0.02, taken, np.nan)
    moved = paths.position_m[-1, :, 0] - paths.position_m[0, :, 0]
    return Passage(rate, float(np.arctan2(moved[0], moved[1])))


def mean_curve(passages: Sequence[Passage], grid_mps: FloatArray) -> Curve | None:
    """Return the mean of passages, each of two opposite directions with equal weight.

    Each passage's value is freed from bias as in ``analysis.interval``: what the sharp draws add
    to the fitted path, the fitted path has added to the truth. The covariance is that of the
    cautious draws. Speeds that one direction alone passed (the top, with a wind) are corrected by
    what the directions differ by elsewhere, or widened by the usual wind and slope.
    """
    if not passages:
        return None
    middle = 0.5 * (grid_mps[1:] + grid_mps[:-1])
    axis = passages[0].course_rad
    groups: tuple[list[Passage], list[Passage]] = ([], [])
    for one in passages:
        turned = np.cos(one.course_rad - axis)
        if turned > np.cos(_ALIKE_RAD):
            groups[0].append(one)
        elif turned < -np.cos(_ALIKE_RAD):
            groups[1].append(one)
    known = [_mean(group) for group in groups if group]
    values = np.array([value for value, _ in known])
    seen = np.isfinite(values).any(axis=0)
    both = np.isfinite(values).sum(axis=0) == 2
    if not seen.any():
        return None
    count = np.maximum(np.isfinite(values).sum(axis=0), 1)
    mean = np.nansum(values, axis=0) / count
    covariance = np.zeros((len(middle), len(middle)))
    for value, cov in known:
        there = np.isfinite(value) / count
        covariance += np.where(np.isfinite(cov), cov, 0.0) * np.outer(there, there)
    # Which way speeds were passed that were passed in one direction only.
    way = np.where(both, 0.0, np.where(np.isfinite(values[0]), 1.0, -1.0))
    odd, odd_sd = _odd_part(known, both, middle)
    mean = mean - way * odd
    covariance += np.outer(way * odd_sd, way * odd_sd)
    return Curve(middle[seen], mean[seen], covariance[np.ix_(seen, seen)])


def _odd_part(
    known: Sequence[tuple[FloatArray, FloatArray]], both: BoolArray, middle: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return by how much the first direction exceeds the mean of both, and how well that is known.

    Where both directions pass a speed it is half their difference; elsewhere that of the nearest
    such speeds, or nothing with the usual size of wind and slope.
    """
    usual = np.hypot(_WIND_PER_S * middle, _SLOPE_MPS2)
    if both.sum() < _LEAST_BOTH:
        return np.zeros(len(middle)), usual
    half = 0.5 * (known[0][0] - known[1][0])
    variance = 0.25 * (np.diag(known[0][1]) + np.diag(known[1][1]))
    places = np.flatnonzero(both)
    odd, odd_sd = np.zeros(len(middle)), np.zeros(len(middle))
    for index, speed in enumerate(middle):
        near = places[np.argsort(np.abs(middle[places] - speed), kind="stable")[:_NEAREST]]
        odd[index] = half[near].mean()
        own = float(np.sqrt(variance[near].sum())) / len(near)
        odd_sd[index] = np.hypot(np.hypot(own, _ODD_SHARE * odd[index]), _ODD_SHARE * usual[index])
    return odd, odd_sd


def _mean(group: Sequence[Passage]) -> tuple[FloatArray, FloatArray]:
    """Return the mean of one direction and its covariance; passages are independent."""
    values, covariances = [], []
    for one in group:
        draws = (one.rate_mps2.shape[1] - 1) // 2
        fitted = one.rate_mps2[:, 0]
        sharp, cautious = one.rate_mps2[:, 1 : 1 + draws], one.rate_mps2[:, 1 + draws :]
        most = np.isfinite(sharp).mean(axis=1) > 0.9
        most &= (np.isfinite(cautious).mean(axis=1) > 0.9) & np.isfinite(fitted)
        value = np.full(len(fitted), np.nan)
        value[most] = 2.0 * fitted[most] - np.nanmean(sharp[most], axis=1)
        centred = cautious - np.nanmean(np.where(most[:, None], cautious, 0.0), axis=1)[:, None]
        centred = np.where(np.isfinite(centred) & most[:, None], centred, 0.0)
        values.append(value)
        covariances.append(centred @ centred.T / max(draws - 1, 1))
    stack = np.array(values)
    count = np.maximum(np.isfinite(stack).sum(axis=0), 1)
    there = np.isfinite(stack).any(axis=0)
    mean = np.where(there, np.nansum(stack, axis=0) / count, np.nan)
    total = np.zeros_like(covariances[0])
    for value, cov in zip(stack, covariances, strict=True):
        share = np.isfinite(value) / count
        total += cov * np.outer(share, share)
    # What passages differ by beyond the receiver (how the rider pulls, gusts) counts as well.
    if len(stack) > 1:
        scatter = np.where(count > 1, np.nanvar(np.where(there, stack, 0.0), axis=0), 0.0)
        extra = np.maximum(scatter - np.mean([np.diag(c) for c in covariances], axis=0), 0.0)
        total += np.diag(extra / count)
    return mean, total
