"""The command that waits beside the machine until the receiver is ready, and keeps the ride."""

import dataclasses
import json
import math
import re
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridelog.cli.book import BookFolder, add
from ridelog.cli.options import Units, UnitsOption
from ridelog.cli.terminal import shown
from ridelog.core.errors import NotEnoughDataError, RideLogError

if TYPE_CHECKING:
    from ridelog.receiving.monitor import Reading

# One line of JSON at most this often. [s]
_TELL_S = 0.25
# Without a terminal the state is repeated this often, so that a file of it stays short. [s]
_REPEAT_S = 10.0
_COLOURS = {"no fix": "white on red", "settling": "black on yellow", "ready": "white on green4"}
_LENGTH = re.compile(r"(\d{1,7}(?:\.\d{1,3})?)\s*(s|min|h)?")
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, None: 1.0}


def _length_s(words: str) -> float:
    found = _LENGTH.fullmatch(words.strip())
    if found is None or not float(found[1]) > 0.0:
        raise typer.BadParameter(f"{words!r} is no length of time: write it as 600s, 10min or 2h.")
    return float(found[1]) * _SECONDS[found[2]]


def listen(
    source: Annotated[
        str,
        typer.Argument(
            metavar="SOURCE",
            help="The receiver: /dev/ttyUSB0 or /dev/ttyUSB0@115200 (COM3 likewise), "
            "tcp://host:port, udp://:port, - for standard input; a log with --replay.",
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="The log to write; else ride-DATE-TIME.nmea or .ubx, and the book.",
        ),
    ] = None,
    json: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="-", help="The state as JSON on standard output, one a line."
        ),
    ] = None,
    for_s: Annotated[
        float | None,
        typer.Option("--for", metavar="TIME", parser=_length_s, help="Stop after 600s, 10min, 2h."),
    ] = None,
    replay: Annotated[
        bool, typer.Option("--replay", help="Play a recorded NMEA or UBX log in its own time.")
    ] = False,
    in_book: Annotated[
        bool, typer.Option("--in-book", help="Keep the ride in the book though --out is given.")
    ] = False,
    book: BookFolder = None,
    machine: Annotated[
        str | None, typer.Option(metavar="NAME", help="The machine that is ridden.")
    ] = None,
    setup: Annotated[str | None, typer.Option(metavar="NAME", help="Its set-up.")] = None,
    units: UnitsOption = Units.KMH,
) -> None:
    """Wait until the receiver is ready, and record the ride; Ctrl-C ends it."""
    if json not in (None, "-"):
        raise typer.BadParameter("only - (standard output) is possible.", param_hint="'--json'")

    from ridelog.receiving.line import Replay, open_source
    from ridelog.receiving.listening import Listening
    from ridelog.receiving.recorder import Recorder

    line = Replay(Path(source)) if replay else open_source(source)
    place = out or Path(time.strftime("ride-%Y%m%d-%H%M%S.nmea"))
    try:
        recorder = Recorder(place)
    except RideLogError:
        line.close()
        raise
    print(f"Listening to {line.name}, writing {shown(place)}. Ctrl-C ends it.", file=sys.stderr)
    listening, last = Listening(line, recorder), None
    # Set before anything slow is loaded: a ride is never lost to an early Ctrl-C.
    for one in (signal.SIGINT, signal.SIGTERM):
        signal.signal(one, lambda *_: listening.stop())
    tell = _told_as_json() if json else _told(units)
    with tell as show:
        for last in listening.readings(for_s):
            try:
                show(last)
            except BrokenPipeError:  # whoever read the states has left; the ride is kept
                listening.stop()
    if out is None:
        place = _with_its_ending(place)
    _finish(place, recorder.size_bytes, last, listening.problem)
    if in_book or out is None:
        _keep(place, book, machine, setup, units)


def _with_its_ending(place: Path) -> Path:
    """Return where a log lies that was named before anything came: a UBX log ends in .ubx."""
    from ridelog.core.bounded_read import read_at_most
    from ridelog.importer.kinds import SEARCH_BYTES
    from ridelog.importer.ubx_messages import holds_motion

    better = place.with_suffix(".ubx")
    if better.exists() or not holds_motion(read_at_most(place, SEARCH_BYTES)):
        return place
    return place.rename(better)


def _finish(
    place: Path, size_bytes: int, last: "Reading | None", problem: RideLogError | None
) -> None:
    if not size_bytes:
        place.unlink()
        if problem is not None:
            raise problem
        raise NotEnoughDataError(
            "Nothing arrived from the receiver, so no log was kept.",
            "check that it is switched on and sends on this line at this speed.",
        )
    fixes = last.fixes if last is not None else 0
    if problem is not None:
        from ridelog.core.errors import OutputError

        if isinstance(problem, OutputError):
            raise problem
        print(f"Warning: {problem}", file=sys.stderr)
    print(f"Wrote {shown(place)}: {fixes:,} fixes, {size_bytes:,} bytes", file=sys.stderr)
    if not fixes and last is not None:
        print(f"Warning: it holds no position, for {last.reason}.", file=sys.stderr)


def _keep(
    place: Path, book: Path | None, machine: str | None, setup: str | None, units: Units
) -> None:
    """Put the ride into the book; what cannot be measured stays as a file, with its reason."""
    try:
        add([place], book=book, machine=machine, setup=setup, units=units)
    except RideLogError as error:
        print(f"Warning: not kept in the book: {error}", file=sys.stderr)


@contextmanager
def _told_as_json() -> Iterator[Any]:
    """Yield a function that writes a state as a line of JSON."""
    told_s = -math.inf

    def show(reading: "Reading") -> None:
        nonlocal told_s
        if time.monotonic() - told_s >= _TELL_S * 0.8:
            told_s = time.monotonic()
            print(json.dumps(dataclasses.asdict(reading), allow_nan=False), flush=True)

    yield show


@contextmanager
def _told(units: Units) -> Iterator[Any]:
    """Yield a function that shows a state: a bar to be read from afar; lines without a terminal."""
    if not sys.stdout.isatty():
        seen, told_s = "", -math.inf

        def write(reading: "Reading") -> None:
            nonlocal seen, told_s
            word = reading.word
            if word != seen or time.monotonic() - told_s >= _REPEAT_S:
                seen, told_s = word, time.monotonic()
                print(f"{word}: {reading.reason}{_details(reading, units)}", flush=True)

        yield write
        return
    from rich.console import Console, Group
    from rich.live import Live
    from rich.text import Text

    console = Console()
    with Live(console=console, refresh_per_second=8, transient=False) as live:

        def draw(reading: "Reading") -> None:
            width = console.width
            style = f"bold {_COLOURS[reading.state]}"
            word = " ".join(reading.word.upper())
            bar = [Text(row.center(width), style=style) for row in ("", word, "")]
            words = f"{reading.reason}{_details(reading, units)}"
            live.update(Group(*bar, Text(words, overflow="fold")))

        yield draw


def _details(reading: "Reading", units: Units) -> str:
    from ridelog.core.units import SPEED_UNITS

    return "".join(f"  {part}" for part in reading.details(SPEED_UNITS[units.value]))
