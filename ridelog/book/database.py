"""The SQLite file of the book: opened safely, changed wholly or not at all, faults put in words.

A book that may only be read is read as it is.
"""

import hashlib
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ridelog.book import versions
from ridelog.core.errors import BookError

# How long one process waits for another that writes. [ms]
_WAIT_MS = 20_000
# Between two tries of what SQLite itself does not wait for. [s]
_RETRY_S = 0.01
_MEND = "run `ridelog book check`, which says how to mend it."
# What SQLite answers, by its primary result code, in the words of the book.
_FAULTS: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_FULL: (
        "the disk is full", "make room on it and do this again; what was in the book is unharmed.",
    ),
    sqlite3.SQLITE_READONLY: (
        "the ride book can only be read here",
        "make room if the disk is full, or copy the book's folder to where you may write.",
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk with the ride book cannot be read or written",
        "see that it is there and has room, then do this again.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the ride book cannot be opened",
        "check the folder's rights and free space, or open another book with --book.",
    ),
    sqlite3.SQLITE_BUSY: (
        "another program has been writing into the ride book for a long time",
        "end it, or do this again in a moment.",
    ),
}  # fmt: skip


# What SQLite answers where the memory that readers of one file share finds no room.
_NO_ROOM = (
    sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_SHMOPEN, sqlite3.SQLITE_IOERR_SHMMAP,
    sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_FULL,
)  # fmt: skip


class OutOfReachError(BookError):
    """The book's disk, its rights or another program are in the way; the book may be sound."""

    @property
    def for_want_of_room(self) -> bool:
        """Whether there is no room for what is needed beside the file, which may still be read."""
        return getattr(self.__cause__, "sqlite_errorcode", 0) in _NO_ROOM


class Connection(sqlite3.Connection):
    """A connection that tells when something was changed, and may hold a copy of a book."""

    changed: Callable[[], None] | None = None
    copy: tempfile.TemporaryDirectory[str] | None = None

    def close(self) -> None:
        """Close the connection; a copy goes with it."""
        super().close()
        if self.copy is not None:
            self.copy.cleanup()


@contextmanager
def spoken() -> Iterator[None]:
    """Let every fault of SQLite end in a sentence; BookError."""
    try:
        yield
    except sqlite3.IntegrityError:
        raise  # a rule of the tables: whoever breaks it knows the words
    except (sqlite3.ProgrammingError, sqlite3.InterfaceError):
        raise  # a mistake of ours
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)
        if code & 0xFF in _FAULTS and code != sqlite3.SQLITE_IOERR_SHORT_READ:
            what, advice = _FAULTS[code & 0xFF]
            raise OutOfReachError(f"{what} ({error}).", advice) from error
        raise BookError(f"the ride book's file is damaged ({error}).", _MEND) from error


def connect(path: Path) -> Connection:
    """Return a connection to the book's file, which is made or brought up to date if needed.

    Every write is on the disk before it is acknowledged (WAL with synchronous=FULL). BookError if
    the file is no book, is damaged, or was written by a newer ridelog.
    """
    with spoken():
        connection = _connected(path)
        try:
            _keep_a_log(connection)
            connection.execute("PRAGMA synchronous = FULL")
            versions.update(connection, path)
        except BaseException:
            connection.close()
            raise
    return connection


def connect_to_read(path: Path) -> Connection:
    """Return a connection that reads a book where nothing may be written.

    What another program left in the write-ahead log, and what an older version lacks, is taken
    into account in a copy that lasts as long as the connection.
    """
    connection = connect_to_check(path)
    with spoken():
        if versions.version(connection) != len(versions.STEPS):
            connection.close()
            connection, place = _copied(path)
            versions.update(connection, place)
            connection.execute("PRAGMA query_only = ON")
    return connection


def connect_to_check(path: Path) -> Connection:
    """Return a connection that reads a book's file as it is, of whatever version."""
    with spoken():
        connection = _beside_others(path) if os.access(path.parent, os.W_OK) else None
        if connection is None:
            log = path.with_name(f"{path.name}-wal")
            if log.is_file() and log.stat().st_size:
                connection, _ = _copied(path)
            else:  # nobody can write there, so that no lock and no shared memory are needed
                connection = _connected(path, "immutable=1")
        connection.execute("PRAGMA query_only = ON")
    return connection


