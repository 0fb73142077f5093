"""One interval over two readings of a difference, when what lies between them cannot be told."""

from dataclasses import dataclass

from scipy.special import ndtr, ndtri, stdtr, stdtrit

from ridelog.compare.contrast import Contrast

# Bisection halves the unknown tail this often, to far below what is printed.
_HALVINGS = 30


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
    with 1 - level.

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
