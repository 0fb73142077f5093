"""The trace of a ride for the page: as many points as there are pixels, exact when zoomed in."""

import io
from dataclasses import dataclass
from typing import Any

import numpy as np

from ridelog.core.track import BoolArray, FloatArray
from ridelog.core.units import SpeedUnit
from ridelog.present.thinning import lowest_and_highest, thin_path

# One standard deviation to half of a 90 % interval: the normal quantile at 95 %.
HALF_WIDTH = 1.645
_MOST_COLUMNS = 4_000
# Points of the path on the page, and how far one may lie from the line that leaves it out. [m]
_MOST_PATH, _PATH_TOLERANCE_M = 3_000, 0.05


@dataclass(frozen=True)
class RideTrace:
    """The smoothed motion of a ride in time order, read back from the book; shapes (m,), SI."""

    time_s: FloatArray
    broken: BoolArray
    speed_mps: FloatArray
    speed_sd_mps: FloatArray
    accel_mps2: FloatArray
    east_m: FloatArray
    north_m: FloatArray

    @classmethod
    def from_bytes(cls, data: bytes) -> "RideTrace":
        """Return the trace that ``measuring.trace_bytes`` wrote."""
        with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
            return cls(
                time_s=arrays["time_s"].astype(np.float64),
                broken=arrays["broken"].astype(bool),
                **{
                    name: arrays[name].astype(np.float64)
                    for name in ("speed_mps", "speed_sd_mps", "accel_mps2", "east_m", "north_m")
                },
            )


def speed_columns(
    trace: RideTrace, unit: SpeedUnit, start_s: float, end_s: float, columns: int
) -> dict[str, list[float | None]]:
    """Return speed and its band between two times, thinned to columns of pixels.

    The lowest and highest point of every column stay, so no peak is lost; with fewer points than
    that, all of them are there. One point beyond either end is kept, so that the line goes on.

    Parameters
    ----------
    trace : RideTrace
        The whole ride.
    unit : SpeedUnit
        In which speeds are given.
    start_s, end_s : float
        The stretch in view. [s]
    columns : int
        Columns of pixels.

    Returns
    -------
    dict
        Lists "time" [s], "speed", "low", "high" [unit]; null where the line is interrupted.
    """
    first = max(0, int(np.searchsorted(trace.time_s, start_s)) - 1)
    last = min(len(trace.time_s), int(np.searchsorted(trace.time_s, end_s, side="right")) + 1)
    time_s, speed = trace.time_s[first:last], trace.speed_mps[first:last]
    if not len(time_s):
        return {"time": [], "speed": [], "low": [], "high": []}
    broken = trace.broken[first + 1 : last]
    columns = int(np.clip(columns, 50, _MOST_COLUMNS))
    rows = lowest_and_highest(time_s, broken, speed, columns)
    half = HALF_WIDTH * trace.speed_sd_mps[first:last][rows]
    # After thinning a break lies between two kept rows if one lay anywhere between them.
    breaks = np.concatenate([[0], np.cumsum(broken)])[rows]
    gap_after = np.flatnonzero(np.diff(breaks) > 0)
    known = {
        "time": time_s[rows],
        "speed": unit.from_mps(1.0) * speed[rows],
        "low": unit.from_mps(1.0) * np.maximum(speed[rows] - half, 0.0),
        "high": unit.from_mps(1.0) * (speed[rows] + half),
    }
    return {
        name: _with_gaps(values, gap_after, 4 if name == "time" else 3)
        for name, values in known.items()
    }


def path_columns(trace: RideTrace, unit: SpeedUnit) -> dict[str, list[float | None]]:
    """Return the path in local metres with the time and speed of every point kept."""
    beside = trace.broken | np.append(trace.broken[1:], False)
    rows = thin_path(trace.east_m, trace.north_m, beside, _PATH_TOLERANCE_M, _MOST_PATH)
    breaks = np.cumsum(trace.broken)[rows]
    gap_after = np.flatnonzero(np.diff(breaks) > 0)
    known = {
        "time": trace.time_s[rows],
        "east": trace.east_m[rows],
        "north": trace.north_m[rows],
        "speed": unit.from_mps(1.0) * trace.speed_mps[rows],
    }
    return {name: _with_gaps(values, gap_after, 3) for name, values in known.items()}


def _with_gaps(values: FloatArray, gap_after: Any, decimals: int) -> list[float | None]:
    rounded: list[float | None] = np.round(values, decimals).tolist()
    for place in gap_after[::-1].tolist():
        rounded.insert(place + 1, None)
    return rounded
