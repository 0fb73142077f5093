"""What is known of the motion after smoothing, as paths that can be drawn over any stretch.

Two readings of the same ride are kept. The sharp one has the learnt intensities as they are: its
states are the fitted path, and its draws show the bias that choosing a maximum brings. The cautious
one does not take for granted where the learnt corners lie or that a steady stretch was steady, and
holds the slow errors for as uncertain in size as they are: its spread is the estimate's error.
Derivation and measured coverage: DEVELOPERS.md, "One mechanism".
"""

import numpy as np

from ridelog.filtering.chain import Chain, Solution, Weights
from ridelog.filtering.motion import Paths
from ridelog.track import FloatArray

# A stretch is solved with this much of its neighbourhood, about seven correlation times of motion.
_MARGIN_S = 12.0
_SEED = 20261125


class Posterior:
    """The fitted states with both readings' precisions; draws are made on request.

    ``steady`` and ``lively`` say how far, to either side, the truth may lie from the fitted states
    because another fit may be the right one: shape (n, d, 2), ``lively`` None where corners show.
    """

    def __init__(
        self,
        chain: Chain,
        states: FloatArray,
        steady: FloatArray,
        lively: FloatArray | None,
        sharp: Weights,
        cautious: Weights,
    ) -> None:
        self.chain = chain
        self.states = states
        self._steady = steady
        self._lively = lively
        self.sharp = sharp
        self._cautious = cautious

    def paths(self, start_s: float, end_s: float, draws: int, spacing_s: float) -> Paths:
        """Return the fitted path and draws of both readings on an even grid; 0 draws: no cost."""
        time_s = self.chain.time_s
        first = max(0, int(np.searchsorted(time_s, start_s, side="right")) - 1)
        last = min(len(time_s) - 1, int(np.searchsorted(time_s, end_s, side="left")))
        outer_first = self._edge(first, -_MARGIN_S)
        outer_last = self._edge(last, +_MARGIN_S)
        part = self.chain.part(outer_first, outer_last + 1)
        inner = slice(first - outer_first, last - outer_first + 1)
        fitted = self.states[first : last + 1]
        columns = [fitted[:, :, :, None]]
        random = np.random.default_rng([_SEED, draws, first])
        for weights in (self.sharp, self._cautious) if draws else ():
            local = weights.part(outer_first, outer_last + 1)
            error = Solution(part, local).factor.draw(random, 2 * draws)[inner]
            # East and north have the same precision and independent errors.
            both = np.stack([error[:, :, :draws], error[:, :, draws:]], axis=2)
            drawn = fitted[:, :4, :, None] + both[:, :4]
            if weights is self._cautious:
                # Whether the machine held its speed steady is one question for the whole stretch.
                side = random.uniform(-1.0, 1.0, draws)
                drawn += self._steady[first : last + 1, :4, :, None] * side
                if self._lively is not None:
                    # How pulls end is the rider's habit: one question for the whole ride, and
                    # opposite runs are wrong together.
                    side = np.random.default_rng([_SEED, draws]).uniform(-1.0, 1.0, draws)
                    drawn += self._lively[first : last + 1, :4, :, None] * side
            columns.append(drawn)
        columns[0] = columns[0][:, :4]
        states = np.concatenate(columns, axis=3)
        count = max(2, round((end_s - start_s) / spacing_s) + 1)
        grid = np.linspace(start_s, end_s, count)
        return interpolated(time_s[first : last + 1], states, grid)

    def reach(
        self, start_s: float, end_s: float, before_s: float, after_s: float
    ) -> tuple[int, int]:
        """Return first and last instant of a stretch widened on both sides up to a break."""
        time_s = self.chain.time_s
        first = max(0, int(np.searchsorted(time_s, start_s, side="right")) - 1)
        last = min(len(time_s) - 1, int(np.searchsorted(time_s, end_s, side="left")))
        return self._edge(first, -before_s), self._edge(last, after_s)

    def _edge(self, index: int, margin_s: float) -> int:
        """Return the instant a margin away, without passing a break."""
        chain = self.chain
        limit = chain.time_s[index] + margin_s
        if margin_s <= 0.0:
            edge = int(np.searchsorted(chain.time_s, limit, side="left"))
            broken = np.flatnonzero(chain.breaks[edge:index])
            return edge + int(broken[-1]) + 1 if len(broken) else edge
        edge = int(np.searchsorted(chain.time_s, limit, side="right")) - 1
        broken = np.flatnonzero(chain.breaks[index:edge])
        return index + int(broken[0]) if len(broken) else edge


def interpolated(time_s: FloatArray, states: FloatArray, grid_s: FloatArray) -> Paths:
    """Return position, velocity and acceleration between instants by cubic Hermite curves.

    Velocity follows from velocities and accelerations at both ends, position from positions and
    their rates (velocity plus drift), acceleration is the velocity curve's derivative.
    """
    right = np.clip(np.searchsorted(time_s, grid_s, side="right"), 1, len(time_s) - 1)
    left = right - 1
    span = (time_s[right] - time_s[left])[:, None, None]
    u = ((grid_s - time_s[left])[:, None, None]) / span
    start_value, end_value = 2 * u**3 - 3 * u**2 + 1, -2 * u**3 + 3 * u**2
    start_rate, end_rate = (u**3 - 2 * u**2 + u) * span, (u**3 - u**2) * span
    slope = (6 * u**2 - 6 * u) / span
    slope_start, slope_end = 3 * u**2 - 4 * u + 1, 3 * u**2 - 2 * u

    position, velocity, acceleration, drift = (states[:, row] for row in range(4))
    rate = velocity + drift
    return Paths(
        time_s=grid_s,
        position_m=start_value * position[left]
        + start_rate * rate[left]
        + end_value * position[right]
        + end_rate * rate[right],
        velocity_mps=start_value * velocity[left]
        + start_rate * acceleration[left]
        + end_value * velocity[right]
        + end_rate * acceleration[right],
        acceleration_mps2=slope * (velocity[left] - velocity[right])
        + slope_start * acceleration[left]
        + slope_end * acceleration[right],
    )
