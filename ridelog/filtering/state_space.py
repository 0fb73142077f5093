"""The state-space model: what moves how between instants, and what is observed of it.

State of one axis at an instant, in this order:

    0  position as the receiver believes it: true position plus slow drift  [m]
    1  velocity  [m/s]
    2  acceleration  [m/s²]
    3  drift velocity: the rate at which the receiver's position slides away  [m/s]
    4  slow error of the reported velocity (only with reported speed)  [m/s]

Position, velocity and acceleration follow white jerk of an intensity per interval; 3 and 4 are
first-order Gauss-Markov. East and north share every precision, hence one factor for both.
Model: filtering (1) to (8).
"""

from collections.abc import Sequence
from contextlib import suppress
from functools import cached_property
from typing import NamedTuple

import numpy as np

from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.orthogonal import OrthogonalFactor, Rows
from ridelog.filtering.precisions import Precisions, add_seen, known_of_start
from ridelog.filtering.shared_end import SharedEnd, alike_from_the_end
from ridelog.filtering.transitions import Transitions

# Correlation times of the slow errors. The drift of a position solution follows satellite geometry
# and atmosphere over tens of seconds, that of a reported speed the receiver's own loop filters:
# common practice, no source; filtering (2).
DRIFT_TIME_S = 20.0
SLOW_SPEED_TIME_S = 3.0
# Cholesky's factor may lose eleven of sixteen digits of a precision: variances then err by 1e-4.
# Refinement squares the relative error of states, so it may find this much of them; evidences
# then err by about as much. Own choices, measured against 200 bits in
# tests/filtering/test_digits.py.
_LEAST_SHARE, _MOST_LOST = 1.0e-11, 1.0e-4
# Eliminating chains from their ends loses other digits. Where that is less than this of states,
# no draw moves; else every chain is factored by itself. Own choice: rides with a reported speed
# lose some 1e-9; those without, which are not tried, mostly a thousandth.
_SHARED_LOSS = 1.0e-7


class Blocks(NamedTuple):
    """A precision of all states, block by block.

    transitions : of the intervals' residuals.
    start : what is known of the first instants of pieces, shape (n, d).
    diagonal, lower : of the states, as ``BandedFactor`` takes them.
    """

    transitions: Transitions
    start: FloatArray
    diagonal: FloatArray
    lower: FloatArray


class StateSpace:
    """Instants of one ride with their transitions; breaks between pieces carry no information.

    Parameters
    ----------
    time_s : ndarray, shape (n,), strictly increasing. [s]
    position_m, velocity_mps : ndarray, shape (n, 2)
        What the log says, east and north, NaN where it says nothing.
    breaks : ndarray of bool, shape (n - 1,)
        Intervals across which nothing is carried (gaps).
    steps : ndarray of bool, shape (n - 1,)
        Intervals in which the receiver's position may step by any amount.
    drift_time_s : float
        Correlation time of the drift velocity. [s]
    """

    def __init__(
        self,
        time_s: FloatArray,
        position_m: FloatArray,
        velocity_mps: FloatArray,
        breaks: BoolArray,
        steps: BoolArray,
        drift_time_s: float = DRIFT_TIME_S,
    ) -> None:
        self.time_s = time_s
        self.position_m = position_m
        self.velocity_mps = velocity_mps
        self.breaks = breaks
        self.steps = steps
        self.drift_time_s = drift_time_s
        self.n = len(time_s)
        self.interval_s = np.diff(time_s)
        self.d = 5 if np.isfinite(velocity_mps[:, 0]).any() else 4
        self.first = np.ones(self.n, dtype=bool)
        self.first[1:] = breaks
        # Across a break the transition is switched off, so its length must only be harmless.
        self._dt = np.where(breaks, 1.0, self.interval_s)
        self.drift_keep = np.exp(-self._dt / drift_time_s)
        self.slow_keep = np.exp(-self._dt / SLOW_SPEED_TIME_S)

    def part(self, start: int, stop: int) -> "StateSpace":
        """Return the state space of instants start..stop-1 as if the ride had nothing else."""
        inner = slice(start, max(start, stop - 1))
        return StateSpace(
            self.time_s[start:stop],
            self.position_m[start:stop],
            self.velocity_mps[start:stop],
            self.breaks[inner],
            self.steps[inner],
            self.drift_time_s,
        )

    def blocks(self, precisions: Precisions) -> "Blocks":
        """Return the precision of all states under these precisions."""
        n, d = self.n, self.d
        transitions = self.transitions(precisions)
        onto, forward, lower = transitions.blocks(d)
        # In memory the instants lie along the last axis, where whole-array steps are fastest.
        blocks = np.zeros((d, d, n))
        blocks[:, :, :-1] = np.moveaxis(forward, 0, 2)
        blocks[:, :, 1:] += np.moveaxis(onto, 0, 2)
        start = np.zeros((n, d))
        start[self.first] = known = known_of_start(precisions, d)
        for number, precision in enumerate(known):
            blocks[number, number, self.first] += precision
        add_seen(blocks, precisions)
        return Blocks(transitions, start, np.moveaxis(blocks, 2, 0), lower)

    def transitions(self, precisions: Precisions) -> Transitions:
        """Return what these precisions say of the intervals."""
        return Transitions(
            self._dt, self.breaks, self.steps, self.drift_keep, self.slow_keep,
            precisions.jerk, precisions.drift, precisions.slow_sd, precisions.walk,
        )  # fmt: skip

    def rows(self, precisions: Precisions, blocks: "Blocks") -> Rows:
        """Return what these precisions say of the states, row by whitened row."""
        d = self.d
        own = np.zeros((d + 4, d + 2, self.n))
        own[range(d), range(d)] = np.sqrt(blocks.start.T)
        seen = [
            (precisions.position, (0,), self.position_m),
            (precisions.still, (1,), None),
            (precisions.cruise, (2,), None),
            (precisions.velocity, (1, 4), self.velocity_mps),
        ]
        for row, (precision, numbers, said) in enumerate(seen[: d - 1], start=d):
            size = np.sqrt(precision)
            for number in numbers:
                own[row, number] = size * (precisions.slow_seen if number == 4 else 1.0)
            if said is not None:
                own[row, d:] = size * np.nan_to_num(said.T)
        return Rows(own, blocks.transitions.rows(d))

    def solve(self, precisions: Precisions, *, refine: bool = True) -> "Solution":
        """Return the most probable states under these precisions, with their factored sum."""
        return Solution(self, precisions, refine=refine)


