"""Pages of the rides of a table, each made once, by the workers that measure."""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from ridelog.core.errors import RideLogError
from ridelog.present.files import make_folder, write_files
from ridelog.workflow.batch import Engine, LogToMeasure, spread

# So much of a log's SHA-256 names its page: 64 bits, which two of a million logs do not share.
_NAME_DIGITS = 16


def page_name(sha256: str) -> str:
    """Return the file name of the page about a log."""
    return f"{sha256[:_NAME_DIGITS]}.html"


def page_of(log: LogToMeasure, unit: str) -> bytes:
    """Return the page about one log, empty if there is nothing to show or it is another one now."""
    from ridelog.analysis.ride import analyse
    from ridelog.analysis.settings import Settings
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.ride_page import ride_files
    from ridelog.workflow.measure import motion_of_bytes

    try:
        data = log.data if log.data is not None else Path(log.place).read_bytes()
        if hashlib.sha256(data).hexdigest() != log.sha256:
            return b""
        settings = Settings.from_json(dict(log.settings))
        ride = analyse(motion_of_bytes(log.file, data, columns=settings.columns), settings)
    except (RideLogError, OSError):
        return b""
    return ride_files(ride, SPEED_UNITS[unit])["ride.html"]


def make_pages(
    logs: Iterable[tuple[str, Path]],
    wanted: set[str],
    folder: Path,
    engine: Engine,
    *,
    settings: Mapping[str, Any],
    unit: str,
    send: bool = False,
    report_progress: Callable[[int], None] = lambda made: None,
) -> int:
    """Make the page of every wanted log that has none in the folder yet; return how many.

    ``wanted`` are SHA-256. A page appears whole or not at all, so a run that is killed goes on
    where it stopped. OutputError if the folder or a page cannot be written.
    """
    make_folder(folder)
    missing = {sha256 for sha256 in wanted if not (folder / page_name(sha256)).exists()}
    made = 0
    asked = _asked(logs, missing, settings, send)
    for log, page in spread(partial(page_of, unit=unit), asked, engine):
        if isinstance(page, bytes) and page:
            write_files({folder / page_name(log.sha256): page}, force=False)
            made += 1
            report_progress(made)
    return made


def pages_in(folder: Path, sha256s: Iterable[str]) -> dict[str, Path]:
    """Return the page of every log that has one in a folder, by its SHA-256."""
    found = {sha256: folder / page_name(sha256) for sha256 in sha256s if sha256}
    return {sha256: page for sha256, page in found.items() if page.is_file()}


def _asked(
    logs: Iterable[tuple[str, Path]], missing: set[str], settings: Mapping[str, Any], send: bool
) -> Iterator[LogToMeasure]:
    left = set(missing)
    for name, path in logs:
        if not left:
            return
        try:
            data = path.read_bytes()
        except OSError:
            continue  # its row says why
        sha256 = hashlib.sha256(data).hexdigest()
        if sha256 in left:
            left.remove(sha256)
            place = str(path.resolve())
            yield LogToMeasure(name, sha256, place, data if send else None, settings)
