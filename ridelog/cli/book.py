"""The commands about the ride book."""

import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridelog.book.book import Book, usual_folder
from ridelog.book.records import COLUMNS, NOTED, RideEntry
from ridelog.cli.options import (
    Columns,
    CsvFile,
    Force,
    Units,
    UnitsOption,
    command_group,
    read_columns,
    takes,
    words_of,
)
from ridelog.cli.terminal import check_places, deliver, progress, shown
from ridelog.core.errors import BookError, RideLogError
from ridelog.core.text import clean, count_words

if TYPE_CHECKING:
    from ridelog.workflow.measuring import MeasuredLog

book_app = command_group(
    "book", "Keep rides: the logs untouched, machines, set-ups, notes, and figures."
)

BookFolder = Annotated[
    Path | None,
    typer.Option(
        "--book", metavar="DIR", help="The book's folder; else the usual place for user data."
    ),
]
Number = Annotated[int, typer.Argument(metavar="NUMBER", help="Number of the ride in the book.")]


@book_app.command()
def add(
    rides: Annotated[
        list[Path], typer.Argument(metavar="RIDE...", help="Logs to keep; the originals stay.")
    ],
    book: BookFolder = None,
    machine: Annotated[str | None, takes("NAME", "The machine that was ridden.")] = None,
    setup: Annotated[str | None, takes("NAME", "Its set-up, such as '10 teeth'.")] = None,
    columns: Columns = None,
    units: UnitsOption = Units.KMH,
) -> None:
    """Keep logs in the book and measure them; the same log twice is one ride."""
    if setup and not machine:
        with words_of("--setup"):
            raise RideLogError("a set-up belongs to a machine.", "name it with --machine as well.")
    told = read_columns(columns)
    problems = []
    with Book(book) as opened:
        _say_if_new(opened)
        for path in rides:
            try:
                _add_one(opened, path, machine, setup, units, told)
            except RideLogError as error:  # one bad log never stops the others
                problems.append(str(error))
            except OSError as error:
                problems.append(f"{shown(path)}: the file cannot be read ({error.strerror}).")
    _told(problems, f"{len(problems)} of {len(rides)} logs")


@book_app.command(name="list")
def list_rides(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="WORD...", help="Only rides with all of these.")
    ] = None,
    book: BookFolder = None,
    most: Annotated[int, typer.Option(min=1, help="How many to print, the latest first.")] = 50,
    units: UnitsOption = Units.KMH,
    csv: CsvFile = None,
    force: Force = False,
) -> None:
    """List rides, the latest first; the table holds all of them."""
    from ridelog.workflow.book_ride import top_speed

    asked = " ".join(words or [])
    with Book(book, make=False) as opened:
        count = opened.rides.count(asked)
        rides = opened.rides.found(asked, most=most if csv is None else max(count, 1))
        figures = opened.results.figures([ride.id for ride in rides])
    if csv is not None:
        from ridelog.report.figures_csv import book_csv

        rows = [{"ride": ride.id, **asdict(ride)} for ride in rides]
        told = [{k: one.as_json() for k, one in figures[ride.id].items()} for ride in rides]
        check_places([csv], opened.folder, force)
        deliver(csv, book_csv(rows, told), {}, opened.folder, force)
        return
    for ride in rides:
        best = top_speed(figures[ride.id])
        where = ", ".join(part for part in (ride.machine, ride.setup) if part) or "-"
        print(f"{ride.id:5d}  {_when(ride):27}  {_speed(best, units):>22}  {clean(where)}")
    print(count_words(count, "ride"), file=sys.stderr)


