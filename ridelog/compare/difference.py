"""From the rides of two sides to one difference that respects both scatters: METHOD.md, (1)-(6)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import ndtr, ndtri, stdtr, stdtrit

from ridelog.core.estimate import LEVEL, QUANTILE, Estimate

# Bisection halves the unknown tail this often, to far below what is printed: 2^-30 of it,
# exact.
_HALVINGS = 30


@dataclass(frozen=True)
class Summary:
    """A sample told by its size, mean and standard deviation (n - 1 in the denominator)."""

    count: int
    mean: float
    sd: float

    @classmethod
    def of(cls, values: list[float]) -> "Summary":
        """Return the summary of a sample; the deviation of a single value is NaN.

        Two passes (the mean first), so that values that differ in their last digits only keep
        their deviation: NIST StRD NumAcc3 is a test.
        """
        array = np.asarray(values, dtype=np.float64)
        mean = float(array.mean())
        if len(array) < 2:
            return cls(len(array), mean, float("nan"))
        rest = array - mean
        # The mean of the rest is rounding of the mean itself (Chan, Golub, LeVeque 1983, eq. 1.7).
        square = float(np.sum(rest**2) - np.sum(rest) ** 2 / len(array))
        return cls(len(array), mean, float(np.sqrt(max(square, 0.0) / (len(array) - 1))))


@dataclass(frozen=True)
class Contrast:
    """Second mean minus first mean.

    standard_error : of the difference, same unit.
    freedom : degrees of freedom of the standard error.
    """

    difference: float
    standard_error: float
    freedom: float

    def reach(self, level: float) -> float:
        """Return half the width of the interval of a level, such as 0.90."""
        return float(stdtrit(self.freedom, 0.5 + 0.5 * level)) * self.standard_error


def welch(first: Summary, second: Summary) -> Contrast:
    """Return the difference of two means whose samples may scatter unequally.

    ValueError if a sample holds fewer than two values.

    Source
    ------
    Welch (1947) with Satterthwaite's degrees of freedom (1946), as in NIST/SEMATECH e-Handbook of
    Statistical Methods, 1.3.5.3.
    """
    _require(first, 2)
    _require(second, 2)
    one, two = first.sd**2 / first.count, second.sd**2 / second.count
    variance = one + two
    below = one**2 / (first.count - 1) + two**2 / (second.count - 1)
    freedom = variance**2 / below if below > 0.0 else float(first.count + second.count - 2)
    return Contrast(second.mean - first.mean, float(np.sqrt(variance)), freedom)


def shared_scatter(first: Summary, second: Summary) -> Contrast:
    """Return the difference of two means whose samples scatter alike.

    One of the samples may hold a single value: its scatter is then that of the other.

    ValueError if there are fewer than three values in all, or none on a side.

    Source
    ------
    Student's t with pooled variance, NIST/SEMATECH e-Handbook, 1.3.5.3.
    """
    _require(first, 1)
    _require(second, 1)
    freedom = first.count + second.count - 2
    if freedom < 1:
        raise ValueError("scatter cannot be known from one value on either side")
    squares = sum((side.count - 1) * side.sd**2 for side in (first, second) if side.count > 1)
    variance = squares / freedom * (1.0 / first.count + 1.0 / second.count)
    return Contrast(second.mean - first.mean, float(np.sqrt(variance)), float(freedom))


def _require(side: Summary, least: int) -> None:
    if side.count < least:
        raise ValueError(f"{side.count} values are fewer than {least}")


@dataclass(frozen=True)
class ErrorOf:
    """A difference with what is known of its error.

    value : the difference.
    sd_below, sd_above : what the receivers alone would cause, for its lower and its upper limit.
    contrast : what the scatter between rides says, None if it is unknown.
    """

    value: float
    sd_below: float
    sd_above: float
    contrast: Contrast | None

    def low(self, tail: float) -> float:
        """Return the limit below which the truth lies with this probability."""
        return self.value - self._reach(tail, self.sd_below)

    def high(self, tail: float) -> float:
        """Return the limit above which the truth lies with this probability."""
        return self.value + self._reach(tail, self.sd_above)

    def tail(self, apart: float) -> float:
        """Return the probability of an error beyond ``apart`` on one side."""
        sd = max(self.sd_below, self.sd_above)
        by_receiver = float(ndtr(-apart / sd)) if sd > 0.0 else 0.0
        if self.contrast is None or self.contrast.standard_error == 0.0:
            return by_receiver
        by_scatter = float(stdtr(self.contrast.freedom, -apart / self.contrast.standard_error))
        return max(by_receiver, by_scatter)

    def _reach(self, tail: float, sd: float) -> float:
        by_receiver = -float(ndtri(tail)) * sd
        if self.contrast is None:
            return by_receiver
        by_scatter = -float(stdtrit(self.contrast.freedom, tail)) * self.contrast.standard_error
        return max(by_receiver, by_scatter)


def interval_over(readings: list[ErrorOf], level: float) -> tuple[float, float]:
    """Return the interval that holds the truth, wherever it lies between the readings.

    A truth at one end of two readings far apart can be missed on that end's side only, so the
    limits there need the one-sided quantile; for readings that coincide they need the two-sided
    one. Between, each limit may be passed with a probability such that both together are missed
    with 1 - level: METHOD.md, (6).

    Source
    ------
    Imbens and Manski, Confidence intervals for partially identified parameters, Econometrica 72
    (2004) 1845-1857, eq. 6 and 7 (from memory), with Student's t and the floor of the receivers.
    """
    values = [one.value for one in readings]
    apart = max(values) - min(values)
    least, most = 0.5 * (1.0 - level), 1.0 - level
    for _ in range(_HALVINGS if apart > 0.0 else 0):
        tail = 0.5 * (least + most)
        beyond = max(one.tail(apart + one.high(tail) - one.value) for one in readings)
        least, most = (tail, most) if tail + beyond < 1.0 - level else (least, tail)
    return min(one.low(least) for one in readings), max(one.high(least) for one in readings)


Method = Literal["welch", "shared scatter", "pairs", "one ride a side"]


@dataclass(frozen=True)
class Difference:
    """After minus before of one figure.

    before, after, difference : means over the rides of a side and their difference.
    percent : the difference in per cent of ``before``; None where that is not positive.
    p_value : two-sided; 1.0 where nothing can be tested.
    contrast : of the reading that is nearer to nought, which decides; None with one ride on either
        side.
    receiver_error : standard error that the receivers alone would cause.
    method : where the interval comes from.
    sd_before, sd_after : standard deviation between the rides of a side, NaN with one ride.
    rides_before, rides_after : how many rides a side has.
    wind_part : how much of the difference may be wind or slope, in the figure's unit.
    readings : with wind's part and without, each with what is known of its error.
    """

    before: Estimate
    after: Estimate
    difference: Estimate
    percent: Estimate | None
    p_value: float
    contrast: Contrast | None
    receiver_error: float
    method: Method
    sd_before: float
    sd_after: float
    rides_before: int
    rides_after: int
    wind_part: float = 0.0
    readings: tuple[ErrorOf, ...] = ()

    def p_beyond(self, least: float, most: float) -> float:
        """Return the p value of what something else could make of it, METHOD.md (25)."""
        return p_value_of(self.readings, least, most) if least < most else self.p_value

    @property
    def nearest(self) -> float:
        """The smaller of both readings, with the wind's part and without; 0 if signs differ."""
        apart, still = self.difference.value, self.difference.value - self.wind_part
        return 0.0 if apart * still <= 0.0 else min(abs(apart), abs(still))


