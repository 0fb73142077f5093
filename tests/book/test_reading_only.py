"""A book where nothing may be written can be read; a disk that is full is a sentence."""

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from ridelog.book import check, database, versions
from ridelog.book.book import DATABASE, Book
from ridelog.book.check import check_book
from ridelog.book.database import connect_to_read
from ridelog.book.rebuild import rebuild
from ridelog.core.errors import BookError


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with Book(tmp_path / "book") as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
        book.details.add_note(ride.id, "pulled left")
    return tmp_path / "book"


@pytest.fixture
def read_only(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let nothing be written, as on a drive that is mounted so; root may write anywhere."""
    may = os.access
    monkeypatch.setattr(os, "access", lambda p, mode: mode != os.W_OK and may(p, mode))
    yield


@pytest.mark.usefixtures("read_only")
def test_a_book_that_may_only_be_read_is_read(folder: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    with Book(folder) as book:
        assert book.read_only and book.rides.get(1).file == "one.gpx"
        assert book.details.notes(1)[0].words == "pulled left"
        with pytest.raises(BookError, match="the ride book can only be read here"):
            book.details.add_note(1, "more")
    assert not check_book(folder).faults
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before


def test_what_is_in_the_log_of_writes_is_read_too(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "read"
    with Book(folder) as book:
        book.details.add_note(1, "only in the log of writes")
        shutil.copytree(folder, other)  # as after a power cut
    monkeypatch.setattr(os, "access", lambda p, mode: False)
    with Book(other) as book:
        assert len(book.details.notes(1)) == 2
        copy = book._connection.copy
        assert copy is not None and Path(copy.name).is_dir()
    assert not Path(copy.name).exists()


def test_an_older_book_is_read_by_way_of_a_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(versions, "STEPS", versions.STEPS[:1])
    database.connect(tmp_path / DATABASE).close()
    monkeypatch.undo()
    connection = connect_to_read(tmp_path / DATABASE)
    assert connection.execute("SELECT change FROM stamp").fetchone() is not None
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        connection.execute("DELETE FROM ride")
    connection.close()
    with sqlite3.connect(tmp_path / DATABASE) as seen:
        assert seen.execute("PRAGMA user_version").fetchone()[0] == 1
    seen.close()


def no_room(*given: object) -> None:
    """Answer as SQLite does where what it needs beside its file finds no room."""
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode = sqlite3.SQLITE_IOERR_SHMSIZE
    raise error


def test_a_book_on_a_full_disk_is_read(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "_keep_a_log", no_room)
    with Book(folder) as book:
        assert book.read_only and book.details.notes(1)[0].words == "pulled left"
        with pytest.raises(BookError, match="only be read here .* make room if the disk is full"):
            book.details.add_note(1, "more")


def test_a_disk_in_the_way_is_no_damage(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A check that called it damage would have a sound database set aside."""
    monkeypatch.setattr(check, "version", no_room)
    with pytest.raises(BookError, match=r"cannot be read or written .* see that it is there"):
        check_book(folder)
    with pytest.raises(BookError, match="cannot be read or written"):
        rebuild(folder)
    monkeypatch.undo()
    assert check_book(folder).database_sound and not list(folder.glob("*set-aside*"))


def test_a_folder_that_may_not_be_looked_into_is_a_sentence(folder: Path) -> None:
    """As another user's; root may look everywhere, and so leaves its rights behind."""
    code = (
        "import sys; from pathlib import Path; from ridelog.book.book import Book\n"
        "from ridelog.book.check import check_book; from ridelog.book.rebuild import rebuild\n"
        "from ridelog.core.errors import BookError\n"
        "for work in (Book, lambda f: Book(f, make=False), check_book, rebuild):\n"
        "    try: work(Path(sys.argv[1]))\n"
        "    except BookError as error: print(error)\n"
    )
    drop = ["setpriv", "--bounding-set=-all", "--inh-caps=-all", "--securebits=+noroot"]
    if os.geteuid() == 0 and not shutil.which("setpriv"):
        pytest.skip("root, and no setpriv to be less")
    folder.chmod(0)
    try:
        done = subprocess.run(
            [*(drop if os.geteuid() == 0 else ()), sys.executable, "-c", code, str(folder)],
            capture_output=True, text=True,
        )  # fmt: skip
    finally:
        folder.chmod(0o700)
    assert done.returncode == 0 and not done.stderr, done.stderr
    said = done.stdout.splitlines()
    assert len(said) == 4 and all("cannot be read (permission denied)" in each for each in said)


_FULL = """
import resource, signal, sys
from pathlib import Path
from ridelog.book.book import Book
from ridelog.core.errors import BookError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with Book(Path(sys.argv[1])) as book:
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
    for number in range(1000):
        try:
            ride, _ = book.rides.add(book.store(b"log %d " % number * 20), f"{number}.gpx")
            book.details.add_note(ride.id, "x" * 15000)
        except BookError as error:
            print(number, error)
            break
"""


def test_no_room_is_a_sentence_and_nothing_is_lost(folder: Path) -> None:
    """No file may grow beyond a bound, which strikes the database first."""
    done = subprocess.run(
        [sys.executable, "-c", _FULL, str(folder), "400000"], capture_output=True, text=True
    )
    assert done.returncode == 0 and done.stderr == "", done.stderr
    number, _, words = done.stdout.partition(" ")
    assert "What to do: " in words and ("disk" in words or "room" in words), words
    with Book(folder) as book:
        assert book.rides.count() >= int(number) > 1
    assert not [f for f in check_book(folder).faults if "belongs to no ride" not in f.what]


def test_a_log_that_finds_no_room_is_a_sentence(folder: Path) -> None:
    with Book(folder) as book:
        intake = book.intake()

        class Full:
            def write(self, data: bytes) -> int:
                raise OSError(28, "No space left on device")

            def close(self) -> None:
                raise OSError(28, "No space left on device")

        intake._stream.close()
        intake._stream = Full()  # type: ignore[assignment]  # a disk without room
        with pytest.raises(BookError, match=r"the log cannot be kept \(no space left on device\)"):
            with intake:
                intake.write(b"log")
    assert not list((folder / "incoming").iterdir())
