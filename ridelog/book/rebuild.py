"""A book's database made anew from what lies beside it: the logs, the words, and an export.

The old database is kept under another name. Each step can be done again, so that a run that was
ended is finished by the next one.
"""

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ridelog.book.book import DATABASE, WORDS, Book, logs_in
from ridelog.book.check import check_book, must_be_there
from ridelog.book.database import connect, whole
from ridelog.book.exchange import import_book, show_photo, take_machines
from ridelog.book.fill import fill_ride
from ridelog.book.originals import PHOTO_MAGIC, Original, is_sha256, read_original, suffix_of
from ridelog.book.use import alone
from ridelog.book.words import stamp_in
from ridelog.book.written import WrittenMachines, WrittenRide, read_machines, read_ride
from ridelog.core.errors import BookError


@dataclass(frozen=True)
class Rebuilt:
    """What came of it: rides in the book now, of these new; sentences about what is still amiss.

    ``set_aside`` is the name under which the old database is kept, empty if it stays in use.
    """

    rides: int
    added: int
    set_aside: str
    problems: tuple[str, ...]


def rebuild(folder: Path, export: Path | None = None) -> Rebuilt:
    """Give every log and all words in a book's folder, and in an export, their place in the book.

    A sound database stays and gets what it lacks; another one is set aside and made anew.
    BookError if there is no book, another program works on it, or nothing may be written.
    """
    must_be_there(folder)  # what is no book gets no file of ours
    with alone(folder):
        return _rebuilt(folder, export)


def _rebuilt(folder: Path, export: Path | None) -> Rebuilt:
    set_aside = ""
    if not check_book(folder).database_sound:
        try:
            set_aside = _set_aside(folder)
        except OSError as error:
            raise BookError(
                f"{folder / DATABASE}: the old database cannot be set aside "
                f"({(error.strerror or type(error).__name__).lower()}).",
                "check the folder's rights and free space.",
            ) from error
        _make(folder)
    problems: list[str] = []
    added = 0
    with Book(folder, alone=True) as book:
        machines = folder / WORDS / "machines.json"
        try:
            told = read_machines(machines) if machines.exists() else None
        except BookError as error:
            told = None
            problems.append(_unread(machines, error))
        if told is not None:
            with book.all_or_nothing():
                problems += take_machines(book, told)
                _show_photos(book, told)
        written = _written(folder, problems)
        for sha256, words in written.items():
            added += _ride_for(book, sha256, words)
        if export is not None:
            found = import_book(book, export, fill=True)
            added += found.added
            problems += [*found.differing, *found.problems]
        shown = {
            photo.sha256
            for machine in book.machines.all()
            for photo in book.past.photos(machine.id)
        }
        for path in logs_in(folder):
            if path.name in shown:
                continue
            try:
                added += is_sha256(path.name) and _ride_for(book, path.name, None)
            except BookError as error:
                problems.append(str(error))
        book.words.ask_for_all()
        book.words.write()
        return Rebuilt(book.rides.count(), added, set_aside, tuple(problems))


def _show_photos(book: Book, told: WrittenMachines) -> None:
    """Give machines the photos that are written of them; one whose bytes are gone keeps its words.

    Their bytes lie among the originals.
    """
    for entry in told.machines:
        machine = book.machines.named(entry.name)
        for photo in entry.photos:
            place = book.place(photo.sha256)
            show_photo(book, machine.id, photo, Original(photo.sha256, photo.size_bytes, place))


def _set_aside(folder: Path) -> str:
    """Give the old database with its log another name; return it, empty if there is none."""
    database = folder / DATABASE
    number = 1
    while (kept := database.with_stem(f"{database.stem}-set-aside-{number}")).exists():
        number += 1
    # The log first: beside a new database SQLite would take it for that one's.
    for ending in ("-wal", "-shm", ""):
        old = database.with_name(database.name + ending)
        if old.exists():
            os.replace(old, kept.with_name(kept.name + ending))
    return kept.name if kept.exists() else ""


def _make(folder: Path) -> None:
    """Make an empty database that goes on where the words beside it end."""
    connection = connect(folder / DATABASE)
    try:
        stamp = stamp_in(folder / WORDS)
        with whole(connection):
            if stamp is not None:
                connection.execute("UPDATE stamp SET book = ?, change = ?", stamp)
            connection.execute("DELETE FROM unwritten")  # the words beside it are the better ones
    finally:
        connection.close()


def _written(folder: Path, problems: list[str]) -> dict[str, WrittenRide]:
    found = {}
    for path in sorted((folder / WORDS / "rides").glob("*.json")):
        try:
            ride = read_ride(path)
            if ride.sha256 != path.stem:
                raise BookError(f"{path.name}: these words are of another log.")
            found[ride.sha256] = ride
        except BookError as error:
            problems.append(_unread(path, error))
    return found


def _unread(path: Path, error: BookError) -> str:
    """Keep a file of words that cannot be read under another name; return what to say of it."""
    with suppress(OSError):
        os.replace(path, path.with_name(f"{path.name}.set-aside"))
    return f"{error.problem} It is kept as {path.name}.set-aside."


def _ride_for(book: Book, sha256: str, written: WrittenRide | None) -> bool:
    """See that a log has its ride with all that is written of it; return whether it is new.

    A ride whose log is gone or damaged keeps its words; BookError if there are none.
    """
    new = False
    with book.all_or_nothing():
        ride = book.rides.by_hash(sha256)
        if ride is None:
            data = b""
            try:
                data = read_original(book.place(sha256), sha256)
                if written is None and data.startswith(PHOTO_MAGIC):
                    raise BookError(
                        f"the photo {sha256[:12]} belongs to no machine any more; it is kept.",
                        "add it to its machine again.",
                    )
            except BookError:
                if written is None:
                    raise
            name = written.file if written else f"log-{sha256[:12]}.{suffix_of('', data)}"
            original = Original(sha256, len(data), book.place(sha256))
            ride, new = book.rides.add(original, name, lost=True)
        if written is not None:
            fill_ride(book, ride, written)
    return new
