"""How good figures with intervals are: bias, error, coverage and the mean interval score."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.estimate import LEVEL
from ridelog.core.track import BoolArray, FloatArray


@dataclass(frozen=True)
class Answers:
    """Figures of many rides beside their truth; arrays of shape (n,). [m/s]"""

    true: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray

    def __len__(self) -> int:
        return len(self.true)

    def of(self, which: BoolArray) -> "Answers":
        """Return some of them."""
        return Answers(self.true[which], self.value[which], self.low[which], self.high[which])

    @property
    def bias(self) -> float:
        """Return the mean error; NaN of none."""
        return float(np.mean(self.value - self.true)) if len(self) else float("nan")

    @property
    def rms(self) -> float:
        """Return the root mean square error; NaN of none."""
        return float(np.sqrt(np.mean((self.value - self.true) ** 2))) if len(self) else float("nan")

    @property
    def held(self) -> float:
        """Return the share of intervals that hold the truth; NaN of none."""
        inside = (self.low <= self.true) & (self.true <= self.high)
        return float(np.mean(inside)) if len(self) else float("nan")

    @property
    def score(self) -> float:
        """Return the mean interval score; NaN of none."""
        scores = interval_score(self.low, self.high, self.true)
        return float(np.mean(scores)) if len(self) else float("nan")


def interval_score(
    low: FloatArray, high: FloatArray, true: FloatArray, level: float = LEVEL
) -> FloatArray:
    """Return the score of each central interval, in the unit of the figure; less is better.

    An interval without width scores 2 / (1 - level) times its error.

    Source
    ------
    T. Gneiting and A. E. Raftery, "Strictly proper scoring rules, prediction, and estimation",
    JASA 102 (2007) 359-378, equation 43, alpha = 1 - level.
    """
    penalty = 2.0 / (1.0 - level)
    below, above = np.maximum(low - true, 0.0), np.maximum(true - high, 0.0)
    result: FloatArray = high - low + penalty * (below + above)
    return result
