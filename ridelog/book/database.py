"""The SQLite file of the book: its tables, version by version, opened safely.

A book of an older version is brought up to date, with a copy as it was beside it.
"""

import os
import secrets
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ridelog.core.errors import BookError

# How long one process waits for another that writes. [ms]
_WAIT_MS = 20_000
# Between two tries of what SQLite itself does not wait for. [s]
_RETRY_S = 0.01
# Step k brings a book from version k to k + 1. Statements run one by one inside one transaction:
# ``executescript`` would commit first. A released step is never changed again.
STEPS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE machine (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            name TEXT NOT NULL UNIQUE CHECK (length(name) BETWEEN 1 AND 200),
            note TEXT NOT NULL DEFAULT '',
            added_utc TEXT NOT NULL
        ) STRICT""",
        """CREATE TABLE setup (
            id INTEGER PRIMARY KEY,
            machine_id INTEGER NOT NULL REFERENCES machine (id) ON DELETE CASCADE,
            name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
            since_utc TEXT NOT NULL DEFAULT '',
            toml TEXT NOT NULL DEFAULT '',
            added_utc TEXT NOT NULL,
            UNIQUE (machine_id, name)
        ) STRICT""",
        """CREATE TABLE ride (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
            size_bytes INTEGER NOT NULL,
            file TEXT NOT NULL,
            format TEXT NOT NULL DEFAULT '',
            start_utc TEXT NOT NULL DEFAULT '',
            duration_s REAL,
            state TEXT NOT NULL CHECK (state IN ('waiting', 'ready', 'failed')),
            problem TEXT NOT NULL DEFAULT '',
            machine_id INTEGER REFERENCES machine (id) ON DELETE SET NULL,
            setup_id INTEGER REFERENCES setup (id) ON DELETE SET NULL,
            added_utc TEXT NOT NULL
        ) STRICT""",
        "CREATE INDEX ride_by_machine ON ride (machine_id, start_utc)",
        "CREATE INDEX ride_by_start ON ride (start_utc)",
        """CREATE TABLE condition (
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            name TEXT NOT NULL,
            value TEXT NOT NULL,
            PRIMARY KEY (ride_id, name)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TABLE note (
            id INTEGER PRIMARY KEY,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            words TEXT NOT NULL,
            written_utc TEXT NOT NULL
        ) STRICT""",
        "CREATE INDEX note_by_ride ON note (ride_id)",
        """CREATE TABLE mark (
            id INTEGER PRIMARY KEY,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            kind TEXT NOT NULL CHECK (kind IN ('reverse', 'left_out')),
            start_s REAL NOT NULL,
            end_s REAL NOT NULL CHECK (end_s > start_s)
        ) STRICT""",
        "CREATE INDEX mark_by_ride ON mark (ride_id)",
        """CREATE TABLE result (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            version TEXT NOT NULL,
            settings TEXT NOT NULL,
            document TEXT NOT NULL,
            made_utc TEXT NOT NULL,
            UNIQUE (ride_id, version)
        ) STRICT""",
        """CREATE TABLE figure (
            result_id INTEGER NOT NULL REFERENCES result (id) ON DELETE CASCADE,
            name TEXT NOT NULL,
            value REAL NOT NULL,
            low REAL NOT NULL,
            high REAL NOT NULL,
            PRIMARY KEY (result_id, name)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TABLE attachment (
            result_id INTEGER NOT NULL REFERENCES result (id) ON DELETE CASCADE,
            name TEXT NOT NULL,
            data BLOB NOT NULL,
            PRIMARY KEY (result_id, name)
        ) STRICT""",
    ),
)


def connect(path: Path) -> sqlite3.Connection:
    """Return a connection to the book's file, which is made or brought up to date if needed.

    Every write is on the disk before it is acknowledged (WAL with synchronous=FULL). BookError if
    the file is no book, is damaged, or was written by a newer ridelog.
    """
    try:
        connection = _connected(path)
        try:
            _update(connection, path)
        except BaseException:
            connection.close()
            raise
    except sqlite3.Error as error:
        raise BookError(
            f"{path.name}: the ride book cannot be opened ({error}).",
            "check the folder's rights and free space, or open another book with --book.",
        ) from error
    return connection


class Tables:
    """A part of the book: reads and writes some of its tables through one connection."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def _rows(self, statement: str, *values: object) -> list[sqlite3.Row]:
        return self._connection.execute(statement, values).fetchall()

    def _row(self, statement: str, *values: object) -> sqlite3.Row | None:
        found: sqlite3.Row | None = self._connection.execute(statement, values).fetchone()
        return found

    def _known(self, what: str, number: int, statement: str) -> sqlite3.Row:
        """Return the row of a number; BookError if there is none."""
        row = self._row(statement, number)
        if row is None:
            raise BookError(f"{what} {number} is not in the book.", "look at the list again.")
        return row

    def _do(self, statement: str, *values: object) -> sqlite3.Cursor:
        """Change something; outside of ``changing`` a statement is all or nothing by itself."""
        return self._connection.execute(statement, values)


@contextmanager
def changing(connection: sqlite3.Connection) -> Iterator[None]:
    """Do all of what follows or nothing of it."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _connected(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(
        path, timeout=_WAIT_MS / 1000.0, isolation_level=None, check_same_thread=False
    )
    connection.row_factory = sqlite3.Row
    connection.execute(f"PRAGMA busy_timeout = {_WAIT_MS}")
    _keep_a_log(connection)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _keep_a_log(connection: sqlite3.Connection) -> None:
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


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _update(connection: sqlite3.Connection, path: Path) -> None:
    wanted = len(STEPS)
    seen = _version(connection)
    if seen > wanted:
        raise BookError(
            f"{path.name}: the ride book has version {seen}, this ridelog knows {wanted} at most.",
            "install the newer ridelog that wrote it; nothing was changed.",
        )
    if seen == wanted:
        return
    if seen > 0:
        _copy(connection, path, seen)
    with changing(connection):
        # Another process may have done it since: only what is read inside counts.
        for number in range(_version(connection), wanted):
            for statement in STEPS[number]:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number + 1}")


def _copy(connection: sqlite3.Connection, path: Path, version: int) -> None:
    """Keep the book as it was before its tables change."""
    part = path.with_name(f"{path.name}.{secrets.token_hex(8)}.part")
    kept = path.with_name(f"{path.stem}-before-version-{version + 1}{path.suffix}")
    connection.execute("VACUUM INTO ?", (str(part),))
    check = sqlite3.connect(part)
    try:
        if _version(check) != version:
            part.unlink()
            raise BookError(
                f"{path.name}: the copy made before the update has another version than {version}.",
                "try again; nothing was changed.",
            )
    finally:
        check.close()
    os.replace(part, kept)
