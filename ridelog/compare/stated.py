"""Rides held against a stated top speed: all that is known of a machine that came without rides."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtri, stdtrit

from ridelog.analysis.figure import Figure
from ridelog.analysis.subject import Caution
from ridelog.compare.difference import Summary
from ridelog.compare.gravest import gravest_of
from ridelog.compare.matching import Rides
from ridelog.compare.verdict import BETTER, NOT_SHOWN, WORSE, Word
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import LEVEL, QUANTILE, Estimate

# Points of each of the two distributions whose every pair is taken for the ratio:
# own choice, more cost time and memory by the square.
_POINTS = 400


@dataclass(frozen=True)
class StatedSpeed:
    """A top speed that somebody stated, good to a share of itself; ``by`` says who. [m/s]"""

    mps: float
    within: float
    by: str = ""

    def __post_init__(self) -> None:
        if not (self.mps > 0.0 and 0.0 < self.within < 1.0):
            raise RideLogError(
                "a stated top speed is above zero, and good to a share between 0 and 100 %.",
                'write it like --stated "14 km/h" --stated-within "10 %".',
            )

    @property
    def estimate(self) -> Estimate:
        """The statement with its interval: any value within the tolerance is as likely.

        Source: GUM (JCGM 100:2008), 4.3.7, rectangular distribution.
        """
        reach = LEVEL * self.within * self.mps
        return Estimate(self.mps, self.mps - reach, self.mps + reach)


@dataclass(frozen=True)
class AgainstStated:
    """What rides say of a stated top speed.

    figure : of one ride, for its name and title. after : mean of the rides. ratio : times as fast.
    noted : what the user noted of the rides and the job.
    """

    stated: StatedSpeed
    rides: Rides
    figure: Figure
    readings: tuple[Figure, ...]
    after: Estimate
    difference: Estimate
    ratio: Estimate
    noted: Mapping[str, str] = field(default_factory=dict)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What the rides warn of in particular, the gravest first."""
        found = gravest_of(self.rides).values()
        particular = [caution for caution in found if not caution.general]
        return tuple(sorted(particular, key=lambda one: -one.gravity))

    @property
    def alone(self) -> bool:
        """Whether one ride tells it all: how rides differ by themselves is then in no interval."""
        return sum(map(_told, self.readings)) == 1

    @property
    def verdict(self) -> Word:
        """Whether the rides are faster than what was stated: better, worse, or not shown."""
        if self.ratio.low > 1.0:
            return BETTER
        return WORSE if self.ratio.high < 1.0 else NOT_SHOWN


def against_stated(
    stated: StatedSpeed, rides: Rides, *, noted: Mapping[str, str] | None = None
) -> AgainstStated:
    """Return the top speed of rides as a multiple of a stated one: compare (13) and (14).

    RideLogError if there is no ride, or none tells a top speed.
    """
    if not rides:
        raise RideLogError("There is no ride after the change.", "name its logs with --after.")
    name = "two_way_mps" if all(_told(ride.figures.get("two_way_mps")) for ride in rides) else (
        "best_1s_mps"
    )  # fmt: skip
    readings = tuple(ride.figures[name] for ride in rides)
    known = [figure.firm for figure in readings if figure.firm is not None]
    if not known:
        why = readings[0].why_none
        raise RideLogError(f"no ride tells a top speed ({why}).", "ride again and compare then.")
    after = _mean(known)
    spread = stated.within * stated.mps * (2.0 * _shares() - 1.0)
    was, now = stated.mps + spread, after.value + after.sd * ndtri(_shares())
    return AgainstStated(
        stated, rides, readings[0], readings, after,
        difference=_of_pairs(after.value - stated.mps, now[:, None] - was),
        ratio=_of_pairs(after.value / stated.mps, now[:, None] / was),
        noted=dict(noted or {}),
    )  # fmt: skip


def _told(figure: Figure | None) -> bool:
    return figure is not None and figure.firm is not None


def _shares() -> np.ndarray:
    return np.asarray((np.arange(_POINTS) + 0.5) / _POINTS)


def _of_pairs(value: float, pairs: np.ndarray) -> Estimate:
    low, high = np.quantile(pairs, (0.5 - 0.5 * LEVEL, 0.5 + 0.5 * LEVEL))
    return Estimate(value, min(float(low), value), max(float(high), value))


def _mean(known: list[Estimate]) -> Estimate:
    """Return the mean of rides, as wide as they scatter and as their receivers leave open."""
    rides = Summary.of([each.value for each in known])
    reach = QUANTILE * float(np.sqrt(sum(each.sd**2 for each in known))) / rides.count
    if rides.count > 1:
        quantile = float(stdtrit(rides.count - 1, 0.5 + 0.5 * LEVEL))
        reach = max(reach, quantile * rides.sd / float(np.sqrt(rides.count)))
    return Estimate(rides.mean, rides.mean - reach, rides.mean + reach)