class Solution:
    """One solved state space: on request its states, their variances or draws of their errors.

    Cholesky's factors do while they keep enough digits, which is measured; else, or if
    ``orthogonal`` says so from the beginning, orthogonal transformations take over: filtering (23).
    ``hard`` says whether they have. ``edges``, shape (c + 1,), are where chains begin that know
    nothing of each other and may end alike.
    """

    def __init__(
        self,
        space: StateSpace,
        precisions: Precisions,
        *,
        refine: bool = True,
        orthogonal: bool = False,
        edges: IntArray | None = None,
    ) -> None:
        self.space = space
        self.precisions = precisions
        self._refine = refine
        self._edges = edges
        self._sharing = edges if space.d == 5 else None
        self._blocks = blocks = space.blocks(precisions)
        self.transitions, self._start = blocks.transitions, blocks.start
        self._diagonal, self._lower = blocks.diagonal, blocks.lower
        self.hard = self._orthogonal = orthogonal

    @cached_property
    def factor(self) -> BandedFactor | SharedEnd | OrthogonalFactor:
        """The factored precision, made when first needed."""
        if not self.hard:
            blocks, edges = (self._diagonal, self._lower), self._sharing
            alike = 0 if edges is None else alike_from_the_end(*blocks, edges)
            try:
                if edges is not None and alike:
                    return SharedEnd(*blocks, edges, alike)
                return BandedFactor(*blocks)
            except np.linalg.LinAlgError:
                self.hard = True
        return OrthogonalFactor(self.space.rows(self.precisions, self._blocks))

    @cached_property
    def states(self) -> FloatArray:
        """Posterior mean, shape (n, d, 2); last axis east, north; made when first needed."""
        return self._found_states()

    def _found_states(self) -> FloatArray:
        factor = self.factor
        if isinstance(factor, OrthogonalFactor):
            return factor.states()
        states = factor.solve(np.moveaxis(self._seen(), 2, 0))
        if self._refine:
            # The factor loses digits as the rate's fifth power; one step of refinement whose
            # residual is formed from the model's own differences restores them.
            better = factor.solve(self._pull(states))
            # What it had lost is what the step has found.
            lost, most = (np.abs(each).max(axis=(0, 2))[:2] for each in (better, states))
            kept = bool(np.isfinite(better).all())
            if isinstance(factor, SharedEnd) and not (kept and (lost <= _SHARED_LOSS * most).all()):
                self._sharing = None
                del self.__dict__["factor"]
                return self._found_states()
            if not kept or (lost > _MOST_LOST * most).any():
                return self._by_rows().states()
            states = states + better
        return states

    def _by_rows(self) -> OrthogonalFactor:
        """Return the orthogonal factor, which takes the place of Cholesky's from now on."""
        self.hard = True
        if not isinstance(self.__dict__.get("factor"), OrthogonalFactor):
            del self.__dict__["factor"]
        factor = self.factor
        assert isinstance(factor, OrthogonalFactor)
        return factor

    def _pull(self, states: FloatArray) -> FloatArray:
        """Return the negative gradient of the objective at ``states``."""
        precisions = self.precisions
        along = np.ascontiguousarray(np.moveaxis(states, 0, 2))
        pull = self._seen(along) - np.ascontiguousarray(self._start.T)[:, None] * along
        pull += self.transitions.pull(along)
        pull[1] -= precisions.still * along[1]
        pull[2] -= precisions.cruise * along[2]
        return np.moveaxis(pull, 2, 0)

    def log_evidences(self) -> FloatArray:
        """Return what each instant adds to the logarithm of the data's density, shape (n,).

        Both axes, less a constant of the data's precisions: filtering (8). It may be summed piece
        by piece; models that differ in intensities or instants compare.
        """
        # They tell which factor keeps its digits.
        states, first = self.states, self.space.first
        each = -self.factor.log_pivots()
        each[1:] += self.transitions.log_determinants(self.space.d)
        each[first] += np.log(self._start[first]).sum(axis=1)
        seen = np.moveaxis(self._seen(), 2, 0)
        each += 0.5 * np.einsum("kij,kij->k", seen, states)
        return each

    def _seen(self, along: FloatArray | None = None) -> FloatArray:
        """Return how what was seen pulls on states (0 without any), both of shape (d, 2, n)."""
        space, precisions = self.space, self.precisions
        pull = np.zeros((space.d, 2, space.n))
        rest = np.nan_to_num(space.position_m.T)
        pull[0] = precisions.position * (rest if along is None else rest - along[0])
        if space.d == 5:
            rest = np.nan_to_num(space.velocity_mps.T)
            if along is not None:
                rest = rest - along[1] - precisions.slow_seen * along[4]
            pull[1] = precisions.velocity * rest
            pull[4] = precisions.slow_seen * pull[1]
        return pull

    def draw(self, piece: slice, noise: FloatArray, wanted: int) -> FloatArray:
        """Return draws of both axes' errors at a piece's first instants, (wanted, d, 2, count).

        East and north have the same precision and independent errors. ``piece`` is a whole one,
        ``noise`` standard normal for all of its instants, (m, d, 2, count). Cholesky's
        factor draws wherever it can: what the step of refinement has found is rounding and differs
        between computers, so it must not choose between two ways to use the noise.
        """
        if not self._orthogonal:
            # With the last instant first, what is not wanted costs nothing.
            lower = self._lower[piece.start : piece.stop - 1]
            turned = self._diagonal[piece][::-1], np.swapaxes(lower, 1, 2)[::-1]
            with suppress(np.linalg.LinAlgError):
                factor = BandedFactor(*turned)
                numbers = noise[:wanted].reshape(wanted, self.space.d, -1)
                drawn = factor.draw(numbers, len(noise) - wanted)
                return drawn[::-1].reshape(wanted, *noise.shape[1:])
        own, joint = self.space.rows(self.precisions, self._blocks)
        rows = Rows(own[:, :, piece], joint[:, :, piece.start : piece.stop - 1])
        drawn = OrthogonalFactor(rows).draw(noise.reshape(len(noise), self.space.d, -1))
        return drawn[:wanted].reshape(wanted, *noise.shape[1:])

    def draw_several(
        self, chosen: IntArray, columns: Sequence[slice], noise: FloatArray, wanted: IntArray
    ) -> FloatArray:
        """Return what ``draw`` does for several of the chains, each with columns of the noise.

        Shape (m, d, 2, columns), 0 beyond the instants that are wanted of each, m at most.
        """
        edges = self._edges
        assert edges is not None  # only who told where chains begin may ask
        factor = self.factor
        if isinstance(factor, SharedEnd):
            shared = factor.draw(chosen, columns, noise, wanted)
            if shared is not None:
                return shared
        drawn = np.zeros((int(wanted.max()), *noise.shape[1:]))
        for chain, column, count in zip(chosen, columns, wanted, strict=True):
            piece = slice(int(edges[chain]), int(edges[chain + 1]))
            numbers = noise[: piece.stop - piece.start, :, :, column]
            drawn[:count, :, :, column] = self.draw(piece, numbers, int(count))
        return drawn

    def variances(self) -> tuple[FloatArray, FloatArray]:
        """Return posterior covariance blocks (k, k) and (k + 1, k) of one axis."""
        factor = self.factor
        if isinstance(factor, SharedEnd):
            factor = BandedFactor(self._diagonal, self._lower)
        if isinstance(factor, BandedFactor):
            blocks, beside = factor.selected_inverse()
            if not lost_digits(self._diagonal, np.einsum("kii->ki", blocks)).any():
                return blocks, beside
            factor = self._by_rows()
        return factor.selected_inverse()


def lost_digits(diagonal: FloatArray, variances: FloatArray) -> BoolArray:
    """Return where Cholesky's factor has lost too many digits of a precision, shape (n,).

    Of a number's own precision the factor leaves what is known of it with all others free, one over
    its variance: the smaller share that is, the more digits rounding has taken.

    Parameters
    ----------
    diagonal : ndarray, shape (n, d, d)
        Blocks of the precision.
    variances : ndarray, shape (n, d)
        Of each number, as the factor has them.
    """
    with np.errstate(invalid="ignore", over="ignore"):
        times = np.einsum("kii->ki", diagonal) * variances
    kept: BoolArray = (times > 0.0) & (times < 1.0 / _LEAST_SHARE)
    lost: BoolArray = np.logical_not(kept.all(axis=1))
    return lost
