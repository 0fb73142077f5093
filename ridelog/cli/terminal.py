"""What every command shares: reading a ride, progress, checking places, delivering."""

import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from ridelog.core.errors import PlaceError
from ridelog.core.text import clean

if TYPE_CHECKING:
    from ridelog.filtering.motion import Motion
# Shorter work is not worth a line. [s]
QUIET_S = 1.0


def motion_of(ride: Path, columns: str = "") -> "Motion":
    """Return the smoothed motion of a log, showing progress on a terminal.

    ``columns`` is that of ``Settings``.

    UnreadableLogError if there is no such file.
    """
    from ridelog.workflow.measure import load_motion

    with progress("reading and smoothing the log") as report_progress:
        return load_motion(ride, columns=columns, report_progress=report_progress)


def check_places(
    places: list[Path | None], ride: Path, force: bool, folder: Path | None = None
) -> None:
    """Fail before the work, not after it, if a file is in the way."""
    from ridelog.present.files import check_free

    wanted = [place for place in places if place is not None and not _is_stdout(place)]
    if sum(_is_stdout(place) for place in places) > 1:
        raise PlaceError(
            "JSON and table cannot both go to standard output.", "give one of them a file."
        )
    if folder is not None and folder.exists() and not folder.is_dir():
        raise PlaceError(
            f"{shown(folder)}: this is a file, not a folder.", "give the name of a folder."
        )
    missing = folder is not None and not folder.exists()
    wanted = [place for place in wanted if not (missing and place.parent == folder)]
    check_free(wanted, force=force, log=ride)


def deliver(
    place: Path | None,
    data: bytes,
    files: dict[Path, bytes],
    ride: Path,
    force: bool,
    folder: Path | None = None,
    lines: Sequence[tuple[str, str]] = (),
    table: tuple[Path | None, bytes] = (None, b""),
) -> None:
    """Write one result and its files; print lines unless it goes to standard output itself.

    ``table`` is the same result as CSV and where it goes; both to standard output cannot be.
    """
    from ridelog.present.files import make_folder, write_files, write_stdout

    if place is not None and not _is_stdout(place):
        files = {**files, place: data}
    as_csv, rows = table
    if as_csv is not None and not _is_stdout(as_csv):
        files = {**files, as_csv: rows}
    if folder is not None:
        make_folder(folder)
    write_files(files, force=force, log=ride)
    for path in files:
        print(f"Wrote {shown(path)}", file=sys.stderr)
    if _is_stdout(place):
        write_stdout(data)
    elif _is_stdout(as_csv):
        write_stdout(rows)
    elif lines:
        _print_lines(lines)


def _is_stdout(place: Path | None) -> bool:
    """Return whether a place is "-", standard output."""
    return place is not None and str(place) == "-"


def warn(warnings: Iterable[str]) -> None:
    """Write warnings to standard error."""
    for warning in warnings:
        print(f"Warning: {clean(warning)}", file=sys.stderr)


def _print_lines(lines: Sequence[tuple[str, str]]) -> None:
    """Print lines; on a terminal with colour, which repeats only what the words say."""
    styles = {"headline": "bold", "caution": "yellow", "quiet": "dim", "": ""}
    if not sys.stdout.isatty():
        print("\n".join(text for text, _ in lines))
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    for text, style in lines:
        console.print(Text(text, style=styles[style]))


def shown(path: Path) -> str:
    """Return a path that cannot steer a terminal."""
    return clean(str(path))


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """Show on a terminal that work is going on; yields a function that takes its share, 0 to 1.

    Where standard error is no terminal nothing is drawn and no thread started.
    """
    if not sys.stderr.isatty():
        yield lambda share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("  {task.description}"), BarColumn(24), TaskProgressColumn(),
        TimeElapsedColumn(), console=Console(stderr=True), transient=True,
        redirect_stdout=False, redirect_stderr=False,
    )  # fmt: skip
    task = bar.add_task(what, total=None)
    begin = threading.Timer(QUIET_S, bar.start)
    begin.daemon = True
    begin.start()
    try:
        yield lambda share: bar.update(task, total=1.0, completed=share)
    finally:
        begin.cancel()
        begin.join()
        bar.live.stop()
