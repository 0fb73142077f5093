"""A receiver that filters: what it measures goes through its own Kalman filter before it is logged.

Its positions and velocities come out of one filter, so that their errors are coloured and alike;
it lags, rests on what it said at a stand, and lets go with a jerk. ``Receiver`` adds independent
errors to the truth instead. An estimator must hold for both.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.linalg import solve_discrete_are
from scipy.signal import lfilter

from ridelog.core.track import FixKind, FloatArray
from simulate.receiver import Observation
from simulate.truth import Truth

Heights = Literal["fix", "flat", "terrain", "absent"]


@dataclass(frozen=True)
class Tuning:
    """What a receiver's filter believes, which need not be so.

    Attributes
    ----------
    agility_mps2 : how much velocity changes in a second: small is smooth and late. [m/s²]
    range_sd_m, doppler_sd_mps : errors of what is measured; no Doppler is used if infinite.
    order : 2 for position and velocity, 3 with an acceleration (agility is then a jerk, [m/s³]).
    average_s : the reported velocity is the mean over so long; 0 for none. [s]
    """

    agility_mps2: float = 3.0
    range_sd_m: float = 1.5
    doppler_sd_mps: float = 0.1
    order: Literal[2, 3] = 2
    average_s: float = 0.0


@dataclass(frozen=True)
class TrackingReceiver:
    """A receiver with its measurements, its filter and its habits; ``observe`` takes a ride.

    Attributes
    ----------
    rate_hz, measures_hz : fixes logged, and measurements made, a second. [Hz]
    reports_speed, reports_hdop : whether it logs speed and course, and HDOP, at all.
    range_white_m, path_m, path_s : white error of what is measured of position per axis, and that
        of signals that come by other paths, which lasts for a time. [m], [s]
    doppler_white_mps, doppler_slow_mps, doppler_slow_s : the same of velocity.
    hold_mps : filtered speed below which it says 0 and repeats its position; let go at 1.6 times
        that. [m/s]
    course_blank_mps : below this reported speed the course is left blank. [m/s]
    speed_step_mps : rounding of the reported speed.
    spikes_per_min, spike_mps : lone readings of speed that are off by up to so much.
    disagrees_mps : what the reported speed is off by for a minute or more. [m/s]
    slides_m, slides_s : at first positions slide in from so far, over so long.
    heights : where the logged height comes from.
    """

    rate_hz: float = 10.0
    measures_hz: float = 10.0
    tuning: Tuning = Tuning()
    reports_speed: bool = True
    reports_hdop: bool = True
    range_white_m: float = 0.6
    path_m: float = 0.8
    path_s: float = 20.0
    doppler_white_mps: float = 0.08
    doppler_slow_mps: float = 0.02
    doppler_slow_s: float = 3.0
    hold_mps: float = 0.0
    course_blank_mps: float = 0.3
    speed_step_mps: float = 0.01
    spikes_per_min: float = 0.0
    spike_mps: float = 0.5
    disagrees_mps: float = 0.0
    slides_m: float = 0.0
    slides_s: float = 8.0
    heights: Heights = "fix"

    def observe(self, truth: Truth, rng: np.random.Generator) -> Observation:
        """Return what this receiver logs of a ride; the same generator state, the same log."""
        # It has been on for a while, at rest, before the ride begins.
        lead_s = 30.0
        count = int((truth.duration_s + lead_s) * self.measures_hz + 1e-9) + 1
        time_s = np.arange(float(count)) / self.measures_hz - lead_s
        inside = np.maximum(time_s, 0.0)
        places = truth.position_at(inside)
        speed = np.interp(inside, truth.time_s, truth.velocity_mps)
        heading = np.interp(inside, truth.time_s, truth.heading_rad)
        velocities = (speed * np.sin(heading), speed * np.cos(heading))
        terrain = np.interp(inside, truth.time_s, truth.height_m) + _ground(*places)
        climb = np.gradient(terrain, time_s)
        axes = [
            self._tracked(place, velocity, time_s, 1.0, rng)
            for place, velocity in zip(places, velocities, strict=True)
        ]
        height = self._tracked(terrain, climb, time_s, 1.7, rng)[0]
        position = np.stack([axis[0] for axis in axes], axis=1)
        velocity = np.stack([axis[1] for axis in axes], axis=1)
        position, reported, held = self._held(position, velocity)
        reported = _averaged(reported, self.tuning.average_s * self.measures_hz)

        every = max(1, round(self.measures_hz / self.rate_hz))
        kept = np.flatnonzero(time_s >= -1e-9)[::every]
        log_s, position, reported = time_s[kept], position[kept], reported[kept]
        bearing = float(rng.uniform(0.0, 2.0 * np.pi))
        left = 0.5 * (1.0 + np.cos(np.pi * np.clip(log_s / self.slides_s, 0.0, 1.0)))
        position = position + self.slides_m * left[:, None] * [np.sin(bearing), np.cos(bearing)]
        said, course = self._said(log_s, reported, held[kept], rng)
        n = len(kept)
        wander = np.abs(_coloured(n, 0.06, 30.0 * self.rate_hz, rng))
        blank = np.full(n, np.nan)
        return Observation(
            true_time_s=log_s,
            time_s=log_s,
            east_m=position[:, 0],
            north_m=position[:, 1],
            height_m=self._logged_height(height[kept], terrain[kept]),
            speed_mps=said,
            course_rad=course,
            hdop=np.round(0.9 + wander, 2) if self.reports_hdop else blank,
            satellites=np.round(12.0 - 20.0 * wander) if self.reports_hdop else blank,
            fix_kind=np.full(n, int(FixKind.AUTONOMOUS), dtype=np.int64),
            position_sd_m=blank,
            speed_sd_mps=blank,
        )

    def _tracked(
        self,
        place: FloatArray,
        velocity: FloatArray,
        time_s: FloatArray,
        worse: float,
        rng: np.random.Generator,
    ) -> tuple[FloatArray, FloatArray]:
        """Return one axis of position and velocity as the receiver's filter has them."""
        count, rate = len(time_s), self.measures_hz
        seen = place + worse * (
            self.range_white_m * rng.standard_normal(count)
            + _coloured(count, self.path_m, self.path_s * rate, rng)
        )
        doppler = velocity + worse * (
            self.doppler_white_mps * rng.standard_normal(count)
            + _coloured(count, self.doppler_slow_mps, self.doppler_slow_s * rate, rng)
        )
        forward, gain = _steady_filter(self.tuning, 1.0 / rate)
        state = np.zeros(self.tuning.order)
        state[0] = seen[0]
        out = np.empty((count, 2))
        for number in range(count):
            state = forward @ state
            surprise = np.array([seen[number], doppler[number]])[: gain.shape[1]]
            state = state + gain @ (surprise - state[: gain.shape[1]])
            out[number] = state[:2]
        return out[:, 0], out[:, 1]

    def _held(
        self, position: FloatArray, velocity: FloatArray
    ) -> tuple[FloatArray, FloatArray, np.ndarray]:
        """Return position and velocity with stands held, and where they are."""
        held = np.zeros(len(position), dtype=bool)
        if self.hold_mps <= 0.0:
            return position, velocity, held
        speed = np.hypot(*velocity.T)
        wait = round(self.measures_hz)
        slow_for, holding = 0, False
        position, velocity = position.copy(), velocity.copy()
        for number in range(len(held)):
            slow_for = slow_for + 1 if speed[number] < self.hold_mps else 0
            holding = slow_for >= wait or (holding and speed[number] < 1.6 * self.hold_mps)
            if holding and number:
                position[number], velocity[number] = position[number - 1], 0.0
            held[number] = holding
        return position, velocity, held

    def _said(
        self, time_s: FloatArray, velocity: FloatArray, held: np.ndarray, rng: np.random.Generator
    ) -> tuple[FloatArray, FloatArray]:
        """Return speed and course as written. [m/s], [rad]"""
        n = len(time_s)
        # Chance is drawn in any case, so that a log of positions alone is of the same ride.
        begin = float(rng.uniform(0.0, max(time_s[-1] - 60.0, 1.0)))
        last = float(rng.uniform(60.0, 180.0))
        spiked = rng.random(n) < self.spikes_per_min / 60.0 / self.rate_hz
        excess = rng.uniform(0.3, 1.0, n) * self.spike_mps * np.where(spiked, 1.0, 0.0)
        if not self.reports_speed:
            return np.full(n, np.nan), np.full(n, np.nan)
        speed = np.hypot(*velocity.T) + excess
        wrong = (time_s >= begin) & (time_s < begin + last) & ~held
        speed = np.maximum(speed + np.where(wrong & (speed > 0.5), self.disagrees_mps, 0.0), 0.0)
        if self.speed_step_mps > 0.0:
            speed = np.round(speed / self.speed_step_mps) * self.speed_step_mps
        course = np.arctan2(velocity[:, 0], velocity[:, 1]) % (2.0 * np.pi)
        course[speed < self.course_blank_mps] = np.nan
        return speed, course

    def _logged_height(self, filtered: FloatArray, terrain: FloatArray) -> FloatArray:
        if self.heights == "absent":
            return np.full(len(filtered), np.nan)
        if self.heights == "flat":
            return np.zeros(len(filtered))
        # A model of the terrain is written in whole metres.
        return np.round(terrain) if self.heights == "terrain" else filtered


