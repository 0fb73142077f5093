"""Where a speed begins or ceases to fall: the corner between two straight lines, on every path.

A drawn path shows a corner only through its noise, and the fitted path rounds it off. Both are
read by the same least squares: a straight line, from some instant on a change of slope that
builds up as a raised cosine. METHOD.md of braking, (1) to (3).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.fitted import FittedPath
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import BoolArray, FloatArray, IntArray

# How long a brake takes to build up: StVZO § 41 (12) allows 0.6 s for response and build-up
# together; how long it takes to ease off is not regulated, common practice, no source. A length
# of unknown size is tried at a constant ratio: build-up from at once to somewhat below the 0.6 s.
_BUILD_S = np.geomspace(0.02, 0.45, 7)
_EASE_S = np.geomspace(0.05, 0.6, 7)
# Instants tried for the corner, and the finest spacing between them that is worth the work. Own
# choice: the corner is a mean that lies between them; over 0.8 s they lie further apart.
_TRIALS, _FINEST_S = 41, 0.02
# Trials whose weight is e to minus this of the best one's change no figure: of 41 times 7 all
# together weigh less than 0.2 % of it, derived.
_NEGLIGIBLE = 12.0
# A trial that leaves this little of what it fits says nothing. Own choice: far above the error of
# doubles (1e-16), far below any shape that is seen.
_SINGULAR = 1e-9


@dataclass(frozen=True)
class Corner:
    """When the speed leaves the first line on every column of ``Paths``, and its size there."""

    at_s: FloatArray
    speed_mps: FloatArray


def falling_corner(
    time_s: FloatArray,
    speed_mps: FloatArray,
    between_s: tuple[float, float],
    noise_density: float,
    *,
    length_s: FloatArray = _BUILD_S,
) -> Corner:
    """Return where speeds begin to fall faster than before.

    If the machine still pulled before, it is the top of the speed: that is where braking begins.

    Parameters
    ----------
    time_s, speed_mps : ndarray, shapes (m,), (m, k)
        Even grid, and a column for each path; taken as straight before the corner and again after
        the build-up. [s], [m/s]
    between_s : (first, last)
        Where the corner is looked for. [s]
    noise_density : float
        Squared noise times its correlation time, which weighs the trials. [m²/s]
    length_s : ndarray, shape (l,)
        How long the fall may take to build up, each as likely. [s]
    """
    corner_s, build_s = _trials(between_s, length_s)
    since_s = time_s - time_s[0]
    # Level and slope before the corner are the same two unknowns in every trial, so that only the
    # change of slope is left to fit to what a straight line leaves of each path.
    line, left = _without_line(since_s, speed_mps)
    grown = built_up(time_s - corner_s[:, None], build_s[:, None])
    grown_line, rest = _without_line(since_s, grown.T)
    size = np.sqrt((rest**2).sum(axis=0))
    size[size < _SINGULAR * np.sqrt(len(time_s))] = np.inf
    onto = left.T @ (rest / size)
    # Without a fall there is no corner.
    weight, counts, kept = _weights(onto * onto, onto < 0.0, time_s, noise_density)
    onto, size, grown_line = onto[:, kept], size[kept], grown_line[:, kept]
    corner_s, build_s = corner_s[kept], build_s[kept]

    # Sums over the trials of every path: of the line before the corner there, less the change.
    slopes, levels = grown_line[1] / size, grown_line[0] / size
    since_corner = corner_s - time_s[0]
    total, at_s, since = _sums(weight, corner_s, since_corner)
    speed = line[0] * total + line[1] * since
    speed -= (weight * onto) @ (levels + slopes * since_corner)
    # A pull turns into braking inside the build-up: the share of the change at its zero.
    slope = line[1][:, None] - onto * slopes
    counts &= slope > 0.0
    pair = np.flatnonzero(counts)
    column, trial = np.divmod(pair, len(corner_s))
    slope = slope.ravel()[pair]
    change = np.minimum(onto.ravel()[pair] / size[trial], -1e-9)
    share = np.minimum(-slope / change, 1.0)
    gone = np.arccos(1.0 - 2.0 * share) / np.pi
    weighed = weight.ravel()[pair] * build_s[trial]
    # With the cosine of the build-up known so is its sine, and what has been built up by then.
    risen = slope * gone
    risen += change * (0.5 * gone - np.sqrt(share * (1.0 - share)) / np.pi)
    at_s += np.bincount(column, weighed * gone, minlength=len(total))
    speed += np.bincount(column, weighed * risen, minlength=len(total))
    return Corner(at_s / total, speed / total)


def resting_corner(
    time_s: FloatArray, speed_mps: FloatArray, between_s: tuple[float, float], noise_density: float
) -> Corner:
    """Return where falling speeds reach zero and stay there; as ``falling_corner``."""
    corner_s, ease_s = _trials(between_s, _EASE_S)
    line = built_up(corner_s[:, None] - time_s, ease_s[:, None])
    size = np.maximum(np.sqrt((line**2).sum(axis=1)), 1e-300)
    first = line / size[:, None]
    square = line * line
    shared = (first * square).sum(axis=1)
    rest = square - shared[:, None] * first
    rest_size = np.maximum(np.sqrt((rest**2).sum(axis=1)), 1e-300)
    rest /= rest_size[:, None]
    onto, onto_rest = np.split(speed_mps.T @ np.concatenate([first, rest]).T, 2, axis=1)
    falls = onto > (shared / rest_size) * onto_rest
    gain = onto * onto + onto_rest * onto_rest
    weight, _, kept = _weights(gain, falls, time_s, noise_density)
    total, at_s = _sums(weight, corner_s[kept])
    at_s /= total
    return Corner(at_s, np.where(np.isfinite(at_s), 0.0, np.nan))


def rising_corner(
    time_s: FloatArray, speed_mps: FloatArray, between_s: tuple[float, float], noise_density: float
) -> Corner:
    """Return where falling speeds cease to fall while still rolling; as ``falling_corner``."""
    # Read backwards in time and turned over it is a fall that begins.
    turned = falling_corner(
        -time_s[::-1],
        -speed_mps[::-1],
        (-between_s[1], -between_s[0]),
        noise_density,
        length_s=_EASE_S,
    )
    return Corner(-turned.at_s, -turned.speed_mps)


def _trials(between_s: tuple[float, float], length_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return instants and lengths of build-up, every pair of both."""
    first, last = between_s
    count = min(_TRIALS, max(3, round((last - first) / _FINEST_S) + 1))
    return np.tile(np.linspace(first, last, count), len(length_s)), np.repeat(length_s, count)


