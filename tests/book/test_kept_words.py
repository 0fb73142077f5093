"""What riders write stands beside the originals after every change, whatever ends the program."""

import json
from pathlib import Path

import pytest

from ridelog.book import words
from ridelog.book.book import Book
from ridelog.book.check import check_book
from ridelog.core.errors import BookError


def ride_file(folder: Path, sha256: str) -> dict[str, object]:
    read: dict[str, object] = json.loads(
        (folder / "words" / "rides" / f"{sha256}.json").read_text()
    )
    return read


def test_every_change_stands_beside_the_originals(tmp_path: Path) -> None:
    with Book(tmp_path) as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
        assert ride_file(tmp_path, ride.sha256)["notes"] == []
        book.details.add_note(ride.id, "pulled left", "2024-06-09T10:00:00Z")
        book.details.add_mark(ride.id, "reverse", 1.0, 2.0)
        book.details.set_conditions(ride.id, {"wind": "light"})
        book.assign(ride.id, "Thistledrake 2", "56 teeth")
        there = ride_file(tmp_path, ride.sha256)
        assert there["notes"] == [{"written_utc": "2024-06-09T10:00:00Z", "words": "pulled left"}]
        assert there["marks"] == [{"kind": "reverse", "name": "", "start_s": 1.0, "end_s": 2.0}]
        assert there["conditions"] == {"wind": "light"}
        assert (there["machine"], there["setup"]) == ("Thistledrake 2", "56 teeth")
        # A machine's new name is told by its rides.
        book.machines.change(1, name="Third", note="red")
        book.machines.change_setup(1, name="11 teeth", since_utc="", toml="rear_teeth = 11")
        there = ride_file(tmp_path, ride.sha256)
        assert (there["machine"], there["setup"]) == ("Third", "11 teeth")
        machines = json.loads((tmp_path / "words" / "machines.json").read_text())["machines"]
        assert machines[0]["note"] == "red" and machines[0]["setups"][0]["name"] == "11 teeth"
        book.details.remove_mark(ride.id, 1)
        assert ride_file(tmp_path, ride.sha256)["marks"] == []
        assert book.words.unwritten() == ()
    assert not check_book(tmp_path).faults


def test_a_ride_that_goes_takes_its_words_and_its_log_along(tmp_path: Path) -> None:
    with Book(tmp_path) as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
        book.rides.remove(ride.id)
        assert not book.place(ride.sha256).exists()
        assert not book.words.place(ride.sha256).exists()
    assert not check_book(tmp_path).faults


def test_what_could_not_be_written_is_written_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(place: Path, document: object) -> None:
        raise OSError("No space left on device")

    with Book(tmp_path) as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
        with monkeypatch.context() as patched:
            patched.setattr(words, "_replace", full)
            book.details.add_note(ride.id, "pulled left")  # kept in the database all the same
            assert book.words.unwritten() == (ride.sha256,)
        (fault,) = check_book(tmp_path).faults
        assert fault.what == "1 change not yet written beside the originals."
    with Book(tmp_path):  # opened again, as after a kill
        pass
    assert ride_file(tmp_path, ride.sha256)["notes"] and not check_book(tmp_path).faults


def test_a_database_of_another_time_or_book_is_not_used(tmp_path: Path) -> None:
    with Book(tmp_path / "a") as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
    old = (tmp_path / "a" / "book.sqlite3").read_bytes()
    with Book(tmp_path / "a") as book:
        book.details.add_note(ride.id, "pulled left")
    (tmp_path / "a" / "book.sqlite3").write_bytes(old)
    with pytest.raises(BookError, match="is older than the words beside it; nothing was changed"):
        Book(tmp_path / "a")
    Book(tmp_path / "b").close()
    (tmp_path / "a" / "book.sqlite3").write_bytes((tmp_path / "b" / "book.sqlite3").read_bytes())
    with pytest.raises(BookError, match="is another book's; nothing was changed"):
        Book(tmp_path / "a")
    assert ride_file(tmp_path / "a", ride.sha256)["notes"]
