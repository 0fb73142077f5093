"""Steering corrections: how often the course swings back and forth on straights."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.handling.band import RawStretch, filter_of, raw_stretches
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.quantity import LENGTH, plain
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import FloatArray
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import DRAWS, Motion
from ridelog.filtering.state_space import SLOW_SPEED_TIME_S

# A correction: the course swings back by this much, slower than weave does. Common practice, no
# source; a hand steers at 0.2-2 Hz (from memory), and what is faster than 0.7 Hz is weave's band.
SWING_RAD, BELOW_HZ = float(np.radians(2.0)), 0.7
_SHORTEST_S = 3.0
# Straight riding that is drawn, the longest stretches first, and the least that says anything.
_MOST_S, _LEAST_M = 180.0, 50.0
# Counted for every so many metres.
PER_M = 100.0
# A swing must be so many standard deviations of the difference of two courses, or noise makes
# too many of them to be taken off.
_LEAST_SIGMAS, _TWICE = 2.5, 2.0
_SEED = 20261127


@dataclass(frozen=True)
class Corrections:
    """Swings back of the course on straights, for every 100 m; None with ``steering_reason``."""

    steering_corrections_per_100m: Estimate | None
    steering_reason: str


def count_corrections(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> Corrections:
    """Return how often a rider corrects the course on straights.

    Counted on the log's own velocities (or positions) below 0.7 Hz, since a smoother may take small
    corrections for noise. How much noise adds and takes is seen by adding as much again: METHOD.md
    of handling, (12).

    Parameters
    ----------
    motion : Motion
        The smoothed ride, at 5 Hz or more.
    excluded : tuple of (start_s, end_s)
        Stretches to leave out, such as reverse travel.
    """
    order = 0 if motion.speed_source == "reported" else 1
    kernel = filter_of(motion.rate_hz, 0.0, BELOW_HZ, order)
    white = motion.noise.position_white_m if order else motion.noise.speed_white_mps or 0.0
    slow_mps = motion.noise.drift_mps if order else motion.noise.slow_speed_mps or 0.0
    random = np.random.default_rng(_SEED)
    counts = np.zeros(1 + 2 * DRAWS)
    ridden_m = squares = samples = 0.0
    left_s = _MOST_S
    for stretch, inside in _straights(motion, len(kernel) // 2, excluded):
        course = _course(stretch, kernel)[inside]
        speed = stretch.speed_mps[inside]
        noise = random.normal(0.0, white, (len(course) + len(kernel) - 1, 2 * DRAWS))
        across = _filtered(noise, kernel)
        across += _wander(len(course), 2 * DRAWS, slow_mps, motion.rate_hz, random)
        noisy = course[:, None] + across / speed[:, None]
        counts += reversals(np.concatenate([course[:, None], noisy], axis=1), SWING_RAD)
        ridden_m += float(speed.sum()) / motion.rate_hz
        squares += float(np.sum(speed**-2.0))
        samples += len(course)
        left_s -= len(course) / motion.rate_hz
        if left_s < _SHORTEST_S:
            break
    if ridden_m < _LEAST_M:
        return Corrections(
            None,
            f"only {_in_both(ridden_m)} were ridden straight and faster than a walk with a good "
            f"signal; steering corrections need {_in_both(_LEAST_M)}",
        )
    noise_rad = white * float(np.sqrt(np.sum(kernel**2) * squares / samples))
    if SWING_RAD < _LEAST_SIGMAS * np.sqrt(2.0) * noise_rad:
        return Corrections(
            None,
            "the noise of this log makes and hides so many swings of 2 degrees that steering "
            "corrections cannot be counted",
        )
    # Taking off what noise adds counts the noise of the log's own figure twice at most.
    half = counts[1 + DRAWS :]
    counts[1 + DRAWS :] = half.mean() + _TWICE * (half - half.mean())
    return Corrections(estimate(PER_M * counts / ridden_m, smallest=0.0), "")


def reversals(course_rad: FloatArray, swing_rad: float) -> FloatArray:
    """Return how often each course turns back by a swing or more.

    Parameters
    ----------
    course_rad : ndarray, shape (m, columns)
        Not wrapped. [rad]
    swing_rad : float
        Smaller movements back do not count. [rad]

    Returns
    -------
    ndarray, shape (columns,)
    """
    least, most = course_rad[0].copy(), course_rad[0].copy()
    side = np.zeros(course_rad.shape[1])
    count = np.zeros(course_rad.shape[1])
    for course in course_rad[1:]:
        least, most = np.minimum(least, course), np.maximum(most, course)
        # It swings to a side once it is a swing away from the extreme on the other.
        right, left = course - least >= swing_rad, most - course >= swing_rad
        right, left = right & (side <= 0.0), left & (side >= 0.0)
        count += (right | left) & (side != 0.0)
        side = np.where(right, 1.0, np.where(left, -1.0, side))
        # From here the next extreme on that side is looked for.
        most = np.where(right, course, most)
        least = np.where(left, course, least)
    return count


def _in_both(length_m: float) -> str:
    metres, feet = (plain(length_m, LENGTH, SPEED_UNITS[name], 0) for name in ("km/h", "mph"))
    return f"{metres} ({feet})"


def _course(stretch: RawStretch, kernel: FloatArray) -> FloatArray:
    east, north = (np.convolve(stretch.seen[:, axis], kernel, "same") for axis in (0, 1))
    course: FloatArray = np.unwrap(np.arctan2(east, north))
    return course


def _wander(
    count: int, columns: int, sd: float, rate_hz: float, random: np.random.Generator
) -> FloatArray:
    """Return slow errors of a standard deviation, correlated as the filter has them."""
    keep = float(np.exp(-1.0 / (SLOW_SPEED_TIME_S * rate_hz)))
    fresh = random.normal(0.0, sd * np.sqrt(1.0 - keep**2), (count, columns))
    fresh[0] /= np.sqrt(1.0 - keep**2)
    for before, here in zip(fresh[:-1], fresh[1:], strict=True):
        here += keep * before
    return fresh


def _filtered(values: FloatArray, kernel: FloatArray) -> FloatArray:
    """Return each column convolved where the kernel lies wholly inside, by Fourier transform.

    As ``scipy.signal.fftconvolve``, whose import takes longer than all of a ride's analysis.
    """
    count = 1 << int(np.ceil(np.log2(len(values))))
    product = np.fft.rfft(values, count, axis=0) * np.fft.rfft(kernel, count)[:, None]
    # What wraps around falls into the part that is cut off.
    return np.fft.irfft(product, count, axis=0)[len(kernel) - 1 : len(values)]


def _straights(
    motion: Motion, reach: int, excluded: tuple[Span, ...]
) -> list[tuple[RawStretch, slice]]:
    """Return the straights that the filter sees whole, the longest ones first."""
    shortest, longest = (round(x * motion.rate_hz) for x in (_SHORTEST_S, _MOST_S))
    found = []
    for stretch in raw_stretches(motion, excluded=excluded):
        if len(stretch.time_s) <= 2 * reach:
            continue
        good = stretch.straight.copy()
        good[:reach] = good[-reach:] = False
        found += [
            (stretch, slice(first, min(stop, first + longest)))
            for first, stop in runs_of(good)
            if stop - first >= shortest
        ]
    return sorted(found, key=lambda item: item[1].start - item[1].stop)
