"""How exactly everything is known that a ride's equations hold, line by line of them.

Model: filtering (1) to (8).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray

# Weak priors of the first instant of a piece: any ride starts within these (units m, m/s, m/s²).
# Own choice.
_START_SD = (1.0e4, 30.0, 3.0)


@dataclass(frozen=True)
class Precisions:
    """Precisions of one solve; all shapes (n,) at instants or (n - 1,) at intervals.

    jerk : intensity of white jerk per interval. [m²/s⁵]
    position, velocity : precision of the fix's position and reported velocity, 0 where none.
    still : precision of "the velocity is zero".
    cruise : precision of "the acceleration is zero".
    drift : standard deviation of the drift velocity, per interval. [m/s]
    slow_sd : standard deviation of the reported velocity's slow error, shape (n - 1,) or one for
        all, where it is seen as it is. [m/s]
    slow_seen : how many times larger than the state each reported velocity has the slow error,
        filtering (3), shape (n,) or one for all.
    walk : variance by which the position walks at random in a second. [m²/s]
    """

    jerk: FloatArray
    position: FloatArray
    velocity: FloatArray
    still: FloatArray
    cruise: FloatArray
    drift: FloatArray
    slow_sd: FloatArray | float
    walk: float = 0.0
    slow_seen: FloatArray | float = 1.0

    def part(self, start: int, stop: int) -> "Precisions":
        """Return the precisions of instants start..stop-1."""
        inner = slice(start, max(start, stop - 1))
        return Precisions(
            jerk=self.jerk[inner],
            position=self.position[start:stop],
            velocity=self.velocity[start:stop],
            still=self.still[start:stop],
            cruise=self.cruise[start:stop],
            drift=self.drift[inner],
            slow_sd=self.slow_sd[inner] if isinstance(self.slow_sd, np.ndarray) else self.slow_sd,
            walk=self.walk,
            slow_seen=(
                self.slow_seen[start:stop]
                if isinstance(self.slow_seen, np.ndarray)
                else self.slow_seen
            ),
        )


def add_seen(blocks: FloatArray, precisions: Precisions) -> None:
    """Add what is seen at each instant to diagonal blocks (d, d, n)."""
    blocks[0, 0] += precisions.position
    blocks[1, 1] += precisions.still
    blocks[2, 2] += precisions.cruise
    if len(blocks) == 5:
        sizes = {1: 1.0, 4: precisions.slow_seen}
        for row, size in sizes.items():
            for column, other in sizes.items():
                blocks[row, column] += precisions.velocity * size * other


def known_of_start(precisions: Precisions, d: int) -> list[float]:
    """Return the precisions of what is known of the d numbers where a piece begins."""
    some = len(precisions.drift) > 0
    drift_sd = _usual(precisions.drift) if some else 0.05
    slow_sd = _usual(np.asarray(precisions.slow_sd)) if some else 0.05
    return ([1.0 / sd**2 for sd in _START_SD] + [drift_sd**-2, slow_sd**-2])[:d]


def _usual(values: FloatArray) -> float:
    """Return the median; most often all are the same."""
    first = float(values.flat[0])
    return first if (values == first).all() else float(np.median(values))
