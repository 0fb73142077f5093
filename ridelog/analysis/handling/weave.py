"""Weave: how strongly a machine swings from side to side at each speed, and from which speed on.

The mean square of a second's sideways velocity in band is noise of the receiver, a yaw rate that is
there at every speed, and a weave that starts at the onset: METHOD.md of handling, (5) to (11).
"""

from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis.handling.band import LOW_HZ, Seconds, seconds_in_band, top_of_band_hz
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
# ... by so many half widths of the interval: 2 x 1.645 = 3.3 standard deviations, one ride in 2000
# (derived).
_CLEARLY = 2.0
# With an onset, the seconds must be this many times likelier than without one. Own choice: the best
# of some hundreds of onsets and growths is chosen, and a claim should be rarer than one in many.
_LEAST_GAIN = float(np.log(1000.0))
# Own choice: fewer seconds show no growth with speed, or no mean square of a class.
_LEAST_SECONDS, _LEAST_IN_CLASS = 12, 4
# A log that could only show more than this is of no use here; common practice, no source. [rad/s]
_USEFUL_RADPS = 0.4
# Width of a class of speed, wider for machines as fast as the last: own choice, so that a table has
# a dozen or so; the onset does not come from them. [m/s]
_CLASS_MPS, _FAST_CLASS_MPS, _FAST_MPS = 1.0, 2.0, 12.0
# An onset whose interval comes this close to the slowest speeds may lie below them: own choice,
# three steps of its grid. [m/s]
_CLOSE_MPS = 0.3
_CLASS_SEED, _ONSET_SEED = 20261126, 20261125
# The onset is looked for on a grid this fine, and the growth among these lengths, all as likely:
# nothing is known of it beyond its order of size. Own choice: about
# doubling, from the grid's step to half of the speeds that a slow machine has. [m/s]
_GRID_MPS = 0.1
_GROWTHS_MPS = (0.15, 0.4, 0.8, 1.6, 3.2)
# So many seconds must lie above an onset, and so many below it. Own choice: with fewer one odd
# second makes an onset.
_LEAST_ABOVE, _LEAST_BELOW = 4, 3
# Updates of a fit, and of those to drawn rides, which only tell its spread. Own choice: the misfit
# falls with each; fewer stop short of its least, more take time.
_ROUNDS, _ROUNDS_AGAIN = 60, 25
# More seconds than this are taken together by their speed. Own choice to bound the work: speeds of
# neighbours then lie closer together than the onset's grid.
_MOST_SECONDS = 400
# Lengthways noise stands in for sideways noise with the weight of this many seconds: on real
# receivers the two differ by a factor of 0.6 to 1.9 (own measurement on public logs).
_PRIOR_SECONDS = 2.0
# Yaw-rate RMS in band that is there at every speed, one standard deviation about zero: steady
# cars on real logs at 10 Hz read up to 0.034 (own measurement). [rad/s]
_STEADY_RADPS = 0.03
_DRAWS = 150


@dataclass(frozen=True)
class OnsetFit:
    """What the seconds say about an onset.

    gain : by how much the logarithm of the likelihood is larger with an onset than without.
    onset_mps : speeds that are equally likely to be it, for ``estimate_of_possible``. [m/s]
    fast_rms_radps : yaw-rate RMS in the fastest seconds, 1 + 300 columns for ``estimate``.
        [rad/s]
    noise_rate : mean square of the noise's rate of change of velocity, columns. [m²/s⁴]
    frequency_hz : of the weave, from rate and velocity.
    """

    gain: float
    onset_mps: FloatArray
    fast_rms_radps: FloatArray
    noise_rate: FloatArray
    frequency_hz: float


@dataclass(frozen=True)
class SpeedClass:
    """Seconds of straight riding within a range of speed, and their yaw-rate RMS in band.

    yaw_rate_rms_radps : None with ``reason``, which is empty else. [rad/s]
    """

    from_mps: float
    to_mps: float
    seconds: float
    yaw_rate_rms_radps: Estimate | None
    reason: str


@dataclass(frozen=True, kw_only=True)
class Weave:
    """What the log shows of weave.

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
    """Return what a ride shows of weave, none of what is excluded, such as reverse travel.

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
    random = np.random.default_rng(_CLASS_SEED)
    found = []
    for low in np.arange(width * np.floor(speed.min() / width), speed.max(), width).tolist():
        inside = (speed >= low) & (speed < low + width)
        if count := int(inside.sum()):
            rms, reason = None, ""
            if count >= _LEAST_IN_CLASS:
                power, square = seconds.across_rate[inside], float(squares[inside].mean())
                rms = _rms(power, seconds.freedom, square, fit.noise_rate, random)
            else:
                reason = (
                    f"only {count} s were ridden straight at these speeds; the swinging at a speed "
                    f"needs {_LEAST_IN_CLASS}"
                )
            found.append(SpeedClass(low, low + width, float(count), rms, reason))
    return tuple(found)


