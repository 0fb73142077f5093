"""Long logs: scales learnt on means of a quarter of a second, and the ride solved block by block.

A coarser record shows noise and liveliness as well; the solution uses every fix. What happens
minutes away does not change a state, so each block is solved with a margin of its neighbours, whose
own answers are thrown away: memory follows the block and not the ride.
"""

from collections.abc import Callable, Iterator

import numpy as np

from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.noise import NoiseScales, ObservedInstants
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.state_space import DRIFT_TIME_S, Solution, StateSpace, lost_digits

# Instants above which scales are learnt on means: own choice, it trades time against detail.
LONGEST_WHOLE = 8000
# Own choice, the same as the span that shares one intensity of jerk: no corner gets blunter. [s]
_SPAN_S = 0.25
# Instants of a block: some 60 MB while it is solved. Own choice: it trades memory against margins
# that are solved twice.
LONGEST_BLOCK = 20_000
# Five correlation times of the slowest error, of which exp(-5), below a hundredth, is left: derived
# from filtering (2). tests/filtering/test_long_logs.py holds it against the ride solved at once.
MARGIN_S = 5.0 * DRIFT_TIME_S

Progress = Callable[[float], None] | None


def groups_of(space: StateSpace) -> IntArray:
    """Return the number of each instant's group: consecutive, unbroken, a quarter of a second."""
    since_start = np.floor((space.time_s - space.time_s[0]) / _SPAN_S + 1e-6)
    new = np.concatenate([[False], (np.diff(since_start) > 0) | space.breaks])
    numbers: IntArray = np.cumsum(new)
    return numbers


def coarsened(
    space: StateSpace, observed: ObservedInstants, group: IntArray
) -> tuple[StateSpace, ObservedInstants]:
    """Return the state space of group means with what is observed at them."""
    count = int(group[-1]) + 1

    def mean(values: FloatArray, where: BoolArray) -> FloatArray:
        weight = np.bincount(group[where], minlength=count)
        total = np.bincount(group[where], values[where], minlength=count)
        result: FloatArray = np.where(weight > 0, total / np.maximum(weight, 1), np.nan)
        return result

    everywhere = np.ones(space.n, dtype=bool)
    has_position, has_velocity = observed.has_position, observed.has_velocity
    fixes = np.bincount(group[has_position], minlength=count)
    last = np.flatnonzero(np.diff(group))
    steps = np.add.reduceat(space.steps, np.concatenate([[0], last[:-1] + 1])) > 0
    breaks = space.breaks[last]
    coarse = StateSpace(
        mean(space.time_s, everywhere),
        np.stack([mean(space.position_m[:, axis], has_position) for axis in (0, 1)], axis=1),
        np.stack([mean(space.velocity_mps[:, axis], has_velocity) for axis in (0, 1)], axis=1),
        breaks,
        steps & ~breaks,
        space.drift_time_s,
    )
    return coarse, ObservedInstants(
        has_position=np.isfinite(coarse.position_m[:, 0]),
        has_velocity=np.isfinite(coarse.velocity_mps[:, 0]),
        crawl_precision=np.bincount(group, observed.crawl_precision, minlength=count).astype(
            np.float64
        ),
        factor=np.sqrt(mean(observed.factor**2, everywhere)),
        factor_stated=observed.factor_stated,
        speed_factor=np.sqrt(mean(observed.speed_factor**2, has_velocity)),
        averaged=np.maximum(fixes, 1.0),
        drift_factor=observed.drift_factor[last],
        walk_floor_m=observed.walk_floor_m,
        speed_noise_mps=observed.speed_noise_mps,
        speed_floor_mps=observed.speed_floor_mps,
        position_floor_m=observed.position_floor_m,
        slow_floor_mps=observed.slow_floor_mps,
        bandwidth_error_mps=mean(observed.bandwidth_error_mps, everywhere),
        shared_s=observed.shared_s,
    )


def refined(space: StateSpace, group: IntArray, scales: NoiseScales) -> NoiseScales:
    """Return scales learnt on group means, for every instant of the whole state space."""
    interval = np.minimum(group[:-1], len(scales.jerk) - 1)
    return NoiseScales(
        jerk=scales.jerk[interval],
        cruise_var=scales.cruise_var[group],
        position_sd_m=scales.position_sd_m,
        speed_sd_mps=scales.speed_sd_mps,
        drift_sd_mps=scales.drift_sd_mps,
        slow_sd_mps=scales.slow_sd_mps,
        walk_m=scales.walk_m,
        position_trust=scales.position_trust,
        speed_trust=scales.speed_trust,
        position_weight=scales.position_weight[group],
        velocity_weight=scales.velocity_weight[group],
        still=scales.still[group],
    )


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


def hard_instants(space: StateSpace, precisions: Precisions) -> BoolArray:
    """Return where Cholesky's factor would lose too many digits, shape (n,)."""
    return lost_digits(space.blocks(precisions).diagonal, variances_of(space, precisions))


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
