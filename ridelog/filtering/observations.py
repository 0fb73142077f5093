"""What each fix says, in the form the model takes: local metres, velocities, relative noise."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.errors import NotEnoughDataError
from ridelog.core.flags import UNUSABLE
from ridelog.core.geodesy import to_local
from ridelog.core.track import BoolArray, FloatArray, IntArray, Track
from ridelog.core.units import SPEED_WORDS
from ridelog.filtering.quality import POOR_HDOP
from ridelog.filtering.receiver.colour import noise_of_means
from ridelog.filtering.receiver.wander import (
    position_wander,
    wander_at_slow_pace,
    wander_of_few,
)
from ridelog.filtering.stated_noise import stated_ratio

# Below this a receiver's course is its own noise: with 0.08 m/s of noise an axis, the course of
# 0.5 m/s is uncertain by 9 degrees, and many receivers hold speed or course there. Common practice
# (ignore course below a crawl), no source.
CRAWL_MPS = 0.5
# A speed below the crawl says only "slow": as wide as the crawl itself, derived for one of two
# axes: 0.5 / sqrt(2).
CRAWL_SD_MPS = 0.35
# Positions further apart than a receiver at rest wanders in a short log: own choice. [m]
_TRAVEL_M = 10.0
# Relative noise of a fix is taken from its dilution of precision within these bounds. Own
# choices: no fix counts three times as much as usual, and none is worth nothing.
_LEAST_FACTOR, _MOST_FACTOR = 0.6, 20.0
# Values of which a step is told, share of them that must be multiples, how near, and chance. Own
# choices.
_LEAST_VALUES, _ON_STEP, _NEAR_STEP, _BY_CHANCE = 3, 0.98, 0.2, 1.0e-4
# Logs write degrees or minutes, or hold them as binary fractions of 24 bits; speeds in any unit.
# common practice, no source
ANGLE_STEPS_DEG = (
    *(10.0**-place for place in range(3, 9)),
    *(10.0**-place / 60.0 for place in range(2, 8)),
    *(2.0**-place for place in range(16, 20)),
)
# In whatever unit a speed is written, to whole ones or three decimals: own choice.
SPEED_STEPS_MPS = tuple(u * 10.0**-place for u in SPEED_WORDS.values() for place in range(4))
# A degree of latitude, to the nearest 1 %; only sizes a rounding step.
_METRES_PER_DEGREE = 111_000.0
# An interruption: longer than this, and than so many usual intervals. Own choices: two lost in a
# row at a fix a second are none.
_GAP_S, _GAP_INTERVALS = 2.5, 3.5
# Fixes further apart than this cannot say what the machine did between them: own choice, as a
# small machine starts and stops in less.
_LONGEST_INTERVAL_S = 10.0


@dataclass(frozen=True)
class Observations:
    """The usable fixes in time order; arrays of shape (m,) or (m, 2), east and north.

    rows : row of the track behind each.
    position_m, velocity_mps : NaN where the log gives none (velocity: none below a crawl).
    crawl : the log reports a speed below the crawl, or a speed of it without a course.
    factor : noise of this fix relative to the ride's usual one, 1; ``factor_stated`` tells whether
        the receiver states it of itself, so that only its pattern is believed; then it is relative
        to the best quarter.
    speed_factor : the same of the reported velocity, as stated; NaN if nothing is.
    speed_step_mps, position_step_m : steps in which the log writes speed and position.
    position_wander_m : what a position walks by itself in a second; NaN if nothing tells. [m]
    slow_wander_m : the same as slow riding alone, or a short log, shows it, 0 if none. [m]
    geometry : noise of this fix relative to the usual one by its dilution of precision alone.
    speed_noise_mps : white noise an axis of a reported velocity that has the noise which means of
        it show, 0 where there are too few: if all are alike, and of one whose ``speed_factor`` is 1
        if they are as stated. [m/s]
    bandwidth_error_mps : by how much the receiver's bandwidth may falsify each reported
        velocity, beside its noise, shape (m,). [m/s]
    held : positions that only repeat the one before because the receiver holds it, shape (m,).
    slides : positions so much worse placed than the ride's usual that they may slide by metres a
        second, and no reported velocity shows it, shape (m,).
    crawl_sd_mps : what "crawl" leaves open of the velocity, one axis. [m/s]
    breaks : shape (m - 1,), intervals across which nothing may be estimated.
    """

    rows: IntArray
    time_s: FloatArray
    position_m: FloatArray
    velocity_mps: FloatArray
    crawl: BoolArray
    factor: FloatArray
    factor_stated: bool
    speed_factor: FloatArray
    geometry: FloatArray
    breaks: BoolArray
    usual_interval_s: float
    speed_step_mps: float
    position_step_m: float
    origin_deg: tuple[float, float]
    position_wander_m: float
    slow_wander_m: float
    speed_noise_mps: tuple[float, float]
    bandwidth_error_mps: FloatArray
    held: BoolArray
    slides: BoolArray
    crawl_sd_mps: float = CRAWL_SD_MPS


def observations_of(track: Track) -> Observations:
    """Return the usable fixes of a track.

    Raises
    ------
    NotEnoughDataError
        If fewer than two usable fixes have different times.
    """
    usable = (
        ((track.flags & np.uint32(UNUSABLE)) == 0)
        & np.isfinite(track.time_s)
        & np.isfinite(track.latitude_deg)
        & np.isfinite(track.longitude_deg)
    )
    rows = np.flatnonzero(usable)
    rows = rows[np.argsort(track.time_s[rows], kind="stable")]
    if len(rows):
        rows = rows[np.append(True, np.diff(track.time_s[rows]) > 1e-6)]
    if len(rows) < 2:
        raise NotEnoughDataError(
            f"{track.source.file}: {len(rows)} of {len(track)} fixes can be used, so no speed can "
            "be worked out.",
            "log again with a clear view of the sky, and with the time written for every point.",
        )
    time_s = track.time_s[rows]
    latitude, longitude = track.latitude_deg[rows], track.longitude_deg[rows]
    origin = (float(np.median(latitude)), _middle_longitude(longitude))
    east, north = to_local(latitude, longitude, *origin)
    position = np.stack([east, north], axis=1)

    interval = np.diff(time_s)
    usual = float(np.median(interval))
    longest = min(max(_GAP_S, _GAP_INTERVALS * usual), _LONGEST_INTERVAL_S)
    breaks = (interval > longest) | (np.diff(track.segment[rows]) != 0)

    step_m = written_step(latitude, ANGLE_STEPS_DEG) * _METRES_PER_DEGREE
    ratio = stated_ratio(track.position_sd_m[rows])
    speed_ratio = stated_ratio(track.speed_sd_mps[rows])
    geometry = _noise_factor(track.hdop[rows])
    velocity, crawl = _velocity(track.speed_mps[rows], track.course_rad[rows], position, time_s)
    wander_m = position_wander(position, breaks, usual, step_m)
    few_m = wander_of_few(position, breaks, usual, step_m) if np.isnan(wander_m) else 0.0
    return Observations(
        rows=rows,
        time_s=time_s,
        position_m=position,
        velocity_mps=velocity,
        crawl=crawl,
        factor=geometry if ratio is None else ratio,
        factor_stated=ratio is not None,
        speed_factor=np.full(len(rows), np.nan) if speed_ratio is None else speed_ratio,
        geometry=geometry,
        breaks=breaks,
        usual_interval_s=usual,
        speed_step_mps=written_step(track.speed_mps[rows], SPEED_STEPS_MPS),
        position_step_m=step_m,
        origin_deg=origin,
        position_wander_m=wander_m,
        slow_wander_m=max(wander_at_slow_pace(position, breaks, usual, step_m), few_m),
        speed_noise_mps=(
            noise_of_means(velocity, usual),
            noise_of_means(velocity, usual, speed_ratio),
        ),
        bandwidth_error_mps=np.zeros(len(rows)),
        held=np.zeros(len(rows), dtype=bool),
        slides=_slides(track.hdop[rows], velocity),
    )


def _middle_longitude(longitude_deg: FloatArray) -> float:
    """Return the median longitude, also for a ride across the date line."""
    turned = longitude_deg - longitude_deg[0]
    turned = (turned + 180.0) % 360.0 - 180.0
    return float((longitude_deg[0] + np.median(turned) + 180.0) % 360.0 - 180.0)


def _velocity(
    speed: FloatArray, course: FloatArray, position: FloatArray, time_s: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return reported velocities and where the log says no more than "slow".

    A course that is missing at speed is taken from the positions around; the speed is then still
    the receiver's own.
    """
    known = np.isfinite(speed)
    direction = course.copy()
    lacking = known & ~np.isfinite(course) & (speed >= CRAWL_MPS)
    if lacking.any():
        ahead = position[np.minimum(np.arange(len(speed)) + 1, len(speed) - 1)]
        behind = position[np.maximum(np.arange(len(speed)) - 1, 0)]
        chord = ahead - behind
        along = np.arctan2(chord[:, 0], chord[:, 1])
        long_enough = np.hypot(chord[:, 0], chord[:, 1]) > 0.5
        direction = np.where(lacking & long_enough, along, direction)
    moving = known & (speed >= CRAWL_MPS) & np.isfinite(direction)
    velocity = np.full((len(speed), 2), np.nan)
    velocity[moving, 0] = (speed * np.sin(direction))[moving]
    velocity[moving, 1] = (speed * np.cos(direction))[moving]
    # A log that reports one speed throughout while its positions travel has no speed to offer.
    travels = float(np.hypot(*np.ptp(position, axis=0))) > _TRAVEL_M
    if known.any() and not moving.any() and np.ptp(speed[known]) < 1e-9 and travels:
        return velocity, np.zeros(len(speed), dtype=bool)
    return velocity, known & (speed < CRAWL_MPS)


