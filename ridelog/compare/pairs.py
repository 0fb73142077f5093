"""Two drive modes ridden in the same logs: each log is a pair, and what it shares drops out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis.figure import Figure
from ridelog.compare.difference import (
    Contrast,
    Difference,
    ErrorOf,
    Summary,
    interval_over,
    p_value_of,
    receiver_error_of,
    side_mean,
)
from ridelog.compare.matching import Matched, Rides
from ridelog.core.estimate import LEVEL, QUANTILE, Estimate

# From so many pairs on their own scatter is used. Derived in METHOD.md, below (20): with two, the
# single degree of freedom would cost more than the shared part gives back.
LEAST_PAIRS = 3
_UNPAIRED = "its log tells this figure in one of the two modes only"


@dataclass(frozen=True)
class Paired:
    """Figures of both sides of which each log gives both, in the order of the logs."""

    first: tuple[Figure, ...]
    second: tuple[Figure, ...]
    order: tuple[tuple[int, int], ...]

    @property
    def matched(self) -> Matched:
        """The figures as they are shown: those without partner emptied with the reason."""
        sides = zip((self.first, self.second), zip(*self.order, strict=True), strict=True)
        kept = [
            tuple(
                figure if number in places else _without_partner(figure)
                for number, figure in enumerate(side)
            )
            for side, places in sides
        ]
        return Matched(kept[0], kept[1])

    @property
    def figures(self) -> tuple[list[Figure], list[Figure]]:
        """The figures of both sides, partner beside partner."""
        return [self.first[i] for i, _ in self.order], [self.second[j] for _, j in self.order]


def _without_partner(figure: Figure) -> Figure:
    return figure if figure.estimate is None else replace(figure, estimate=None, reason=_UNPAIRED)


def paired(matched: Matched, before: Rides, after: Rides) -> Paired | None:
    """Return the figures log by log, None if too few logs tell both sides.

    A figure that some rides tell of one direction and some of the other is not paired.
    """
    if matched.directions is not None:
        return None
    places = {ride.source.sha256: number for number, ride in enumerate(after)}
    order = tuple(
        (number, partner)
        for number, ride in enumerate(before)
        if (partner := places.get(ride.source.sha256)) is not None
        and matched.first[number].estimate is not None
        and matched.second[partner].estimate is not None
    )
    return Paired(matched.first, matched.second, order) if len(order) >= LEAST_PAIRS else None


def difference_of_pairs(
    before: list[Estimate],
    after: list[Estimate],
    *,
    wind_parts: tuple[list[float], list[float]] | None = None,
    shared_sd: float = 0.0,
) -> Difference:
    """Return the difference of two sides whose estimates are pairs: METHOD.md, (18) to (20).

    The scatter is that of the differences inside the pairs, whatever the logs differ in. Arguments
    are as of ``difference_of``, at least two on each side.
    """
    sides = [np.array([one.value for one in side]) for side in (before, after)]
    receivers = [receiver_error_of(side, shared_sd) for side in (before, after)]
    receiver = float(np.hypot(receivers[0], receivers[1]))
    readings = [_error_of(sides[1] - sides[0], receiver)]
    if wind_parts is not None:
        still = [side - np.array(part) for side, part in zip(sides, wind_parts, strict=True)]
        readings.append(_error_of(still[1] - still[0], receiver))
    low, high = interval_over(readings, LEVEL)
    difference = Estimate(readings[0].value, low, high, LEVEL)
    nearest = min(readings, key=lambda one: abs(one.value))
    return Difference(
        before=side_mean(before, after),
        after=side_mean(after, before),
        difference=difference,
        percent=_percent(sides, receivers, before, difference),
        p_value=p_value_of(readings),
        contrast=nearest.contrast,
        receiver_error=receiver,
        method="pairs",
        sd_before=float(sides[0].std(ddof=1)),
        sd_after=float(sides[1].std(ddof=1)),
        rides_before=len(before),
        rides_after=len(after),
        wind_part=readings[0].value - readings[-1].value,
        readings=tuple(readings),
    )


def _error_of(apart: np.ndarray, receiver: float) -> ErrorOf:
    found = Summary.of(list(apart))
    scatter = Contrast(found.mean, found.sd / float(np.sqrt(found.count)), found.count - 1.0)
    return ErrorOf(found.mean, receiver, receiver, scatter)


def _percent(
    sides: Sequence[np.ndarray],
    receivers: Sequence[float],
    before: list[Estimate],
    difference: Estimate,
) -> Estimate | None:
    """Return the difference in per cent of the first mean.

    To first order the error of 100 (a / b - 1) is 100 / b times that of a - (a / b) b, whose
    scatter inside the pairs is taken, as wide as the receivers ask.
    """
    first, second = float(sides[0].mean()), float(sides[1].mean())
    if min(one.low for one in before) <= 0.0:
        return None
    ratio = second / first
    reach = [
        max(
            contrast.reach(LEVEL),
            QUANTILE * float(np.hypot(receivers[1], share * receivers[0])),
        )
        for share in (1.0, ratio)
        if (contrast := _error_of(sides[1] - share * sides[0], 0.0).contrast)
    ]
    factor = 100.0 / first * (reach[1] / reach[0] if reach[0] > 0.0 else 1.0)
    value = 100.0 * difference.value / first
    return Estimate(
        value,
        value - factor * (difference.value - difference.low),
        value + factor * (difference.high - difference.value),
        LEVEL,
    )
