"""Everything about handling in one record: turns, weave, steering corrections, tipping over.

Steering corrections: how often the course swings back and forth on straights. Tipping over
(advisory): how close a turn came to it, from the machine's width and height.

Source
------
NHTSA, "Why choose SSF?", ch. V: static stability factor T / (2 h), the lateral acceleration in g at
which a rigid vehicle tips. FME report for The Oregonian (2007): the same figure computed for adult
quads (0.86 to 1.07) overstates by 10 to 15 % what a tilt table shows (0.751 to 0.986).
"""

import math
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.handling.band import filter_of, raw_stretches
from ridelog.analysis.handling.turns import Turns, measure_turns
from ridelog.analysis.handling.weave import LEAST_RATE_HZ, Weave, measure_weave
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.quantity import LENGTH, plain
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import FloatArray
from ridelog.core.units import SPEED_UNITS, STANDARD_GRAVITY_MPS2
from ridelog.filtering.motion import DRAWS, Motion
from ridelog.filtering.state_space import SLOW_SPEED_TIME_S

# What a tilt table leaves of the computed factor; FME report (2007): 10 to 15 % less.
TILT_SHARE = 0.85
# Least tilt-table figure of the adult quads there, in g; FME report (2007).
LEAST_TILT_QUAD = 0.751
# Dimensions outside these are typing errors or other units; common practice, no source. [m]
_WIDTHS_M, _HEIGHTS_M = (0.1, 3.0), (0.1, 2.0)
# A correction: the course swings back by this much, slower than weave does. Common practice, no
# source; a hand steers at 0.2-2 Hz (from memory), and what is faster than 0.7 Hz is weave's band.
SWING_RAD, BELOW_HZ = float(np.radians(2.0)), 0.7
_SHORTEST_S = 3.0
# Straight riding that is drawn, the longest stretches first, and the least that says anything. Own
# choice: more mostly takes time; below, every swing counted would be told as more than two.
_MOST_S, _LEAST_M = 180.0, 50.0
# Counted for every so many metres: own choice of a unit.
PER_M = 100.0
# A swing must be so many standard deviations of the difference of two courses, or noise makes
# too many of them to be taken off: own choice.
_LEAST_SIGMAS = 2.5
# METHOD.md of handling, (12).
_TWICE = 2.0
_SEED = 20261127


@dataclass(frozen=True)
class Corrections:
    """Swings back of the course on straights, for every 100 m; None with ``steering_reason``."""

    steering_corrections_per_100m: Estimate | None
    steering_reason: str


@dataclass(frozen=True)
class TipOver:
    """The threshold of a machine and how much of it a ride used.

    track_width_m, cg_height_m : as given. [m]
    stability_factor : T / (2 h), 1.
    rigid_threshold_mps2 : at which lateral acceleration a rigid machine tips on the level. [m/s²]
    tilt_threshold_mps2 : the safer figure, 0.85 of it, for what suspension and tyres take. [m/s²]
    share_used : share of ``tilt_threshold_mps2`` in the hardest turn, None without one.
    tipping_speed_mps : speed at which the tightest turn of the ride would reach that, None without
        a radius. [m/s]
    """

    track_width_m: float
    cg_height_m: float
    stability_factor: float
    rigid_threshold_mps2: float
    tilt_threshold_mps2: float
    share_used: Estimate | None
    tipping_speed_mps: float | None


@dataclass(frozen=True, kw_only=True)
class Handling(Turns, Weave, Corrections):
    """What one ride shows of a machine's handling: what its parts found, side by side.

    tip_over : the threshold and what was used of it, None if the dimensions are not known.
    reason : what is missing and why, as sentences; empty if nothing is.
    """

    tip_over: TipOver | None
    reason: str


def measure_handling(
    motion: Motion,
    *,
    excluded: tuple[Span, ...] = (),
    track_width_m: float | None = None,
    cg_height_m: float | None = None,
) -> Handling:
    """Return what a ride shows of a machine's handling, none of what is excluded.

    Excluded are stretches that may not carry a figure, such as reverse travel [s]. The dimensions
    are the distance between the middles of left and right tyres and the height of the centre of
    gravity of machine and rider; both or none of them, for the tip-over margin [m]. RideLogError as
    from ``checked_dimensions``.
    """
    checked_dimensions(track_width_m, cg_height_m)
    turns = measure_turns(motion, excluded=excluded)
    weave = measure_weave(motion, excluded=excluded)
    if motion.rate_hz < LEAST_RATE_HZ:
        corrections = Corrections(None, weave.weave_reason)
    else:
        corrections = count_corrections(motion, excluded=excluded)
    margin = None
    if track_width_m is not None and cg_height_m is not None:
        margin = tip_over(
            track_width_m, cg_height_m, turns.max_lateral_accel_mps2, turns.min_turn_radius_m
        )
    missing = {
        "Lateral acceleration": turns.lateral_reason,
        "Turn radius": turns.radius_reason,
        "Weave": weave.weave_reason,
    }
    reason = " ".join(f"{name}: {reason}." for name, reason in missing.items() if reason)
    return Handling(
        **vars(turns), **vars(weave), **vars(corrections), tip_over=margin, reason=reason
    )


