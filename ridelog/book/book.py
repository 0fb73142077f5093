"""The ride book itself: one folder with the logs as they were given and one SQLite file."""

import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from ridelog.book.database import (
    Connection,
    OutOfReachError,
    changing,
    connect,
    connect_to_read,
    whole,
)
from ridelog.book.kept import Kept
from ridelog.book.machines import Machines
from ridelog.book.originals import Intake, Original, place_of, read_original
from ridelog.book.past import Past
from ridelog.book.records import RideEntry
from ridelog.book.results import Results
from ridelog.book.rides import Details, Rides
from ridelog.book.use import joined
from ridelog.book.words import Words
from ridelog.core.errors import BookError

DATABASE, ORIGINALS, WORDS = "book.sqlite3", "originals", "words"
# Bytes that nobody has written to for this long belong to a process that ended. [s]
_STALE_S = 86_400.0


def usual_folder() -> Path:
    """Return the system's place for user data."""
    from platformdirs import user_data_path

    return user_data_path("ridelog", appauthor=False) / "book"


class Book:
    """An open ride book; use it in a ``with`` block, one object a thread.

    Where its folder cannot be written to, or its disk is full, it can be read. ``alone`` is for who
    has the book alone already. BookError if it cannot be opened, or if there is none and ``make``
    is False.
    """

    def __init__(
        self, folder: Path | None = None, *, make: bool = True, alone: bool = False
    ) -> None:
        self.folder = usual_folder() if folder is None else folder
        self._originals = self.folder / ORIGINALS
        self._incoming = self.folder / "incoming"
        with ExitStack() as opened:
            # A folder that holds no book is left as it is, and gets no file of ours.
            if not alone and os.path.isdir(self._originals):
                self._join(opened)
            self.made = not _size(self.folder / DATABASE)
            if self.made:
                _may_be_made(self.folder, make, usual=folder is None)
            self._connection = self._opened()
            opened.callback(self._connection.close)
            self.rides = Rides(self._connection)
            self.machines = Machines(self._connection)
            self.past = Past(self._connection)
            self.details = Details(self._connection)
            self.results = Results(self._connection)
            self.kept = Kept(self._connection)
            self.words = Words(self._connection, self.folder / WORDS, self._originals)
            self.words.fit()
            if self.made and not alone:
                self._join(opened)
            self._open = opened.pop_all()
        if not self.read_only:
            self.words.write()
            self._connection.changed = self.words.write

    def _opened(self) -> Connection:
        database = self.folder / DATABASE
        self.read_only = not self.made and not (
            os.access(self.folder, os.W_OK) and os.access(database, os.W_OK)
        )
        try:
            if not self.read_only:
                for place in (self.folder, self._originals, self._incoming):
                    place.mkdir(parents=True, exist_ok=True, mode=0o700)
            try:
                return (connect_to_read if self.read_only else connect)(database)
            except OutOfReachError as error:
                if self.made or self.read_only or not error.for_want_of_room:
                    raise
                found = connect_to_read(database)
                self.read_only = True
                return found
        except OSError as error:
            raise BookError(
                f"{self.folder}: the book's folder cannot be made ({_reason(error)}).",
                "choose another folder with --book.",
            ) from error
        except BookError as error:
            raise BookError(f"{database}: {error.problem}", error.advice) from error

    def _join(self, opened: ExitStack) -> None:
        if lock := joined(self.folder):
            opened.callback(lock.close)

    def __enter__(self) -> "Book":
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the book; what was acknowledged is on the disk already."""
        self._open.close()

    @contextmanager
    def all_or_nothing(self) -> Iterator[None]:
        """Do every change that follows, or none of them."""
        with changing(self._connection):
            yield

    @contextmanager
    def one_moment(self) -> Iterator[None]:
        """Read everything that follows as it is at one moment."""
        with whole(self._connection, "BEGIN"):
            yield

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
        with self.all_or_nothing():
            machine_id = self.machines.named(machine).id if machine else None
            state = self.machines.setup_named(machine_id, setup) if machine_id and setup else None
            return self.rides.move(ride_id, machine_id, state.id if state else None)

    def sweep(self) -> int:
        """Throw away bytes of uploads that were cut off; return how many."""
        count = 0
        oldest = time.time() - _STALE_S
        for part in (*self._incoming.glob("*.part"), *self.folder.glob(f"{DATABASE}.*.part")):
            with suppress(OSError):  # another process may have taken it away just now
                if part.stat().st_mtime < oldest:
                    part.unlink()
                    count += 1
        return count


def logs_in(folder: Path) -> tuple[Path, ...]:
    """Return every file that lies among the originals of a book's folder."""
    return tuple(sorted(path for path in (folder / ORIGINALS).glob("*/*") if path.is_file()))


def _may_be_made(folder: Path, make: bool, *, usual: bool) -> None:
    """Raise BookError if a folder holds a book without its database, or may not become one."""
    try:
        logs = len(logs_in(folder))
        words = (folder / WORDS / "book.json").exists()
    except OSError as error:
        raise BookError(
            f"{folder}: the ride book cannot be read ({_reason(error)}).",
            "check the folder's rights, or open another book with --book.",
        ) from error
    # Another process may have made it since; its logs come after it.
    if (logs or words) and not _size(folder / DATABASE):
        raise BookError(
            f"{folder / DATABASE}: the ride book's database is gone, but {logs} of its logs are "
            "there.",
            "run `ridelog book rebuild`, which makes the database anew from them.",
        )
    if not make:
        raise BookError(
            f"{folder}: there is no ride book here.",
            "see that the drive is there, or give the book's folder with --book.",
        )
    # Where a drive is missing its folder often is too: a book there would lie on another disk.
    if not usual and not folder.absolute().parent.exists():
        raise BookError(
            f"{folder}: there is no folder {folder.absolute().parent} for the ride book.",
            "see that the drive is there, or make the folder first.",
        )


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()
