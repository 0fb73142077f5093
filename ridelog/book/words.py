"""What riders wrote, as JSON beside the originals, so that it does not hang on one file.

Every change of the book stands in its table ``unwritten`` until it stands here too, so that a
program that was ended in between is finished by the next one.
"""

import json
import math
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from ridelog.book.database import Connection, spoken, whole
from ridelog.book.kept import Kept
from ridelog.book.machines import Machines
from ridelog.book.originals import place_of
from ridelog.book.past import Past
from ridelog.book.records import RideEntry
from ridelog.book.rides import Details, Rides
from ridelog.core.errors import BookError

SCHEMA, STAMP_SCHEMA = "ridelog.book/1", "ridelog.words/1"
_OF_A_RIDE = ("file", "sha256", "format", "start_utc", "added_utc")
_OF_WORK = ("day", "kind", "words", "price", "currency", "hours", "added_utc")
_OF_A_PHOTO = ("sha256", "size_bytes", "file", "kind", "day", "words", "added_utc")
_OF_AN_ANSWER = ("kind", "asked", "words", "title", "answer", "made_utc")
MACHINES = "machines"


def machines_words(machines: Machines, past: Past, kept: Kept) -> dict[str, Any]:
    """Return what is written of all machines with their histories and what was asked of them."""
    return {
        "schema": SCHEMA,
        "machines": [
            {
                "name": machine.name,
                "note": machine.note,
                "setups": [
                    {"name": setup.name, "since": setup.since_utc, "toml": setup.toml}
                    for setup in machines.setups(machine.id)
                ],
                "work": [
                    {name: getattr(entry, name) for name in _OF_WORK}
                    for entry in past.work(machine.id)
                ],
                "photos": [
                    {name: getattr(photo, name) for name in _OF_A_PHOTO}
                    for photo in past.photos(machine.id)
                ],
                "kept": [
                    {name: getattr(answer, name) for name in _OF_AN_ANSWER}
                    for answer in kept.of(machine.id)
                ],
            }
            for machine in machines.all()
        ],
    }


def ride_words(details: Details, ride: RideEntry) -> dict[str, Any]:
    """Return what is written of one ride."""
    return {
        "schema": SCHEMA,
        **{name: getattr(ride, name) for name in _OF_A_RIDE},
        "duration_s": _finite(ride.duration_s),
        "machine": ride.machine or None,
        "setup": ride.setup or None,
        "conditions": details.conditions(ride.id),
        "notes": [
            {"written_utc": note.written_utc, "words": note.words}
            for note in details.notes(ride.id)
        ],
        "marks": [
            {n: getattr(mark, n) for n in ("kind", "name", "start_s", "end_s")}
            for mark in details.marks(ride.id)
        ],
        "before_riding": [
            {"words": point.words, "ticked": point.ticked, "noted_utc": point.noted_utc}
            for point in details.points(ride.id)
        ],
    }


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def json_bytes(document: dict[str, Any]) -> bytes:
    """Return a document as this room writes it; ValueError if it holds what is no number."""
    text = json.dumps(document, allow_nan=False, ensure_ascii=False, indent=1)
    return (text + "\n").encode("utf-8", "replace")