def _rms(
    power: FloatArray, freedom: float, square: float, noise: FloatArray, random: np.random.Generator
) -> Estimate:
    """Return the yaw-rate RMS of some seconds, of a mean square of speed [m²/s²]. [rad/s]"""
    # Scatter among the seconds shows by itself how well their mean is known; never better than
    # for filtered noise.
    relative = max(float(power.std() / power.mean()), float(np.sqrt(2.0 / freedom)))
    shape = len(power) / relative**2
    drawn = power.mean() * random.gamma(shape, 1.0 / shape, _DRAWS)
    fitted = np.full(1 + _DRAWS, power.mean() - noise[0])
    # The interval is made for the square, whose errors are even, and may reach below zero there.
    found = estimate(np.concatenate([fitted, drawn - noise[1 + _DRAWS :]]) / square)
    assert found is not None  # no column is undefined
    return Estimate(*(max(x, 0.0) ** 0.5 for x in (found.value, found.low, found.high)))


def _why_none(visible_radps: float, seconds: int) -> str:
    seen = (
        f"no swinging from side to side that grows with speed was seen in {seconds} s of straight "
        "riding"
    )
    if visible_radps > _USEFUL_RADPS:
        return f"{seen}; the noise of this log hides all but a violent weave"
    least = plain(visible_radps, YAW_RATE, SI, 1)
    return f"{seen}; swings of {least} (RMS of yaw rate) or more would have shown"


def fit_onset(seconds: Seconds, rate_hz: float) -> OnsetFit | None:
    """Return the fit of an onset, None if no speed has enough seconds on both sides of it."""
    seconds = condensed(seconds)
    speed = seconds.mean_speed_mps
    ordered = np.sort(speed)
    if len(ordered) < _LEAST_ABOVE + _LEAST_BELOW:
        return None
    slowest, fastest = ordered[_LEAST_BELOW - 1], ordered[-_LEAST_ABOVE]
    if fastest - slowest < _GRID_MPS:
        return None
    onsets = np.arange(slowest, fastest, _GRID_MPS)
    onset = np.repeat(onsets, len(_GROWTHS_MPS))
    growth = np.tile(_GROWTHS_MPS, len(onsets))
    bases = _bases(seconds, onset, growth)
    powers = np.append(seconds.across, np.median(seconds.along))
    freedom = seconds.freedom
    plain = bases[:1].copy()
    plain[:, :, 2] = 0.0
    # The prior on the steady part, in units of the cost; velocity is yaw rate by 2 pi f.
    rate_per_speed = (2.0 * np.pi) ** 2 * LOW_HZ * top_of_band_hz(rate_hz)
    hold = rate_per_speed / (freedom * _STEADY_RADPS**2)
    without, _ = _fitted(powers, plain, hold, _ROUNDS)
    each, shares = _fitted(powers, bases, hold, _ROUNDS)
    likelihood = -0.5 * freedom * each
    best = int(np.argmax(likelihood))
    # Seconds that scatter more than filtered noise tell less.
    ratio = powers / (bases[best] @ shares[best])
    scatter = float(np.mean((ratio[:-1] - 1.0) ** 2)) * freedom / 2.0
    tempered = 1.0 / max(1.0, scatter)
    gain = tempered * (float(likelihood[best]) + 0.5 * freedom * float(without[0]))

    random = np.random.default_rng(_ONSET_SEED)
    odds = np.exp(tempered * (likelihood - likelihood[best]))
    # Drawn at even steps of the distribution rather than at random: less noise in its quantiles.
    steps = (np.arange(2 * _DRAWS) + 0.5) / (2 * _DRAWS)
    drawn = np.searchsorted(np.cumsum(odds / odds.sum()), steps)
    speeds = onset[drawn] + _GRID_MPS * random.uniform(-0.5, 0.5, 2 * _DRAWS)
    drawn = random.permutation(drawn)
    rates = _rates(seconds, bases[best], bases[drawn], tempered, random)
    frequency = np.sqrt(rates[0, 2] / max(float(shares[best, 2]), 1e-12)) / (2.0 * np.pi)
    return OnsetFit(gain, speeds, np.sqrt(rates[:, 3]), rates[:, 0], float(frequency))


