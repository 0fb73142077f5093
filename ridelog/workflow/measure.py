"""Load, smooth, measure: the one composition of all stages, for every entry of the project."""

from collections.abc import Callable
from pathlib import Path

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.core.text import shown_name
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

Progress = Callable[[float], None]


def _silent(done: float) -> None:
    """Tell nobody."""


def load_motion(log: Path, *, report_progress: Progress = _silent) -> Motion:
    """Return the smoothed motion of a log.

    Raises
    ------
    RideLogError
        If there is no such file, or whatever reading and smoothing raise.
    """
    if not log.exists():
        raise UnreadableLogError(
            f"{shown_name(str(log))}: there is no such file.", "check the name and the folder."
        )
    return estimate_motion(load_track(log), report_progress=report_progress)


def measure_ride(
    log: Path, settings: Settings, *, report_progress: Progress = _silent
) -> MeasuredRide:
    """Return one ride measured with the given settings; errors as for ``load_motion``."""
    return analyse(load_motion(log, report_progress=report_progress), settings)


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


def _is_log(path: Path) -> bool:
    try:
        load_track(path)
    except RideLogError:
        return False
    return True
