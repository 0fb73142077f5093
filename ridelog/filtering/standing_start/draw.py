"""Paths drawn from the models of a standing start.

Some time after the latest start all models of one start say the same of the instants that are left.
So the paths of each start are drawn as far as it takes to tell how plausible they are; those that
are kept go on together. Derivation: DEVELOPERS.md, "The standing start".
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.motion import Paths
from ridelog.filtering.posterior import interpolated, noise_of
from ridelog.filtering.standing_start.models import Starts


@dataclass(frozen=True)
class DrawnStart:
    """Draws of the states around one start.

    start_s : when it leaves zero. [s]
    time_s : shape (m,), instants. [s]
    mean : shape (m, 4, 2), the states about which they scatter.
    error : shape (m, d, 2, count), by how much.
    """

    start_s: float
    time_s: FloatArray
    mean: FloatArray
    error: FloatArray

    def paths(self, grid_s: FloatArray, columns: IntArray | None = None) -> Paths:
        """Return them, or some of them, on a grid."""
        error = self.error if columns is None else self.error[:, :, :, columns]

        def row(number: int, out: FloatArray) -> None:
            np.add(self.mean[:, number, :, None], error[:, number], out=out)

        return interpolated(self.time_s, row, error.shape[3], grid_s)


@dataclass(frozen=True)
class DrawnStarts:
    """Draws of several starts, one after the other; their columns count through all of them.

    each : the starts, drawn up to the instant from which on they are alike.
    _edges : shape (c + 1,), where each one's columns begin.
    _later : factor of the instants after that one, last first, and that one.
    _noise : of each start's columns for those of these that are wanted, (t, d, 2, count).
    _time_s : shape (1 + t,), that instant and these. [s]
    _mean : shape (1 + t, 4, 2, c), the states about which each start's columns scatter.
    """

    each: tuple[DrawnStart, ...]
    _edges: IntArray
    _later: BandedFactor | None
    _noise: tuple[FloatArray, ...]
    _time_s: FloatArray
    _mean: FloatArray

    def paths(self, grid_s: FloatArray, kept: IntArray) -> Paths:
        """Return the paths of some columns, which rise and may repeat, on a grid."""
        edges = np.searchsorted(kept, self._edges)
        columns = [
            kept[first:stop] - begin
            for first, stop, begin in zip(edges[:-1], edges[1:], self._edges[:-1], strict=True)
        ]
        late = grid_s > self._time_s[0] if self._later else np.zeros(len(grid_s), dtype=bool)
        parts = [
            one.paths(grid_s[~late], chosen)
            for one, chosen in zip(self.each, columns, strict=True)
        ]  # fmt: skip
        later = [self._going_on(columns, grid_s[late])] if late.any() else []

        def joined(name: str) -> FloatArray:
            early = np.concatenate([getattr(part, name) for part in parts], axis=2)
            return np.concatenate([early, *(getattr(part, name) for part in later)])

        return Paths(
            grid_s,
            lambda: joined("position_m"),
            lambda: joined("velocity_mps"),
            lambda: joined("acceleration_mps2"),
        )

    def _going_on(self, columns: list[IntArray], grid_s: FloatArray) -> Paths:
        """Return how the kept columns of all starts go on together."""
        assert self._later is not None
        count = sum(map(len, columns))

        def flat(arrays: Sequence[FloatArray]) -> FloatArray:
            chosen = [array[..., c] for array, c in zip(arrays, columns, strict=True)]
            return np.concatenate(chosen, axis=-1).reshape(*arrays[0].shape[:-2], 2 * count)

        here = flat([one.error[-1] for one in self.each])
        noise = flat(self._noise)
        error = self._later.draw(noise, self._later.n - 1 - len(noise), here)
        error = np.concatenate([error, here[None]])[::-1].reshape(len(noise) + 1, -1, 2, count)
        owner = np.repeat(np.arange(len(columns)), [len(one) for one in columns])

        def row(number: int, out: FloatArray) -> None:
            np.add(self._mean[:, number][..., owner], error[:, number], out=out)

        return interpolated(self._time_s, row, count, grid_s)


def draw_starts(
    starts: Starts,
    numbers: IntArray,
    counts: IntArray,
    random: np.random.Generator,
    until_s: float,
    told_s: float,
) -> DrawnStarts:
    """Return draws of the paths of some starts.

    Parameters
    ----------
    starts : Starts
        The solved models.
    numbers, counts : ndarray of int, shape (c,)
        Which of them are drawn, and how many times each.
    random : numpy.random.Generator
        Source of the draws.
    until_s : float
        Up to when. Later instants count, but are not drawn. [s]
    told_s : float
        Up to so long after each start its draws are needed before it is known which are kept. [s]
    """
    solution = starts.solution
    space, d = solution.space, solution.space.d
    parts = [slice(int(starts.edges[k]), int(starts.edges[k + 1])) for k in numbers]
    after = _alike_after(starts, parts, float(starts.start_s[numbers].max()) + told_s)
    means = []
    for part in parts:
        mean = solution.states[part, :4].copy()
        mean[:, :3] += starts.departure[part]
        mean[:, 0] += starts.origin_m
        means.append(mean)
    later, pivot = None, None
    if after:
        stop = parts[0].stop
        later = BandedFactor(*solution.backwards(slice(stop - after - 1, stop)))
        pivot = later.last_pivot()
    each, noises = [], []
    for number, count, part, mean in zip(numbers, counts, parts, means, strict=True):
        time_s = space.time_s[part]
        wanted = min(int(np.searchsorted(time_s, until_s)) + 1, len(time_s))
        head = len(time_s) - after
        kept = min(wanted, head)
        noise = noise_of(random, wanted, d, 2 * int(count))
        diagonal, lower = solution.backwards(slice(part.start, part.start + head))
        if pivot is not None:
            diagonal = np.concatenate([pivot[None], diagonal[1:]])
        error = BandedFactor(diagonal, lower).draw(noise[wanted - kept :], head - kept)[::-1]
        each.append(
            DrawnStart(
                float(starts.start_s[number]), time_s[:kept], mean[:kept],
                error.reshape(kept, d, 2, int(count)),
            )
        )  # fmt: skip
        noises.append(noise[: wanted - kept].reshape(wanted - kept, d, 2, int(count)))
    shared = slice(len(means[0]) - after - 1, len(means[0]) - after + len(noises[0]))
    mean = np.stack([one[len(one) - after - 1 :][: len(noises[0]) + 1] for one in means], axis=3)
    return DrawnStarts(
        tuple(each),
        np.concatenate([[0], np.cumsum(counts)]),
        later if len(noises[0]) else None,
        tuple(noises),
        space.time_s[parts[0]][shared],
        mean,
    )


def _alike_after(starts: Starts, parts: list[slice], from_s: float) -> int:
    """Return how many instants at the end of all models follow one from which on they are alike.

    That one lies no earlier than a time.
    """
    space, precisions = starts.solution.space, starts.solution.precisions
    most = min(part.stop - part.start for part in parts)
    ends = np.array([part.stop for part in parts])[:, None] - np.arange(1, most + 1)
    alike = space.time_s[ends[0]] >= from_s
    said = (
        space.time_s,
        precisions.position,
        precisions.velocity,
        precisions.still,
        precisions.cruise,
    )
    for values in said:
        alike &= (values[ends] == values[ends[0]]).all(axis=0)
    # Of an interval and the instant at its end.
    for values in (precisions.jerk, precisions.drift, space.steps.astype(np.float64)):
        alike[:-1] &= (values[ends[:, 1:]] == values[ends[0, 1:]]).all(axis=0)
    return max(0, (most if alike.all() else int(alike.argmin())) - 1)
