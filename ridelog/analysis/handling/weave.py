"""Weave: how strongly a machine swings from side to side at each speed, and from which speed on."""

from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis.handling.band import Seconds, seconds_in_band
from ridelog.analysis.handling.onset import DRAWS, OnsetFit, fit_onset
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, estimate_of_possible
from ridelog.core.quantity import YAW_RATE, plain
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray
from ridelog.core.units import SI
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
    yaw_rate_rms_radps: Estimate | None


@dataclass(frozen=True, kw_only=True)
class Weave:
    """What the log shows of weave.

    Attributes
    ----------
    weave : classes by speed, slowest first; empty if the log cannot show weave.
    weave_onset_mps : the speed from which it grows, None if none does or can be seen. [m/s]
    weave_or_below : the onset may lie below the slowest speeds ridden straight.
    weave_rms_radps : yaw-rate RMS in the fastest seconds, if there is an onset. A lower bound where
        the receiver smooths. [rad/s]
    weave_frequency_hz : of the weave, if there is an onset.
    weave_visible_from_radps : a weave from this yaw-rate RMS on would have been told from noise;
        NaN if nothing could be seen. [rad/s]
    weave_reason : why there is no onset, else empty.
    """

    weave: tuple[SpeedClass, ...] = ()
    weave_onset_mps: Estimate | None = None
    weave_or_below: bool = False
    weave_rms_radps: Estimate | None = None
    weave_frequency_hz: float | None = None
    weave_visible_from_radps: float = float("nan")
    weave_reason: str = ""


def measure_weave(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> Weave:
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
    fold a weave into a slow wander. Own derivation: METHOD.md of handling, (5) to (11).
    """
    if motion.rate_hz < LEAST_RATE_HZ:
        return Weave(
            weave_reason=f"a log of {motion.rate_hz:.3g} fixes a second cannot show weave of 1 to "
            "2 swings a second, nor steering corrections; 5 a second can, 10 are better"
        )
    seconds = seconds_in_band(motion, excluded=excluded)
    if len(seconds) < _LEAST_SECONDS:
        return Weave(
            weave_reason=f"only {len(seconds)} s were ridden straight and faster than a walk with "
            f"a good signal; weave needs {_LEAST_SECONDS} s over a range of speeds"
        )
    fit = fit_onset(seconds, motion.rate_hz)
    if fit is None:
        return Weave(
            weave_reason="all straight riding was at one speed, so nothing can be seen to grow "
            "with speed"
        )
    onset, rms = estimate_of_possible(fit.onset_mps), estimate(fit.fast_rms_radps, smallest=0.0)
    assert onset is not None and rms is not None  # neither has undefined columns
    clearly = rms.value - _CLEARLY * (rms.value - rms.low)
    visible = LEAST_RMS_RADPS + _CLEARLY * (rms.high - rms.value)
    seen = Weave(weave=_classes(seconds, fit), weave_visible_from_radps=visible)
    if fit.gain < _LEAST_GAIN or clearly < LEAST_RMS_RADPS:
        return replace(seen, weave_reason=_why_none(visible, len(seconds)))
    or_below = onset.low < float(seconds.mean_speed_mps.min()) + _CLOSE_MPS
    return replace(
        seen,
        weave_onset_mps=replace(onset, low=0.0) if or_below else onset,
        weave_or_below=or_below,
        weave_rms_radps=rms,
        weave_frequency_hz=fit.frequency_hz,
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
    least = plain(visible_radps, YAW_RATE, SI, 1)
    return f"{seen}; swings of {least} (RMS of yaw rate) or more would have shown"
