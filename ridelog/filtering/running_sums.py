"""Sums over the instants around each one."""

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.filtering.state_space import StateSpace


def reach_of(span_s: float, interval_s: float) -> int:
    """Return how many neighbours on either side make a span."""
    return max(0, round((span_s / interval_s - 1.0) / 2.0))


def summed_around(values: FloatArray, reach: int) -> FloatArray:
    """Return the sums over ``reach`` neighbours on either side and the value itself."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    index = np.arange(len(values))
    result: FloatArray = (
        total[np.minimum(len(values), index + reach + 1)] - total[np.maximum(0, index - reach)]
    )
    return result


def smoothed_jerk(space: StateSpace, jerk: FloatArray, span_s: float) -> FloatArray:
    """Return intensities averaged over a span: corners are then not taken as located."""
    reach = reach_of(span_s, float(np.median(space.interval_s)))
    mean: FloatArray = summed_around(jerk, reach) / summed_around(np.ones(len(jerk)), reach)
    return mean
