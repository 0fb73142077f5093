"""Figures of one stretch of reverse: best second, way and displacement."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.reverse.full_model import POSSIBLE
from ridelog.analysis.windows import window_means
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.interval import estimate, estimate_of_possible, even_normals
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

_SPACING_S = 0.05
_WINDOW_S = 1.0
# A window this many standard deviations below the best may have been the best.
_NEAR_SD = 2.5
_SEED = 20261127


@dataclass(frozen=True)
class Measured:
    """Figures of a stretch.

    fitted_mps : best one-second mean of the fitted path, of the whole if it is shorter. [m/s]
    possible_mps : equally likely best seconds, shape (POSSIBLE,).
    distance_m : way on the fitted path. [m]
    displacement_m, displacement_sd_m : from its start to its end, straight. [m]
    """

    fitted_mps: float
    possible_mps: FloatArray
    distance_m: float
    displacement_m: float
    displacement_sd_m: float

    @property
    def top_speed(self) -> Estimate | None:
        """Return the best second with its interval. [m/s]"""
        return estimate_of_possible(self.possible_mps)


def measured(
    motion: Motion, start_s: float, end_s: float, possible_mps: FloatArray | None = None
) -> Measured:
    """Return the figures of a stretch inside one piece.

    The best seconds that a model of the whole reverse allows (``whole``) may be given: it knows how
    a machine moves and takes the pull for even, drawn paths take every bend for as likely and
    flatten a peak. Neither is known to be right: the first gives two of three, the other the third.
    """
    paths = motion.paths(start_s, end_s, spacing_s=_SPACING_S)
    length_s = float(paths.time_s[-1] - paths.time_s[0])
    means = window_means(paths, min(_WINDOW_S, length_s))[1]
    moved = paths.position_m[-1] - paths.position_m[0]
    straight = np.hypot(moved[0], moved[1])
    draws = (len(straight) - 1) // 2
    return Measured(
        fitted_mps=float(means[:, 0].max()),
        possible_mps=_possible(means) if possible_mps is None else _shared(means, possible_mps),
        distance_m=float(paths.distance_m[-1, 0]),
        displacement_m=float(straight[0]),
        displacement_sd_m=float(straight[1 + draws :].std()),
    )


def _possible(means: FloatArray) -> FloatArray:
    """Return equally likely best seconds from the estimate that drawn paths give."""
    best = estimate(_best_columns(means), smallest=0.0)
    if best is None:
        return np.full(POSSIBLE, np.nan)
    sd_mps = max(best.high - best.value, best.value - best.low) / QUANTILE
    possible: FloatArray = np.maximum(best.value + sd_mps * even_normals(POSSIBLE, _SEED), 0.0)
    return possible


def _shared(means: FloatArray, possible_mps: FloatArray) -> FloatArray:
    result: FloatArray = np.where(np.arange(POSSIBLE) % 3 > 0, possible_mps, _possible(means))
    return result


def _best_columns(means: FloatArray) -> FloatArray:
    """Return the best window of every column, freed from choosing in a reverse's own way.

    A reverse lasts some seconds. If one second of it was the fastest, choosing adds nothing to its
    speed; if it was even, choosing adds what is the most of errors alone over all windows that may
    have been the best. All between is as likely: half is taken off, and the whole is spread evenly.
    Draws about a path that errors have already made bumpy show neither (measured: DEVELOPERS.md,
    "Reverse").
    """
    draws = (means.shape[1] - 1) // 2
    fitted, cautious = means[:, 0], means[:, 1 + draws :]
    fastest = int(fitted.argmax())
    errors = cautious - fitted[:, None]
    near = fitted >= fitted[fastest] - _NEAR_SD * errors[fastest].std()
    added = errors[near].max(axis=0)
    even = float(added.mean()) * np.linspace(-0.5, 0.5, draws)
    return np.concatenate(
        [fitted[fastest, None], fitted[fastest] + 0.5 * added, cautious.max(axis=0) + even]
    )


def joined(parts: list[Measured]) -> Measured:
    """Return the figures of several stretches together, the choosing of the best included."""
    return Measured(
        fitted_mps=max(part.fitted_mps for part in parts),
        possible_mps=np.max([part.possible_mps for part in parts], axis=0),
        distance_m=sum(part.distance_m for part in parts),
        displacement_m=sum(part.displacement_m for part in parts),
        displacement_sd_m=float(np.sqrt(sum(part.displacement_sd_m**2 for part in parts))),
    )