def difference_of(
    before: list[Estimate],
    after: list[Estimate],
    *,
    wind_parts: tuple[list[float], list[float]] | None = None,
    shared_sd: float = 0.0,
) -> Difference:
    """Return the difference of two sides, at least one ride each.

    With three rides on one side and two on the other, or more, Welch's interval; with two each, or
    one against several, all rides share one scatter, because Satterthwaite's one degree of freedom
    would make the interval half as wide again as it need be. Neither is ever narrower than the
    receivers alone allow: two rides may agree by luck. With one ride a side only the receivers'
    part is known and ``method`` says so.

    ``wind_parts`` is what wind or slope could have added to every ride: the interval reaches over
    both readings, with these parts and without. ``shared_sd`` is the standard deviation in the
    error of every ride that is the same in all of them.
    """
    first = Summary.of([ride.value for ride in before])
    second = Summary.of([ride.value for ride in after])
    receiver = float(
        np.hypot(receiver_error_of(before, shared_sd), receiver_error_of(after, shared_sd))
    )
    contrast, method = _contrast(first, second)
    if contrast is None:
        below = np.hypot(after[0].value - after[0].low, before[0].high - before[0].value)
        above = np.hypot(after[0].high - after[0].value, before[0].value - before[0].low)
        shared = 2.0 * shared_sd**2
        sds = (
            float(np.sqrt(max((below / QUANTILE) ** 2 - shared, 0.0))),
            float(np.sqrt(max((above / QUANTILE) ** 2 - shared, 0.0))),
        )
    else:
        sds = (receiver, receiver)
    readings = [ErrorOf(second.mean - first.mean, *sds, contrast)]
    if wind_parts is not None:
        still = [
            Summary.of([ride.value - part for ride, part in zip(side, parts, strict=True)])
            for side, parts in zip((before, after), wind_parts, strict=True)
        ]
        readings.append(ErrorOf(still[1].mean - still[0].mean, *sds, _contrast(*still)[0]))
    low, high = interval_over(readings, LEVEL)
    difference = Estimate(readings[0].value, low, high, LEVEL)
    nearest = min(readings, key=lambda one: abs(one.value))
    return Difference(
        before=side_mean(before, after, shared_sd),
        after=side_mean(after, before, shared_sd),
        difference=difference,
        percent=_percent(first.mean, second.mean, before, after, difference),
        p_value=p_value_of(readings),
        contrast=nearest.contrast,
        receiver_error=receiver,
        method=method,
        sd_before=first.sd,
        sd_after=second.sd,
        rides_before=len(before),
        rides_after=len(after),
        wind_part=readings[0].value - readings[-1].value,
        readings=tuple(readings),
    )