def _slides(hdop: FloatArray, velocity: FloatArray) -> BoolArray:
    """Return where satellites stood badly and nothing tells a slide of position from travel.

    No speed is taken there; nor may such positions pull at the speed before and after. A log that
    is badly placed throughout has no better ones.
    """
    slides = np.zeros(len(hdop), dtype=bool)
    known = np.isfinite(hdop)
    if known.any() and not np.isfinite(velocity[:, 0]).any():
        with np.errstate(invalid="ignore"):
            poor = hdop > POOR_HDOP
        if poor.sum() < 0.5 * len(hdop):
            slides |= poor
    return slides


def _noise_factor(hdop: FloatArray) -> FloatArray:
    """Return each fix's noise relative to the usual one, by its dilution of precision."""
    factor = np.ones(len(hdop))
    known = np.isfinite(hdop) & (hdop > 0)
    if known.sum() > 1:
        usual = float(np.median(hdop[known]))
        factor = np.where(known, np.where(known, hdop, usual) / usual, factor)
    return np.clip(factor, _LEAST_FACTOR, _MOST_FACTOR)


def written_step(values: FloatArray, steps: tuple[float, ...]) -> float:
    """Return the step in which a log writes a quantity, 0 if none is seen.

    It is the largest of which nearly all values that occur are multiples, give or take what a
    conversion rounded: never a difference of values, which may be the machine's own way.

    Parameters
    ----------
    values : ndarray
        As read; NaN where missing.
    steps : tuple of float
        Those that a log may have, in the unit of the values: ``ANGLE_STEPS_DEG``,
        ``SPEED_STEPS_MPS``.
    """
    known = np.unique(values[np.isfinite(values)])
    if len(known) < _LEAST_VALUES:
        return 0.0
    # So many values that lie anywhere would all be so near to multiples once in 10,000.
    near = min(_NEAR_STEP, 0.5 * _BY_CHANCE ** (1.0 / len(known)))
    for step in sorted(steps, reverse=True):
        off = np.abs(known / step - np.round(known / step))
        if np.ptp(known) > step and np.quantile(off, _ON_STEP) <= near:
            return step
    return 0.0
