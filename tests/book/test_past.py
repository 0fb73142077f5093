"""A machine's history and photos: kept, written beside the book, exported, imported, rebuilt."""

import hashlib
import json
import shutil
from pathlib import Path

import pytest

from ridelog.book.book import DATABASE, Book
from ridelog.book.check import check_book
from ridelog.book.exchange import export_book, import_book
from ridelog.book.rebuild import rebuild
from ridelog.core.errors import BookError

# The book does not look into a photo; these begin as JPEG files do.
PHOTO, OTHER = b"\xff\xd8\xff one photo", b"\xff\xd8\xff another photo"
SHA = hashlib.sha256(PHOTO).hexdigest()


def kept(folder: Path) -> tuple[int, int]:
    """Make a book with a machine that has a history and a photo; return both numbers."""
    with Book(folder) as book:
        machine = book.machines.named("Tern")
        past = book.past
        past.add_work(machine.id, day="2023-04-01", kind="part", words="chain", price=18.5,
                      currency="EUR")  # fmt: skip
        past.add_work(machine.id, day="2022-03-02", kind="change", words="14 teeth", hours=1.5)
        past.add_photo(machine.id, book.store(PHOTO), file="C:\\x\\tern.jpg", kind="jpeg",
                       day="2022-03-02", words="as it came")  # fmt: skip
        return machine.id, past.photos(machine.id)[0].id


def told(folder: Path) -> tuple[list[tuple[str, str, float | None]], list[tuple[str, str]]]:
    """Return what a book tells of its machine's history and photos, whose bytes are proven."""
    with Book(folder, make=False) as book:
        machine = book.machines.named("Tern")
        work = [(one.day, one.words, one.price) for one in book.past.work(machine.id)]
        photos = book.past.photos(machine.id)
        assert all(book.original(one.sha256) in (PHOTO, OTHER) for one in photos)
        return work, [(one.file, one.words) for one in photos]


ALL = (
    [("2022-03-02", "14 teeth", None), ("2023-04-01", "chain", 18.5)],
    [("tern.jpg", "as it came")],
)


def test_it_is_kept_in_order_and_written_beside_the_originals(tmp_path: Path) -> None:
    kept(tmp_path / "book")
    assert told(tmp_path / "book") == ALL
    machines = json.loads((tmp_path / "book" / "words" / "machines.json").read_bytes())
    (machine,) = machines["machines"]
    assert [one["words"] for one in machine["work"]] == ["14 teeth", "chain"]
    assert machine["photos"][0]["sha256"] == SHA
    check = check_book(tmp_path / "book")
    assert check.faults == () and check.database_sound


def test_the_same_thing_twice_is_one(tmp_path: Path) -> None:
    kept(tmp_path / "book")
    kept(tmp_path / "book")
    assert told(tmp_path / "book") == ALL


def test_it_goes_through_an_export(tmp_path: Path) -> None:
    kept(tmp_path / "book")
    with Book(tmp_path / "book") as book:
        assert export_book(book, tmp_path / "export").left_out == ()
    assert (tmp_path / "export" / "photos" / f"{SHA}.jpg").read_bytes() == PHOTO
    for _ in range(2):  # the second time nothing is new
        with Book(tmp_path / "fresh") as fresh:
            assert import_book(fresh, tmp_path / "export").problems == ()
        assert told(tmp_path / "fresh") == ALL
    (tmp_path / "export" / "photos" / f"{SHA}.jpg").write_bytes(OTHER)
    with Book(tmp_path / "other") as other:
        (problem,) = import_book(other, tmp_path / "export").problems
    assert "photo tern.jpg" in problem and "does not match its SHA-256" in problem