@book_app.command()
def show(ride: Number, book: BookFolder = None, units: UnitsOption = Units.KMH) -> None:
    """Show what the book knows of a ride."""
    from ridelog.workflow.book_ride import moment, top_speed

    with Book(book, make=False) as opened:
        entry = opened.rides.get(ride)
        figures = opened.results.figures([ride])[ride]
        result = opened.results.latest(ride)
        rows = [
            ("Ride", f"{entry.id}, {entry.file}"),
            ("When", _when(entry)),
            *([("Why", entry.problem)] if entry.problem else []),
            ("Machine", entry.machine or "not named"),
            ("Set-up", entry.setup or "not named"),
            ("Top speed", _speed(top_speed(figures), units)),
            (
                "Figures of",
                f"ridelog {result.version}, {moment(result.made_utc)}" if result else "none",
            ),
            ("SHA-256", entry.sha256),
            ("The log", str(opened.place(entry.sha256))),
        ]
        rows += [(NOTED[k], v) for k, v in opened.details.conditions(ride).items()]
        rows += [
            (f"Marked {mark.words}", f"{mark.start_s:.1f} to {mark.end_s:.1f} s")
            for mark in opened.details.marks(ride)
        ]
        rows += [
            (f"Note, {moment(note.written_utc)}", note.words) for note in opened.details.notes(ride)
        ]
    for name, value in rows:
        print(f"{name + ':':34} {clean(value)}")


@book_app.command()
def move(
    ride: Number,
    machine: Annotated[str, takes("NAME", "The machine it belongs to.")],
    setup: Annotated[str | None, takes("NAME", "Its set-up.")] = None,
    book: BookFolder = None,
) -> None:
    """Move a ride to another machine or set-up."""
    with Book(book, make=False) as opened:
        entry = opened.assign(ride, machine, setup or "")
    print(f"Ride {ride}: {entry.machine}{', ' + entry.setup if entry.setup else ''}")


@book_app.command()
def again(
    ride: Annotated[
        int | None, typer.Argument(metavar="NUMBER", help="Only this ride, of whatever version.")
    ] = None,
    book: BookFolder = None,
) -> None:
    """Measure rides that have no figures, or those of an older ridelog; say what changed."""
    from ridelog import __version__
    from ridelog.report.ride_json import changed_figures

    problems = []
    with Book(book, make=False) as opened:
        unmeasured = [one.id for one in opened.rides.waiting("waiting", "failed")]
        numbers = [ride] if ride else sorted({*opened.results.not_of(__version__), *unmeasured})
        for number in numbers:
            entry = opened.rides.get(number)
            try:
                before = opened.results.latest(number)
            except BookError:  # damaged: measured anew below
                before = None
            try:
                found = _measure(opened, entry)
            except RideLogError as error:
                problems.append(f"ride {number}: {error}")
                continue
            changes = changed_figures(before.document, found.result.document) if before else ()
            since = f" since ridelog {before.version}" if before else ""
            print(
                f"Ride {number}, {entry.file}: {count_words(len(changes), 'figure')} changed{since}"
            )
            for change in changes:
                print(f"  {change.name}: {_or_none(change.before)} -> {_or_none(change.after)}")
    if not numbers:
        print(f"Every ride was measured by ridelog {__version__}.")
    _told(problems, f"{len(problems)} of {len(numbers)} rides")


@book_app.command()
def export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that is not there yet.")],
    book: BookFolder = None,
) -> None:
    """Write everything as plain files: logs, JSON, set-up files."""
    from ridelog.book.exchange import export_book

    with Book(book, make=False) as opened:
        made = export_book(opened, folder)
    print(f"Wrote {shown(folder)} with {count_words(made.count, 'ride')}")
    _told(made.left_out, "what is damaged was left out")


@book_app.command(name="import")
def import_rides(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="What `book export` wrote.")],
    book: BookFolder = None,
    fill: Annotated[
        bool, typer.Option("--fill", help="Give rides that are there what they lack.")
    ] = False,
) -> None:
    """Read an export into the book; rides that are there stay as they are."""
    from ridelog.book.exchange import import_book

    with Book(book) as opened:
        _say_if_new(opened)
        found = import_book(opened, folder, fill=fill)
    there = count_words(found.present, "was", "were")
    print(f"{count_words(found.added, 'ride')} added, {there} there already")
    _told([*found.differing, *found.problems], "not all of the export is in the book")


