"""Figures of one stretch of reverse: best second, way and displacement, for every drawn path."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.interval import estimate
from ridelog.analysis.result import Estimate
from ridelog.analysis.windows import window_means
from ridelog.filtering.motion import Motion
from ridelog.track import FloatArray

_SPACING_S = 0.05
_WINDOW_S = 1.0


@dataclass(frozen=True)
class Measured:
    """Figures of a stretch.

    best_mps : best one-second mean, the mean of the whole if it is shorter: fitted path, then the
        cautious draws, which show what choosing the best second adds (the sharp reading takes
        corners and steady stretches for granted and shows too little), then the fitted path's own
        best second on those draws, which scatters as that second does. Why: DEVELOPERS.md,
        "Reverse". Shape (columns,).
    distance_m : way on the fitted path. [m]
    displacement_m, displacement_sd_m : from its start to its end, straight. [m]
    """

    best_mps: FloatArray
    distance_m: float
    displacement_m: float
    displacement_sd_m: float

    @property
    def top_speed(self) -> Estimate | None:
        """Return the best second with its interval. [m/s]"""
        return estimate(self.best_mps, smallest=0.0)


def measured(motion: Motion, start_s: float, end_s: float) -> Measured:
    """Return the figures of a stretch inside one piece."""
    paths = motion.paths(start_s, end_s, spacing_s=_SPACING_S)
    length_s = float(paths.time_s[-1] - paths.time_s[0])
    means = window_means(paths, min(_WINDOW_S, length_s))[1]
    moved = paths.position_m[-1] - paths.position_m[0]
    straight = np.hypot(moved[0], moved[1])
    draws = (len(straight) - 1) // 2
    cautious = straight[1 + draws :]
    best = means[:, 1 + draws :].max(axis=0)
    fastest = int(means[:, 0].argmax())
    fitted = means[fastest, :1]
    added = float(best.mean() - fitted[0])
    # Choosing adds nothing if the ride has one fastest second, about twice what the draws show if
    # it is even (they choose from a curve that errors have made bumpy already). All between is as
    # likely: the addition scatters by its own size, evenly to both sides.
    spread = means[fastest, 1 + draws :] + added * np.linspace(-1.0, 1.0, draws)
    return Measured(
        best_mps=np.concatenate([fitted, best, spread]),
        distance_m=float(paths.distance_m[-1, 0]),
        displacement_m=float(straight[0]),
        displacement_sd_m=float(cautious.std()),
    )


def joined(parts: list[Measured]) -> Measured:
    """Return the figures of several stretches together, the choosing of the best included."""
    return Measured(
        best_mps=np.max([part.best_mps for part in parts], axis=0),
        distance_m=sum(part.distance_m for part in parts),
        displacement_m=sum(part.displacement_m for part in parts),
        displacement_sd_m=float(np.sqrt(sum(part.displacement_sd_m**2 for part in parts))),
    )
