"""From which speed a sideways wobble grows beyond what the receiver and the rider do anyway.

The mean square P of a second's sideways velocity in band is, in expectation,

    m = b + c v² + S (v r)²,    r = 0 below the onset x, (v - x) / G up to x + G, 1 above

b: noise of the receiver. c v²: a yaw rate that is there at every speed, such as what a hand leaves
in the band; it is held to be small. S (v r)²: the weave, whose yaw rate starts at x and is full G
faster. P / m is gamma distributed with the degrees of freedom of filtered noise, fewer if the
seconds scatter more than that (a weave's strength comes and goes; receivers have tails).

Derivation: METHOD.md of handling, (7) to (10).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.handling.band import LOW_HZ, Seconds, top_of_band_hz
from ridelog.core.track import FloatArray

# The onset is looked for on a grid this fine, and the growth among these lengths, all as likely:
# nothing is known of it beyond its order of size. [m/s]
_GRID_MPS = 0.1
_GROWTHS_MPS = (0.15, 0.4, 0.8, 1.6, 3.2)
# So many seconds must lie above an onset, and so many below it.
_LEAST_ABOVE, _LEAST_BELOW = 4, 3
_ROUNDS, _ROUNDS_AGAIN = 60, 25
# More seconds than this are taken together by their speed.
_MOST_SECONDS = 400
# Lengthways noise stands in for sideways noise with the weight of this many seconds: on real
# receivers the two differ by a factor of 0.6 to 1.9 (own measurement on public logs).
_PRIOR_SECONDS = 2.0
# Yaw-rate RMS in band that is there at every speed, one standard deviation about zero: steady
# cars on real logs at 10 Hz read up to 0.034 (own measurement). [rad/s]
_STEADY_RADPS = 0.03
DRAWS = 150
_SEED = 20261125


@dataclass(frozen=True)
class OnsetFit:
    """What the seconds say about an onset.

    Attributes
    ----------
    gain : by how much the logarithm of the likelihood is larger with an onset than without.
    onset_mps : speeds that are equally likely to be it, for ``estimate_of_possible``. [m/s]
    fast_rms_radps : yaw-rate RMS in the fastest seconds, 1 + 2 x DRAWS columns for ``estimate``.
        [rad/s]
    noise_rate : mean square of the noise's rate of change of velocity, columns. [m²/s⁴]
    frequency_hz : of the weave, from rate and velocity.
    """

    gain: float
    onset_mps: FloatArray
    fast_rms_radps: FloatArray
    noise_rate: FloatArray
    frequency_hz: float


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

    random = np.random.default_rng(_SEED)
    odds = np.exp(tempered * (likelihood - likelihood[best]))
    # Drawn at even steps of the distribution rather than at random: less noise in its quantiles.
    steps = (np.arange(2 * DRAWS) + 0.5) / (2 * DRAWS)
    drawn = np.searchsorted(np.cumsum(odds / odds.sum()), steps)
    speeds = onset[drawn] + _GRID_MPS * random.uniform(-0.5, 0.5, 2 * DRAWS)
    drawn = random.permutation(drawn)
    rates = _rates(seconds, bases[best], bases[drawn], tempered, random)
    frequency = np.sqrt(rates[0, 2] / max(float(shares[best, 2]), 1e-12)) / (2.0 * np.pi)
    return OnsetFit(
        gain=gain,
        onset_mps=speeds,
        fast_rms_radps=np.sqrt(rates[:, 3]),
        noise_rate=rates[:, 0],
        frequency_hz=float(frequency),
    )


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
    return Seconds(
        start_s=seconds.start_s[groups[:, 0]],
        speed_mps=seconds.speed_mps[groups].mean(axis=1),
        weight=seconds.weight,
        across=seconds.across[groups].mean(axis=1),
        along=seconds.along[groups].mean(axis=1),
        across_rate=seconds.across_rate[groups].mean(axis=1),
        along_rate=seconds.along_rate[groups].mean(axis=1),
        freedom=seconds.freedom * together,
    )


def _rates(
    seconds: Seconds,
    best: FloatArray,
    bases: FloatArray,
    tempered: float,
    random: np.random.Generator,
) -> FloatArray:
    """Return parts of the rate's mean square, shape (columns, 4).

    Noise, then yaw rate: steady, grown (at full strength), and in the fastest seconds ridden.
    ``best`` (k + 1, 3) and ``bases`` (columns, k + 1, 3) are of the likeliest onset and of drawn
    ones.
    """
    powers = np.append(seconds.across_rate, np.median(seconds.along_rate))
    hold = 1.0 / (seconds.freedom * _STEADY_RADPS**2)
    _, shares = _fitted(powers, best[None], hold, _ROUNDS)
    mean = best @ shares[0]
    # What another ride of the same machine would have shown: every second drawn anew.
    half = 0.5 * seconds.freedom * tempered
    again = mean * random.gamma(half, 1.0 / half, (2 * DRAWS, len(mean)))
    _, drawn = _fitted(again, bases, hold, _ROUNDS_AGAIN)
    fitted = np.append(shares, _fastest(best[None], shares), axis=1)
    drawn = np.append(drawn, _fastest(bases, drawn), axis=1)
    result: FloatArray = np.concatenate([fitted, np.tile(fitted, (DRAWS, 1)), drawn[:DRAWS]])
    return result


def _fastest(bases: FloatArray, parts: FloatArray) -> FloatArray:
    """Return the yaw rate's mean square in the fastest seconds, shape (fits, 1).

    Not the full strength, which may lie at speeds that were not ridden.
    """
    squares = bases[:, :-1, 1]
    fast = np.argsort(squares[0])[-_LEAST_ABOVE:]
    grown = bases[:, fast, 2].mean(axis=1) / squares[:, fast].mean(axis=1)
    result: FloatArray = (parts[:, 1] + grown * parts[:, 2])[:, None]
    return result


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

    def means() -> FloatArray:
        total: FloatArray = grown * parts[:, 2:]
        total += parts[:, 1:2] * steady
        total += parts[:, :1]
        return total

    def sums(values: FloatArray) -> FloatArray:
        along = np.einsum("fk,fk->f", values, grown)
        return np.stack([values.sum(axis=1), values @ steady, along], axis=1)

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
