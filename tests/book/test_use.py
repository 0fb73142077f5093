"""A book that is made anew is had alone; everybody else works on it side by side."""

import multiprocessing
import sqlite3
import threading
from pathlib import Path

import pytest

from ridelog.book import use
from ridelog.book.book import DATABASE, Book
from ridelog.book.check import check_book
from ridelog.book.rebuild import rebuild
from ridelog.core.errors import BookError


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with Book(tmp_path / "book") as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
        book.details.add_note(ride.id, "pulled left")
    return tmp_path / "book"


def test_a_book_that_is_open_is_not_made_anew(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(use, "_WAIT_FOR_OTHERS_S", 0.05)
    before = sorted(path.name for path in folder.iterdir())
    with Book(folder) as book, Book(folder):
        (folder / DATABASE).rename(folder / "away")
        with pytest.raises(BookError, match="another program has the ride book open; nothing was"):
            rebuild(folder)
        (folder / "away").rename(folder / DATABASE)
        book.details.add_note(1, "still at work")
    assert sorted(path.name for path in folder.iterdir()) == before
    assert rebuild(folder).rides == 1
    with Book(folder) as book:
        assert len(book.details.notes(1)) == 2


def _rebuild_slowly(folder: Path, begun: "multiprocessing.synchronize.Event") -> None:
    with use.alone(folder):
        begun.set()
        threading.Event().wait(60.0)


def test_a_book_that_is_made_anew_is_not_opened_and_a_kill_frees_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(use, "_WAIT_S", 0.05)
    context = multiprocessing.get_context("fork")
    begun = context.Event()
    other = context.Process(target=_rebuild_slowly, args=(folder, begun))
    other.start()
    assert begun.wait(20.0)
    with pytest.raises(BookError, match="another program is making the ride book's database anew"):
        Book(folder)
    other.kill()
    other.join()
    Book(folder).close()


def test_a_folder_without_a_book_gets_no_file(tmp_path: Path) -> None:
    for work in (rebuild, check_book, lambda folder: Book(folder, make=False)):
        with pytest.raises(BookError, match="there is no ride book here"):
            work(tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_lock_that_is_none_keeps_nobody_out(folder: Path) -> None:
    (folder / use.FILE).write_bytes(b"something else" * 1000)
    Book(folder).close()
    with pytest.raises(BookError, match="cannot be had alone .* take this file away"):
        rebuild(folder)
    (folder / use.FILE).unlink()
    assert rebuild(folder).rides == 1
    with sqlite3.connect(folder / use.FILE) as seen:
        assert not seen.execute("SELECT * FROM sqlite_schema").fetchall()
    seen.close()


def test_no_book_is_begun_where_even_the_folder_above_is_missing(tmp_path: Path) -> None:
    """As where a drive is mounted by its name, and is not there."""
    with pytest.raises(BookError, match=r"there is no folder .*drive.* see that the drive is"):
        Book(tmp_path / "drive" / "book")
    assert not list(tmp_path.iterdir())
    with Book(tmp_path / "book") as book:
        assert book.made
    with Book(tmp_path / "book") as book:
        assert not book.made
