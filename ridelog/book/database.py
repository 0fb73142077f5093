"""The SQLite file of the book: opened safely, brought up to date with a copy beside it."""

import os
import secrets
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ridelog.book.migrations import STEPS
from ridelog.core.errors import BookError

# How long one process waits for another that writes. [ms]
_WAIT_MS = 20_000
# Between two tries of what SQLite itself does not wait for. [s]
_RETRY_S = 0.01


def connect(path: Path) -> sqlite3.Connection:
    """Return a connection to the book's file, which is made or brought up to date if needed.

    Every write is on the disk before it is acknowledged (WAL with synchronous=FULL).

    Raises
    ------
    BookError
        If the file is no book, is damaged, or was written by a newer ridelog.
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
