"""What one measure is: a name, a unit, and a way to read it from one ride."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.ridden import RiddenRide
from ridelog.core.estimate import LEVEL, Estimate

MORE, LESS = 1, -1
# The few figures that are named first share four times the level of each other one.
HEADLINE_WEIGHT = 4.0
Rides = tuple[RiddenRide, ...]


@dataclass(frozen=True)
class Reading:
    """One ride's figure for one measure; ``reason`` says why there is none.

    both_ways : the same figure with its directions balanced, where the ride has it and the
        measure can come from one direction only.
    course_deg : direction of an estimate that comes from one direction only.
    wind_excess : what wind may have added to an estimate although its directions are balanced.
    shared_sd : standard deviation inside the estimate of what all rides share: it drops out of a
        difference.
    """

    estimate: Estimate | None
    reason: str = ""
    both_ways: Estimate | None = None
    course_deg: float | None = None
    wind_excess: float = 0.0
    shared_sd: float = 0.0


@dataclass(frozen=True)
class Measure:
    """One figure that is compared.

    Attributes
    ----------
    name : stable, for scripts.
    title : for people, in lower case.
    unit : "m/s", "s", "m" or "m/s2".
    better_when : MORE or LESS.
    read : gives the reading of one ride.
    weight : share of the family's level, see ``false_alarms``.
    one_direction : whether a reading may come from one direction, so that wind may be part of it.
    explained : what the figure is, in a few words.
    short : the title where there is little room; the title if empty.
    at_mps : speed for the place ``{speed}`` in title and short, in the reader's unit. [m/s]
    """

    name: str
    title: str
    unit: str
    better_when: int
    read: Callable[[RiddenRide], Reading]
    weight: float = 1.0
    one_direction: bool = False
    explained: str = ""
    short: str = ""
    at_mps: float | None = None


def harmonic_mean_of(estimates: list[Estimate]) -> Estimate:
    """Return the harmonic mean of several positive estimates whose errors are independent.

    Times over a window go with the inverse of the pull. Wind along the straight adds to the pull
    one way what it takes the other way, so the mean of the pulls is free of it and the mean of the
    times is not: it exceeds the time in still air by the square of the share that wind takes.
    """
    values = np.array([each.value for each in estimates])
    mean = float(len(values) / np.sum(1.0 / values))
    # The derivative of the harmonic mean H by one value x is H² / (n x²).
    shares = mean**2 / (len(values) * values**2)
    below = float(np.linalg.norm(shares * [each.value - each.low for each in estimates]))
    above = float(np.linalg.norm(shares * [each.high - each.value for each in estimates]))
    return Estimate(mean, mean - below, mean + above, LEVEL)


def mean_of(estimates: list[Estimate]) -> Estimate:
    """Return the mean of several estimates of one ride whose errors are independent."""
    value = float(np.mean([each.value for each in estimates]))
    count = len(estimates)
    below, above = (
        float(np.sqrt(np.sum(np.square(reach)))) / count
        for reach in (
            [each.value - each.low for each in estimates],
            [each.high - each.value for each in estimates],
        )
    )
    return Estimate(value, value - below, value + above, LEVEL)