@book_app.command()
def check(book: BookFolder = None) -> None:
    """Look for damage: the database, each log against its SHA-256, and both against each other."""
    from ridelog.book.check import check_book

    found = check_book(book or usual_folder())
    print(f"{count_words(found.sound, 'log is', 'logs are')} as given")
    for fault in found.faults:
        print(f"{clean(fault.what)} To mend it: {fault.mend}.")
    if found.faults:
        count = count_words(len(found.faults), "thing is", "things are")
        raise BookError(f"{count} amiss in the book, named above with how to mend each.")


@book_app.command()
def rebuild(
    book: BookFolder = None,
    export: Annotated[
        Path | None,
        typer.Option("--from", metavar="DIR", help="An export with what the folder lacks."),
    ] = None,
) -> None:
    """Make the database anew from the logs and the words beside it; the old one is kept."""
    from ridelog.book.rebuild import rebuild as rebuilt

    found = rebuilt(book or usual_folder(), export)
    print(f"{count_words(found.rides, 'ride')} in the book, {found.added} of them new")
    if found.set_aside:
        print(f"The old database is kept as {found.set_aside}")
    if found.added:
        print("Figures are measured by `ridelog book again`, or when the page is opened")
    _told(found.problems, "not everything could be read")


def _say_if_new(book: Book) -> None:
    """Say that a book was begun: where its drive is missing that is not what its owner meant."""
    if book.made:
        print(f"A new ride book was begun in {shown(book.folder)}", file=sys.stderr)


def _told(problems: Sequence[str], what: str) -> None:
    """Raise what went wrong with some of several things, if anything did."""
    if problems:
        words = " ".join(clean(problem) for problem in problems)
        raise RideLogError(words if len(problems) == 1 else f"{what}: {words}")


def _add_one(
    book: Book, path: Path, machine: str | None, setup: str | None, units: Units, columns: str
) -> None:
    from ridelog.importer import load_track
    from ridelog.workflow.book_ride import top_speed

    load_track(path, columns=columns)  # what is no log is not kept
    original = book.store(path.read_bytes())
    with book.all_or_nothing():
        ride, new = book.rides.add(original, path.name)
        if machine:
            ride = book.assign(ride.id, machine, setup or "")
        if columns:
            book.details.set_conditions(ride.id, {COLUMNS: columns})
    if ride.state != "ready":
        _measure(book, ride)
    best = top_speed(book.results.figures([ride.id])[ride.id])
    words = "added" if new else "was there already"
    print(f"Ride {ride.id}: {shown(Path(ride.file))} {words}, top speed {_speed(best, units)}")


def _measure(book: Book, ride: RideEntry) -> "MeasuredLog":
    """Measure a ride of the book and keep what was found, or why nothing was."""
    from ridelog.analysis.ride import analyse
    from ridelog.workflow.book_ride import settings_of
    from ridelog.workflow.measure import motion_of_bytes
    from ridelog.workflow.measuring import PAGES, keep, measured, pages_bytes

    try:
        with progress("smoothing") as report_progress:
            settings = settings_of(book, ride)
            motion = motion_of_bytes(
                ride.file, book.original(ride.sha256), columns=settings.columns,
                report_progress=report_progress,
            )  # fmt: skip
        with progress("measuring"):
            result = analyse(motion, settings)
    except RideLogError as error:
        book.rides.fail(ride.id, str(error))
        raise
    found = measured(motion, result)
    number = keep(book, ride.id, found)
    book.results.attach(number, PAGES, pages_bytes(result))
    return found


# How a ride without a known time stands in lists.
_STATES = {"waiting": "not measured yet", "failed": "could not be measured"}


def _when(ride: RideEntry) -> str:
    from ridelog.workflow.book_ride import moment

    return moment(ride.start_utc) if ride.state == "ready" else _STATES[ride.state]


def _speed(figure: Any, units: Units) -> str:
    from ridelog.core.units import SPEED_UNITS
    from ridelog.workflow.book_ride import bounds, speed

    if figure is None:
        return "none"
    unit = SPEED_UNITS[units.value]
    return f"{speed(figure, unit)} ({bounds(figure, unit)})"


def _or_none(value: float | str | None) -> str:
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else value
