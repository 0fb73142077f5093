"""The difference of two means: its standard error, and one interval over several readings of it."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri, stdtr, stdtrit

# Bisection halves the unknown tail this often, to far below what is printed.
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

    @property
    def t(self) -> float:
        """Difference over standard error; infinite for a difference without any scatter."""
        if self.standard_error > 0.0:
            return self.difference / self.standard_error
        return 0.0 if self.difference == 0.0 else float(np.copysign(np.inf, self.difference))

    def p_value(self) -> float:
        """Return the two-sided probability of so large a difference between equal means."""
        return float(2.0 * stdtr(self.freedom, -abs(self.t)))

    def reach(self, level: float) -> float:
        """Return half the width of the interval of a level, such as 0.90."""
        return float(stdtrit(self.freedom, 0.5 + 0.5 * level)) * self.standard_error


def welch(first: Summary, second: Summary) -> Contrast:
    """Return the difference of two means whose samples may scatter unequally.

    Parameters
    ----------
    first, second : Summary
        Two values or more each.

    Raises
    ------
    ValueError
        If a sample holds fewer than two values.

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

    Raises
    ------
    ValueError
        If there are fewer than three values in all, or none on a side.

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

    Attributes
    ----------
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

    Parameters
    ----------
    readings : list of ErrorOf
        One or more.
    level : float
        Such as 0.90.

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
