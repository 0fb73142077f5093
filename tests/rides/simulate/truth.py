"""What really happened on a simulated ride, piece by piece and on a fine grid, and its figures."""

from dataclasses import dataclass, fields

import numpy as np

from ridelog.core.track import FloatArray

# Spacing of the grid of every truth, chosen fine beside the fastest receiver (25 Hz). [s]
STEP_S = 0.01


@dataclass(frozen=True)
class Span:
    """One labelled stretch of a ride: what it is, when, and its true figures.

    Attributes
    ----------
    kind : word for what it is.
    start_s, end_s : when. [s]
    from_mps, to_mps : velocity at its ends, negative in reverse. [m/s]
    top_mps : highest speed inside, never negative. [m/s]
    distance_m : way covered, never negative. [m]
    heading_rad : where the nose was meant to point at its start. [rad]
    turn_rad : how far the nose was turned on purpose, clockwise positive. [rad]
    """

    kind: str
    start_s: float
    end_s: float
    from_mps: float
    to_mps: float
    top_mps: float
    distance_m: float
    heading_rad: float = 0.0
    turn_rad: float = 0.0


@dataclass(frozen=True)
class BestMean:
    """The highest mean speed over a window, and where the window starts."""

    speed_mps: float
    start_s: float
    course_rad: float


@dataclass(frozen=True)
class TwoWay:
    """The best windows of two opposite directions and their arithmetic mean."""

    mean_mps: float
    first: BestMean
    second: BestMean


