"""Filters of linear phase for the log's own velocities and positions."""

import numpy as np

from ridelog.core.track import FloatArray

# Half length of the filters, half width of their edges, and how much more errors below a band
# count.
REACH_S, _EDGE_HZ, _STOP_WEIGHT = 2.6, 0.15, 4.0


def filter_of(rate_hz: float, low_hz: float, high_hz: float, derivative: int = 0) -> FloatArray:
    """Return a filter that passes a band, and may also differentiate, for ``np.convolve``.

    Least squares over frequency: one in the band, nothing outside it, free over the edges, every
    error relative to what the derivative does to that frequency. Below the band errors count
    four times, and more the slower they are, since a ride's slow motion is large.

    Parameters
    ----------
    rate_hz : float
        Fixes a second. [Hz]
    low_hz, high_hz : float
        Middles of the edges; ``low_hz`` 0 for all that is slower than the other. [Hz]
    derivative : int
        0, 1 or 2: units of the result are those of the input by second to this power.

    Returns
    -------
    ndarray, shape (2 x round(REACH_S rate_hz) + 1,)
    """
    reach = round(REACH_S * rate_hz)
    time_s = np.arange(reach + 1) / rate_hz
    frequency = np.linspace(0.01, 0.5 * rate_hz, 1200)
    below = frequency < low_hz - _EDGE_HZ
    inside = frequency < high_hz - _EDGE_HZ
    if low_hz > 0.0:
        inside &= frequency > low_hz + _EDGE_HZ
    asked = below | inside | (frequency > high_hz + _EDGE_HZ)
    weight = np.where(below, _STOP_WEIGHT * low_hz / frequency, 1.0)[asked]
    # A filter that passes the slowest motion must do so in absolute terms.
    weight /= (2.0 * np.pi * np.maximum(frequency[asked], 0.0 if low_hz else 0.1)) ** derivative
    wanted = np.where(inside, (2.0 * np.pi * frequency) ** derivative, 0.0)[asked]
    phase = 2.0 * np.pi * np.outer(frequency[asked], time_s)
    # An odd derivative is an odd filter; i and i squared give the signs.
    odd = derivative % 2 == 1
    basis = 2.0 * (-np.sin(phase) if odd else np.cos(phase))
    basis[:, 0] = 0.0 if odd else 1.0
    sign = -1.0 if derivative == 2 else 1.0
    half, *_ = np.linalg.lstsq(basis * weight[:, None], sign * wanted * weight, rcond=None)
    mirror = -half[:0:-1] if odd else half[:0:-1]
    kernel: FloatArray = np.concatenate([mirror, half])
    return kernel


def degrees_of_freedom(kernel: FloatArray, count: int) -> float:
    """Return the degrees of freedom of a mean square over ``count`` samples of filtered noise."""
    whole = np.correlate(kernel, kernel, "full")
    alike = whole[len(kernel) - 1 :][:count] / whole[len(kernel) - 1]
    pairs = count - np.arange(len(alike))
    return count**2 / (count + 2.0 * float(np.sum(pairs[1:] * alike[1:] ** 2)))