def side_mean(
    rides: list[Estimate], others: list[Estimate] | None = None, shared_sd: float = 0.0
) -> Estimate:
    """Return a side's mean: its own scatter from three rides on, else that of both sides.

    The one rule for the figure of several rides; with one ride a side it is the ride's own. What
    all rides share (``shared_sd``, a standard deviation) stays in it whole.
    """
    own, other = Summary.of([one.value for one in rides]), len(others or [])
    if own.count == 1 and other <= 1:
        return rides[0]
    if own.count >= 3 or not others:
        reach = Contrast(0.0, own.sd / float(np.sqrt(own.count)), own.count - 1.0).reach(LEVEL)
    else:
        both = shared_scatter(own, Summary.of([one.value for one in others]))
        alone = np.sqrt(1.0 / own.count) / np.sqrt(1.0 / own.count + 1.0 / other)
        reach = both.reach(LEVEL) * float(alone)
    reach = max(reach, QUANTILE * receiver_error_of(rides, shared_sd))
    reach = float(np.hypot(reach, QUANTILE * shared_sd))
    return Estimate(own.mean, own.mean - reach, own.mean + reach, LEVEL)


def difference_by_direction(
    before: list[Estimate], after: list[Estimate], ways_before: list[int], ways_after: list[int]
) -> Difference:
    """Return the difference of rides of one direction each, same direction with same direction.

    Each of the two directions weighs half. All rides share one scatter about the mean of their
    side and direction; with no more rides than such groups it is unknown, as with one ride a side.

    Ways are 0 or 1 for each ride, both present on both sides.
    """
    sides = ((before, ways_before), (after, ways_after))
    means, weights, squares = [], [], 0.0
    for rides, ways in sides:
        groups = [[e.value for e, way in zip(rides, ways, strict=True) if way == k] for k in (0, 1)]
        means.append(float(np.mean([np.mean(group) for group in groups])))
        squares += sum(float(np.sum((np.array(g) - np.mean(g)) ** 2)) for g in groups)
        weights.append([0.5 / len(groups[way]) for way in ways])
    freedom = len(before) + len(after) - 4
    scatter = float(np.sqrt(squares / freedom)) if freedom > 0 else float("nan")
    spans, receivers = [], []
    for (rides, _), shares in zip(sides, weights, strict=True):
        receiver = float(np.linalg.norm([w * e.sd for w, e in zip(shares, rides, strict=True)]))
        spans.append(float(np.linalg.norm(shares)))
        receivers.append(receiver)
    receiver = float(np.linalg.norm(receivers))
    apart = means[1] - means[0]
    contrast = (
        Contrast(apart, scatter * float(np.linalg.norm(spans)), freedom) if freedom > 0 else None
    )
    readings = [ErrorOf(apart, receiver, receiver, contrast)]
    reach = max(contrast.reach(LEVEL) if contrast else 0.0, QUANTILE * receiver)
    difference = Estimate(apart, apart - reach, apart + reach, LEVEL)
    estimates = []
    for mean, span, own in zip(means, spans, receivers, strict=True):
        alone = Contrast(mean, scatter * span, freedom).reach(LEVEL) if freedom > 0 else 0.0
        half = max(alone, QUANTILE * own)
        estimates.append(Estimate(mean, mean - half, mean + half, LEVEL))
    return Difference(
        before=estimates[0],
        after=estimates[1],
        difference=difference,
        percent=_percent(means[0], means[1], before, after, difference),
        p_value=p_value_of(readings),
        contrast=contrast,
        receiver_error=receiver,
        method="shared scatter" if contrast else "one ride a side",
        sd_before=scatter,
        sd_after=scatter,
        rides_before=len(before),
        rides_after=len(after),
        readings=tuple(readings),
    )


