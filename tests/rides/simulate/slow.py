"""Slowly varying receiver errors, of kinds that ridelog's own smoother does not assume.

The smoother takes first-order Gauss-Markov processes; these are sums of sinusoids, a second-order
process and a moving average. A smoother tested only on its own model proves nothing.
"""

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter

from ridelog.core.track import FloatArray


def sinusoids(
    time_s: FloatArray, rms: float, scale_s: float, rng: np.random.Generator
) -> FloatArray:
    """Return six sinusoids of random phase with periods about 2 pi times a time scale.

    The RMS over all phases is ``rms`` and that of the rate of change about ``rms / scale_s``.
    """
    periods_s = 2.0 * np.pi * scale_s * np.exp(rng.uniform(-0.4, 0.6, 6))
    weights = rng.uniform(0.4, 1.0, 6)
    weights *= rms * np.sqrt(2.0 / np.sum(weights**2))
    phases = rng.uniform(0.0, 2.0 * np.pi, 6)
    angle = np.outer(2.0 * np.pi / periods_s, time_s) + phases[:, np.newaxis]
    total: FloatArray = weights @ np.sin(angle)
    return total


def second_order(
    time_s: FloatArray, rms: float, scale_s: float, rng: np.random.Generator
) -> FloatArray:
    """Return white noise through two equal first-order lags, smooth in its rate of change.

    The RMS of the rate of change is about ``rms / scale_s``: a Matérn process of order 3/2.
    """
    step_s = scale_s / 10.0
    n = int((time_s[-1] - time_s[0]) / step_s) + 5
    lead = 80
    keep = float(np.exp(-step_s / scale_s))
    coarse = lfilter([1.0], [1.0, -2.0 * keep, keep**2], rng.standard_normal(n + lead))
    # Variance of the filter's output for unit white noise at its input (own derivation).
    k2 = keep**2
    coarse *= rms / np.sqrt((1.0 + k2) / (1.0 - k2) ** 3)
    knots = time_s[0] + step_s * (np.arange(n) - 1.0)
    smooth: FloatArray = CubicSpline(knots, coarse[lead:])(time_s)
    return smooth


def moving_average(
    time_s: FloatArray, rms: float, width_s: float, rng: np.random.Generator
) -> FloatArray:
    """Return the mean of white noise over a sliding box: correlated up to its width, then not."""
    step_s = width_s / 12.0
    n = int((time_s[-1] - time_s[0]) / step_s) + 3
    white = rng.standard_normal(n + 12)
    total = np.concatenate([[0.0], np.cumsum(white)])
    box = (total[12:] - total[:-12]) * (rms / np.sqrt(12.0))
    between: FloatArray = np.interp(time_s, time_s[0] + step_s * np.arange(box.size), box)
    return between
