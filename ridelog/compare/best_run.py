"""The fastest run of a ride from where it pulled away, for a picture of several rides."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.subject import MeasuredRide
from ridelog.core.track import FloatArray

# Slower than this the machine stands; what receivers show at rest: common practice, no source.
_STANDING_MPS = 0.5
# A pull from standstill takes less; longer runs are cut.
_LONGEST_S = 45.0
# The run has ended where the speed has fallen by this share of its highest.
_FALLEN = 0.25


@dataclass(frozen=True)
class BestRun:
    """Speed over time of the run that holds a ride's best second.

    time_s : seconds since the machine pulled away, NaN-free, increasing.
    speed_mps : smoothed speed.
    """

    time_s: FloatArray
    speed_mps: FloatArray


def best_run(ride: MeasuredRide) -> BestRun | None:
    """Return a ride's fastest run, None if it has no best second or no start before it."""
    at_s = ride["top_speed"].at_s
    motion = ride.motion
    known = motion.used & np.isfinite(motion.speed_mps)
    if not np.isfinite(at_s) or not known.any():
        return None
    order = np.argsort(motion.track.time_s[known], kind="stable")
    time_s = motion.track.time_s[known][order]
    speed = motion.speed_mps[known][order]
    peak = int(np.searchsorted(time_s, at_s + 0.5))
    if peak >= len(time_s):
        return None
    standing = np.flatnonzero(speed[:peak] < _STANDING_MPS)
    if not len(standing) or time_s[peak] - time_s[standing[-1]] > _LONGEST_S:
        return None
    first = int(standing[-1])
    if np.max(np.diff(time_s[first : peak + 1]), initial=0.0) > 2.5:
        return None  # a gap: nobody knows how the speed rose
    fallen = np.flatnonzero(speed[peak:] < (1.0 - _FALLEN) * speed[peak])
    last = peak + int(fallen[0]) if len(fallen) else len(time_s) - 1
    # Where the straight line between both fixes leaves zero is the start, as well as can be told.
    start_s = _start_of(time_s[first : first + 2], speed[first : first + 2])
    inside = slice(first + 1, last + 1)
    return BestRun(
        np.concatenate([[0.0], time_s[inside] - start_s]), np.concatenate([[0.0], speed[inside]])
    )


def _start_of(time_s: FloatArray, speed_mps: FloatArray) -> float:
    rise = speed_mps[1] - speed_mps[0]
    back = speed_mps[0] * (time_s[1] - time_s[0]) / rise if rise > 1e-6 else 0.0
    return float(max(time_s[0] - back, time_s[0] - (time_s[1] - time_s[0])))