def checked_dimensions(track_width_m: float | None, cg_height_m: float | None) -> None:
    """Raise RideLogError if only one is given, or one that is not that of a machine in metres."""
    if (track_width_m is None) != (cg_height_m is None):
        raise RideLogError(
            "only one of track width and height of the centre of gravity is given.",
            "give both, in metres, or neither.",
        )
    if track_width_m is not None and cg_height_m is not None:
        stability_factor(track_width_m, cg_height_m)


def stability_factor(track_width_m: float, cg_height_m: float) -> float:
    """Return T / (2 h); RideLogError if a dimension is not that of a machine in metres."""
    for name, value, (least, most) in (
        ("track width", track_width_m, _WIDTHS_M),
        ("height of the centre of gravity", cg_height_m, _HEIGHTS_M),
    ):
        if not least <= value <= most:
            raise RideLogError(
                f"a {name} of {value:g} m is not that of a small vehicle.",
                f"give it in metres, between {least:g} and {most:g}.",
            )
    return track_width_m / (2.0 * cg_height_m)


def tipping_speed_mps(lateral_mps2: float, radius_m: float) -> float:
    """Return the speed at which a turn of a radius has a lateral acceleration: v² = a r. [m/s]"""
    return math.sqrt(lateral_mps2 * radius_m)


def tip_over(
    track_width_m: float, cg_height_m: float, lateral: Estimate | None, radius: Estimate | None
) -> TipOver:
    """Return the tip-over threshold of a machine and what a ride used of it.

    Rider's lean, suspension, tyres, slope and ruts move it: advisory only. ``lateral`` and
    ``radius`` are the ride's largest acceleration and smallest radius [m/s²], [m]. RideLogError as
    from ``stability_factor``.
    """
    factor = stability_factor(track_width_m, cg_height_m)
    rigid = factor * STANDARD_GRAVITY_MPS2
    tilt = TILT_SHARE * rigid
    used = None
    if lateral is not None:
        low, middle, high = (each / tilt for each in (lateral.low, lateral.value, lateral.high))
        used = Estimate(middle, low, high, lateral.level)
    speed = None if radius is None else tipping_speed_mps(tilt, radius.value)
    return TipOver(track_width_m, cg_height_m, factor, rigid, tilt, used, speed)


def count_corrections(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> Corrections:
    """Return how often a rider corrects the course on straights of a log of 5 Hz or more.

    Counted on the log's own velocities (or positions) below 0.7 Hz, since a smoother may take small
    corrections for noise. How much noise adds and takes is seen by adding as much again: METHOD.md
    of handling, (12).
    """
    order = 0 if motion.speed_source == "reported" else 1
    kernel = filter_of(motion.rate_hz, 0.0, BELOW_HZ, order)
    white = motion.noise.position_white_m if order else motion.noise.speed_white_mps or 0.0
    slow_mps = motion.noise.drift_mps if order else motion.noise.slow_speed_mps or 0.0
    random = np.random.default_rng(_SEED)
    counts = np.zeros(1 + 2 * DRAWS)
    ridden_m = squares = samples = 0.0
    shortest, longest = (round(length_s * motion.rate_hz) for length_s in (_SHORTEST_S, _MOST_S))
    straights = [
        (stretch, slice(first, min(stop, first + longest)))
        for stretch in raw_stretches(motion, len(kernel) // 2, excluded)
        for first, stop in runs_of(stretch.straight)
        if stop - first >= shortest
    ]
    left_s = _MOST_S
    for stretch, inside in sorted(straights, key=lambda item: item[1].start - item[1].stop):
        course = np.unwrap(np.arctan2(*stretch.passed(kernel)))[inside]
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
    """Return how often each course (m, columns) turns back by a swing or more, shape (columns,).

    Courses are not wrapped; smaller movements back do not count. [rad]
    """
    least, most = course_rad[0].copy(), course_rad[0].copy()
    side, count = np.zeros((2, course_rad.shape[1]))
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
