"""Who works on a book: any number of programs, or one alone that makes its database anew.

A lock of the system on a file of its own, asked for by way of SQLite, which knows how on every
system; it ends with its process, however that ended.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from ridelog.core.errors import BookError

FILE = "in-use.sqlite3"
# How long a program waits for one that makes the book anew, and such a one for the others: the
# page looks into the book for moments, but is open for hours. Own choice. [s]
_WAIT_S, _WAIT_FOR_OTHERS_S = 20.0, 2.0


def joined(folder: Path) -> sqlite3.Connection | None:
    """Return what lasts as long as a program works on a book, beside others.

    None where there is no such file and none can be made, as on a disk that may only be read: there
    nobody makes anything anew either. BookError while another program has the book alone.
    """
    try:
        return _locked(folder / FILE, "BEGIN", _WAIT_S)
    except sqlite3.OperationalError as error:
        if _is_busy(error):
            raise BookError(
                f"{folder}: another program is making the ride book's database anew.",
                "wait until it is done, then do this again.",
            ) from error
        return None
    except sqlite3.DatabaseError:  # something else under this name, which nobody can lock
        return None


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Have a book alone; BookError while any other program works on it."""
    try:
        lock = _locked(folder / FILE, "BEGIN EXCLUSIVE", _WAIT_FOR_OTHERS_S)
    except sqlite3.DatabaseError as error:
        if _is_busy(error):
            raise BookError(
                f"{folder}: another program has the ride book open; nothing was changed.",
                "close the workshop page and whatever else works on the book, then do this again.",
            ) from error
        raise BookError(
            f"{folder / FILE}: the ride book cannot be had alone ({error}).",
            "check the folder's rights and free space, and take this file away if it is there.",
        ) from error
    with closing(lock):
        yield


def _locked(path: Path, begin: str, wait_s: float) -> sqlite3.Connection:
    if os.access(path.parent, os.W_OK) and not path.exists():
        with suppress(OSError):  # no room for it
            path.touch(mode=0o600)
    # Reading suffices to join, so that a drive may become read-only under an open page.
    how = "ro" if begin == "BEGIN" else "rw"
    lock = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={how}", uri=True, timeout=wait_s, isolation_level=None,
        check_same_thread=False,
    )  # fmt: skip
    try:
        lock.execute("PRAGMA journal_mode = MEMORY")  # nothing is written, nothing to be left
        lock.execute(begin)
        lock.execute("SELECT * FROM sqlite_schema").fetchall()
    except BaseException:
        lock.close()
        raise
    return lock


def _is_busy(error: sqlite3.Error) -> bool:
    return getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY
