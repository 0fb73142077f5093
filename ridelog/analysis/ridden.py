"""One ride of a side: its motion and what was measured on it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ridelog.analysis.ride import RideResult, analyse
from ridelog.analysis.settings import Settings
from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.core.text import shown_name
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

# Courses of one straight agree within this; the same as for opposite runs.
SAME_WAY_DEG = 20.0


@dataclass(frozen=True)
class RiddenRide:
    """One ride: the smoothed motion and its figures."""

    motion: Motion
    result: RideResult

    @property
    def name(self) -> str:
        """Name of the log's file."""
        return self.result.source.file

    def course_at(self, time_s: float) -> float | None:
        """Return the course at a time in degrees clockwise from north, None where unknown."""
        known = self.motion.used & np.isfinite(self.motion.course_rad)
        if not known.any() or not np.isfinite(time_s):
            return None
        apart = np.where(known, np.abs(self.motion.track.time_s - time_s), np.inf)
        row = int(np.nanargmin(apart))
        if apart[row] > 2.0:
            return None
        return float(np.degrees(self.motion.course_rad[row]) % 360.0)


def measure_ride(
    path: Path, settings: Settings, report_progress: Callable[[float], None] | None = None
) -> RiddenRide:
    """Return one ride measured with the given settings.

    Raises
    ------
    RideLogError
        Whatever reading and estimating raise.
    """
    if not path.exists():
        raise UnreadableLogError(
            f"{shown_name(str(path))}: there is no such file.", "check the name and the folder."
        )
    motion = estimate_motion(load_track(path), report_progress=report_progress)
    return RiddenRide(motion, analyse(motion, settings))


def logs_in(places: list[Path], side: str) -> tuple[list[Path], list[str]]:
    """Return the logs of one side, folders opened, and the names in folders that are no logs.

    Parameters
    ----------
    places : list of Path
        Files and folders.
    side : str
        "before" or "after", for messages.

    Raises
    ------
    UnreadableLogError
        If a place does not exist or a folder holds no log.
    """
    logs: list[Path] = []
    others: list[str] = []
    for place in places:
        if not place.exists():
            raise UnreadableLogError(
                f"{shown_name(str(place))}: there is no such file or folder (rides {side}).",
                "check the name.",
            )
        if not place.is_dir():
            logs.append(place)
            continue
        found = []
        for path in sorted(place.iterdir()):
            if not path.is_file() or path.name.startswith("."):
                continue
            if _is_log(path):
                found.append(path)
            else:
                others.append(str(path))
        if not found:
            raise UnreadableLogError(
                f"{shown_name(str(place))}: this folder holds no log (rides {side}).",
                "put the GPX or NMEA files of the rides into it.",
            )
        logs += found
    return logs, others


def courses_apart_deg(one: float, other: float) -> float:
    """Return the angle between two courses, 0 to 180."""
    return abs((one - other + 180.0) % 360.0 - 180.0)


def _is_log(path: Path) -> bool:
    try:
        load_track(path)
    except RideLogError:
        return False
    return True
