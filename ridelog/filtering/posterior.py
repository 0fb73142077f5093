"""What is known of the motion after smoothing, as paths that can be drawn over any span.

Two readings of the same ride are kept, METHOD.md, filtering (17): the draws of the sharp one show
the bias that choosing a maximum brings, the spread of the cautious ones is the estimate's error.
"""

from collections.abc import Callable
from functools import cache

import numpy as np

from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.motion import Paths
from ridelog.filtering.orthogonal import OrthogonalFactor
from ridelog.filtering.state_space import Blocks, Precisions, StateSpace

# A span is solved with this much of its neighbourhood, about seven correlation times of motion. Own
# choice: the time of a draw grows with it.
_MARGIN_S = 12.0
_SEED = 20261125
# Standard normal numbers for draws are made once: anew for every span they cost more than all else
# in a draw. A prime, so that a draw longer than the table meets its numbers in other columns; own
# choice: the largest below 2^21, 17 MB.
_TABLE_SIZE, _TABLE_SEED = 2_097_143, 20261127
# Fewer columns than this are faster taken all intervals at once: own choice, either way is the same
# sum.
_FEW = 50

# Writes a number of the states, 0 to 3, of all columns into an array of shape (n, 2, columns).
Row = Callable[[int, FloatArray], None]


class Posterior:
    """The fitted states with both readings' precisions; draws are made on request.

    ``steady`` and ``lively`` say how far, to either side, the truth may lie from the fitted states
    because another fit may be the right one: shape (n, d, 2), ``lively`` None where corners show.
    ``hard`` says at which instants Cholesky's factor would lose too many digits, shape (n,).
    """

    def __init__(
        self,
        space: StateSpace,
        states: FloatArray,
        steady: FloatArray,
        lively: FloatArray | None,
        sharp: Precisions,
        cautious: Precisions,
        hard: BoolArray,
    ) -> None:
        self.space = space
        self.states = states
        self._steady = steady
        self._lively = lively
        self.sharp = sharp
        self._cautious = cautious
        self.hard = hard

    def paths(self, start_s: float, end_s: float, draws: int, spacing_s: float) -> Paths:
        """Return the fitted path and draws of both readings on an even grid; 0 draws: no cost."""
        time_s = self.space.time_s
        first = max(0, int(np.searchsorted(time_s, start_s, side="right")) - 1)
        last = min(len(time_s) - 1, int(np.searchsorted(time_s, end_s, side="left")))
        outer_first, outer_last = self._surroundings(first, last)
        part = self.space.part(outer_first, outer_last + 1)
        hard = bool(self.hard[outer_first : outer_last + 1].any())
        inner = (first - outer_first, last - outer_first)
        here = slice(first, last + 1)
        fitted, count = self.states[here], last + 1 - first
        random = np.random.default_rng([_SEED, draws, first])
        errors: list[FloatArray] = []
        # How far the cautious draws lie to one side, each with the size of that: shape (draws,).
        sides: list[tuple[FloatArray, FloatArray]] = []
        for precisions in (self.sharp, self._cautious) if draws else ():
            local = precisions.part(outer_first, outer_last + 1)
            error = drawn_errors(part, local, inner, random, 2 * draws, hard=hard)
            # East and north have the same precision and independent errors.
            errors.append(error.reshape(count, -1, 2, draws))
        if draws:
            # Whether the machine held its speed steady is one question for the whole span.
            sides.append((self._steady[here], random.uniform(-1.0, 1.0, draws)))
        if draws and self._lively is not None:
            # How pulls end is the rider's habit: one question for the whole ride, and opposite
            # runs are wrong together.
            side = np.random.default_rng([_SEED, draws]).uniform(-1.0, 1.0, draws)
            sides.append((self._lively[here], side))

        def row(number: int, out: FloatArray) -> None:
            middle = fitted[:, number, :, None]
            out[:, :, :1] = middle
            for first_column, error in zip((1, 1 + draws), errors, strict=False):
                columns = out[:, :, first_column : first_column + draws]
                np.add(middle, error[:, number], out=columns)
            for size, side in sides:
                out[..., 1 + draws :] += size[:, number, :, None] * side

        grid = np.linspace(start_s, end_s, max(2, round((end_s - start_s) / spacing_s) + 1))
        return interpolated(time_s[here], row, 1 + 2 * draws, grid)

    def _surroundings(self, first: int, last: int) -> tuple[int, int]:
        """Return first and last instant of what is solved with a span.

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
        """Return first and last instant of a span widened on both sides up to a break."""
        time_s = self.space.time_s
        first = max(0, int(np.searchsorted(time_s, start_s, side="right")) - 1)
        last = min(len(time_s) - 1, int(np.searchsorted(time_s, end_s, side="left")))
        return self._edge(first, -before_s), self._edge(last, after_s)

    def _edge(self, index: int, margin_s: float) -> int:
        """Return the instant a margin away, without passing a break."""
        space = self.space
        limit = space.time_s[index] + margin_s
        if margin_s <= 0.0:
            edge = int(np.searchsorted(space.time_s, limit, side="left"))
            broken = np.flatnonzero(space.breaks[edge:index])
            return edge + int(broken[-1]) + 1 if len(broken) else edge
        edge = int(np.searchsorted(space.time_s, limit, side="right")) - 1
        broken = np.flatnonzero(space.breaks[index:edge])
        return index + int(broken[0]) if len(broken) else edge


def drawn_errors(
    space: StateSpace,
    precisions: Precisions,
    between: tuple[int, int],
    random: np.random.Generator,
    count: int,
    *,
    hard: bool = False,
) -> FloatArray:
    """Return draws of one axis' errors from the first to the last of two instants.

    What lies beyond either instant counts, but is not drawn: it is eliminated first. Where that
    is ``hard`` for Cholesky's factor, orthogonal transformations draw it all.

    Returns
    -------
    ndarray, shape (last - first + 1, d, count)
    """
    first, last = between
    blocks = space.blocks(precisions)
    if not hard:
        try:
            return _drawn_by_cholesky(blocks, first, last, random, count)
        except np.linalg.LinAlgError:
            pass
    noise = noise_of(random, space.n, space.d, count)
    return OrthogonalFactor(space.rows(precisions, blocks)).draw(noise)[first : last + 1]


def _drawn_by_cholesky(
    blocks: Blocks, first: int, last: int, random: np.random.Generator, count: int
) -> FloatArray:
    diagonal = blocks.diagonal[: last + 1]
    if last + 1 < len(blocks.diagonal):
        beyond = BandedFactor(blocks.diagonal[:last:-1], np.swapaxes(blocks.lower[:last:-1], 1, 2))
        beside = blocks.lower[last]
        diagonal[last] -= beside.T @ np.linalg.solve(beyond.last_pivot(), beside)
    factor = BandedFactor(diagonal, blocks.lower[:last])
    return factor.draw(noise_of(random, last + 1 - first, diagonal.shape[1], count), first)


def noise_of(random: np.random.Generator, instants: int, d: int, count: int) -> FloatArray:
    """Return standard normal numbers for draws, shape (instants, d, count), not to be written to.

    They are read from one table, from a place that ``random`` chooses, so that the same column of
    two draws holds different numbers: those of two spans are unrelated.

    Source
    ------
    RAND Corporation, "A Million Random Digits with 100,000 Normal Deviates", 1955: the oldest use
    of such a table.
    """
    # They are taken for an even number of instants: where they begin depends on how many.
    even = instants + instants % 2
    wanted, table = even * d * count, _normal_numbers()
    if wanted > len(table):
        table = np.resize(np.roll(table, int(random.integers(len(table)))), wanted)
    start = int(random.integers(len(table) - wanted + 1))
    return table[start : start + wanted].reshape(even, d, count)[:instants]


@cache
def _normal_numbers() -> FloatArray:
    table = np.random.default_rng(_TABLE_SEED).standard_normal(_TABLE_SIZE)
    table.flags.writeable = False
    return table


def interpolated(time_s: FloatArray, row: Row, columns: int, grid_s: FloatArray) -> Paths:
    """Return position, velocity and acceleration between instants by cubic Hermite curves.

    Velocity follows from velocities and accelerations at both ends, position from positions and
    their rates (velocity plus drift), acceleration is the velocity curve's derivative.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Instants. [s]
    row : callable
        Writes one number of the states of all columns, 0 to 3, into an array (n, 2, columns).
    columns : int
        How many there are.
    grid_s : ndarray, shape (m,)
        Where the curves are wanted, in rising order. [s]
    """
    right = np.clip(np.searchsorted(time_s, grid_s, side="right"), 1, len(time_s) - 1)
    left = right - 1
    span = time_s[right] - time_s[left]
    u = (grid_s - time_s[left]) / span
    start_rate, end_rate = (u**3 - 2 * u**2 + u) * span, (u**3 - u**2) * span
    slope = (6 * u**2 - 6 * u) / span
    # Of value and rate at the instant before and at the one after.
    curve = np.stack([2 * u**3 - 3 * u**2 + 1, start_rate, -2 * u**3 + 3 * u**2, end_rate], axis=1)
    rise = np.stack([slope, 3 * u**2 - 4 * u + 1, -slope, 3 * u**2 - 2 * u], axis=1)

    def rows(value: int, rate: int) -> FloatArray:
        both = np.empty((len(time_s), 2, 2, columns))
        row(value, both[:, 0])
        row(rate, both[:, 1])
        return both

    def weighed(weights: FloatArray, both: FloatArray) -> FloatArray:
        return _by_interval(left, weights, both)

    def positions() -> FloatArray:
        both, drift = rows(0, 1), np.empty((len(time_s), 2, columns))
        row(3, drift)
        both[:, 1] += drift
        return weighed(curve, both)

    return Paths(
        grid_s, positions, lambda: weighed(curve, rows(1, 2)), lambda: weighed(rise, rows(1, 2))
    )


def _by_interval(left: IntArray, weights: FloatArray, both: FloatArray) -> FloatArray:
    """Return sums of both numbers of two neighbouring instants, shape (m, 2, columns).

    Weights have the shape (m, 4), both numbers (n, 2, 2, columns); ``left`` rises.
    """
    flat = both.reshape(2 * len(both), -1)
    if flat.shape[1] < _FEW:
        total = weights[:, :1] * flat[2 * left]
        for number in range(1, 4):
            total += weights[:, number, None] * flat[2 * left + number]
        return total.reshape(len(left), *both.shape[2:])
    # All that lies in one interval is one product, which passes over the columns but once.
    total = np.empty((len(left), flat.shape[1]))
    edges = np.concatenate([[0], np.flatnonzero(np.diff(left)) + 1, [len(left)]]).tolist()
    for first, stop, at in zip(edges[:-1], edges[1:], (2 * left[edges[:-1]]).tolist(), strict=True):
        np.matmul(weights[first:stop], flat[at : at + 4], out=total[first:stop])
    return total.reshape(len(left), *both.shape[2:])
