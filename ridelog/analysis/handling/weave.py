"""Weave: how strongly a machine swings from side to side at each speed, and from which speed on."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.handling.band import LOW_HZ, Seconds, seconds_in_band, top_of_band_hz
from ridelog.analysis.handling.onset import DRAWS, OnsetFit, fit_onset
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, estimate_of_possible
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

# A log must show a frequency by five fixes a period to tell it (common practice; half the rate is
# the limit in theory). 4.5 leaves room for a clock that is a little off.
LEAST_RATE_HZ = 4.5
# Weaker than this is no weave: rough ground and receivers on steady cars read up to 0.034 (own
# measurement on public logs), and twice that and a little more must be exceeded. [rad/s]
LEAST_RMS_RADPS = 0.08
# ... by so many half widths of the interval: 3.3 standard deviations, one ride in 2000.
_CLEARLY = 2.0
# With an onset, the seconds must be this many times as likely as without.
_LEAST_GAIN = float(np.log(1000.0))
_LEAST_SECONDS, _LEAST_IN_CLASS = 12, 4
# A log that could only show more than this is of no use here; common practice, no source. [rad/s]
_USEFUL_RADPS = 0.4
# Width of a class of speed, wider for fast machines. [m/s]
_CLASS_MPS, _FAST_CLASS_MPS, _FAST_MPS = 1.0, 2.0, 12.0
# An onset whose interval comes this close to the slowest speeds may lie below them. [m/s]
_CLOSE_MPS = 0.3
_SEED = 20261126


@dataclass(frozen=True)
class SpeedClass:
    """Seconds of straight riding within a range of speed, and their yaw-rate RMS in band."""

    from_mps: float
    to_mps: float
    seconds: float
    yaw_rate_rms: Estimate | None


@dataclass(frozen=True)
class Weave:
    """What the log shows of weave.

    Attributes
    ----------
    classes : by speed, slowest first; empty if the log cannot show weave.
    twitchy_from : the speed from which it grows, None if none does or none can be seen. [m/s]
    or_below : the onset may lie below the slowest speeds ridden straight.
    rms : yaw-rate RMS in the fastest seconds, if there is an onset. A lower bound where the
        receiver smooths. [rad/s]
    frequency_hz : of the weave, if there is an onset.
    visible_radps : a weave from this yaw-rate RMS on would have been told from noise; NaN if
        nothing could be seen. [rad/s]
    seconds : of straight riding that were looked at.
    band_hz : what was looked at.
    reason : why there is no onset, else empty.
    """

    classes: tuple[SpeedClass, ...]
    twitchy_from: Estimate | None
    or_below: bool
    rms: Estimate | None
    frequency_hz: float | None
    visible_radps: float
    seconds: float
    band_hz: tuple[float, float]
    reason: str


def measure_weave(motion: Motion, *, excluded: tuple[tuple[float, float], ...] = ()) -> Weave:
    """Return what a ride shows of weave.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches to leave out, such as reverse travel.

    Source
    ------
    Band: Appl. Sci. 2021, 11(16), 7393. Nyquist: a log of 1 Hz shows less than 0.5 Hz, and may
    fold a weave into a slow wander. Method and measured hit rates: DEVELOPERS.md, "Handling".
    """
    band = (LOW_HZ, top_of_band_hz(motion.rate_hz))
    if motion.rate_hz < LEAST_RATE_HZ:
        return _none(
            band,
            0.0,
            f"a log of {motion.rate_hz:.3g} fixes a second cannot show weave of 1 to 2 swings a "
            "second, nor steering corrections; 5 a second can, 10 are better",
        )
    seconds = seconds_in_band(motion, excluded=excluded)
    if len(seconds) < _LEAST_SECONDS:
        return _none(
            band,
            float(len(seconds)),
            f"only {len(seconds)} s were ridden straight at more than 2 m/s with a good signal; "
            f"weave needs {_LEAST_SECONDS} s over a range of speeds",
        )
    fit = fit_onset(seconds, motion.rate_hz)
    if fit is None:
        return _none(
            band,
            float(len(seconds)),
            "all straight riding was at one speed, so nothing can be seen to grow with speed",
        )
    onset, rms = estimate_of_possible(fit.onset_mps), estimate(fit.fast_rms_radps, smallest=0.0)
    assert onset is not None and rms is not None  # neither has undefined columns
    classes = _classes(seconds, fit)
    clearly = rms.value - _CLEARLY * (rms.value - rms.low)
    visible = LEAST_RMS_RADPS + _CLEARLY * (rms.high - rms.value)
    if fit.gain < _LEAST_GAIN or clearly < LEAST_RMS_RADPS:
        return Weave(
            classes,
            None,
            False,
            None,
            None,
            visible,
            float(len(seconds)),
            band,
            _why_none(visible, len(seconds)),
        )
    slowest = float(seconds.mean_speed_mps.min())
    or_below = onset.low < slowest + _CLOSE_MPS
    if or_below:
        onset = Estimate(onset.value, 0.0, onset.high, onset.level)
    return Weave(
        classes, onset, or_below, rms, fit.frequency_hz, visible, float(len(seconds)), band, ""
    )


def _classes(seconds: Seconds, fit: OnsetFit) -> tuple[SpeedClass, ...]:
    """Return the yaw-rate RMS by speed: the rate's mean square less the noise's, by speed."""
    speed = seconds.mean_speed_mps
    squares = seconds.mean_square_mps2
    width = _CLASS_MPS if speed.max() < _FAST_MPS else _FAST_CLASS_MPS
    random = np.random.default_rng(_SEED)
    found = []
    first = width * np.floor(speed.min() / width)
    for low in np.arange(first, speed.max(), width):
        inside = (speed >= low) & (speed < low + width)
        count = int(inside.sum())
        if not count:
            continue
        rms = None
        if count >= _LEAST_IN_CLASS:
            rms = _rms(seconds, inside, float(squares[inside].mean()), fit.noise_rate, random)
        found.append(SpeedClass(float(low), float(low + width), float(count), rms))
    return tuple(found)


def _rms(
    seconds: Seconds,
    inside: np.ndarray,
    square_mps2: float,
    noise: FloatArray,
    random: np.random.Generator,
) -> Estimate | None:
    """Return the yaw-rate RMS of some seconds with its interval. [rad/s]"""
    power = seconds.across_rate[inside]
    # Scatter among the seconds shows by itself how well their mean is known; never better than
    # for filtered noise.
    relative = max(float(power.std() / power.mean()), float(np.sqrt(2.0 / seconds.freedom)))
    shape = len(power) / relative**2
    drawn = power.mean() * random.gamma(shape, 1.0 / shape, DRAWS)
    fitted = np.full(1 + DRAWS, power.mean() - noise[0])
    # The interval is made for the square, whose errors are even, and may reach below zero there.
    square = estimate(np.concatenate([fitted, drawn - noise[1 + DRAWS :]]) / square_mps2)
    if square is None:
        return None
    return Estimate(*(max(x, 0.0) ** 0.5 for x in (square.value, square.low, square.high)))


def _why_none(visible_radps: float, seconds: int) -> str:
    seen = (
        f"no swinging from side to side that grows with speed was seen in {seconds} s of straight "
        "riding"
    )
    if visible_radps > _USEFUL_RADPS:
        return f"{seen}; the noise of this log hides all but a violent weave"
    return f"{seen}; from {visible_radps:.2f} rad/s RMS of yaw rate on it would have been"


def _none(band: tuple[float, float], seconds: float, reason: str) -> Weave:
    return Weave((), None, False, None, None, float("nan"), seconds, band, reason)