@dataclass(frozen=True)
class Truth:
    """The true motion of the body's reference point, every STEP_S, arrays of shape (n,).

    Attributes
    ----------
    time_s : from 0, evenly spaced by STEP_S. [s]
    east_m, north_m, height_m : from where the ride began. [m]
    velocity_mps : along the body, negative in reverse. [m/s]
    accel_mps2 : rate of change of ``velocity_mps``. [m/s²]
    yaw_rate_radps : rate of change of ``heading_rad``, positive clockwise from above. [rad/s]
    heading_rad : where the nose points, clockwise from true north, not wrapped. [rad]
    """

    time_s: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    height_m: FloatArray
    velocity_mps: FloatArray
    accel_mps2: FloatArray
    yaw_rate_radps: FloatArray
    heading_rad: FloatArray

    def __post_init__(self) -> None:
        for field in fields(self):
            getattr(self, field.name).flags.writeable = False

    def __len__(self) -> int:
        return int(self.time_s.shape[0])

    @property
    def duration_s(self) -> float:
        """Return the length of the ride. [s]"""
        return float(self.time_s[-1])

    @property
    def speed_mps(self) -> FloatArray:
        """Return the speed over ground, never negative. [m/s]"""
        return np.abs(self.velocity_mps)

    @property
    def velocity_east_mps(self) -> FloatArray:
        """Return the eastward velocity. [m/s]"""
        return self.velocity_mps * np.sin(self.heading_rad)

    @property
    def velocity_north_mps(self) -> FloatArray:
        """Return the northward velocity. [m/s]"""
        return self.velocity_mps * np.cos(self.heading_rad)

    @property
    def distance_m(self) -> FloatArray:
        """Return the way covered since the start, forward and backward alike. [m]"""
        return running_integral(self.speed_mps)

    def position_at(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return east and north at any times of the ride. [m]"""
        place = np.clip(np.asarray(time_s) / STEP_S, 0.0, len(self) - 1.0)
        index = np.minimum(place.astype(np.int64), len(self) - 2)
        u = place - index
        result = []
        for position, velocity in (
            (self.east_m, self.velocity_east_mps),
            (self.north_m, self.velocity_north_mps),
        ):
            p0, p1 = position[index], position[index + 1]
            m0, m1 = velocity[index] * STEP_S, velocity[index + 1] * STEP_S
            result.append(
                p0 + u * (m0 + u * (3 * (p1 - p0) - 2 * m0 - m1 + u * (2 * (p0 - p1) + m0 + m1)))
            )
        return result[0], result[1]

    def window_means(self, window_s: float, *, reverse: bool = False) -> FloatArray:
        """Return the mean speed of the window that starts at each grid time. [m/s]

        Only forward travel counts (only backward travel with ``reverse``): the other direction
        enters as zero. Empty if the ride is shorter than the window.
        """
        sign = -1.0 if reverse else 1.0
        way = running_integral(np.maximum(sign * self.velocity_mps, 0.0))
        width = round(window_s / STEP_S)
        return (way[width:] - way[:-width]) / (width * STEP_S)

    def best_mean_speed(
        self,
        window_s: float = 1.0,
        *,
        start_s: float = 0.0,
        end_s: float = np.inf,
        reverse: bool = False,
    ) -> BestMean:
        """Return the highest mean of forward speed over any window of a length.

        Parameters
        ----------
        window_s : float
            Length of the window, rounded to whole steps of the grid. [s]
        start_s, end_s : float
            The whole window must lie between these times. [s]
        reverse : bool
            Ask for the highest mean backward speed instead; it is given as a positive number.
        """
        means = self.window_means(window_s, reverse=reverse)
        starts = self.time_s[: means.size]
        allowed = (starts >= start_s - 1e-9) & (starts + window_s <= end_s + 1e-9)
        if not np.any(allowed):
            raise ValueError(f"no window of {window_s} s lies between {start_s} and {end_s} s")
        return self._window(int(np.argmax(np.where(allowed, means, -1.0))), means, window_s)

    def two_way(self, window_s: float = 1.0, *, tolerance_deg: float = 20.0) -> TwoWay | None:
        """Return the best windows of two opposite directions, or None without an opposite one.

        The first is the best window of the ride, the second the best whose course is 180 degrees
        away within the tolerance.
        """
        means = self.window_means(window_s)
        first = self._window(int(np.argmax(means)), means, window_s)
        middle = round(0.5 * window_s / STEP_S)
        away = self.heading_rad[middle : middle + means.size] - first.course_rad
        opposite = np.cos(away) <= -np.cos(np.radians(tolerance_deg))
        if not np.any(opposite & (means > 0.0)):
            return None
        second = self._window(int(np.argmax(np.where(opposite, means, -1.0))), means, window_s)
        return TwoWay(0.5 * (first.speed_mps + second.speed_mps), first, second)

    def crossing_times(self, speed_mps: float, *, rising: bool = True) -> FloatArray:
        """Return every time at which speed over ground passes a value upward or downward. [s]

        Interpolated linearly on the grid.
        """
        above = self.speed_mps >= speed_mps
        changed = above[1:] & ~above[:-1] if rising else above[:-1] & ~above[1:]
        index = np.flatnonzero(changed)
        low, high = self.speed_mps[index], self.speed_mps[index + 1]
        return self.time_s[index] + STEP_S * (speed_mps - low) / (high - low)

    def time_to_distance(self, start_s: float, distance_m: float) -> float:
        """Return how long after a time a way has been covered, NaN if it never is. [s]"""
        way = self.distance_m
        goal = float(np.interp(start_s, self.time_s, way)) + distance_m
        if goal > way[-1]:
            return float("nan")
        index = int(np.searchsorted(way, goal))
        step = way[index] - way[index - 1]
        return float(self.time_s[index] - STEP_S * (way[index] - goal) / step - start_s)

    def _window(self, index: int, means: FloatArray, window_s: float) -> BestMean:
        middle = index + round(0.5 * window_s / STEP_S)
        course = float(np.mod(self.heading_rad[middle], 2.0 * np.pi))
        return BestMean(float(means[index]), float(self.time_s[index]), course)


def running_integral(rate: FloatArray) -> FloatArray:
    """Return the integral of a rate given every STEP_S, from 0, by the trapezoidal rule."""
    total = np.empty_like(rate)
    total[0] = 0.0
    np.cumsum(0.5 * STEP_S * (rate[1:] + rate[:-1]), out=total[1:])
    return total
