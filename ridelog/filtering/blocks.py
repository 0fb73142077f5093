"""Long rides solved block by block, so that memory follows the block and not the ride.

What happens minutes away does not change a state: every instant is seen by its own fixes, and the
slowest error forgets itself in DRIFT_TIME_S. Each block is therefore solved with a margin of its
neighbours on either side, whose own answers are thrown away. A ride of one block is solved whole.
"""

from collections.abc import Callable, Iterator

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.filtering.state_space import DRIFT_TIME_S, Precisions, Solution, StateSpace

# Instants of a block: some 60 MB while it is solved.
LONGEST_BLOCK = 20_000
# Five correlation times of the slowest error; measured difference from the whole ride solved at
# once in tests/filtering/test_long_chain.py.
MARGIN_S = 5.0 * DRIFT_TIME_S


Progress = Callable[[float], None] | None


def states_of(
    space: StateSpace, precisions: Precisions, report_progress: Progress = None
) -> FloatArray:
    """Return the most probable states, shape (n, d, 2); progress is the share done."""
    return _in_blocks(space, precisions, lambda solution: solution.states, report_progress)


def variances_of(
    space: StateSpace, precisions: Precisions, report_progress: Progress = None
) -> FloatArray:
    """Return the posterior variance of each number of the state, one axis, shape (n, d)."""

    def diagonals(solution: Solution) -> FloatArray:
        variances: FloatArray = np.einsum("kii->ki", solution.variances()[0])
        return variances

    return _in_blocks(space, precisions, diagonals, report_progress)


def part_of_progress(report_progress: Progress, start: float, end: float) -> Progress:
    """Return what a stage tells that takes the work from one share to another."""
    if report_progress is None:
        return None
    return lambda done: report_progress(start + (end - start) * done)


def _in_blocks(
    space: StateSpace,
    precisions: Precisions,
    answer: Callable[[Solution], FloatArray],
    report_progress: Progress,
) -> FloatArray:
    if space.n <= LONGEST_BLOCK:
        return answer(space.solve(precisions))
    answers = []
    for first, start, stop, last in _blocks(space.time_s):
        solution = space.part(first, last).solve(precisions.part(first, last))
        answers.append(answer(solution)[start - first : stop - first].copy())
        if report_progress is not None:
            report_progress(stop / space.n)
    return np.concatenate(answers)


def _blocks(time_s: FloatArray) -> Iterator[tuple[int, int, int, int]]:
    """Return blocks of equal size as first of the margin, start, stop, end of the margin."""
    count = -(-len(time_s) // LONGEST_BLOCK)
    edges = np.linspace(0, len(time_s), count + 1).astype(np.int64)
    for start, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        first = int(np.searchsorted(time_s, time_s[start] - MARGIN_S))
        last = int(np.searchsorted(time_s, time_s[stop - 1] + MARGIN_S, side="right"))
        yield first, start, stop, last
