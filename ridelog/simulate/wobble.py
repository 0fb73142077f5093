"""Small motions of the steering laid over a ride: a wandering rider, hard corrections, weave."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray

# Lines in the spectrum of one wobble; enough for the sum to look irregular for minutes.
_LINES = 7


@dataclass(frozen=True)
class Wobble:
    """A narrow-band yaw rate whose strength depends on speed.

    Attributes
    ----------
    rms_radps : yaw-rate RMS at full strength. [rad/s]
    low_hz, high_hz : edges of its band. [Hz]
    onset_mps : speed below which there is none. [m/s]
    growth_mps : how far above the onset it reaches full strength. [m/s]
    """

    rms_radps: float
    low_hz: float
    high_hz: float
    onset_mps: float = 0.3
    growth_mps: float = 1.0

    def yaw_rate_radps(
        self, time_s: FloatArray, speed_mps: FloatArray, rng: np.random.Generator
    ) -> FloatArray:
        """Return one realisation: a sum of lines of random frequency and phase. [rad/s]"""
        # One line in each part of the band: lines that fall together would beat for minutes.
        place = (np.arange(_LINES) + rng.uniform(0.0, 1.0, _LINES)) / _LINES
        frequency_hz = self.low_hz + (self.high_hz - self.low_hz) * place
        phase = rng.uniform(0.0, 2.0 * np.pi, _LINES)
        share = rng.uniform(0.5, 1.5, _LINES)
        share *= self.rms_radps * np.sqrt(2.0 / np.sum(share**2))
        total = np.zeros_like(time_s)
        for f, p, a in zip(frequency_hz, phase, share, strict=True):
            total += a * np.sin((2.0 * np.pi * f) * time_s + p)
        strength = np.clip((speed_mps - self.onset_mps) / self.growth_mps, 0.0, 1.0)
        return total * strength


def steady_hand(rms_radps: float = 0.02) -> Wobble:
    """Return the small, slow wandering of anybody who rides straight on."""
    return Wobble(rms_radps, 0.08, 0.4)


def hard_steering(rms_radps: float = 0.2) -> Wobble:
    """Return strong corrections below 0.7 Hz, as a rider makes on purpose; no weave."""
    return Wobble(rms_radps, 0.1, 0.7, onset_mps=0.5)


def weave(
    rms_radps: float, frequency_hz: float, onset_mps: float, growth_mps: float = 0.6
) -> Wobble:
    """Return a weave: a band of 0.3 Hz about a frequency, from a speed upward."""
    return Wobble(rms_radps, frequency_hz - 0.15, frequency_hz + 0.15, onset_mps, growth_mps)
