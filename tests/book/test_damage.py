"""Damaged books: a check names what is amiss, a rebuild brings the logs and all words back."""

import json
import re
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ridelog.book import versions
from ridelog.book.book import DATABASE, Book
from ridelog.book.check import check_book
from ridelog.book.exchange import export_book
from ridelog.book.rebuild import rebuild
from ridelog.book.records import NewResult
from ridelog.core.errors import BookError
from ridelog.core.estimate import Estimate


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a book of twelve rides with all that riders write, in several pages."""
    with Book(tmp_path / "book") as book:
        for number in range(12):
            ride, _ = book.rides.add(book.store(b"log %d " % number * 50), f"ride {number}.gpx")
            book.assign(ride.id, f"Thistledrake {number % 3}", f"{50 + number} teeth")
            book.details.add_note(ride.id, f"note {number} " * 100)
            book.details.add_mark(ride.id, "reverse", number, number + 1.5)
            book.details.set_conditions(ride.id, {"rider": "Edda"})
            figures = {"top": Estimate(9.0, 8.0, 10.0)}
            document = {"n": number, "text": "x" * 20_000}
            drawn = {"trace": bytes([number]) * 9000}
            book.results.put(ride.id, NewResult("0.1.0", {}, document, figures, drawn))
    return tmp_path / "book"


def told(folder: Path) -> dict[str, dict[str, Any]]:
    """Return all words of a book, by log."""
    with Book(folder) as book:
        every = {place.stem: words for place, words in book.words.every()}
    for words in every.values():
        words.pop("added_utc", None)
    return every


def _gone(folder: Path) -> None:
    (folder / DATABASE).unlink()


def _empty(folder: Path) -> None:
    (folder / DATABASE).write_bytes(b"")


def _foreign(folder: Path) -> None:
    (folder / DATABASE).unlink()
    with sqlite3.connect(folder / DATABASE) as other:
        other.execute("CREATE TABLE songs (name TEXT)")
    other.close()


def _text(folder: Path) -> None:
    (folder / DATABASE).write_bytes(b"my shopping list\n" * 999)


def _header(folder: Path) -> None:
    data = bytearray((folder / DATABASE).read_bytes())
    data[:100] = bytes(100)
    (folder / DATABASE).write_bytes(data)


def _cut(folder: Path) -> None:
    data = (folder / DATABASE).read_bytes()
    (folder / DATABASE).write_bytes(data[: len(data) // 2 // 4096 * 4096])


def _page(folder: Path) -> None:
    data = bytearray((folder / DATABASE).read_bytes())
    data[3 * 4096 : 4 * 4096] = bytes(4096)
    (folder / DATABASE).write_bytes(data)


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (_gone, "the database is gone"),
        (_empty, "the database is gone"),
        (_foreign, "its tables are not those of a ride book"),
        (_text, "file is not a database"),
        (_header, "file is not a database"),
        (_cut, "malformed"),
        (_page, "Tree|page|malformed"),
    ],
)
def test_a_damaged_database_is_named_and_made_anew(
    folder: Path, damage: Callable[[Path], None], words: str
) -> None:
    before = told(folder)
    damage(folder)
    found = check_book(folder)
    assert not found.database_sound and found.sound == 12
    assert all(fault.mend == "run `ridelog book rebuild`" for fault in found.faults)
    assert re.search(words, " ".join(fault.what for fault in found.faults)), found.faults
    with pytest.raises(BookError):
        with Book(folder) as book:  # in words, wherever it strikes
            for ride in book.rides.found():
                book.details.notes(ride.id), book.results.all(ride.id)
            book.results.figures([1, 2, 3])
            raise BookError("nothing struck")
    made = rebuild(folder)
    assert (made.rides, made.added, made.problems) == (12, 12, ())
    assert bool(made.set_aside) == (damage is not _gone)
    assert told(folder) == before
    assert not check_book(folder).faults
    again = rebuild(folder)
    assert (again.rides, again.added, again.set_aside) == (12, 0, "")


def test_a_zeroed_page_anywhere_is_named(folder: Path, tmp_path: Path) -> None:
    """Every page that is in use, one after the other."""
    data = (folder / DATABASE).read_bytes()
    with sqlite3.connect(folder / DATABASE) as seen:
        (free,) = seen.execute("PRAGMA freelist_count").fetchone()
    seen.close()
    assert free == 0
    unseen = []
    for number in range(len(data) // 4096):
        page = data[number * 4096 : (number + 1) * 4096]
        if not any(page):
            continue
        (folder / DATABASE).write_bytes(
            data[: number * 4096] + bytes(4096) + data[(number + 1) * 4096 :]
        )
        if not check_book(folder).faults:
            unseen.append(number)
    assert unseen == []


def test_the_folder_is_compared_both_ways(folder: Path) -> None:
    with Book(folder) as book:
        stray = book.store(b"a log without a ride").sha256
        gone, changed = book.rides.get(3), book.rides.get(4)
        book.place(gone.sha256).unlink()
        book.place(changed.sha256).chmod(0o600)
        book.place(changed.sha256).write_bytes(b"other")
        word = book.words.place(book.rides.get(5).sha256)
        book._connection.execute("UPDATE result SET document = 'x' || document WHERE ride_id = 6")
    word.write_text("{}")
    (folder / "originals" / "ab").mkdir(exist_ok=True)
    (folder / "originals" / "ab" / "holiday.jpg").write_bytes(b"x")
    faults = {fault.what: fault.mend for fault in check_book(folder).faults}
    assert faults.pop("originals/holiday.jpg is no log of the book.") == "take it away"
    assert faults.pop("the figures of ride 6 are damaged.") == "run `ridelog book again 6`"
    assert faults.pop(f"the log {stray[:12]} belongs to no ride.") == "run `ridelog book rebuild`"
    assert "add the log again" in faults.pop(f"the log {gone.sha256[:12]} is gone.")
    words = f"{word.name}: the words beside the originals are not those in the database."
    assert faults.pop(words) == "run `ridelog book rebuild`"
    ((last, mend),) = faults.items()
    assert changed.sha256[:12] in last and "it has changed" in last and "add the log" in mend
    made = rebuild(folder)
    assert (made.rides, made.added, made.set_aside) == (13, 1, "")
    left = [fault.what for fault in check_book(folder).faults]
    assert len(left) == 4 and not any("words beside" in what for what in left)


def test_rebuilding_takes_what_an_export_has(folder: Path, tmp_path: Path) -> None:
    before = told(folder)
    with Book(folder) as book:
        export_book(book, tmp_path / "out")
        sha256 = book.rides.get(3).sha256
        book.place(sha256).unlink()
        book.words.place(book.rides.get(4).sha256).write_text("[")
    _gone(folder)
    made = rebuild(folder, tmp_path / "out")
    assert (made.rides, made.added) == (12, 12)
    assert "the file is no JSON" in made.problems[0] and len(made.problems) == 1
    assert told(folder) == before
    with Book(folder) as book:
        assert book.original(sha256)
        assert len(book.results.figures([1])[1]) == 1
    assert not check_book(folder).faults


def test_a_ride_whose_log_is_gone_keeps_its_words(folder: Path) -> None:
    before = told(folder)
    with Book(folder) as book:
        book.place(book.rides.get(3).sha256).unlink()
    _gone(folder)
    rebuild(folder)
    assert told(folder) == before


def test_words_that_the_database_tells_otherwise_come_from_beside_it(folder: Path) -> None:
    before = told(folder)
    connection = sqlite3.connect(folder / DATABASE)  # as a failing disk would
    connection.execute("DROP TRIGGER note_update")
    connection.execute("UPDATE note SET words = replace(words, 'note', char(0)) WHERE id = 3")
    connection.executescript(
        next(each for each in versions.STEPS[1] if "TRIGGER note_update" in each)
    )
    connection.close()
    (fault,) = check_book(folder).faults
    assert "the words beside the originals are not those in the database" in fault.what
    assert rebuild(folder).set_aside == "book-set-aside-1.sqlite3"
    assert told(folder) == before


def test_words_stay_where_they_are_if_a_rebuild_finds_no_room(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = told(folder)

    def full(book: Book, written: object) -> list[str]:
        raise BookError("the disk is full.", "make room on it.")

    with monkeypatch.context() as patched:
        patched.setattr("ridelog.book.rebuild.take_machines", full)
        with pytest.raises(BookError, match="the disk is full"):
            rebuild(folder)
    assert not check_book(folder).faults and not list(folder.rglob("*.set-aside"))
    assert told(folder) == before


def test_there_must_be_a_book(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="there is no ride book here"):
        check_book(tmp_path / "none")
    with pytest.raises(BookError, match="there is no ride book here"):
        rebuild(tmp_path / "none")
    with pytest.raises(BookError, match="there is no ride book here"):
        Book(tmp_path / "none", make=False)
    assert not (tmp_path / "none").exists()


def test_a_database_that_is_gone_is_not_begun_anew(folder: Path) -> None:
    _gone(folder)
    with pytest.raises(BookError, match="the ride book's database is gone, but 12 of its logs"):
        Book(folder)
    assert not (folder / DATABASE).exists()


def test_a_book_of_before_words_gets_them(folder: Path) -> None:
    shutil.rmtree(folder / "words")
    assert check_book(folder).faults
    rebuild(folder)
    assert not check_book(folder).faults
    assert json.loads((folder / "words" / "machines.json").read_text())["machines"]
