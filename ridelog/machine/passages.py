"""Rates of change of speed over passages, direction by direction."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from ridelog.core.crossings import first_reached
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

# Two courses are of one direction, or opposite, when they differ by less than this from 0 or 180:
# own choice, half of a right angle.
_ALIKE_RAD = np.radians(45.0)
# Own choice, the same as of paths elsewhere; between instants crossings are found on a line. [s]
_SPACING_S = 0.05


@dataclass(frozen=True)
class Curve:
    """A rate of change of speed at some speeds, direction by direction.

    speed_mps, accel_mps2 : shape (k,); for coasting the deceleration, positive when slowing.
    covariance : of the errors of ``accel_mps2``, (k, k). [m²/s⁴]
    way : 1 for the ride's direction ``axis_rad``, -1 for the opposite one, (k,); None where slope
        and wind play no part.
    """

    speed_mps: FloatArray
    accel_mps2: FloatArray
    covariance: FloatArray
    way: FloatArray | None = None

    @property
    def ways(self) -> FloatArray:
        """Return ``way``, noughts where slope and wind play no part."""
        return np.zeros_like(self.speed_mps) if self.way is None else self.way


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


def axis_of(courses_rad: FloatArray) -> float:
    """Return the line along which most courses lie, 0 to pi, whichever way along it."""
    double = np.exp(2j * courses_rad).sum()
    return float(np.mod(0.5 * np.angle(double), np.pi))


def way_of(course_rad: float, axis_rad: float) -> float:
    """Return 1 along the axis, -1 against it, 0 across it."""
    turned = float(np.cos(course_rad - axis_rad))
    return 0.0 if abs(turned) <= np.cos(_ALIKE_RAD) else float(np.copysign(1.0, turned))


def curve_by_way(
    passages: Sequence[Passage], grid_mps: FloatArray, axis_rad: float
) -> Curve | None:
    """Return the mean of the passages of each direction along an axis, None without any.

    Each passage's value is freed from bias as in ``core.interval``: what the sharp draws add
    to the fitted path, the fitted path has added to the truth. The covariance is that of the
    cautious draws. Directions are independent.
    """
    middle = 0.5 * (grid_mps[1:] + grid_mps[:-1])
    parts = []
    for way in (1.0, -1.0):
        group = [one for one in passages if way_of(one.course_rad, axis_rad) == way]
        if not group:
            continue
        value, covariance = _mean(group)
        seen = np.isfinite(value)
        parts.append((middle[seen], value[seen], covariance[np.ix_(seen, seen)], way))
    parts = [part for part in parts if len(part[0])]
    if not parts:
        return None
    return Curve(
        np.concatenate([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        block_diag(*(part[2] for part in parts)),
        np.concatenate([np.full(len(part[0]), part[3]) for part in parts]),
    )


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