def receiver_error_of(rides: list[Estimate], shared_sd: float = 0.0) -> float:
    """Return the standard error of a side's mean that its receivers alone would cause."""
    own = [max(ride.sd**2 - shared_sd**2, 0.0) for ride in rides]
    return float(np.sqrt(sum(own))) / len(rides)


def _contrast(first: Summary, second: Summary) -> tuple[Contrast | None, Method]:
    """Return the contrast of two sides and the method; None with one ride a side."""
    if min(first.count, second.count) >= 2 and first.count + second.count > 4:
        return welch(first, second), "welch"
    if first.count + second.count > 2:
        return shared_scatter(first, second), "shared scatter"
    return None, "one ride a side"


def p_value_of(readings: Sequence[ErrorOf], least: float = 0.0, most: float = 0.0) -> float:
    """Return the larger p value of all readings, of a truth anywhere from ``least`` to ``most``.

    1.0 without a scatter, or if readings lie on different sides or between. METHOD.md (25).
    """
    beyond = [max(one.value - most, 0.0) - max(least - one.value, 0.0) for one in readings]
    signs = {np.sign(apart) for apart in beyond}
    if len(signs) > 1 or 0.0 in signs or any(one.contrast is None for one in readings):
        return 1.0
    return max(
        one.tail(abs(apart)) + one.tail(abs(apart) + most - least)
        for one, apart in zip(readings, beyond, strict=True)
    )


def _percent(
    first: float, second: float, before: list[Estimate], after: list[Estimate], difference: Estimate
) -> Estimate | None:
    """Return the difference in per cent of the first mean.

    The first mean b has an error too: to first order that of 100 (a / b - 1) is 100 / b times the
    error of a - (a / b) b, so the share of the first side in the variance grows by (a / b)².
    """
    if min(ride.low for ride in before) <= 0.0:
        return None
    ratio = second / first
    weight = np.array([1.0 / len(after), 1.0 / len(before)])
    factor = float(np.sqrt((weight[0] + ratio**2 * weight[1]) / weight.sum()))
    value = 100.0 * difference.value / first
    return Estimate(
        value,
        value - 100.0 * (difference.value - difference.low) * factor / first,
        value + 100.0 * (difference.high - difference.value) * factor / first,
        LEVEL,
    )