def _ground(east_m: FloatArray, north_m: FloatArray) -> FloatArray:
    """Return the height of a yard that is not flat. [m]"""
    height: FloatArray = 0.6 * np.sin(east_m / 23.0) + 0.4 * np.sin(north_m / 17.0 + 1.0)
    return height


def _steady_filter(tuning: Tuning, step_s: float) -> tuple[FloatArray, FloatArray]:
    """Return transition and steady gain of a receiver's filter.

    Source
    ------
    Y. Bar-Shalom, X. R. Li and T. Kirubarajan, "Estimation with Applications to Tracking and
    Navigation", Wiley 2001, section 6.2 (white acceleration and white jerk, from memory).
    """
    n, h = tuning.order, step_s
    forward = np.array([[1.0, h, 0.5 * h**2], [0.0, 1.0, h], [0.0, 0.0, 1.0]])[:n, :n]
    if n == 2:
        noise = np.array([[h**3 / 3.0, h**2 / 2.0], [h**2 / 2.0, h]])
    else:
        noise = np.array(
            [
                [h**5 / 20.0, h**4 / 8.0, h**3 / 6.0],
                [h**4 / 8.0, h**3 / 3.0, h**2 / 2.0],
                [h**3 / 6.0, h**2 / 2.0, h],
            ]
        )
    noise *= tuning.agility_mps2**2
    sd = [tuning.range_sd_m, tuning.doppler_sd_mps]
    seen = 2 if np.isfinite(tuning.doppler_sd_mps) else 1
    measured = np.eye(n)[:seen]
    variance = np.diag(np.square(sd[:seen]))
    ahead = solve_discrete_are(forward.T, measured.T, noise, variance)
    gain = ahead @ measured.T @ np.linalg.inv(measured @ ahead @ measured.T + variance)
    return forward, gain


def _coloured(count: int, sd: float, fixes: float, rng: np.random.Generator) -> FloatArray:
    """Return a first-order error of a correlation time, in fixes."""
    keep = float(np.exp(-1.0 / max(fixes, 1e-6)))
    fresh = sd * np.sqrt(1.0 - keep**2) * rng.standard_normal(count)
    fresh[0] = sd * rng.standard_normal()
    error: FloatArray = lfilter([1.0], [1.0, -keep], fresh)
    return error


def _averaged(values: FloatArray, fixes: float) -> FloatArray:
    """Return the mean of each value and those before it, over so many."""
    width = max(1, round(fixes))
    before = np.concatenate([np.repeat(values[:1], width - 1, axis=0), values])
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(before, axis=0)])
    mean: FloatArray = (total[width:] - total[:-width]) / width
    return mean