class Words:
    """The folder of one book's words, and what is still to be written into it."""

    def __init__(self, connection: Connection, folder: Path, originals: Path) -> None:
        self._connection, self.folder, self._originals = connection, folder, originals
        self._rides, self._details = Rides(connection), Details(connection)
        self._machines, self._past = Machines(connection), Past(connection)
        self._kept = Kept(connection)

    def place(self, sha256: str) -> Path:
        """Return where the words of a ride lie."""
        return self.folder / "rides" / f"{sha256}.json"

    def fit(self) -> None:
        """Raise BookError if the database is another's, or older than the words beside it."""
        there = stamp_in(self.folder)
        if there is None:
            return
        book, change = self._stamp()
        if there[0] != book or there[1] > change:
            kind = "another book's" if there[0] != book else "older than the words beside it"
            raise BookError(
                f"the database in the ride book's folder is {kind}; nothing was changed.",
                "run `ridelog book rebuild`, which makes it anew and keeps this one.",
            )

    def ask_for_all(self) -> None:
        """Let everything be written anew."""
        with whole(self._connection):
            self._connection.execute(
                "INSERT OR IGNORE INTO unwritten (what)"
                f" SELECT sha256 FROM ride UNION SELECT '{MACHINES}'"
            )

    def write(self) -> None:
        """Write what is unwritten, and take away what the owner removed.

        What cannot be written now, for want of room, stays unwritten; the book itself is whole.
        """
        with suppress(OSError, BookError), spoken():
            self._write()

    def unwritten(self) -> tuple[str, ...]:
        """Return the SHA-256 of the rides whose words are still to be written, or "machines"."""
        with spoken():
            rows = self._connection.execute("SELECT what FROM unwritten ORDER BY what").fetchall()
        return tuple(row[0] for row in rows)

    def every(self) -> Iterator[tuple[Path, dict[str, Any]]]:
        """Yield each file that is to be in the folder, and what it is to tell."""
        yield self.folder / f"{MACHINES}.json", self._of_machines()
        with spoken():
            known = self._connection.execute("SELECT sha256 FROM ride ORDER BY id").fetchall()
        for (sha256,) in known:
            if ride := self._rides.by_hash(sha256):
                yield self.place(sha256), ride_words(self._details, ride)

    def _of_machines(self) -> dict[str, Any]:
        return machines_words(self._machines, self._past, self._kept)

    def _stamp(self) -> tuple[str, int]:
        with spoken():
            book, change = self._connection.execute("SELECT book, change FROM stamp").fetchone()
        return str(book), int(change)

    def _write(self) -> None:
        ask = self._connection.execute
        pending = "SELECT EXISTS (SELECT 1 FROM unwritten UNION ALL SELECT 1 FROM removed)"
        if not ask(pending).fetchone()[0]:
            return
        (self.folder / "rides").mkdir(parents=True, exist_ok=True, mode=0o700)
        # What a power cut takes of this is written again, so that nothing here waits for the disk.
        ask("PRAGMA synchronous = NORMAL")
        try:
            self._write_alone()
        finally:
            ask("PRAGMA synchronous = FULL")

    def _write_alone(self) -> None:
        """Write with nobody else writing, whose newer words could be put back to older ones."""
        ask = self._connection.execute
        with whole(self._connection):
            for what in self.unwritten():
                if what == MACHINES:
                    _replace(self.folder / f"{MACHINES}.json", self._of_machines())
                elif ride := self._rides.by_hash(what):
                    _replace(self.place(what), ride_words(self._details, ride))
            for (sha256,) in ask("SELECT sha256 FROM removed").fetchall():
                if self._rides.by_hash(sha256) is not None:
                    continue
                self.place(sha256).unlink(missing_ok=True)
                shown = "SELECT EXISTS (SELECT 1 FROM photo WHERE sha256 = ?)"
                if not ask(shown, (sha256,)).fetchone()[0]:
                    place_of(self._originals, sha256).unlink(missing_ok=True)
            book, change = self._stamp()
            _replace(
                self.folder / "book.json",
                {"schema": STAMP_SCHEMA, "book": book, "change": change},
            )
            ask("DELETE FROM unwritten")
            ask("DELETE FROM removed")


def stamp_in(folder: Path) -> tuple[str, int] | None:
    """Return of which book the words in a folder are, and after how many changes, if they tell."""
    try:
        stamp = json.loads((folder / "book.json").read_bytes())
        return str(stamp["book"]), int(stamp["change"])
    except (OSError, ValueError, TypeError, KeyError, RecursionError, OverflowError):
        return None


def _replace(place: Path, document: dict[str, Any]) -> None:
    part = place.with_name(f"{place.name}.part")
    part.write_bytes(json_bytes(document))
    os.chmod(part, 0o600)
    os.replace(part, place)