def test_an_export_without_histories_is_read(tmp_path: Path) -> None:
    kept(tmp_path / "book")
    with Book(tmp_path / "book") as book:
        export_book(book, tmp_path / "export")
    place = tmp_path / "export" / "machines.json"
    machines = json.loads(place.read_bytes())
    del machines["machines"][0]["work"], machines["machines"][0]["photos"]
    place.write_text(json.dumps(machines))
    with Book(tmp_path / "fresh") as fresh:
        assert import_book(fresh, tmp_path / "export").problems == ()
    assert told(tmp_path / "fresh") == ([], [])


def test_it_is_rebuilt_from_the_words(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    kept(folder)
    (folder / DATABASE).unlink()
    found = rebuild(folder)
    assert (found.rides, found.problems) == (0, ())
    assert told(folder) == ALL
    # Without the words nobody knows whose photo it is; it is kept, and never taken for a ride.
    (folder / DATABASE).unlink()
    shutil.rmtree(folder / "words")
    found = rebuild(folder)
    assert found.rides == 0
    assert any("belongs to no machine any more; it is kept" in one for one in found.problems)
    assert (folder / "originals" / SHA[:2] / SHA).exists()


def test_a_photo_that_is_gone_is_said(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    kept(folder)
    place = folder / "originals" / SHA[:2] / SHA
    place.unlink()
    (fault,) = check_book(folder).faults
    assert fault.what == f"the photo {SHA[:12]} is gone." and "add it again" in fault.mend
    with Book(folder) as book:
        (left_out,) = export_book(book, tmp_path / "export").left_out
    assert left_out.startswith("machine Tern, photo tern.jpg: the log")


def test_it_leaves_by_hand_alone(tmp_path: Path) -> None:
    machine, photo = kept(tmp_path / "book")
    place = tmp_path / "book" / "originals" / SHA[:2] / SHA
    with Book(tmp_path / "book") as book:
        second = book.machines.named("Plover")
        book.past.add_photo(
            second.id, book.store(PHOTO), file="a.jpg", kind="jpeg", day="2024-01-01"
        )
        book.past.remove_photo(machine, photo)
        assert place.exists()  # another machine shows it still
        book.past.remove_photo(second.id, book.past.photos(second.id)[0].id)
        assert not place.exists()
        for one in book.past.work(machine):
            book.past.remove_work(second.id, one.id)  # of another machine: nothing happens
        assert len(book.past.work(machine)) == 2
        book.past.remove_work(machine, book.past.work(machine)[0].id)
    assert told(tmp_path / "book") == (ALL[0][1:], [])
    assert check_book(tmp_path / "book").faults == ()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"day": ""}, "the day is missing"),
        ({"day": "soon"}, "is no day"),
        ({"kind": "party"}, "is no kind of work"),
        ({"words": " "}, "what was done is not said"),
        ({"words": "x" * 1001}, "1,000 are the most"),
        ({"price": -1.0}, "price: -1 must be from 0"),
        ({"hours": 2e4}, "hours: 20000 must be from 0 to 10,000"),
    ],
)
def test_what_cannot_be_is_said(wrong: dict[str, object], says: str, tmp_path: Path) -> None:
    usual = {"day": "2024-01-01", "kind": "part", "words": "chain"}
    with Book(tmp_path / "book") as book, pytest.raises(BookError, match=says):
        book.past.add_work(book.machines.named("Tern").id, **(usual | wrong))  # type: ignore[arg-type]


def test_a_history_has_its_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    machine, photo = kept(tmp_path / "book")
    monkeypatch.setattr("ridelog.book.past._MOST_ENTRIES", 2)
    with Book(tmp_path / "book") as book:
        with pytest.raises(BookError, match="holds 2 entries of this kind, which are the most"):
            book.past.add_work(machine, day="2024-01-01", kind="part", words="one more")
        with pytest.raises(BookError, match="photo 99 is not in the book"):
            book.past.photo(machine, 99)
        with pytest.raises(BookError, match="the day is missing"):
            book.past.add_photo(machine, book.store(OTHER), file="a", kind="jpeg", day="")
