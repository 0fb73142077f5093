"""A satellite receiver on a simulated ride: what it would have logged, with its errors."""

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np

from ridelog.core.track import FixKind, FloatArray, IntArray
from simulate import disturbances as bad
from simulate import slow
from simulate.truth import Truth

Drift = Literal["sinusoids", "second order"]


@dataclass(frozen=True)
class Observation:
    """What a receiver logged, arrays of shape (n,); the errors that went in are in it too.

    Attributes
    ----------
    time_s : stamps, strictly increasing; the true instants are ``true_time_s``. [s]
    east_m, north_m, height_m : positions with their errors, not rounded. [m]
    speed_mps, course_rad : as reported, rounded as the receiver does; NaN where blank.
    hdop, satellites : as reported, 1.
    fix_kind : int64, values of FixKind.
    position_sd_m, speed_sd_mps : as the receiver claims, NaN if it claims nothing. [m], [m/s]
    events : the jumps and other disturbances that happened.
    """

    true_time_s: FloatArray
    time_s: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    height_m: FloatArray
    speed_mps: FloatArray
    course_rad: FloatArray
    hdop: FloatArray
    satellites: FloatArray
    fix_kind: IntArray
    position_sd_m: FloatArray
    speed_sd_mps: FloatArray
    events: tuple[bad.Disturbance, ...] = ()

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, np.ndarray):
                value.flags.writeable = False

    def __len__(self) -> int:
        return int(self.time_s.shape[0])


