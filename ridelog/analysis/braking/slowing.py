"""Where a machine slowed down harder than rolling and air can explain: candidates for braking."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.fitted import FittedPath
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import BoolArray, FloatArray

# Deceleration that free rolling can reach: rolling resistance on medium soil, 0.08 of the weight
# (Carvill, Mechanical Engineer's Data Handbook, 1993), of which half is allowed for, ...
_ROLLING_MPS2 = 0.5
# ... and air, half density times 0.7 m² (the largest of Cossalter's range) over 100 kg. [1/m]
_AIR_PM = 0.0042
# How sure it must be that the deceleration lies above that, in standard deviations of the path.
_SURE_SD = 2.0
# Decelerations are means over this long, or the time between two fixes if that is longer.
_WIDTH_S = 0.4
# Braking is measured from above walking pace (6 km/h, e.g. StVZO § 63a) and takes off as much as
# this: common practice, no source.
_FROM_MPS, _DROP_MPS = 1.67, 1.5
# Pauses up to this long do not part one braking from the next; common practice, no source.
_PAUSE_S = 0.5


@dataclass(frozen=True)
class Slowing:
    """One span of the fitted path on which a brake must have worked.

    start_s, end_s : where the deceleration passes half of its usual value. [s]
    from_mps, to_mps : speed of the fitted path there.
    """

    start_s: float
    end_s: float
    from_mps: float
    to_mps: float


def find_slowings(
    path: FittedPath, speed_sd_mps: float, rate_hz: float, excluded: tuple[Span, ...] = ()
) -> list[Slowing]:
    """Return the spans of one piece on which the machine was braked, in time order."""
    spacing = float(path.time_s[1] - path.time_s[0])
    width_s = max(_WIDTH_S, 1.0 / rate_hz)
    decel = -smoothed(path.accel_mps2, max(1, round(width_s / spacing)))
    # A mean over a width is the difference of two speeds by it.
    decel_sd = np.sqrt(2.0) * speed_sd_mps / width_s
    beyond = decel > coasting_limit_mps2(path.speed_mps) + _SURE_SD * decel_sd
    found: list[Slowing] = []
    for first, stop in joined_runs(beyond, path.time_s, _PAUSE_S):
        usual = float(np.median(decel[first:stop][beyond[first:stop]]))
        strong = decel > 0.5 * usual
        begin, end = first, stop - 1
        while begin > 0 and strong[begin - 1]:
            begin -= 1
        while end + 1 < len(decel) and strong[end + 1]:
            end += 1
        while begin < end and not strong[begin]:
            begin += 1
        if found and path.time_s[begin] <= found[-1].end_s + _PAUSE_S:
            before = found.pop()
            begin = int(np.searchsorted(path.time_s, before.start_s))
        start_s, end_s = float(path.time_s[begin]), float(path.time_s[end])
        if any(start_s < last and end_s > start for start, last in excluded):
            continue
        found.append(
            Slowing(start_s, end_s, float(path.speed_mps[begin]), float(path.speed_mps[end]))
        )
    return [
        one for one in found if one.from_mps > _FROM_MPS and one.from_mps - one.to_mps > _DROP_MPS
    ]


def coasting_limit_mps2(speed_mps: FloatArray) -> FloatArray:
    """Return the deceleration up to which a machine may just roll freely. [m/s²]"""
    return _ROLLING_MPS2 + _AIR_PM * speed_mps**2


def smoothed(values: FloatArray, width: int) -> FloatArray:
    """Return the mean over ``width`` neighbouring values, the ends repeated."""
    if width < 2:
        return values
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def joined_runs(inside: BoolArray, time_s: FloatArray, pause_s: float) -> list[tuple[int, int]]:
    """Return first and one-past-last index of each run of True, joined over pauses. [s]"""
    runs: list[tuple[int, int]] = []
    for first, stop in runs_of(inside):
        if runs and time_s[first] - time_s[runs[-1][1] - 1] <= pause_s:
            runs[-1] = (runs[-1][0], stop)
        else:
            runs.append((first, stop))
    return runs
