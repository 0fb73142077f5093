"""The book's tables move from version to version; nothing is lost, nothing newer is touched."""

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from ridelog.book import database, versions
from ridelog.book.book import DATABASE, Book
from ridelog.book.check import check_book
from ridelog.book.kept import Kept
from ridelog.book.records import MarkEntry
from ridelog.book.rides import Details
from ridelog.book.versions import STEPS
from ridelog.core.errors import BookError


def test_a_new_book_has_the_newest_version(tmp_path: Path) -> None:
    Book(tmp_path).close()
    seen = sqlite3.connect(tmp_path / DATABASE)
    assert seen.execute("PRAGMA user_version").fetchone()[0] == len(STEPS)
    assert seen.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert seen.execute("PRAGMA foreign_key_check").fetchall() == []
    seen.close()


def test_an_older_book_is_copied_and_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Book(tmp_path) as book:
        book.rides.add(book.store(b"log"), "kept.gpx")
        old = len(STEPS)
    step = ("ALTER TABLE ride ADD COLUMN colour TEXT NOT NULL DEFAULT 'green'",)
    monkeypatch.setattr(versions, "STEPS", (*STEPS, step))
    connection = database.connect(tmp_path / DATABASE)
    row = connection.execute("SELECT file, colour FROM ride").fetchone()
    assert tuple(row) == ("kept.gpx", "green")
    connection.close()
    copy = sqlite3.connect(tmp_path / f"book-before-version-{old + 1}.sqlite3")
    assert copy.execute("PRAGMA user_version").fetchone()[0] == old
    assert copy.execute("SELECT file FROM ride").fetchone()[0] == "kept.gpx"
    copy.close()
    assert not list(tmp_path.glob("*.part"))


def test_a_step_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Book(tmp_path) as book:
        book.rides.add(book.store(b"log"), "kept.gpx")
    monkeypatch.setattr(
        versions, "STEPS", (*STEPS, ("ALTER TABLE ride ADD COLUMN colour TEXT", "NONSENSE"))
    )
    with pytest.raises(BookError, match="the ride book's file is damaged .*syntax error"):
        database.connect(tmp_path / DATABASE)
    monkeypatch.undo()
    with Book(tmp_path) as book:
        assert [ride.file for ride in book.rides.found()] == ["kept.gpx"]


def test_a_newer_book_is_left_alone(tmp_path: Path) -> None:
    Book(tmp_path).close()
    newer = sqlite3.connect(tmp_path / DATABASE)
    newer.execute(f"PRAGMA user_version = {len(STEPS) + 3}")
    newer.close()
    before = (tmp_path / DATABASE).read_bytes()
    with pytest.raises(BookError, match=f"has version {len(STEPS) + 3}, this ridelog knows"):
        Book(tmp_path)
    assert (tmp_path / DATABASE).read_bytes() == before


def test_a_file_that_is_no_book(tmp_path: Path) -> None:
    (tmp_path / DATABASE).write_bytes(b"not a database at all, but long enough to look at" * 40)
    with pytest.raises(BookError, match="file is not a database"):
        Book(tmp_path)


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    with pytest.raises(BookError, match="the book's folder cannot be made"):
        Book(tmp_path / "file" / "book")


def test_many_may_open_a_new_book_at_once(tmp_path: Path) -> None:
    def one(number: int) -> int:
        with Book(tmp_path / "book") as book:
            return book.rides.add(book.store(b"log %d" % number), f"{number}.gpx")[0].id

    with ThreadPoolExecutor(8) as pool:
        numbers = list(pool.map(one, range(24)))
    assert len(set(numbers)) == 24
    with Book(tmp_path / "book") as book:
        assert book.rides.count() == 24
    assert not check_book(tmp_path / "book").faults


def test_marks_and_answers_outlast_new_rules_of_their_tables(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A book of the fifth version knew neither drive modes nor statements."""
    monkeypatch.setattr(versions, "STEPS", STEPS[:5])
    connection = database.connect(tmp_path / DATABASE)
    for statement in (
        "INSERT INTO machine (id, name, added_utc) VALUES (1, 'Tern', '2024-06-09')",
        "INSERT INTO ride (id, sha256, size_bytes, file, state, added_utc)"
        f" VALUES (1, '{'0' * 64}', 3, 'kept.gpx', 'waiting', '2024-06-09')",
        "INSERT INTO mark VALUES (7, 1, 'left_out', 1.5, 2.5)",
        "INSERT INTO kept VALUES (3, 1, 'options', '{}', '{}', 'two options', 'B', '2024-06-09')",
        "DELETE FROM unwritten",
    ):
        connection.execute(statement)
    connection.close()
    monkeypatch.undo()
    connection = database.connect(tmp_path / DATABASE)
    assert versions.layout(connection) == versions.layout_of(len(STEPS))
    assert connection.execute("SELECT what FROM unwritten").fetchall() != []
    details, kept = Details(connection), Kept(connection)
    assert details.marks(1) == (MarkEntry(7, "left_out", "", 1.5, 2.5),)
    assert [(a.id, a.kind, a.title) for a in kept.of(1)] == [(3, "options", "two options")]
    details.add_mark(1, "mode", 3.0, 9.0, " eco ")
    assert [mark.words for mark in details.marks(1)] == ["left out", "drive mode eco"]
    for kind in ("stated", "modes"):
        kept.put(1, kind, {}, words={}, title=kind, answer="faster")
    with pytest.raises(BookError, match="drive mode: the name is empty"):
        details.add_mark(1, "mode", 3.0, 9.0)
    connection.execute("DELETE FROM ride")
    assert details.marks(1) == (), "marks go with their ride, as before"
    connection.close()
