"""Load, smooth, measure: the one composition of all stages, for every entry of the project."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ridelog.analysis.settings import Settings
from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.core.text import shown_name
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track, log_from_bytes, require_times
from ridelog.importer.containers import MAX_LOG_BYTES, unpack
from ridelog.importer.kinds import READ_KINDS

if TYPE_CHECKING:
    from ridelog.analysis.subject import MeasuredRide

Progress = Callable[[float], None]


def load_motion(
    log: Path, *, columns: str = "", report_progress: Progress = lambda done: None
) -> Motion:
    """Return the smoothed motion of a log; ``columns`` is that of ``Settings``.

    RideLogError if there is no such file, or whatever reading and smoothing raise.
    """
    if not log.exists():
        raise UnreadableLogError(
            f"{shown_name(str(log))}: there is no such file.", "check the name and the folder."
        )
    return estimate_motion(load_track(log, columns=columns), report_progress=report_progress)


def motion_of_bytes(
    name: str,
    data: bytes,
    *,
    columns: str = "",
    report_progress: Progress = lambda done: None,
    most_bytes: int = MAX_LOG_BYTES,
) -> Motion:
    """Return the smoothed motion of a log's bytes.

    ``columns`` is that of ``Settings``; ``most_bytes`` bounds what the log may hold once it is
    unpacked. RideLogError if the bytes are no log, hold too much, or cannot give a speed.
    """
    # Unpacked twice, so that a bomb ends at the smaller limit; the second time costs little.
    unpack(name, data, limit_bytes=most_bytes)
    return estimate_motion(
        require_times(log_from_bytes(name, data, columns=columns)),
        report_progress=report_progress,
    )


def measure_ride(
    log: Path, settings: Settings, *, report_progress: Progress = lambda done: None
) -> "MeasuredRide":
    """Return one ride measured with the given settings; errors as for ``load_motion``.

    Estimating the motion is taken for a third of the time, measuring for the rest.
    """
    # All subjects load slowly, and whoever only wants the motion needs none.
    from ridelog.analysis.ride import analyse

    motion = load_motion(
        log,
        columns=settings.columns,
        report_progress=lambda done: report_progress(done / 3.0),
    )
    return analyse(
        motion, settings, report_progress=lambda done: report_progress((1.0 + 2.0 * done) / 3.0)
    )


def measure_rides(
    logs: Sequence[Path], settings: Settings, *, report_progress: Progress = lambda done: None
) -> "list[MeasuredRide | RideLogError]":
    """Return rides measured with the same settings, or in the place of one why it cannot be."""
    found: list[MeasuredRide | RideLogError] = []
    for number, log in enumerate(logs):

        def part(done: float, number: int = number) -> None:
            report_progress((number + done) / len(logs))

        try:
            found.append(measure_ride(log, settings, report_progress=part))
        except RideLogError as error:
            found.append(error)
    return found


def logs_in(places: list[Path], side: str, columns: str = "") -> tuple[list[Path], list[str]]:
    """Return the logs of one side, folders opened, and the names in folders that are no logs.

    ``side`` is "before" or "after", for messages; ``columns`` is that of ``Settings``.
    UnreadableLogError if a place does not exist or a folder holds no log.
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
        inside = [p for p in sorted(place.iterdir()) if p.is_file() and p.name[0] != "."]
        found = [path for path in inside if _is_log(path, columns)]
        others += [str(path) for path in inside if path not in found]
        if not found:
            raise UnreadableLogError(
                f"{shown_name(str(place))}: this folder holds no log (rides {side}).",
                f"put the logs of the rides into it: {READ_KINDS}.",
            )
        logs += found
    return logs, others


def _is_log(path: Path, columns: str) -> bool:
    try:
        load_track(path, columns=columns)
    except RideLogError:
        return False
    return True
