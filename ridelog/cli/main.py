"""The command line: parse, call, print. Heavy imports wait until a command needs them."""

import os
import sys
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from ridelog.cli.batch import batch
from ridelog.cli.book import book_app
from ridelog.cli.choices import options
from ridelog.cli.compare import SHARED, compare, verify
from ridelog.cli.display import display
from ridelog.cli.listen import listen
from ridelog.cli.machine import predict, setup_app
from ridelog.cli.options import (
    Asked,
    Columns,
    CsvFile,
    Force,
    JsonFile,
    Ride,
    Units,
    UnitsOption,
    VariadicCommand,
    command_group,
    read_columns,
    takes,
    with_settings,
)
from ridelog.cli.plain_words import Command
from ridelog.cli.terminal import check_places, deliver, motion_of, progress, shown, warn
from ridelog.core.errors import RideLogError, failed_calculation

_WORDS = "Honest speed figures, with intervals that hold, from the log of a test ride."
app = command_group("ridelog", _WORDS)
app.add_typer(book_app)
app.add_typer(setup_app)


def _say_version(asked: bool) -> None:
    if asked:
        from ridelog import __version__

        print(f"ridelog {__version__}")
        raise typer.Exit


@app.callback()
def ridelog(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_say_version, is_eager=True, help="Say which one it is."
        ),
    ] = False,
) -> None:
    """Honest speed figures, with intervals that hold, from the log of a test ride."""


@app.command(cls=Command)
@with_settings
def report(
    *,
    ride: Ride,
    out: Annotated[
        Path | None, takes("DIR", "Write ride.html, its figures as PNG and result.json here.")
    ] = None,
    units: UnitsOption = Units.KMH,
    json: JsonFile = None,
    csv: CsvFile = None,
    force: Force = False,
    show_coordinates: Annotated[
        bool,
        typer.Option("--show-coordinates", help="Let the page tell where on earth the ride was."),
    ] = False,
    asked: Asked,
) -> None:
    """Print the honest top speed of a ride; write the page to show to the owner."""
    check_places([json, csv, *([out / name for name in _NAMES] if out else [])], ride, force, out)
    motion = motion_of(ride, asked.settings.columns)

    from ridelog.analysis.ride import analyse
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.figures_csv import ride_csv
    from ridelog.report.ride_json import ride_json, to_bytes
    from ridelog.report.screen import ride_lines

    unit = SPEED_UNITS[units.value]
    settings = asked.on(motion.track)
    with progress("measuring") as report_progress:
        result = analyse(motion, settings, report_progress=report_progress)
    warn(result.warnings)
    files: dict[Path, bytes] = {}
    if out is not None:
        from ridelog.report.ride_page import ride_files

        with progress("drawing the page"):
            made = ride_files(result, unit, show_coordinates=show_coordinates)
        files = {out / name: data for name, data in made.items()}
    lines = ride_lines(result, unit)
    document = ride_json(result)
    table = (csv, ride_csv(document) if csv else b"")
    deliver(json, to_bytes(document), files, ride, force, folder=out, lines=lines, table=table)


# As ``report.ride_page`` has them; looked at before anything heavy is loaded.
_NAMES = ("ride.html", "speed.png", "path.png", "signal.png", "result.json")


@app.command(cls=Command)
@partial(with_settings, only=("has_reverse", "reverse_marks_s", "columns"))
def trace(
    *,
    ride: Ride,
    csv: Annotated[Path, takes("FILE", "Where the table goes; - for standard output.")],
    force: Force = False,
    asked: Asked,
) -> None:
    """Write the smoothed motion as a CSV table, a row for each fix read."""
    check_places([csv], ride, force)
    motion = motion_of(ride, asked.settings.columns)

    from ridelog.analysis.reverse.measure import find_reverse
    from ridelog.report.trace import trace_csv

    settings = asked.on(motion.track)
    with progress("looking for reverse"):
        found = find_reverse(
            motion, marks=settings.reverse_marks_s, has_reverse=settings.has_reverse
        )
    with progress("writing the table"):
        table = trace_csv(motion, found.spans, found.possible_spans, settings.columns)
    warn(motion.warnings)
    deliver(csv, table, {}, ride, force)


@app.command(cls=Command)
def signal(
    ride: Ride,
    units: UnitsOption = Units.KMH,
    columns: Columns = None,
    json: JsonFile = None,
    force: Force = False,
) -> None:
    """Tell whether a log is good enough, from when on, and what it can support."""
    check_places([json], ride, force)
    told = read_columns(columns)
    motion = motion_of(ride, told)

    from ridelog.analysis.signal.measure import judge_signal
    from ridelog.analysis.subject import RideSource
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.ride_json import signal_json, to_bytes
    from ridelog.report.screen import signal_lines

    source, quality = RideSource.of(motion), judge_signal(motion)
    warn(motion.warnings)
    lines = signal_lines(source, quality, SPEED_UNITS[units.value])
    deliver(json, to_bytes(signal_json(source, quality, told)), {}, ride, force, lines=lines)


app.command(cls=VariadicCommand)(with_settings(compare, only=(*SHARED, "modes_s")))
app.command(cls=Command)(verify)
app.command(cls=Command)(listen)
app.command(cls=Command)(display)
app.command(cls=Command)(with_settings(batch, only=SHARED))
app.command(cls=VariadicCommand)(with_settings(predict, only=("modes_s",)))
app.command(cls=VariadicCommand)(with_settings(options, only=("modes_s",)))


def run(arguments: list[str] | None = None) -> None:
    """Run the process's or the given command line; leave with 0 done, 1 no answer, 2 wrong use."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter shows a mark instead of ending the run.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        try:
            app(args=arguments)
        finally:
            sys.stdout.flush()
    except RideLogError as error:
        _leave(str(error), error.exit_status)
    except BrokenPipeError:
        _leave("")  # whoever read the output has left; nobody is there to be told
    except OSError as error:  # of a file that no part of the program looks after by itself
        where = f"{shown(Path(str(error.filename)))}: " if error.filename else "the output: "
        _leave(
            f"{where}{(error.strerror or type(error).__name__).lower()}. "
            "What to do: see that the disk is there and has room, then do this again."
        )
    except MemoryError:
        _leave(
            "the memory of this computer does not suffice. What to do: close other programs, or "
            "cut the log down to the one test ride."
        )
    except Exception as error:  # the last line of defence: nobody is shown a traceback
        _leave(str(failed_calculation("this command", error)))


def _leave(words: str, status: int = 1) -> None:
    """End with a sentence; what can no longer be printed is not tried again."""
    with suppress(OSError):
        if words:
            print(f"ridelog: {words}", file=sys.stderr)
    with suppress(OSError, ValueError):  # a stream of a test has no number
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(status)