def _beside_others(path: Path) -> Connection | None:
    """Return a connection that reads beside others; None where there is no room even for that.

    What readers share needs room for its first user alone, so that there is no other one then.
    """
    connection = _connected(path, "mode=ro")
    try:
        connection.execute("PRAGMA schema_version").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        if error.sqlite_errorcode not in _NO_ROOM:
            raise
        return None
    except BaseException:
        connection.close()
        raise
    return connection


class Tables:
    """A part of the book: reads and writes some of its tables through one connection."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def _rows(self, statement: str, *values: object) -> list[sqlite3.Row]:
        with spoken():
            return self._connection.execute(statement, values).fetchall()

    def _row(self, statement: str, *values: object) -> sqlite3.Row | None:
        with spoken():
            found: sqlite3.Row | None = self._connection.execute(statement, values).fetchone()
        return found

    def _known(self, what: str, number: int, statement: str) -> sqlite3.Row:
        """Return the row of a number; BookError if there is none."""
        row = self._row(statement, number)
        if row is None:
            raise BookError(f"{what} {number} is not in the book.", "look at the list again.")
        return row

    def _do(self, statement: str, *values: object) -> sqlite3.Cursor:
        """Change something, by itself or as a part of what ``changing`` does."""
        with changing(self._connection):
            return self._connection.execute(statement, values)


@contextmanager
def changing(connection: Connection) -> Iterator[None]:
    """Do all of what follows or nothing of it; inside another change it is a part of that."""
    if connection.in_transaction:
        yield
        return
    with whole(connection):
        yield
    if connection.changed is not None:
        connection.changed()


@contextmanager
def whole(connection: Connection, begin: str = "BEGIN IMMEDIATE") -> Iterator[None]:
    """Do all of what follows or nothing of it; with "BEGIN", read all of it at one moment."""
    with spoken():
        connection.execute(begin)
        try:
            yield
            connection.execute("COMMIT")
        except BaseException:
            with suppress(sqlite3.Error):  # a full disk may have ended it already
                connection.execute("ROLLBACK")
            raise


def sha256_of(*parts: str | bytes | None) -> str:
    """Return the SHA-256 of texts and bytes one after the other; the tables know it too."""
    digest = hashlib.sha256()
    for part in parts:
        digest.update(part.encode("utf-8", "replace") if isinstance(part, str) else part or b"")
    return digest.hexdigest()


def _connected(path: Path, how: str = "") -> Connection:
    if not how and not path.exists():
        # Only who owns the book reads it; SQLite gives its other files the same rights.
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    place = f"{path.absolute().as_uri()}?{how}" if how else str(path)
    connection = sqlite3.connect(
        place, timeout=_WAIT_MS / 1000.0, isolation_level=None, check_same_thread=False,
        uri=bool(how), factory=Connection,
    )  # fmt: skip
    connection.row_factory = sqlite3.Row
    connection.create_function("sha256", -1, sha256_of, deterministic=True)
    connection.execute(f"PRAGMA busy_timeout = {_WAIT_MS}")
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _copied(path: Path) -> tuple[Connection, Path]:
    """Return a connection to a copy of a book's file with its log, and where the copy lies."""
    try:
        copy = tempfile.TemporaryDirectory(prefix="ridelog-")
        for place in (path, path.with_name(f"{path.name}-wal")):
            if place.is_file():
                shutil.copyfile(place, Path(copy.name) / place.name)
    except OSError as error:
        raise OutOfReachError(
            f"the ride book can only be read by way of a copy, which cannot be made "
            f"({(error.strerror or type(error).__name__).lower()}).",
            "make room on the disk for temporary files.",
        ) from error
    place = Path(copy.name) / path.name
    connection = _connected(place)
    connection.copy = copy
    return connection, place


def _keep_a_log(connection: Connection) -> None:
    """Turn on write-ahead logging, waiting for others that open the same new file.

    Two connections that each read a file and want it alone would wait for ever, so SQLite refuses
    one of them at once, whatever its busy timeout (sqlite3_busy_handler in SQLite's C reference).
    """
    end_s = time.monotonic() + _WAIT_MS / 1000.0
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
            if not busy or time.monotonic() > end_s:
                raise
            time.sleep(_RETRY_S)