@dataclass(frozen=True)
class Receiver:
    """The properties of a receiver; ``observe`` takes a ride with it.

    Attributes
    ----------
    rate_hz : fixes a second. [Hz]
    reports_speed : whether it logs speed and course at all.
    position_white_m, position_tail : standard deviation per axis and degrees of freedom of
        Student's t (infinity: normal) of the error of each fix alone. [m]
    drift_m, drift_scale_s, drift_kind : slow position error per axis; its rate of change is about
        drift_m / drift_scale_s. [m], [s]
    speed_white_mps, speed_tail : the same for each axis of the reported velocity. [m/s]
    speed_slow_mps, speed_slow_s : its slow error per axis, a moving average. [m/s], [s]
    height_white_m, height_drift_m : errors of the height. [m]
    course_blank_mps : below this reported speed the course is left blank. [m/s]
    speed_step_mps, course_step_deg : rounding of what is reported; 0 for none.
    drop_share : share of fixes that are lost one by one.
    stamp_jitter_s : half width of an even error of the stamps. [s]
    claims_sd : factor between the claimed and the true standard deviation of a position; None if
        the receiver claims none.
    claims_speed_sd : the same of the white error of a reported velocity.
    shade : how many times larger the errors of each fix are at some times, None for never.
    base_hdop, base_satellites : once settled.
    fix_kind : of all fixes.
    settling : how it starts, None if it has been on for long.
    events_per_min : mean number of each kind of disturbance in a minute.
    """

    rate_hz: float = 10.0
    reports_speed: bool = True
    position_white_m: float = 0.05
    position_tail: float = np.inf
    drift_m: float = 1.0
    drift_scale_s: float = 40.0
    drift_kind: Drift = "sinusoids"
    speed_white_mps: float = 0.08
    speed_tail: float = np.inf
    speed_slow_mps: float = 0.03
    speed_slow_s: float = 3.0
    height_white_m: float = 0.3
    height_drift_m: float = 2.0
    course_blank_mps: float = 0.3
    speed_step_mps: float = 0.01
    course_step_deg: float = 0.01
    drop_share: float = 0.0
    stamp_jitter_s: float = 0.0
    claims_sd: float | None = None
    claims_speed_sd: float | None = None
    shade: Callable[[FloatArray], FloatArray] | None = None
    base_hdop: float = 0.9
    base_satellites: int = 12
    fix_kind: FixKind = FixKind.AUTONOMOUS
    settling: bad.Settling | None = None
    events_per_min: dict[bad.Kind, float] = field(default_factory=dict)

    def observe(self, truth: Truth, rng: np.random.Generator) -> Observation:
        """Return what this receiver logs of a ride; the same generator state, the same log."""
        count = int(truth.duration_s * self.rate_hz + 1e-9) + 1
        time_s = np.arange(float(count)) / self.rate_hz
        events = bad.draw(truth.duration_s, self.events_per_min, rng)
        left = np.zeros(count) if self.settling is None else self.settling.remaining(time_s)
        noisier = 1.0 if self.settling is None else 1.0 + (self.settling.noise_factor - 1.0) * left
        if self.shade is not None:
            noisier = noisier * self.shade(time_s)
        hdop, satellites = self._geometry(time_s, left, events, rng)

        east, north, height = self._positions(truth, time_s, noisier, left, events, rng)
        speed, course = self._reported(truth, time_s, noisier, events, rng)

        kept = ~bad.in_holes(events, time_s) & (rng.random(count) >= self.drop_share)
        kept[0] = True
        jitter = self.stamp_jitter_s * rng.uniform(-1.0, 1.0, count)
        # A stamp may wander by less than half a period, so the order of the fixes stays.
        stamps = time_s + np.clip(jitter, -0.45 / self.rate_hz, 0.45 / self.rate_hz)
        claimed = np.full(count, np.nan)
        if self.claims_sd is not None:
            true_sd = np.hypot(noisier * self.position_white_m, self.drift_m)
            claimed = np.round(self.claims_sd * true_sd * hdop / self.base_hdop, 2)
        claimed_speed = np.full(count, np.nan)
        if self.claims_speed_sd is not None:
            true_sd = np.hypot(self.speed_white_mps, self.speed_slow_mps) * noisier
            claimed_speed = np.round(self.claims_speed_sd * true_sd + np.zeros(count), 3)
        return Observation(
            true_time_s=time_s[kept],
            time_s=(stamps - stamps[0])[kept],
            east_m=east[kept],
            north_m=north[kept],
            height_m=height[kept],
            speed_mps=speed[kept],
            course_rad=course[kept],
            hdop=hdop[kept],
            satellites=satellites[kept],
            fix_kind=np.full(int(np.count_nonzero(kept)), int(self.fix_kind), dtype=np.int64),
            position_sd_m=claimed[kept],
            speed_sd_mps=claimed_speed[kept],
            events=events,
        )

    def _antenna(self, truth: Truth, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        return truth.position_at(time_s)

    def _positions(
        self,
        truth: Truth,
        time_s: FloatArray,
        noisier: FloatArray | float,
        left: FloatArray,
        events: tuple[bad.Disturbance, ...],
        rng: np.random.Generator,
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return east, north and height with their errors. [m]"""
        count = time_s.size
        east, north = self._antenna(truth, time_s)
        height = np.interp(time_s, truth.time_s, truth.height_m)
        for axis in (east, north):
            axis += self._drift(time_s, self.drift_m, rng)
            axis += noisier * self.position_white_m * _white(count, self.position_tail, rng)
        height += self._drift(time_s, self.height_drift_m, rng)
        height += noisier * self.height_white_m * rng.standard_normal(count)
        for axis, moved in zip((east, north), bad.displacement(events, time_s), strict=True):
            axis += moved
        if self.settling is not None:
            bearing = float(rng.uniform(0.0, 2.0 * np.pi))
            east += self.settling.offset_m * left * np.sin(bearing)
            north += self.settling.offset_m * left * np.cos(bearing)
        return east, north, height

    def _drift(self, time_s: FloatArray, rms_m: float, rng: np.random.Generator) -> FloatArray:
        make = slow.sinusoids if self.drift_kind == "sinusoids" else slow.second_order
        return make(time_s, rms_m, self.drift_scale_s, rng)

    def _reported(
        self,
        truth: Truth,
        time_s: FloatArray,
        noisier: FloatArray | float,
        events: tuple[bad.Disturbance, ...],
        rng: np.random.Generator,
    ) -> tuple[FloatArray, FloatArray]:
        """Return reported speed and course. [m/s], [rad]"""
        count = time_s.size
        if not self.reports_speed:
            return np.full(count, np.nan), np.full(count, np.nan)
        shaded = 1.0 if self.shade is None else self.shade(time_s)
        true_velocity = self._true_velocity(truth, time_s)
        east, north = (
            true
            + shaded * self._speed_drift(time_s, rng)
            + noisier * self.speed_white_mps * _white(count, self.speed_tail, rng)
            for true in true_velocity
        )
        speed = np.maximum(np.hypot(east, north) + bad.speed_excess(events, time_s), 0.0)
        speed = _rounded(speed, self.speed_step_mps)
        course = np.radians(_rounded(np.degrees(np.arctan2(east, north)), self.course_step_deg))
        course = np.mod(course, 2.0 * np.pi)
        course[speed < self.course_blank_mps] = np.nan
        return speed, course

    def _speed_drift(self, time_s: FloatArray, rng: np.random.Generator) -> FloatArray:
        return slow.moving_average(time_s, self.speed_slow_mps, self.speed_slow_s, rng)

    def _true_velocity(self, truth: Truth, time_s: FloatArray) -> list[FloatArray]:
        """Return the velocity, east and north. [m/s]"""
        velocity = np.interp(time_s, truth.time_s, truth.velocity_mps)
        heading = np.interp(time_s, truth.time_s, truth.heading_rad)
        return [velocity * np.sin(heading), velocity * np.cos(heading)]

    def _geometry(
        self,
        time_s: FloatArray,
        left: FloatArray,
        events: tuple[bad.Disturbance, ...],
        rng: np.random.Generator,
    ) -> tuple[FloatArray, FloatArray]:
        """Return HDOP and number of satellites, both wandering a little."""
        wander = slow.sinusoids(time_s, 0.06 * self.base_hdop, 30.0, rng)
        hdop = self.base_hdop + np.abs(wander) + bad.hdop_excess(events, time_s)
        satellites = self.base_satellites - 20.0 * np.abs(wander) / self.base_hdop
        satellites -= bad.hdop_excess(events, time_s)
        if self.settling is not None:
            hdop += self.settling.hdop_excess * left
            satellites -= self.settling.satellites_missing * left
        return np.round(hdop, 2), np.maximum(np.round(satellites), 4.0)


def _white(count: int, tail: float, rng: np.random.Generator) -> FloatArray:
    """Return independent errors of unit standard deviation, Student's t for a finite tail."""
    if not np.isfinite(tail):
        return rng.standard_normal(count)
    error: FloatArray = rng.standard_t(tail, count) * np.sqrt((tail - 2.0) / tail)
    return error


def _rounded(value: FloatArray, step: float) -> FloatArray:
    return value if step <= 0.0 else np.round(value / step) * step
