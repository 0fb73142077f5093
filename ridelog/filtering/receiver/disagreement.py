"""Whether a receiver's reported speed and its positions tell the same way, over minutes.

Nothing in the log says which of the two is wrong then, and no interval covers it: it is said.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.quantity import both_units
from ridelog.core.track import BoolArray
from ridelog.filtering.observations import CRAWL_MPS, Observations

# Riding time over which both are compared, own choice. [s]
_WINDOWS_S = (20.0, 40.0, 60.0, 120.0)
# A position may slide by a metre meanwhile; both ends of a window, four standard deviations. Own
# choice. [m]
_SLIDES_M = 6.0
# A difference that matters: a sixtieth of a fast ride's speed. Own choice. [m/s]
_LEAST_MPS = 0.1


@dataclass(frozen=True)
class LastingDifference:
    """The reported speed is so much higher than that of the positions, over so long a riding."""

    excess_mps: float
    riding_s: float

    @property
    def words(self) -> str:
        """Return it as part of a sentence."""
        side = "higher" if self.excess_mps > 0.0 else "lower"
        return (
            f"its reported speed is {both_units(abs(self.excess_mps), 2)} {side} than that of its "
            f"positions for {self.riding_s:.0f} s of riding, and nothing tells which is right"
        )


def find_disagreement(
    seen: Observations, good_position: BoolArray, steps: BoolArray
) -> LastingDifference | None:
    """Return the largest lasting difference of reported speed and positions, None if none counts.

    Parameters
    ----------
    seen : Observations
        Freed from its lag.
    good_position : ndarray of bool, shape (m,)
        Positions that are believed.
    steps : ndarray of bool, shape (m - 1,)
        Intervals in which the position stepped.

    Source
    ------
    Own derivation: receiver (12).
    """
    speed = np.hypot(*seen.velocity_mps.T)
    ridden = np.isfinite(speed) & (speed > CRAWL_MPS) & good_position & ~seen.held
    both = ridden[1:] & ridden[:-1] & ~seen.breaks & ~steps
    if not both.any():
        return None
    course = np.arctan2(seen.velocity_mps[:, 0], seen.velocity_mps[:, 1])
    turned = (np.diff(course)[both] + np.pi) % (2.0 * np.pi) - np.pi
    length = np.diff(seen.time_s)[both]
    middle = seen.velocity_mps[1:] + seen.velocity_mps[:-1]
    unit = middle[both] / np.maximum(np.hypot(*middle[both].T), 1e-9)[:, None]
    way = (np.diff(seen.position_m, axis=0)[both] * unit).sum(axis=1)
    # The chord of an arc is shorter than the arc.
    told = 0.5 * (speed[1:] + speed[:-1])[both] * length * (1.0 - turned**2 / 24.0)
    # Every piece that is ridden through has ends of its own.
    piece = np.concatenate([[0], np.cumsum(np.diff(np.flatnonzero(both), prepend=-1) > 1)])
    clock = np.concatenate([[0.0], np.cumsum(length)])
    excess = np.concatenate([[0.0], np.cumsum(told - way)])
    # Both ends are rounded too: four standard deviations of their difference.
    slides_m = _SLIDES_M + 4.0 * seen.position_step_m / 6.0**0.5
    best: LastingDifference | None = None
    for window_s in _WINDOWS_S:
        last = np.searchsorted(clock, clock + window_s - 1e-6)
        first = np.flatnonzero(last < len(clock))
        if not len(first):
            continue
        over = excess[last[first]] - excess[first]
        ends = np.sqrt(1.0 + piece[last[first]] - piece[first])
        over = np.where(
            np.abs(over) > np.maximum(_LEAST_MPS * window_s, slides_m * ends), over, 0.0
        )
        most = int(np.argmax(np.abs(over)))
        rate = float(over[most]) / window_s
        if rate and (best is None or abs(rate) > abs(best.excess_mps)):
            best = LastingDifference(rate, window_s)
    return best