def condensed(seconds: Seconds, most: int = _MOST_SECONDS) -> Seconds:
    """Return at most so many seconds: neighbours in speed are averaged, and count as more.

    A ride of hours has thousands of seconds; their speeds lie closer together than the grid of
    onsets, so nothing is lost by taking some together.
    """
    together = -(-len(seconds) // most)
    if together <= 1:
        return seconds
    order = np.argsort(seconds.mean_speed_mps, kind="stable")
    # The slowest few that do not fill a group are left out.
    groups = order[len(order) % together :].reshape(-1, together)
    averaged = ("speed_mps", "across", "along", "across_rate", "along_rate")
    return replace(
        seconds,
        start_s=seconds.start_s[groups[:, 0]],
        freedom=seconds.freedom * together,
        **{name: getattr(seconds, name)[groups].mean(axis=1) for name in averaged},
    )


def _rates(
    seconds: Seconds,
    best: FloatArray,
    bases: FloatArray,
    tempered: float,
    random: np.random.Generator,
) -> FloatArray:
    """Return parts of the rate's mean square, shape (columns, 4).

    Noise, then yaw rate: steady, grown (at full strength), and in the fastest seconds ridden, for
    the likeliest onset (``best``) and drawn ones.
    """
    powers = np.append(seconds.across_rate, np.median(seconds.along_rate))
    hold = 1.0 / (seconds.freedom * _STEADY_RADPS**2)
    _, shares = _fitted(powers, best[None], hold, _ROUNDS)
    mean = best @ shares[0]
    # What another ride of the same machine would have shown: every second drawn anew.
    half = 0.5 * seconds.freedom * tempered
    again = mean * random.gamma(half, 1.0 / half, (2 * _DRAWS, len(mean)))
    _, drawn = _fitted(again, bases, hold, _ROUNDS_AGAIN)
    fitted = np.append(shares, _fastest(best[None], shares), axis=1)
    drawn = np.append(drawn, _fastest(bases, drawn), axis=1)
    return np.concatenate([fitted, np.tile(fitted, (_DRAWS, 1)), drawn[:_DRAWS]])


def _fastest(bases: FloatArray, parts: FloatArray) -> FloatArray:
    """Return the yaw rate's mean square in the fastest seconds, shape (fits, 1).

    Not the full strength, which may lie at speeds that were not ridden.
    """
    squares = bases[:, :-1, 1]
    fast = np.argsort(squares[0])[-_LEAST_ABOVE:]
    grown: FloatArray = bases[:, fast, 2].mean(axis=1) / squares[:, fast].mean(axis=1)
    return parts[:, 1:2] + grown[:, None] * parts[:, 2:]


def _bases(seconds: Seconds, onset_mps: FloatArray, growth_mps: FloatArray) -> FloatArray:
    """Return what each part of the model adds to the mean squares, shape (fits, k + 1, 3).

    The last row is the lengthways noise at no speed.
    """
    speed = seconds.speed_mps
    fits, count = len(onset_mps), len(speed)
    bases = np.zeros((fits, count + 1, 3))
    bases[:, :, 0] = 1.0
    bases[:, :-1, 1] = seconds.mean_square_mps2
    # One fit at a time stays in the processor's nearest memory.
    for grown, onset, growth in zip(bases[:, :-1, 2], onset_mps, growth_mps, strict=True):
        ramp = np.clip((speed - onset) / growth, 0.0, 1.0)
        ramp *= speed
        ramp *= ramp
        grown[:] = ramp @ seconds.weight
    return bases


def _fitted(
    powers: FloatArray, bases: FloatArray, hold: float, rounds: int
) -> tuple[FloatArray, FloatArray]:
    """Return the cost and the non-negative parts of every fit, shapes (fits,) and (fits, 3).

    Cost: sum of log m + P / m, the gamma likelihood's, and ``hold`` times the steady part. It falls
    with every multiplicative update (Févotte, Bertin, Durrieu, Neural Computation 21 (2009)
    793-830, section 3: exponent 1/2). Noise and steady part are the same in all fits.
    """
    weight = np.ones(bases.shape[1])
    weight[-1] = _PRIOR_SECONDS
    powers = np.broadcast_to(powers, bases.shape[:2])
    usual = np.maximum(bases.mean(axis=1), 1e-12)
    parts = powers.mean(axis=1, keepdims=True) / (3.0 * usual)
    parts[bases.max(axis=1) <= 0.0] = 0.0
    steady, grown = bases[0, :, 1], np.ascontiguousarray(bases[:, :, 2])
    level = np.stack([np.ones(len(steady)), steady], axis=1)

    def means() -> FloatArray:
        total: FloatArray = grown * parts[:, 2:]
        total += parts[:, 1:2] * steady
        total += parts[:, :1]
        return total

    def sums(values: FloatArray) -> FloatArray:
        # Products of rows with vectors: quicker than sums of all products.
        found = np.empty((len(values), 3))
        np.matmul(values, level, out=found[:, :2])
        np.matmul(values[:, None], grown[:, :, None], out=found[:, 2:, None])
        return found

    for _ in range(rounds):
        mean = means()
        inverse = weight / mean
        below = sums(inverse)
        below[:, 1] += hold
        inverse *= powers
        inverse /= mean
        parts = parts * np.sqrt(sums(inverse) / np.maximum(below, 1e-300))
    mean = means()
    cost: FloatArray = (weight * (np.log(mean) + powers / mean)).sum(axis=1) + hold * parts[:, 1]
    return cost, parts
