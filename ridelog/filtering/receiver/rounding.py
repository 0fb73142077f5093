"""What rounding does to the reported speed: an error that may last as long as a steady speed."""

import numpy as np

from ridelog.core.track import FloatArray

# The least noise that a reported speed has before it is rounded: real receivers showed 0.03-0.08
# m/s against a reference, slow errors included. Less noise lets
# the error last.
_LEAST_NOISE_MPS = 0.02
_HARMONICS = np.arange(1.0, 6.0)


def written_step(values: FloatArray) -> float:
    """Return the step in which a log writes a quantity, 0 if it holds fewer than three values.

    The least usual difference between values that occur: lone smaller ones are slips.
    """
    known = np.unique(values[np.isfinite(values)])
    if len(known) < 3:
        return 0.0
    steps = np.diff(known)
    steps = steps[steps > 1e-9]
    if not len(steps):
        return 0.0
    least = float(np.quantile(steps, 0.02, method="nearest"))
    # A step of 1 km/h written as m/s with two decimals alternates between two neighbours.
    return float(np.mean(steps[(steps > 0.75 * least) & (steps < 1.25 * least)]))


def rounding_sd(step: float) -> float:
    """Return the standard deviation of rounding to a step, receiver (5)."""
    return float(step / np.sqrt(12.0))


def lasting_rounding(step_mps: float) -> float:
    """Return the standard deviation of the part that lasts while the speed stays the same. [m/s]

    Source
    ------
    Receiver (6): B. Widrow and I. Kollár, "Quantization Noise", Cambridge 2008 (from memory);
    checked by simulation in the tests.
    """
    if step_mps <= 0.0:
        return 0.0
    angle = np.pi * _HARMONICS
    variance = 0.5 * np.sum(
        (step_mps / angle) ** 2 * np.exp(-4.0 * (angle * _LEAST_NOISE_MPS / step_mps) ** 2)
    )
    return float(np.sqrt(variance))
