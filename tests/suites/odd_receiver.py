"""A receiver with the habits that real ones have and the samples' do not."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.signal import lfilter
from simulate import Receiver, Truth
from simulate.disturbances import Disturbance
from simulate.truth import STEP_S

from ridelog.core.track import FloatArray

SpeedDrift = Literal["moving average", "reflected walk"]
LagKind = Literal["mean", "delay", "first order"]


@dataclass(frozen=True)
class OddReceiver(Receiver):
    """A receiver that may be late, hold what it said, or sit ahead of the body.

    Attributes
    ----------
    speed_slow_kind : of the slow error of the reported velocity.
    lag_s : how far the reported velocity runs behind. [s]
    lag_kind : how it comes about. mean: over twice the lag; delay: by the lag, nothing else;
        first order: an exponential memory of the lag.
    ahead_m : how far the antenna sits ahead of the body's reference point. [m]
    course_freezes : the course repeats its last value where it would be blank.
    hold_mps : below this true speed the receiver reports 0 and repeats its position. [m/s]
    """

    speed_slow_kind: SpeedDrift = "moving average"
    lag_s: float = 0.0
    lag_kind: LagKind = "mean"
    ahead_m: float = 0.0
    course_freezes: bool = False
    hold_mps: float = 0.0

    def _antenna(self, truth: Truth, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        east, north = super()._antenna(truth, time_s)
        if self.ahead_m != 0.0:
            heading = np.interp(time_s, truth.time_s, truth.heading_rad)
            east = east + self.ahead_m * np.sin(heading)
            north = north + self.ahead_m * np.cos(heading)
        return east, north

    def _held(self, truth: Truth, time_s: FloatArray) -> np.ndarray:
        return np.interp(time_s, truth.time_s, truth.speed_mps) < self.hold_mps

    def _positions(
        self,
        truth: Truth,
        time_s: FloatArray,
        noisier: FloatArray | float,
        left: FloatArray,
        events: tuple[Disturbance, ...],
        rng: np.random.Generator,
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        east, north, height = super()._positions(truth, time_s, noisier, left, events, rng)
        place = np.where(self._held(truth, time_s), 0, np.arange(time_s.size))
        last = np.maximum.accumulate(place)
        return east[last], north[last], height

    def _reported(
        self,
        truth: Truth,
        time_s: FloatArray,
        noisier: FloatArray | float,
        events: tuple[Disturbance, ...],
        rng: np.random.Generator,
    ) -> tuple[FloatArray, FloatArray]:
        speed, course = super()._reported(truth, time_s, noisier, events, rng)
        held = self._held(truth, time_s)
        speed[held] = np.where(np.isnan(speed[held]), np.nan, 0.0)
        course[held] = np.nan
        if self.course_freezes:
            place = np.where(np.isnan(course), 0, np.arange(time_s.size))
            course = course[np.maximum.accumulate(place)]
        return speed, course

    def _speed_drift(self, time_s: FloatArray, rng: np.random.Generator) -> FloatArray:
        if self.speed_slow_kind == "reflected walk":
            return reflected_walk(time_s, self.speed_slow_mps, self.speed_slow_s, rng)
        return super()._speed_drift(time_s, rng)

    def _true_velocity(self, truth: Truth, time_s: FloatArray) -> list[FloatArray]:
        """Return the antenna's velocity, east and north, as late as the receiver tells it."""
        if self.lag_s > 0.0 and self.lag_kind == "mean":
            # The mean velocity of a stretch is the way across it by its length.
            now, before = (self._antenna(truth, time_s - back) for back in (0.0, 2.0 * self.lag_s))
            return [(a - b) / (2.0 * self.lag_s) for a, b in zip(now, before, strict=True)]
        at_s = truth.time_s if self.lag_s > 0.0 else time_s
        heading = np.interp(at_s, truth.time_s, truth.heading_rad)
        across = self.ahead_m * np.interp(at_s, truth.time_s, truth.yaw_rate_radps)
        east, north = super()._true_velocity(truth, at_s)
        both = [east + across * np.cos(heading), north - across * np.sin(heading)]
        if self.lag_s <= 0.0:
            return both
        if self.lag_kind == "delay":
            return [np.interp(time_s - self.lag_s, truth.time_s, axis) for axis in both]
        keep = float(np.exp(-STEP_S / self.lag_s))
        late = [lfilter([1.0 - keep], [1.0, -keep], axis - axis[0]) + axis[0] for axis in both]
        return [np.interp(time_s, truth.time_s, axis) for axis in late]


def reflected_walk(
    time_s: FloatArray, rms: float, scale_s: float, rng: np.random.Generator
) -> FloatArray:
    """Return a random walk between two walls: evenly distributed, RMS ``rms``.

    ``scale_s`` is its slowest relaxation time, (2 L)² / (pi² D) for walls 2 L apart.
    """
    wall = rms * np.sqrt(3.0)
    step_s = scale_s / 40.0
    n = int((time_s[-1] - time_s[0]) / step_s) + 3
    # Variance of a step is 2 D times its length, D the diffusion constant.
    diffusion = (2.0 * wall) ** 2 / (np.pi**2 * scale_s)
    free = rng.uniform(-wall, wall) + np.cumsum(
        rng.standard_normal(n) * np.sqrt(2.0 * diffusion * step_s)
    )
    # Unfolding a walk between mirrors: the triangle wave of the free walk.
    folded = np.abs(np.mod(free + wall, 4.0 * wall) - 2.0 * wall) - wall
    between: FloatArray = np.interp(time_s, time_s[0] + step_s * np.arange(n), folded)
    return between
