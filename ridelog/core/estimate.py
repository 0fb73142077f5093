"""The records in which figures travel: an estimate with its interval, and what says why not."""

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

# Every interval in the project is meant to hold the truth in this share of rides. Own choice.
LEVEL = 0.90
# Standard deviations to either side of its mean that hold as much of a normal variable: the
# exact quantile, core (2).
QUANTILE = NormalDist().inv_cdf(0.5 + 0.5 * LEVEL)

# An interval wider than this share of its value leaves the figure itself open: common practice, no
# source.
WIDEST_SHARE = 0.5


@dataclass(frozen=True)
class Estimate:
    """A figure and the interval that is meant to hold the truth in ``level`` of rides.

    Receiver error, model error and the choosing of a maximum are included in the interval.
    """

    value: float
    low: float
    high: float
    level: float = LEVEL

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (self.value, self.low, self.high))):
            raise ValueError(f"an estimate must be finite, got {self}")
        if not self.low <= self.value <= self.high:
            raise ValueError(f"an estimate must lie inside its interval, got {self}")

    @property
    def sd(self) -> float:
        """Standard deviation that the interval stands for, if its error is normal."""
        return (self.high - self.low) / (2.0 * QUANTILE)

    @property
    def firm(self) -> bool:
        """Whether the value may stand as a figure; if not, only its range may, with the reason.

        For what is measured from a natural zero, such as a speed or a time, not for differences.
        """
        return self.high - self.low <= WIDEST_SHARE * abs(self.value)

    def as_json(self) -> dict[str, Any]:
        """Return the object E of the machine-readable results."""
        return {"value": self.value, "low": self.low, "high": self.high, "level": self.level}
