"""What is known of the motion after smoothing, as paths that can be drawn over any span.

Two readings of the same ride are kept, METHOD.md, filtering (17): the draws of the sharp one show
the bias that choosing a maximum brings, the spread of the cautious ones is the estimate's error.
"""

from collections.abc import Callable, Sequence
from functools import cache, cached_property

import numpy as np

from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.curves import Side, interpolated
from ridelog.filtering.kept_blocks import KeptBlocks
from ridelog.filtering.motion import Paths
from ridelog.filtering.orthogonal import OrthogonalFactor
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.state_space import StateSpace

# A span is solved with this much of its neighbourhood, about seven correlation times of motion. Own
# choice: the time of a draw grows with it.
_MARGIN_S = 12.0
_SEED = 20261125
# Standard normal numbers for draws are made once: anew for every span they cost more than all else
# in a draw. A prime, so that a draw longer than the table meets its numbers in other columns; own
# choice: the largest below 2^21, 17 MB.
_TABLE_SIZE, _TABLE_SEED = 2_097_143, 20261127


class Posterior:
    """The fitted states with both readings' precisions; draws are made on request.

    ``steady`` and ``lively`` say how far, to either side, the truth may lie from the fitted states
    because another fit may be the right one: shape (n, d, 2), ``lively`` None where corners show.
    ``hard`` says at which instants Cholesky's factor would lose too many digits, shape (n,), or
    makes that when it is first needed: fitted paths do without.
    """

    def __init__(
        self,
        space: StateSpace,
        states: FloatArray,
        steady: FloatArray,
        lively: FloatArray | None,
        sharp: Precisions,
        cautious: Precisions,
        hard: BoolArray | Callable[[], BoolArray],
    ) -> None:
        self.space = space
        self.states = states
        self._steady = steady
        self._lively = lively
        self.sharp = sharp
        self._cautious = cautious
        self._hard = hard
        self._kept = [KeptBlocks(space, each) for each in (sharp, cautious)]

    @cached_property
    def hard(self) -> BoolArray:
        """Where Cholesky's factor would lose too many digits, shape (n,)."""
        return self._hard() if callable(self._hard) else self._hard

    def paths(self, start_s: float, end_s: float, draws: int, spacing_s: float) -> Paths:
        """Return the fitted path and draws of both readings on an even grid; 0 draws: no cost."""
        time_s = self.space.time_s
        first = max(0, int(np.searchsorted(time_s, start_s, side="right")) - 1)
        last = min(len(time_s) - 1, int(np.searchsorted(time_s, end_s, side="left")))
        outer_first, outer_last = self._surroundings(first, last)
        inner = (first - outer_first, last - outer_first)
        here = slice(first, last + 1)
        fitted, count = self.states[here], last + 1 - first
        random = np.random.default_rng([_SEED, draws, first])
        errors: list[FloatArray] = []
        sides: list[Side] = []
        if draws:
            outer = (outer_first, outer_last)
            drawn = self._drawn(outer, inner, random, 2 * draws)
            # East and north have the same precision and independent errors.
            errors = [each.reshape(count, -1, 2, draws) for each in drawn]
            # Whether the machine held its speed steady is one question for the whole span.
            sides.append((self._steady[here], random.uniform(-1.0, 1.0, draws)))
        if draws and self._lively is not None:
            # How pulls end is the rider's habit: one question for the whole ride, and opposite
            # runs are wrong together.
            side = np.random.default_rng([_SEED, draws]).uniform(-1.0, 1.0, draws)
            sides.append((self._lively[here], side))
        grid = np.linspace(start_s, end_s, max(2, round((end_s - start_s) / spacing_s) + 1))
        return interpolated(time_s[here], fitted, errors, grid, sides=sides)

    def _drawn(
        self,
        outer: tuple[int, int],
        inner: tuple[int, int],
        random: np.random.Generator,
        count: int,
    ) -> list[FloatArray]:
        """Return draws of one axis' errors of both readings, as ``drawn_errors`` has them."""
        here = slice(outer[0], outer[1] + 1)
        hard = bool(self.hard[here].any())
        if not hard:
            factors = [_factor(*kept.between(*outer), inner[1]) for kept in self._kept]
            sharp, cautious = factors
            if sharp is not None and cautious is not None:
                size = (inner[1] + 1 - inner[0], self.space.d, count)
                return [each.draw(noise_of(random, *size), inner[0]) for each in (sharp, cautious)]
        part = self.space.part(here.start, here.stop)
        readings = [each.part(here.start, here.stop) for each in (self.sharp, self._cautious)]
        return drawn_errors(part, readings, inner, random, count, hard=hard)

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
    readings: Sequence[Precisions],
    between: tuple[int, int],
    random: np.random.Generator,
    count: int,
    *,
    hard: bool = False,
) -> list[FloatArray]:
    """Return draws of one axis' errors from the first to the last of two instants.

    What lies beyond either instant counts, but is not drawn: it is eliminated first. Where that
    is ``hard`` for Cholesky's factor, orthogonal transformations draw it all.

    Returns
    -------
    list of ndarray, shape (last - first + 1, d, count)
        Under the precisions of each reading.
    """
    first, last = between
    all_blocks = [space.blocks(precisions) for precisions in readings]
    factors = [
        None if hard else _factor(blocks.diagonal, blocks.lower, last) for blocks in all_blocks
    ]
    instants = [space.n if each is None else last + 1 - first for each in factors]
    noise = [noise_of(random, each, space.d, count) for each in instants]
    return [
        OrthogonalFactor(space.rows(precisions, blocks)).draw(numbers)[first : last + 1]
        if factor is None
        else factor.draw(numbers, first)
        for precisions, blocks, factor, numbers in zip(
            readings, all_blocks, factors, noise, strict=True
        )
    ]


def _factor(diagonal: FloatArray, lower: FloatArray, last: int) -> BandedFactor | None:
    """Return the factor of all up to an instant, what is beyond eliminated; None if it fails."""
    try:
        if last + 1 < len(diagonal):
            beyond = BandedFactor(diagonal[:last:-1], np.swapaxes(lower[:last:-1], 1, 2))
            beside = lower[last]
            diagonal = diagonal.copy()
            diagonal[last] -= beside.T @ np.linalg.solve(beyond.last_pivot(), beside)
        return BandedFactor(diagonal[: last + 1], lower[:last])
    except np.linalg.LinAlgError:
        return None


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
