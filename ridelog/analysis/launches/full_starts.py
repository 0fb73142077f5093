"""A figure over a ride's starts: the mean of the full ones, each direction weighing the same."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.figure import harmonic_mean_of, mean_of
from ridelog.core.estimate import Estimate
from ridelog.core.geodesy import courses_apart_deg
from ridelog.filtering.standing_start.paths import UNSEEN_START_S

# Directions whose figures differ by more than this tell of wind or slope and not of the machine;
# common practice, no source.
_MOST_APART = 1.5


@dataclass(frozen=True)
class MeanOfStarts:
    """One figure over the full starts of a ride.

    Attributes
    ----------
    mean : None with a ``reason``.
    directions : mean of each direction, that of the first start first; two if both were ridden.
    full : for each direction the places of its full starts among the launches.
    course_deg : where the starts go if they all go one way, else None.
    """

    mean: Estimate | None
    reason: str
    directions: tuple[Estimate, ...] = ()
    full: tuple[tuple[int, ...], ...] = ()
    course_deg: float | None = None

    @property
    def both_ways(self) -> Estimate | None:
        """The mean if it balances both directions."""
        return self.mean if len(self.directions) == 2 else None

    @property
    def unseen_sd_s(self) -> float:
        """What is unseen of every start, as it is part of a mean of times. [s]"""
        if not self.full:
            return 0.0
        squares = sum(1.0 / len(starts) for starts in self.full)
        return UNSEEN_START_S * float(np.sqrt(squares)) / len(self.full)


def mean_of_starts(
    course_deg: Sequence[float],
    time_s: Sequence[Estimate | None],
    figure: Sequence[Estimate | None],
) -> MeanOfStarts:
    """Return the mean over both directions of the full starts of each.

    Full are the starts that are not clearly slower than the quickest of their direction: the
    half-hearted go. METHOD.md, (5) and (6).

    Parameters
    ----------
    course_deg : sequence of float
        Direction of each start.
    time_s : sequence of Estimate or None
        How long each took, None where it is not known.
    figure : sequence of Estimate or None
        What is averaged: the times themselves, or another figure of the same starts.

    Source
    ------
    Own derivation: METHOD.md of launches.
    """
    told = {
        place: (time, one)
        for place, (time, one) in enumerate(zip(time_s, figure, strict=True))
        if time is not None and one is not None
    }
    if not told:
        return MeanOfStarts(None, "no start was timed over it")
    first = course_deg[next(iter(told))]
    alike = [place for place in told if courses_apart_deg(course_deg[place], first) <= 90.0]
    opposite = [place for place in told if place not in alike]
    full = tuple(_full(way, told) for way in (alike, opposite) if way)
    directions = tuple(mean_of([told[place][1] for place in way]) for way in full)
    values = [each.value for each in directions]
    if len(values) == 2 and max(values) > _MOST_APART * min(values):
        reason = (
            f"its two directions differ by a factor of {max(values) / min(values):.1f}: wind or "
            "slope decides it"
        )
        return MeanOfStarts(None, reason, directions, full)
    course = _mean_course([course_deg[place] for place in told]) if len(values) == 1 else None
    return MeanOfStarts(harmonic_mean_of(list(directions)), "", directions, full, course)


def _full(way: list[int], told: Mapping[int, tuple[Estimate, Estimate]]) -> tuple[int, ...]:
    quickest = min((told[place][0] for place in way), key=lambda time: time.value)
    return tuple(place for place in way if told[place][0].low <= quickest.high)


def _mean_course(courses_deg: list[float]) -> float:
    angles = np.radians(courses_deg)
    return float(np.degrees(np.arctan2(np.sin(angles).sum(), np.cos(angles).sum())) % 360.0)
