"""How the acceleration of a start decays as speed grows, learnt from all starts of a ride at once.

The force of an electric drive falls with speed, so acceleration falls along a start. A model whose
acceleration is a random walk draws the start too straight between sparse fixes: too slow early, too
fast later. Derivation: standing_start (4) to (7).
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ridelog.core.crossings import cumulative_trapezoid
from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.motion import Motion

# The throttle is open above the first and not yet let go below the second; shares of the highest
# speed of a start, common practice, no source.
_FROM_SHARE, _TO_SHARE = 0.2, 0.9
# The smoother's errors at fixes nearer than this are one error; about its own reach. Own choice.
_SHARED_S = 1.0
# Other ways of falling than the straight line part from it over about this time; own choice.
_SHAPE_S = 1.0


@dataclass(frozen=True)
class AccelerationDecay:
    """By how much acceleration falls with speed, v' = A - k v, and how well that is known.

    per_s : k. [1/s]
    sd_per_s : its standard deviation. [1/s]
    """

    per_s: float
    sd_per_s: float


@dataclass(frozen=True)
class StartDecay:
    """Acceleration A - k v along a course, up to an instant.

    accel_mps2 : A. [m/s²]
    decay : k, and how well it is known.
    until_s : up to where the fixes show it; from there acceleration stays as it is. [s]
    course : shape (2,), unit vector, east and north.
    """

    accel_mps2: float
    decay: AccelerationDecay
    until_s: float
    course: FloatArray

    @property
    def jerk(self) -> float:
        """Return the intensity of jerk that allows for other ways of falling: (7). [m²/s⁵]"""
        share = self.decay.per_s**2 / 3.0 + self.decay.sd_per_s**2
        return float(self.accel_mps2**2 * share * _SHAPE_S)

    def departure(self, time_s: FloatArray, opened_s: FloatArray | float) -> FloatArray:
        """Return how far a start departs from constant acceleration, shape (n, 3, 2).

        Parameters
        ----------
        time_s : ndarray, shape (n,)
            Instants. [s]
        opened_s : ndarray, shape (n,), or float
            When the throttle is open: from there acceleration decays. [s]

        Returns
        -------
        ndarray, shape (n, 3, 2)
            Position, velocity and acceleration, east and north. [m], [m/s], [m/s²]
        """
        since = np.maximum(time_s - opened_s, 0.0)
        decayed = np.minimum(since, np.maximum(self.until_s - opened_s, 0.0))
        later = since - decayed
        # Standing_start (6) with A = 1, and its integrals from zero.
        k = self.decay.per_s
        accel = np.expm1(-k * decayed)
        speed = -accel / k - decayed
        distance = -speed / k - 0.5 * decayed**2
        distance += later * (speed + 0.5 * later * accel)
        speed += later * accel
        along = self.accel_mps2 * np.stack([distance, speed, accel], axis=1)
        result: FloatArray = along[:, :, None] * self.course
        return result


def acceleration_decay_of(
    motion: Motion, spans: Iterable[tuple[float, float]]
) -> AccelerationDecay | None:
    """Return by how much acceleration falls with speed over all starts of a ride.

    The common k of standing_start (5): least squares on the fixes, and the prior named there.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    spans : iterable of (earliest_s, latest_s)
        When the machine still stood before each start, and when it was fastest after it. [s]

    Returns
    -------
    AccelerationDecay or None
        None if too few fixes show how any start pulls.
    """
    agreement = precision = 0.0
    largest: list[float] = []
    for span in spans:
        rows = _pulling(motion, *span)
        if len(rows) < 2:
            continue
        time_s, speed, distance = _along_course(motion, rows)
        plain = np.stack([np.ones_like(time_s), time_s], axis=1)
        (_, pace), *_ = np.linalg.lstsq(plain, speed, rcond=None)
        # A = pace + k (mean speed), and k at most A over the highest speed.
        top = float(speed[-1]) / _TO_SHARE
        largest.append(max(float(pace), 0.0) / max(top - float(speed.mean()), 0.1 * top))
        speed, distance = (
            y - plain @ np.linalg.lstsq(plain, y, rcond=None)[0] for y in (speed, distance)
        )
        # Neighbouring fixes share the smoother's errors.
        alone = min(1.0, float(time_s[-1]) / (len(rows) - 1) / _SHARED_S)
        weight = alone / float(np.mean(motion.speed_sd_mps[rows] ** 2))
        agreement -= weight * float(distance @ speed)
        precision += weight * float(distance @ distance)
    if not largest or max(largest) <= 0.0:
        return None
    middle, sd = 0.5 * float(np.mean(largest)), float(np.mean(largest)) / 12.0**0.5
    precision += sd**-2
    k = (agreement + middle * sd**-2) / precision
    return AccelerationDecay(k, precision**-0.5) if k > 0.0 else None


def decay_of_start(
    motion: Motion, earliest_s: float, latest_s: float, decay: AccelerationDecay | None
) -> StartDecay | None:
    """Return how one start decays, None if nothing does or too few fixes show how hard it pulls."""
    rows = _pulling(motion, earliest_s, latest_s)
    if decay is None or len(rows) < 2:
        return None
    time_s, speed, distance = _along_course(motion, rows)
    # Standing_start (5).
    accel = float(np.polyfit(time_s, speed + decay.per_s * distance, 1)[0])
    moved = np.array(
        [
            motion.east_m[rows[-1]] - motion.east_m[rows[0]],
            motion.north_m[rows[-1]] - motion.north_m[rows[0]],
        ]
    )
    length = float(np.hypot(*moved))
    if accel <= 0.0 or length <= 0.0:
        return None
    return StartDecay(accel, decay, float(motion.track.time_s[rows[-1]]), moved / length)


def _pulling(motion: Motion, earliest_s: float, latest_s: float) -> IntArray:
    """Return the fixes between opened and released throttle, in time order."""
    rows = motion.known_between(earliest_s, latest_s)
    if not len(rows):
        return rows
    speed = motion.speed_mps[rows]
    top = int(np.argmax(speed))
    slow = np.flatnonzero(speed[: top + 1] < _FROM_SHARE * speed[top])
    fast = np.flatnonzero(speed[: top + 1] > _TO_SHARE * speed[top])
    return rows[slow[-1] + 1 if len(slow) else 0 : fast[0]]


def _along_course(motion: Motion, rows: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return time and distance since the first of some fixes, and the speed at each."""
    time_s = motion.track.time_s[rows] - motion.track.time_s[rows[0]]
    speed = motion.speed_mps[rows]
    return time_s, speed, cumulative_trapezoid(time_s, speed)