def built_up(after_s: FloatArray, build_s: FloatArray | float) -> FloatArray:
    """Return the change of speed for one of slope: the integral of a raised cosine, then a line."""
    after_s, build_s = np.broadcast_arrays(after_s, build_s)
    result: FloatArray = np.where(after_s < build_s, 0.0, after_s - 0.5 * build_s)
    inside = (after_s > 0.0) & (after_s < build_s)
    length_s = build_s[inside]
    share = after_s[inside] / length_s
    result[inside] = length_s * (0.5 * share - np.sin(np.pi * share) / (2.0 * np.pi))
    return result


def _without_line(since_s: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the line fitted to each column, level at 0 and slope (2, k), and what it leaves."""
    middle = since_s.mean()
    away = since_s - middle
    slope = away @ values / float(away @ away)
    mean = values.mean(axis=0)
    return np.stack([mean - slope * middle, slope]), values - mean - away[:, None] * slope


def _weights(
    gain: FloatArray, fits: BoolArray, time_s: FloatArray, noise_density: float
) -> tuple[FloatArray, BoolArray, IntArray]:
    """Return the weight of every trial that counts for any path, which count, and the trials.

    Every path takes the mean over the trials, each weighed by how well it explains the path. What
    that leaves open about the length of the build-up is alike in all of them, so whoever uses the
    corner allows for it. Most trials count for no path, so only the others are gone on with.

    Parameters
    ----------
    gain : ndarray, shape (columns, trials)
        By how much a trial makes the sum of squared misfits smaller. It is written over.
    fits : ndarray of bool, same shape
        Which of them may count at all.
    time_s : ndarray, shape (m,)
        Of the paths. [s]
    noise_density : float
        As for ``falling_corner``.
    """
    gain *= 0.5 * float(time_s[1] - time_s[0]) / noise_density
    np.multiply(gain, fits, out=gain)
    gain -= gain.max(axis=1, keepdims=True)
    counts = gain > -_NEGLIGIBLE
    counts &= fits
    kept = np.flatnonzero(counts.any(axis=0))
    counts = counts[:, kept]
    weight = np.exp(gain[:, kept])
    weight *= counts
    return weight, counts, kept


def _sums(weight: FloatArray, *figures: FloatArray) -> FloatArray:
    """Return each path's sum of weights, NaN if it has none, and of figures by weight."""
    sums = np.stack([np.ones(weight.shape[1]), *figures]) @ weight.T
    sums[0, sums[0] <= 0.0] = np.nan
    return sums


# Deceleration that free rolling can reach: rolling resistance on medium soil, 0.08 of the weight
# or 0.78 m/s² (Carvill (1993), Mechanical Engineer's Data Handbook), of which two thirds are
# allowed for (own choice: all of it would take gentle brakings for rolling), ...
_ROLLING_MPS2 = 0.5
# ... and air, half density times 0.7 m² (the largest of Cossalter's range) over 100 kg. [1/m]
_AIR_PM = 0.0042
# How sure it must be that the deceleration lies above that, in standard deviations of the path.
# Common practice, no source: noise alone passes one time in 44.
_SURE_SD = 2.0
# Decelerations are means over this long, or the time between two fixes if that is longer. Own
# choice: shorter ones are noisier in proportion, longer ones lose short brakings.
_WIDTH_S = 0.4
# Braking is measured from above walking pace (6 km/h, e.g. StVZO § 63a) and takes off as much as
# this: common practice, no source.
_FROM_MPS, _DROP_MPS = 1.67, 1.5
# Pauses up to this long do not part one braking from the next; common practice, no source.
_PAUSE_S = 0.5


def find_slowings(
    path: FittedPath, speed_sd_mps: float, rate_hz: float, excluded: tuple[Span, ...] = ()
) -> list[Span]:
    """Return the spans of one piece on which the machine was braked, in time order.

    They begin and end where the deceleration passes half of its usual value. [s]
    """
    spacing = float(path.time_s[1] - path.time_s[0])
    width_s = max(_WIDTH_S, 1.0 / rate_hz)
    decel = -smoothed(path.accel_mps2, max(1, round(width_s / spacing)))
    # A mean over a width is the difference of two speeds by it.
    decel_sd = np.sqrt(2.0) * speed_sd_mps / width_s
    beyond = decel > coasting_limit_mps2(path.speed_mps) + _SURE_SD * decel_sd
    found: list[tuple[int, int]] = []
    for first, stop in joined_runs(beyond, path.time_s, _PAUSE_S):
        usual = float(np.median(decel[first:stop][beyond[first:stop]]))
        strong = decel > 0.5 * usual
        begin, end = first, stop - 1
        while begin > 0 and strong[begin - 1]:
            begin -= 1
        while end + 1 < len(decel) and strong[end + 1]:
            end += 1
        while begin < end and not strong[begin]:
            begin += 1
        if found and path.time_s[begin] <= path.time_s[found[-1][1]] + _PAUSE_S:
            begin = found.pop()[0]
        start_s, end_s = float(path.time_s[begin]), float(path.time_s[end])
        if not any(start_s < last and end_s > start for start, last in excluded):
            found.append((begin, end))
    speed = path.speed_mps
    return [
        (float(path.time_s[begin]), float(path.time_s[end]))
        for begin, end in found
        if speed[begin] > _FROM_MPS and speed[begin] - speed[end] > _DROP_MPS
    ]


def coasting_limit_mps2(speed_mps: FloatArray) -> FloatArray:
    """Return the deceleration up to which a machine may just roll freely. [m/s²]"""
    return _ROLLING_MPS2 + _AIR_PM * speed_mps**2


def smoothed(values: FloatArray, width: int) -> FloatArray:
    """Return the mean over ``width`` neighbouring values, the ends repeated."""
    if width < 2:
        return values
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def joined_runs(inside: BoolArray, time_s: FloatArray, pause_s: float) -> list[tuple[int, int]]:
    """Return first and one-past-last index of each run of True, joined over pauses. [s]"""
    runs: list[tuple[int, int]] = []
    for first, stop in runs_of(inside):
        if runs and time_s[first] - time_s[runs[-1][1] - 1] <= pause_s:
            runs[-1] = (runs[-1][0], stop)
        else:
            runs.append((first, stop))
    return runs
