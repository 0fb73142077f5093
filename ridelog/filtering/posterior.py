"""What is known of the motion after smoothing, as paths that can be drawn over any stretch.

Two readings of the same ride are kept. The sharp one has the learnt intensities as they are: its
states are the fitted path, and its draws show the bias that choosing a maximum brings. The cautious
one does not take for granted where the learnt corners lie or that a steady stretch was steady, and
holds the slow errors for as uncertain in size as they are: its spread is the estimate's error.
Derivation and measured coverage: DEVELOPERS.md, "One mechanism".
"""

import numpy as np

from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.chain import Chain, Weights
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
        outer_first, outer_last = self._surroundings(first, last)
        part = self.chain.part(outer_first, outer_last + 1)
        inner = (first - outer_first, last - outer_first)
        fitted = self.states[first : last + 1]
        states = np.empty((len(fitted), 4, 2, 1 + 2 * draws))
        states[:] = fitted[:, :4, :, None]
        random = np.random.default_rng([_SEED, draws, first])
        for number, weights in enumerate((self.sharp, self._cautious) if draws else ()):
            local = weights.part(outer_first, outer_last + 1)
            error = drawn_errors(part, local, inner, random, 2 * draws)[:, :4]
            drawn = states[:, :, :, 1 + number * draws : 1 + (number + 1) * draws]
            # East and north have the same precision and independent errors.
            drawn += error.reshape(len(fitted), 4, 2, draws)
            if weights is self._cautious:
                # Whether the machine held its speed steady is one question for the whole stretch.
                side = random.uniform(-1.0, 1.0, draws)
                drawn += self._steady[first : last + 1, :4, :, None] * side
                if self._lively is not None:
                    # How pulls end is the rider's habit: one question for the whole ride, and
                    # opposite runs are wrong together.
                    side = np.random.default_rng([_SEED, draws]).uniform(-1.0, 1.0, draws)
                    drawn += self._lively[first : last + 1, :4, :, None] * side
        count = max(2, round((end_s - start_s) / spacing_s) + 1)
        grid = np.linspace(start_s, end_s, count)
        return interpolated(time_s[first : last + 1], states, grid)

    def _surroundings(self, first: int, last: int) -> tuple[int, int]:
        """Return first and last instant of what is solved with a stretch.

        Where every fix was rejected nothing holds a part in place, so it is widened to one that
        was not.
        """
        margin_s, outer = _MARGIN_S, (-1, -1)
        while True:
            wider = self._edge(first, -margin_s), self._edge(last, margin_s)
            if wider == outer or self.sharp.position[wider[0] : wider[1] + 1].any():
                return wider
            margin_s, outer = 2.0 * margin_s, wider

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


def drawn_errors(
    chain: Chain,
    weights: Weights,
    between: tuple[int, int],
    random: np.random.Generator,
    count: int,
) -> FloatArray:
    """Return draws of one axis' errors from the first to the last of two instants.

    What lies beyond either instant counts, but is not drawn: it is eliminated first.

    Returns
    -------
    ndarray, shape (last - first + 1, d, count)
    """
    first, last = between
    blocks = chain.blocks(weights)
    diagonal = blocks.diagonal[: last + 1]
    if last + 1 < chain.n:
        beyond = BandedFactor(blocks.diagonal[:last:-1], np.swapaxes(blocks.lower[:last:-1], 1, 2))
        beside = blocks.lower[last]
        diagonal[last] -= beside.T @ np.linalg.solve(beyond.last_pivot(), beside)
    return BandedFactor(diagonal, blocks.lower[:last]).draw(random, count, first)


def interpolated(time_s: FloatArray, states: FloatArray, grid_s: FloatArray) -> Paths:
    """Return position, velocity and acceleration between instants by cubic Hermite curves.

    Velocity follows from velocities and accelerations at both ends, position from positions and
    their rates (velocity plus drift), acceleration is the velocity curve's derivative. ``states``
    has the shape (n, 4, 2, columns).
    """
    right = np.clip(np.searchsorted(time_s, grid_s, side="right"), 1, len(time_s) - 1)
    left = right - 1
    span = time_s[right] - time_s[left]
    u = (grid_s - time_s[left]) / span
    start_value, end_value = 2 * u**3 - 3 * u**2 + 1, -2 * u**3 + 3 * u**2
    start_rate, end_rate = (u**3 - 2 * u**2 + u) * span, (u**3 - u**2) * span
    slope = (6 * u**2 - 6 * u) / span
    position, velocity, acceleration, drift = (states[:, row] for row in range(4))

    def weighed(*terms: tuple[FloatArray, FloatArray]) -> FloatArray:
        total = np.zeros((len(grid_s), *states.shape[2:]))
        for weight, values in terms:
            total += weight[:, None, None] * values
        return total

    def positions() -> FloatArray:
        rate = velocity + drift
        return weighed(
            (start_value, position[left]), (start_rate, rate[left]),
            (end_value, position[right]), (end_rate, rate[right]),
        )  # fmt: skip

    def velocities() -> FloatArray:
        return weighed(
            (start_value, velocity[left]), (start_rate, acceleration[left]),
            (end_value, velocity[right]), (end_rate, acceleration[right]),
        )  # fmt: skip

    def accelerations() -> FloatArray:
        return weighed(
            (slope, velocity[left]), (-slope, velocity[right]),
            (3 * u**2 - 4 * u + 1, acceleration[left]), (3 * u**2 - 2 * u, acceleration[right]),
        )  # fmt: skip

    return Paths(grid_s, positions, velocities, accelerations)
