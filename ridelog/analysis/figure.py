"""One number of a ride that can be printed, stored, compared, predicted and listed."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ridelog.core.estimate import LEVEL, QUANTILE, Estimate
from ridelog.core.quantity import SPEED, Quantity, plain, rough_span, span, text
from ridelog.core.track import FloatArray
from ridelog.core.units import SI, SpeedUnit

HIGHER, LOWER = "higher", "lower"
# The few figures that are named first share four times the level of each other one. Own choice.
HEADLINE_WEIGHT = 4.0
# Why a figure with an interval that is too wide (core.quantity.WIDEST_SHARE) is not named alone.
_WIDE = "the ride tells it too roughly to name one figure"


@dataclass(frozen=True)
class Comparable:
    """How a figure of several rides is compared, and what of this ride must be known for it.

    better : HIGHER or LOWER.
    weight : share of the family's level, see ``compare.verdict``.
    one_direction : whether the figure may come from one direction, so that wind may be part of it.
    series : figures of one series are one fact at several places; only the member in the middle
        of those that all rides hold is compared.
    where_told : whether it is compared only if rides of both sides tell it.
    both_ways : the same figure with its directions balanced, where the ride has it and the figure
        can come from one direction only.
    course_deg : direction of an estimate that comes from one direction only.
    wind_excess : what wind may have added to an estimate although its directions are balanced.
    shared_sd : standard deviation inside the estimate of what all rides share: it drops out of a
        difference.
    """

    better: str
    weight: float = 1.0
    one_direction: bool = False
    series: str = ""
    where_told: bool = False
    both_ways: Estimate | None = None
    course_deg: float | None = None
    wind_excess: float = 0.0
    shared_sd: float = 0.0


@dataclass(frozen=True)
class Figure:
    """One figure of one ride.

    name : stable; key in JSON, CSV, book, comparison, prediction and tables.
    title : for people, in lower case; ``{speed}`` in it is the speed ``at_mps``.
    quantity : what it is a figure of.
    estimate : None where the ride does not tell it; ``reason`` then says why.
    comparable : how it is compared, None for figures that are listed only.
    short : the title where there is little room; the title if empty.
    explained : what the figure is, in a few words.
    at_mps : speed it holds at. [m/s]
    round_in : label of the reader's unit for which it is taken, empty for all.
    weak : why no figure of its ride may be named, empty for a ride that is good enough.
    """

    name: str
    title: str
    quantity: Quantity
    estimate: Estimate | None
    reason: str = ""
    comparable: Comparable | None = None
    short: str = ""
    explained: str = ""
    at_mps: float | None = None
    round_in: str = ""
    weak: str = ""

    @property
    def doubt(self) -> str:
        """Why only the range of its estimate is shown, empty for a figure that may be named."""
        if self.estimate is None:
            return ""
        return self.weak or ("" if self.estimate.firm else _WIDE)

    @property
    def firm(self) -> Estimate | None:
        """The estimate, None where only its range may be shown."""
        return None if self.doubt else self.estimate

    @property
    def why_none(self) -> str:
        """Why there is no firm figure, with the range where there is one; empty for a firm one."""
        if self.estimate is not None and self.doubt:
            return f"{self.doubt}; it lies somewhere from {self._range_in(SI)}"
        return self.reason

    def words_in(self, reader: SpeedUnit) -> str:
        """Return "2.81 s (2.70 to 2.92)", "somewhere from 2 to 4 s", or "none"."""
        if self.estimate is None:
            return "none"
        if self.doubt:
            return f"somewhere from {self._range_in(reader)}"
        return text(self.estimate, self.quantity, reader)

    def _range_in(self, reader: SpeedUnit) -> str:
        assert self.estimate is not None  # a range is asked for where there is one
        return (rough_span if self.weak else span)(self.estimate, self.quantity, reader)

    @property
    def terms(self) -> Comparable:
        """How the figure is compared.

        ValueError if it is listed only.
        """
        if self.comparable is None:
            raise ValueError(f"{self.name} is not compared")
        return self.comparable

    def title_in(self, reader: SpeedUnit) -> str:
        """Return the title in lower case, its speed in the reader's unit."""
        return self._filled(self.title, reader)

    def short_in(self, reader: SpeedUnit) -> str:
        """Return the short title with a capital."""
        words = self._filled(self.short or self.title, reader)
        return words[:1].upper() + words[1:]

    def _filled(self, words: str, reader: SpeedUnit) -> str:
        if self.at_mps is None:
            return words
        return words.format(speed=plain(self.at_mps, SPEED, reader, 0))


class Figures(Mapping[str, Figure]):
    """The figures of a ride by name, in the order of reading."""

    def __init__(self, figures: tuple[Figure, ...] = ()) -> None:
        self._by_name = {figure.name: figure for figure in figures}
        if len(self._by_name) < len(figures):
            names = [figure.name for figure in figures]
            raise ValueError(f"a figure stands twice: {sorted(set(names), key=names.count)[-1]}")

    def __getitem__(self, name: str) -> Figure:
        try:
            return self._by_name[name]
        except KeyError:
            raise KeyError(f"{name!r}; this ride has {', '.join(self._by_name)}") from None

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_name)

    def __len__(self) -> int:
        return len(self._by_name)


def harmonic_mean_of(estimates: list[Estimate], shared_sd: float = 0.0) -> Estimate:
    """Return the harmonic mean of several positive estimates, errors independent but for a part.

    ``shared_sd`` is the standard deviation of the part that is the same in all of them.

    Times over a window go with the inverse of the pull. Wind along the straight adds to the pull
    one way what it takes the other way, so the mean of the pulls is free of it and the mean of the
    times is not: it exceeds the time in still air by the square of the share that wind takes.
    """
    values = np.array([each.value for each in estimates])
    mean = float(len(values) / np.sum(1.0 / values))
    # The derivative of the harmonic mean H by one value x is H² / (n x²).
    shares = mean**2 / (len(values) * values**2)
    return _mean(mean, shares, estimates, shared_sd)


def mean_of(estimates: list[Estimate], shared_sd: float = 0.0) -> Estimate:
    """Return the mean of several estimates of one ride, errors independent but for a part.

    ``shared_sd`` is as of ``harmonic_mean_of``: it stays however many are averaged.
    """
    shares = np.full(len(estimates), 1.0 / len(estimates))
    value = float(np.mean([each.value for each in estimates]))
    return _mean(value, shares, estimates, shared_sd)


def _mean(
    value: float, shares: FloatArray, estimates: list[Estimate], shared_sd: float
) -> Estimate:
    shared = QUANTILE * shared_sd

    def reach(halves: list[float]) -> float:
        own = np.sqrt(np.maximum(np.square(halves) - shared**2, 0.0))
        return float(np.hypot(np.linalg.norm(shares * own), shared * shares.sum()))

    below = reach([each.value - each.low for each in estimates])
    above = reach([each.high - each.value for each in estimates])
    return Estimate(value, value - below, value + above, LEVEL)
