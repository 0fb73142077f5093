"""The command line: parse, call, print. Heavy imports wait until a command needs them."""

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ridelog.errors import OutputError, RideLogError, UnreadableLogError

if TYPE_CHECKING:
    from ridelog.filtering.motion import Motion

app = typer.Typer(
    name="ridelog",
    help="Honest speed figures, with intervals that hold, from a test ride's GPX or NMEA log.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


class Units(StrEnum):
    """The units in which speeds are printed; files of results are in SI units always."""

    KMH = "km/h"
    MPH = "mph"


Ride = Annotated[
    Path,
    typer.Argument(
        metavar="RIDE",
        help="The log of one ride: GPX or NMEA, plain, gzip or zip.",
        show_default=False,
    ),
]
Force = Annotated[bool, typer.Option("--force", help="Replace files that are there already.")]
JsonFile = Annotated[
    Path | None,
    typer.Option("--json", metavar="FILE", help="Write the result as JSON; - for standard output."),
]


@app.callback()
def ridelog() -> None:
    """Honest speed figures, with intervals that hold, from a test ride's GPX or NMEA log."""


@app.command()
def report(
    ride: Ride,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Write ride.html, its figures as PNG and result.json here."
        ),
    ] = None,
    units: Annotated[Units, typer.Option(help="Units of speed to print.")] = Units.KMH,
    json: JsonFile = None,
    force: Force = False,
    show_coordinates: Annotated[
        bool,
        typer.Option("--show-coordinates", help="Let the page tell where on earth the ride was."),
    ] = False,
) -> None:
    """Print the honest top speed of a ride; write the page to show to the owner."""
    names = ("ride.html", "speed.png", "path.png", "signal.png", "result.json")
    _check_places([json, *([out / name for name in names] if out else [])], ride, force, folder=out)
    motion = _motion_of(ride)

    from ridelog.analysis.ride import analyse
    from ridelog.report.json_result import ride_json, to_bytes
    from ridelog.report.text import ride_lines
    from ridelog.units import SPEED_UNITS

    unit = SPEED_UNITS[units.value]
    result = analyse(motion)
    _warn(result.warnings)
    document = to_bytes(ride_json(result))
    files: dict[Path, bytes] = {}
    if out is not None:
        from ridelog.report.page import ride_page
        from ridelog.report.plots import ride_pictures

        pictures = ride_pictures(motion, result, unit)
        page = ride_page(motion, result, pictures, unit, show_coordinates=show_coordinates)
        files[out / "ride.html"] = page.encode("utf-8", errors="replace")
        files |= {out / f"{picture.name}.png": picture.png for picture in pictures}
        files[out / "result.json"] = document
    _deliver(json, document, files, ride, force, folder=out)
    if not _is_stdout(json):
        _print(ride_lines(result, unit))


@app.command()
def trace(
    ride: Ride,
    csv: Annotated[
        Path, typer.Option(metavar="FILE", help="Where the table goes; - for standard output.")
    ],
    force: Force = False,
) -> None:
    """Write the smoothed motion as a CSV table, a row for each fix read."""
    _check_places([csv], ride, force)
    motion = _motion_of(ride)

    from ridelog.report.trace import trace_csv

    _warn(motion.warnings)
    _deliver(csv, trace_csv(motion), {}, ride, force)


@app.command()
def signal(ride: Ride, json: JsonFile = None, force: Force = False) -> None:
    """Tell whether a log is good enough, from when on, and what it can support."""
    _check_places([json], ride, force)
    motion = _motion_of(ride)

    from ridelog.analysis.ride import describe_source
    from ridelog.analysis.signal_quality import judge_signal
    from ridelog.report.json_result import signal_json, to_bytes
    from ridelog.report.text import signal_lines

    source, quality = describe_source(motion), judge_signal(motion)
    _warn(motion.warnings)
    _deliver(json, to_bytes(signal_json(source, quality)), {}, ride, force)
    if not _is_stdout(json):
        _print(signal_lines(source, quality))


def main(arguments: list[str] | None = None) -> None:
    """Run the command line; leave with 0 done, 1 no answer, 2 wrong use.

    Parameters
    ----------
    arguments : list of str, optional
        Instead of those of the process.
    """
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter shows a mark instead of ending the run.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        app(args=arguments)
    except RideLogError as error:
        print(f"ridelog: {error}", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        # Whoever read the output has left; nobody is there to be told.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)


def _motion_of(ride: Path) -> "Motion":
    if not ride.exists():
        raise UnreadableLogError(
            f"{_shown(ride)}: there is no such file.", "check the name and the folder."
        )

    from ridelog.filtering.smoother import estimate_motion
    from ridelog.importer import load_track

    with _progress() as tell:
        return estimate_motion(load_track(ride), progress=tell)


@contextmanager
def _progress() -> Iterator[Callable[[float], None]]:
    """Show on a terminal how far the work is, once it has taken longer than a second."""
    start = time.monotonic()
    shown = False

    def tell(done: float) -> None:
        nonlocal shown
        if sys.stderr.isatty() and time.monotonic() - start > 1.0:
            shown = True
            full = round(30 * min(max(done, 0.0), 1.0))
            sys.stderr.write(f"\r  {'=' * full}{'.' * (30 - full)} {done:4.0%} ")
            sys.stderr.flush()

    try:
        yield tell
    finally:
        if shown:
            sys.stderr.write("\r" + " " * 44 + "\r")
            sys.stderr.flush()


def _check_places(
    places: list[Path | None], ride: Path, force: bool, folder: Path | None = None
) -> None:
    """Fail before the work, not after it, if a file is in the way."""
    from ridelog.report.output import check_free

    wanted = [place for place in places if place is not None and not _is_stdout(place)]
    if folder is not None and folder.exists() and not folder.is_dir():
        raise OutputError(
            f"{_shown(folder)}: this is a file, not a folder.", "give the name of a folder."
        )
    missing = folder is not None and not folder.exists()
    wanted = [place for place in wanted if not (missing and place.parent == folder)]
    check_free(wanted, force=force, log=ride)


def _deliver(
    place: Path | None,
    data: bytes,
    files: dict[Path, bytes],
    ride: Path,
    force: bool,
    folder: Path | None = None,
) -> None:
    """Write one result to its place or to standard output, and the files that go with it."""
    from ridelog.report.output import make_folder, write_files, write_stdout

    if place is not None and not _is_stdout(place):
        files = {**files, place: data}
    if folder is not None:
        make_folder(folder)
    write_files(files, force=force, log=ride)
    for path in files:
        print(f"Wrote {_shown(path)}", file=sys.stderr)
    if _is_stdout(place):
        write_stdout(data)


def _is_stdout(place: Path | None) -> bool:
    return place is not None and str(place) == "-"


def _warn(warnings: tuple[str, ...]) -> None:
    from ridelog.report.wording import clean

    for warning in warnings:
        print(f"Warning: {clean(warning)}", file=sys.stderr)


def _print(lines: list[tuple[str, str]]) -> None:
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


def _shown(path: Path) -> str:
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in str(path)
    )
