"""How good figures with intervals are: bias, error, coverage and the mean interval score."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.track import BoolArray, FloatArray

# Value, low, high.
Interval = tuple[float, float, float]


@dataclass(frozen=True)
class Answers:
    """Figures of many rides beside their truth, in the figure's unit; arrays of shape (n,)."""

    true: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray

    @classmethod
    def given(cls, pairs: Iterable[tuple[Estimate | None, float]]) -> "Answers":
        """Return those of the figures that were given and have a truth."""
        told = [
            (true, one.value, one.low, one.high)
            for one, true in pairs
            if one is not None and np.isfinite(true)
        ]
        return cls(*np.array(told).reshape(-1, 4).T)

    @classmethod
    def of_intervals(cls, pairs: Iterable[tuple[float | None, Interval | None]]) -> "Answers":
        """Return those pairs of a truth and a value, low and high that lack neither."""
        told = [(true, *one) for true, one in pairs if true is not None and one is not None]
        return cls(*np.array(told).reshape(-1, 4).T)

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
    def width(self) -> float:
        """Return the mean length of the intervals; NaN of none."""
        return float(np.mean(self.high - self.low)) if len(self) else float("nan")

    @property
    def score(self) -> float:
        """Return the mean interval score; NaN of none."""
        scores = interval_score(self.low, self.high, self.true)
        return float(np.mean(scores)) if len(self) else float("nan")

    def figures(self) -> dict[str, float | int | str | None]:
        """Return the columns of a suite's row."""
        return {
            "n": len(self),
            "bias": self.bias,
            "rms": self.rms,
            "held": self.held,
            "width": self.width,
        }


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
