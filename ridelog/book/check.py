"""How sound a book is: its database by SQLite's own checks, and against its folder both ways."""

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from ridelog.book.book import DATABASE, ORIGINALS, WORDS, logs_in
from ridelog.book.database import OutOfReachError, connect_to_check, spoken
from ridelog.book.originals import is_sha256, read_original
from ridelog.book.versions import STEPS, layout, layout_of, version
from ridelog.book.words import SCHEMA, Words, json_bytes, stamp_in
from ridelog.core.errors import BookError
from ridelog.core.text import clean, count_words

_REBUILD = "run `ridelog book rebuild`"
_ADD = "add the log again, or `ridelog book import` an export that has it; its words stay"
_PHOTO = "`ridelog book import` an export that has it, or add it again; its words stay"
# From this version on a book holds photos.
_WITH_PHOTOS = 3
# So many faults of one kind are named; the rest is counted.
_MOST_NAMED = 20


@dataclass(frozen=True)
class Fault:
    """Something amiss, in words, and how to mend it."""

    what: str
    mend: str


@dataclass(frozen=True)
class Check:
    """What a check found: logs that are as they were given, and what is amiss.

    ``database_sound`` is whether the database itself can go on being used.
    """

    sound: int
    faults: tuple[Fault, ...]
    database_sound: bool


def check_book(folder: Path) -> Check:
    """Look at everything in a book's folder and change nothing; BookError if there is no book."""
    must_be_there(folder)
    logs = logs_in(folder)
    database, words = folder / DATABASE, folder / WORDS
    damage = _database_faults(folder)
    faults = [Fault(what, _REBUILD) for what in damage]
    known: set[str] | None = None
    photos: set[str] = set()
    told_otherwise = False
    if not damage:
        with closing(connect_to_check(database)) as connection, spoken():
            known = {row[0] for row in connection.execute("SELECT sha256 FROM ride")}
            if version(connection) >= _WITH_PHOTOS:
                photos = {row[0] for row in connection.execute("SELECT sha256 FROM photo")}
            if version(connection) == len(STEPS):
                faults += _result_faults(connection)
                found, told_otherwise = _word_faults(Words(connection, words, folder / ORIGINALS))
                faults += found
    there = set()
    sound = 0
    for path in logs:
        if not is_sha256(path.name) or path.parent.name != path.name[:2]:
            faults.append(
                Fault(f"{ORIGINALS}/{clean(path.name)} is no log of the book.", "take it away")
            )
            continue
        there.add(path.name)
        try:
            read_original(path, path.name)
            sound += 1
        except BookError as error:
            faults.append(Fault(error.problem, _ADD))
    if known is not None:
        faults += _few([f"the photo {one[:12]} is gone." for one in sorted(photos - there)], _PHOTO)
        there -= photos - known
        faults += _few([f"the log {one[:12]} is gone." for one in sorted(known - there)], _ADD)
        faults += _few(
            [f"the log {one[:12]} belongs to no ride." for one in sorted(there - known)], _REBUILD
        )
    return Check(sound, tuple(faults), not damage and not told_otherwise)


def must_be_there(folder: Path) -> None:
    """Raise BookError if nothing of a book is in a folder."""
    try:
        parts = (folder / DATABASE, folder / WORDS, *logs_in(folder)[:1])
        if any(part.exists() for part in parts):
            return
    except OSError as error:
        raise BookError(
            f"{folder}: the ride book cannot be read ({(error.strerror or '?').lower()}).",
            "check the folder's rights, or open another book with --book.",
        ) from error
    raise BookError(
        f"{folder}: there is no ride book here.",
        "see that the drive is there, or give the book's folder with --book.",
    )


def _database_faults(folder: Path) -> list[str]:
    """Return what is wrong with the database itself; nothing if it can go on being used."""
    database = folder / DATABASE
    try:
        if not database.is_file() or not database.stat().st_size:
            return [f"{DATABASE}: the database is gone."]
        with closing(connect_to_check(database)) as connection, spoken():
            seen = version(connection)
            if seen > len(STEPS):
                raise BookError(
                    f"{DATABASE}: a newer ridelog wrote this book.", "install that version."
                )
            found = [
                f"{DATABASE}: {clean(str(row[0]))}."
                for row in connection.execute(f"PRAGMA integrity_check({_MOST_NAMED})")
                if row[0] != "ok"
            ]
            if layout(connection) != layout_of(seen) or not seen:
                found.append(f"{DATABASE}: its tables are not those of a ride book.")
                return found
            found += [
                f"{DATABASE}: row {row[1]} of table {row[0]} belongs to nothing in {row[2]}."
                for row in connection.execute("PRAGMA foreign_key_check").fetchmany(_MOST_NAMED)
            ]
            stamp = stamp_in(folder / WORDS)
            if not found and stamp is not None and seen == len(STEPS):
                row = connection.execute("SELECT book, change FROM stamp").fetchone()
                if row is None or row[0] != stamp[0]:
                    found.append(f"{DATABASE}: this is another book's database.")
                elif row[1] < stamp[1]:
                    found.append(f"{DATABASE}: the database is older than the words beside it.")
            return found
    except OSError as error:
        raise OutOfReachError(
            f"{database}: the database cannot be read ({(error.strerror or '?').lower()}).",
            "see that the drive is there, and check the folder's rights.",
        ) from error
    except OutOfReachError as error:
        raise OutOfReachError(f"{database}: {error.problem}", error.advice) from error
    except BookError as error:
        if "newer ridelog" in error.problem:
            raise
        return [f"{DATABASE}: {error.problem}"]


def _result_faults(connection: sqlite3.Connection) -> list[Fault]:
    """Compare figures and drawings with their SHA-256."""
    rows = connection.execute(
        "SELECT ride_id FROM result WHERE digest NOT IN ('', sha256(settings, document)) UNION"
        " SELECT ride_id FROM attachment JOIN result ON result.id = result_id"
        " WHERE attachment.digest NOT IN ('', sha256(data))"
    )
    return [
        Fault(f"the figures of ride {row[0]} are damaged.", f"run `ridelog book again {row[0]}`")
        for row in rows.fetchall()
    ]


def _word_faults(words: Words) -> tuple[list[Fault], bool]:
    """Compare the words in the database with those beside the originals, both ways.

    Returns also whether a file tells well what the database tells otherwise: both were written
    together, and of the two only a file shows whether it is whole.
    """
    late, every = words.unwritten(), dict(words.every())
    told = {place: _told(place) for place in every if place.stem not in late}
    other = [
        place for place, there in told.items() if there != json.loads(json_bytes(every[place]))
    ]
    differing = [
        f"{place.name}: the words beside the originals are not those in the database."
        for place in other
    ]
    strangers = set((words.folder / "rides").glob("*.json")) - set(every)
    differing += [f"{clean(place.name)}: these words are of no ride." for place in strangers]
    if late:
        differing.append(
            f"{count_words(len(late), 'change')} not yet written beside the originals."
        )
    whole = stamp_in(words.folder) is not None and any(told[place] for place in other)
    return _few(sorted(differing), _REBUILD), whole


def _told(place: Path) -> object:
    """Return what a file of words tells, nothing if it cannot be read."""
    try:
        told = json.loads(place.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return told if isinstance(told, dict) and told.get("schema") == SCHEMA else None


def _few(words: list[str], mend: str) -> list[Fault]:
    found = [Fault(each, mend) for each in words[:_MOST_NAMED]]
    if len(words) > _MOST_NAMED:
        found.append(Fault(f"and {len(words) - _MOST_NAMED} more of this kind.", mend))
    return found
