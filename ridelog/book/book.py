"""The ride book itself: one folder with the logs as they were given and one SQLite file."""

import time
from dataclasses import dataclass
from pathlib import Path

from ridelog.book.database import connect
from ridelog.book.machines import Machines
from ridelog.book.originals import Intake, Original, place_of, read_original
from ridelog.book.records import RideEntry
from ridelog.book.results import Results
from ridelog.book.rides import Details, Rides
from ridelog.core.errors import BookError

DATABASE = "book.sqlite3"
# Bytes that nobody has written to for this long belong to a process that ended. [s]
_STALE_S = 86_400.0


@dataclass(frozen=True)
class Check:
    """How sound a book is: how many logs match, which do not, and which belong to no ride."""

    sound: int
    damaged: tuple[str, ...]
    without_ride: tuple[str, ...]


class Book:
    """An open ride book; use it in a ``with`` block, one object a thread."""

    def __init__(self, folder: Path | None = None) -> None:
        if folder is None:  # the system's place for user data
            from platformdirs import user_data_path

            folder = user_data_path("ridelog", appauthor=False) / "book"
        self.folder = folder
        self._originals = self.folder / "originals"
        self._incoming = self.folder / "incoming"
        try:
            for place in (self.folder, self._originals, self._incoming):
                place.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = (error.strerror or type(error).__name__).lower()
            raise BookError(
                f"{self.folder}: the book's folder cannot be made ({reason}).",
                "choose another folder with --book.",
            ) from error
        self._connection = connect(self.folder / DATABASE)
        self.rides = Rides(self._connection, self._originals)
        self.machines = Machines(self._connection)
        self.details = Details(self._connection)
        self.results = Results(self._connection)

    def __enter__(self) -> "Book":
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the book; what was acknowledged is on the disk already."""
        self._connection.close()

    def intake(self) -> Intake:
        """Return a place for the bytes of one log that come piece by piece."""
        return Intake(self._incoming, self._originals)

    def store(self, data: bytes) -> Original:
        """Keep the bytes of one log."""
        with self.intake() as intake:
            intake.write(data)
            return intake.finish()

    def original(self, sha256: str) -> bytes:
        """Return the bytes of a log, proven by its SHA-256."""
        return read_original(self.place(sha256), sha256)

    def place(self, sha256: str) -> Path:
        """Return where a log lies."""
        return place_of(self._originals, sha256)

    def assign(self, ride_id: int, machine: str, setup: str = "") -> RideEntry:
        """Say by their names on which machine, in which set-up, a ride was ridden.

        Names that are new are added to the book; an empty one says that it is not known. BookError
        if there is a set-up without a machine.
        """
        self.rides.get(ride_id)
        if setup and not machine:
            raise BookError("a set-up belongs to a machine.", "name the machine as well.")
        machine_id = self.machines.named(machine).id if machine else None
        setup_id = self.machines.setup_named(machine_id, setup).id if machine_id and setup else None
        return self.rides.move(ride_id, machine_id, setup_id)

    def sweep(self) -> int:
        """Throw away bytes of uploads that were cut off; return how many."""
        count = 0
        oldest = time.time() - _STALE_S
        for part in self._incoming.glob("*.part"):
            if part.stat().st_mtime < oldest:
                part.unlink(missing_ok=True)
                count += 1
        return count

    def check(self) -> Check:
        """Compare every log with its SHA-256."""
        known = {row[0] for row in self._connection.execute("SELECT sha256 FROM ride")}
        damaged: list[str] = []
        for sha256 in sorted(known):
            try:
                self.original(sha256)
            except BookError:
                damaged.append(sha256)
        there = {path.name for path in self._originals.glob("??/*")}
        return Check(len(known) - len(damaged), tuple(damaged), tuple(sorted(there - known)))
