"""What the log itself says around a stretch: how it wanders at a stand, whether it agrees."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.geodesy import to_local
from ridelog.core.spans import runs_of
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

# A stand long enough to learn from, slower than this throughout.
_STAND_S, _STAND_MPS, _EDGE_S = 25.0, 0.5, 2.0
# Wander of a receiver with no stand to learn from: the order of published slow errors, as in the
# filter's own prior (2-8 cm/s), doubled for one that is not known.
_UNKNOWN_WANDER_MPS = 0.1
# A degree of latitude, to the nearest 1 %; only sizes a rounding step.
_METRES_PER_DEGREE = 111_000.0
# Positions and reported velocity agree on a stretch if they differ by less than this share of it
# and this much.
_AGREE_SHARE, _AGREE_M = 0.5, 0.5


@dataclass(frozen=True)
class Readings:
    """The usable fixes of a log in time order, shape (m,) or (m, 2).

    speed_mps : as reported, with or without a course; NaN where none. [m/s]
    wander_mps : root mean square of velocity over seconds at stands. [m/s]
    step_m : step in which positions are written. [m]
    """

    time_s: FloatArray
    position_m: FloatArray
    velocity_mps: FloatArray
    speed_mps: FloatArray
    reported: bool
    wander_mps: float
    step_m: float

    def disagreement(self, start_s: float, end_s: float) -> list[str]:
        """Return a doubt if reported velocity and positions tell different ways."""
        if not self.reported:
            return []
        inside = (self.time_s >= start_s - 1e-6) & (self.time_s <= end_s + 1e-6)
        known = inside & np.isfinite(self.velocity_mps[:, 0])
        if np.count_nonzero(known) < 2 or np.count_nonzero(known) < 0.4 * np.count_nonzero(inside):
            return ["the receiver reports no speed or course during it"]
        times = self.time_s[known]
        by_speed = np.trapezoid(self.velocity_mps[known], times, axis=0)
        ends = [self._at(times[0]), self._at(times[-1])]
        by_position = ends[1] - ends[0]
        apart = float(np.linalg.norm(by_position - by_speed))
        if apart > _AGREE_SHARE * float(np.linalg.norm(by_speed)) + _AGREE_M:
            return ["positions and reported speed do not agree on it"]
        return []

    def _at(self, time_s: float) -> FloatArray:
        """Return the mean position within 0.3 s of a time, the nearest one if there is none."""
        near = np.abs(self.time_s - time_s) <= 0.3
        if not near.any():
            near = np.arange(len(self.time_s)) == np.argmin(np.abs(self.time_s - time_s))
        mean: FloatArray = self.position_m[near].mean(axis=0)
        return mean


def readings_of(motion: Motion) -> Readings:
    """Return the fixes of a log that the filter believed."""
    track = motion.track
    believed = motion.used & ((motion.flags & np.uint32(Flag.JUMP)) == 0)
    rows = np.flatnonzero(believed)
    rows = rows[np.argsort(track.time_s[rows], kind="stable")]
    east, north = to_local(track.latitude_deg[rows], track.longitude_deg[rows], *motion.origin_deg)
    position = np.stack([east, north], axis=1)
    speed, course = track.speed_mps[rows], track.course_rad[rows]
    velocity = np.stack([speed * np.sin(course), speed * np.cos(course)], axis=1)
    wrong = (motion.flags[rows] & np.uint32(Flag.SPEED_JUMP)) != 0
    velocity[wrong] = np.nan
    speed = np.where(wrong, np.nan, speed)
    time_s = track.time_s[rows]
    latitudes = np.unique(track.latitude_deg[rows])
    steps = np.diff(latitudes)
    steps = steps[steps > 1e-10]
    return Readings(
        time_s=time_s,
        position_m=position,
        velocity_mps=velocity,
        speed_mps=speed,
        reported=motion.speed_source == "reported",
        wander_mps=_wander(motion, time_s, position, motion.speed_mps[rows]),
        step_m=float(np.quantile(steps, 0.02)) * _METRES_PER_DEGREE if len(steps) > 2 else 0.0,
    )


def _wander(motion: Motion, time_s: FloatArray, position: FloatArray, speed: FloatArray) -> float:
    """Return how fast positions move over two seconds while the machine stands. [m/s]

    White noise of the positions, which the filter averages away, is taken off.
    """
    slow = np.isfinite(speed) & (speed < _STAND_MPS)
    squares: list[FloatArray] = []
    for first, stop in runs_of(slow):
        if time_s[stop - 1] - time_s[first] < _STAND_S:
            continue
        inside = slice(first, stop)
        second = np.floor(time_s[inside] - time_s[first]).astype(np.int64)
        second = np.unique(second, return_inverse=True)[1]
        count = np.bincount(second)
        mean = np.stack(
            [np.bincount(second, position[inside, axis]) / count for axis in (0, 1)], axis=1
        )
        at = np.bincount(second, time_s[inside]) / count
        edge = int(_EDGE_S)
        mean, at, count = mean[edge:-edge], at[edge:-edge], count[edge:-edge]
        if len(at) < 5:
            continue
        span = (at[2:] - at[:-2])[:, None]
        rate = (mean[2:] - mean[:-2]) / span
        noise = motion.noise.position_white_m**2 * (1.0 / count[2:] + 1.0 / count[:-2])
        squares.append((rate**2).sum(axis=1) - 2.0 * noise / span[:, 0] ** 2)
    if not squares:
        return _UNKNOWN_WANDER_MPS
    return float(np.sqrt(max(float(np.concatenate(squares).mean()), 0.0)))
