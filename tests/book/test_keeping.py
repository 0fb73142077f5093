"""What goes into the book comes out again: rides, machines, details, results."""

import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from ridelog.book import results, rides
from ridelog.book.book import Book
from ridelog.book.check import check_book
from ridelog.book.records import NewResult, PointEntry, RideEntry
from ridelog.core.errors import BookError
from ridelog.core.estimate import Estimate

LOG = b"$GPRMC,not read by the book\r\n"
DIGEST = hashlib.sha256(LOG).hexdigest()


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "book") as opened:
        yield opened


def add(book: Book, data: bytes = LOG, file: str = "ride.nmea") -> RideEntry:
    return book.rides.add(book.store(data), file)[0]


def test_the_same_log_twice_is_one_ride(book: Book) -> None:
    first, new = book.rides.add(book.store(LOG), "one.nmea")
    again, newer = book.rides.add(book.store(LOG), "another name.nmea")
    assert (new, newer) == (True, False)
    assert first == again and again.file == "one.nmea"
    assert book.rides.count() == 1


def test_the_log_stays_as_it_was_given(book: Book) -> None:
    ride = add(book)
    assert ride.sha256 == DIGEST and ride.size_bytes == len(LOG)
    assert book.original(ride.sha256) == LOG
    place = book.place(ride.sha256)
    assert stat.S_IMODE(place.stat().st_mode) == 0o400
    assert not list((book.folder / "incoming").iterdir())


def test_a_log_changed_on_the_disk_is_not_given_out(book: Book) -> None:
    ride = add(book)
    place = book.place(ride.sha256)
    os.chmod(place, 0o644)
    place.write_bytes(LOG + b" ")
    with pytest.raises(BookError, match="is not the one that was added: it has changed"):
        book.original(ride.sha256)
    (fault,) = check_book(book.folder).faults
    assert DIGEST[:12] in fault.what and "it has changed" in fault.what
    add(book)  # the same log once more mends it
    assert book.original(DIGEST) == LOG
    place.unlink()
    with pytest.raises(BookError, match="is not in the book's folder any more"):
        book.original(ride.sha256)


def test_only_a_hash_becomes_a_path(book: Book) -> None:
    for text in ("../../etc/passwd", "A" * 64, "", "0" * 63 + "/"):
        with pytest.raises(BookError, match="is no SHA-256 of a log"):
            book.place(text)


def test_an_upload_that_breaks_off_leaves_nothing(book: Book) -> None:
    with pytest.raises(KeyboardInterrupt), book.intake() as intake:
        intake.write(LOG)
        raise KeyboardInterrupt
    assert not [path for path in book.folder.rglob("*") if "incoming/" in str(path)]
    assert book.rides.count() == 0


def test_what_a_dead_process_left_is_swept_once_it_is_old(book: Book) -> None:
    stale, fresh = (book.folder / "incoming" / f"{name}.part" for name in ("stale", "fresh"))
    for part in (stale, fresh):
        part.write_bytes(b"half")
    os.utime(stale, (1.0, 1.0))
    assert book.sweep() == 1
    assert fresh.exists() and not stale.exists()


def test_a_ride_that_goes_takes_its_log_along(book: Book) -> None:
    ride = add(book)
    book.details.add_note(ride.id, "windy")
    book.rides.remove(ride.id)
    assert not book.place(DIGEST).exists()
    with pytest.raises(BookError, match=f"ride {ride.id} is not in the book"):
        book.rides.get(ride.id)
    assert add(book).id != ride.id, "a number is never given twice"
    assert book.details.notes(ride.id) == ()


def test_a_log_removed_while_it_is_added(book: Book) -> None:
    original = book.store(LOG)
    original.path.unlink()
    with pytest.raises(BookError, match="was removed while it was being added"):
        book.rides.add(original, "ride.nmea")


def test_file_names_are_words_and_nothing_more(book: Book) -> None:
    names = {
        "../../etc/pass\x1bwd": "pass\N{REPLACEMENT CHARACTER}wd",
        "C:\\rides\\one.gpx": "one.gpx",
        "": "unnamed log",
        "a/": "unnamed log",
    }
    for number, (given, shown) in enumerate(names.items()):
        assert add(book, b"log %d" % number, given).file == shown
    long = add(book, b"long", "x" * 5000 + ".gpx").file
    assert len(long) == 200 and long.endswith("x.gpx")


def test_machines_and_set_ups(book: Book) -> None:
    machine = book.machines.named("  Thistledrake \t 2 ")
    assert machine.name == "Thistledrake 2"
    assert book.machines.named("Thistledrake 2").id == machine.id
    present = book.machines.setup_named(machine.id, "64 teeth")
    book.machines.change_setup(
        present.id, name="64 teeth", since_utc="2024-06-08", toml="rear_teeth = 64\n# kept"
    )
    assert book.machines.setups(machine.id)[0].toml == "rear_teeth = 64\n# kept"
    ride = add(book)
    moved = book.rides.move(ride.id, machine.id, present.id)
    assert (moved.machine, moved.setup) == ("Thistledrake 2", "64 teeth")
    other = book.machines.named("Other")
    with pytest.raises(BookError, match="does not belong to the ride's machine"):
        book.rides.move(ride.id, other.id, present.id)
    with pytest.raises(BookError, match="machine 77 is not in the book"):
        book.rides.move(ride.id, 77)
    with pytest.raises(BookError, match="another machine is called 'Other'"):
        book.machines.change(machine.id, name="Other", note="")
    book.machines.setup_named(machine.id, "56 teeth")
    with pytest.raises(BookError, match="another set-up of this machine is called '56 teeth'"):
        book.machines.change_setup(present.id, name="56 teeth", since_utc="", toml="")


@pytest.mark.parametrize(
    ("name", "words"),
    [("", "the name is empty"), (" \n ", "the name is empty"), ("x" * 201, "has 201 letters")],
)
def test_names_that_are_none(book: Book, name: str, words: str) -> None:
    with pytest.raises(BookError, match=words):
        book.machines.named(name)


def test_a_day_that_is_none(book: Book) -> None:
    setup = book.machines.setup_named(book.machines.named("A").id, "B")
    with pytest.raises(BookError, match="'June' is no day. What to do: write it as year-month-day"):
        book.machines.change_setup(setup.id, name="B", since_utc="June", toml="")
    with pytest.raises(BookError, match="64,001 letters, 64,000 are the most"):
        book.machines.change_setup(setup.id, name="B", since_utc="", toml="x" * 64_001)


def test_conditions_notes_and_marks(book: Book) -> None:
    ride = add(book)
    book.details.set_conditions(ride.id, {"rider": "Edda", "wind": "light, from the west"})
    book.details.set_conditions(ride.id, {"rider": "", "charge": "80 %"})
    assert book.details.conditions(ride.id) == {"charge": "80 %", "wind": "light, from the west"}
    with pytest.raises(BookError, match="'moon' is no condition of a ride"):
        book.details.set_conditions(ride.id, {"moon": "full"})
    book.details.add_note(ride.id, "  pulled left\r\nunder braking ")
    book.details.add_note(ride.id, "   ")
    assert [note.words for note in book.details.notes(ride.id)] == ["pulled left\nunder braking"]
    book.details.add_mark(ride.id, "reverse", 20.1, 27.0)
    book.details.add_mark(ride.id, "left_out", 1.0, 2.0)
    assert [mark.kind for mark in book.details.marks(ride.id)] == ["left_out", "reverse"]
    book.details.remove_mark(ride.id, book.details.marks(ride.id)[0].id)
    assert [mark.start_s for mark in book.details.marks(ride.id)] == [20.1]
    for start, end in ((5.0, 5.0), (6.0, 5.0), (float("nan"), 5.0), (1.0, float("inf"))):
        with pytest.raises(BookError, match="has no length"):
            book.details.add_mark(ride.id, "reverse", start, end)
    with pytest.raises(BookError, match="'sideways' is no kind of mark"):
        book.details.add_mark(ride.id, "sideways", 1.0, 2.0)
    for number in range(99):
        book.details.add_mark(ride.id, "left_out", number, number + 0.5)
    with pytest.raises(BookError, match="has 100 marks already, 100 are the most"):
        book.details.add_mark(ride.id, "left_out", 1.0, 2.0)


def result(version: str, value: float, **attachments: bytes) -> NewResult:
    figures = {"best_1s_mps": Estimate(value, value - 0.1, value + 0.1)}
    return NewResult(version, {"marks": []}, {"top": value}, figures, attachments)


def test_one_result_of_each_version_is_kept(book: Book) -> None:
    ride = add(book)
    book.results.put(ride.id, result("0.1", 9.0, trace=b"old"))
    book.results.put(ride.id, result("0.2", 9.5, trace=b"first"))
    book.results.put(ride.id, result("0.2", 9.6, trace=b"\x00\xff"))
    latest = book.results.latest(ride.id)
    assert latest is not None and latest.document == {"top": 9.6}
    assert [old.version for old in book.results.all(ride.id)] == ["0.2", "0.1"]
    assert book.results.attachment(ride.id, "trace") == b"\x00\xff"
    assert book.results.attachment(ride.id, "pictures") is None
    assert book.results.figures([ride.id])[ride.id]["best_1s_mps"].value == 9.6
    assert book.results.not_of("0.2") == ()
    assert book.results.not_of("0.3") == (ride.id,)


def test_a_result_with_nan_is_refused_whole(book: Book) -> None:
    ride = add(book)
    with pytest.raises(ValueError, match="not JSON compliant"):
        book.results.put(ride.id, NewResult("0.1", {}, {"top": float("nan")}))
    assert book.results.latest(ride.id) is None


def test_a_result_of_a_ride_that_has_gone(book: Book) -> None:
    with pytest.raises(BookError, match="ride 5 is not in the book"):
        book.results.put(5, result("0.1", 9.0))


def test_lists_are_searched_by_every_word(book: Book) -> None:
    machine = book.machines.named("Thistledrake 2")
    for number in range(5):
        ride = add(book, b"log %d" % number, f"ride_{number}.gpx")
        book.rides.describe(
            ride.id, format="gpx-1.1", start_utc=f"2024-06-0{number + 1}T09:00:00Z", duration_s=9.0
        )
        if number % 2:
            book.rides.move(ride.id, machine.id)
            book.details.set_conditions(ride.id, {"surface": "100 % gravel"})
    assert [ride.file[5] for ride in book.rides.found()] == ["4", "3", "2", "1", "0"]
    assert [ride.file[5] for ride in book.rides.found(machine_id=machine.id)] == ["3", "1"]
    assert [ride.file[5] for ride in book.rides.found("THISTLE gravel 06-02")] == ["1"]
    assert book.rides.count("0 % gravel") == 2 and book.rides.count("a%gravel") == 0
    assert book.rides.count("ride_1") == 1 and book.rides.count("rideX1") == 0
    assert book.rides.count("'; DROP TABLE ride; --") == 0
    assert [ride.file[5] for ride in book.rides.found(most=2, skip=1)] == ["3", "2"]


def test_a_ride_is_found_by_its_day_here(book: Book, zone: Callable[[str], None]) -> None:
    ride = add(book)
    late = "2024-06-08T23:30:00Z"
    book.rides.describe(ride.id, format="gpx-1.1", start_utc=late, duration_s=9.0)
    zone("Berlin")
    assert book.rides.count("2024-06-09") == 1 and book.rides.count("2024-06-08") == 0
    book.rides.describe(ride.id, format="nmea", start_utc="T09:05:30Z", duration_s=9.0)
    assert book.rides.count("09:05") == 1, "without a date, as the log has it"


def test_rides_wait_and_fail(book: Book) -> None:
    ride = add(book)
    assert [r.id for r in book.rides.waiting()] == [ride.id]
    book.rides.fail(ride.id, "no times")
    assert book.rides.get(ride.id).problem == "no times" and not book.rides.waiting()


def test_a_clock_that_is_set_back_changes_no_order(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    moments = iter(["2026-11-29T10:00:00Z", "2001-01-01T00:00:00Z"] * 9)
    for module in (rides, results):
        monkeypatch.setattr(module, "now_utc", lambda: next(moments))
    ride = add(book)
    for word in ("first", "second"):
        book.details.add_note(ride.id, word)
        book.results.put(ride.id, NewResult(word, {}, {"n": word}))
    assert [note.words for note in book.details.notes(ride.id)] == ["first", "second"]
    latest = book.results.latest(ride.id)
    assert latest is not None and latest.version == "second"


def test_what_was_looked_at_before_a_ride_is_kept(book: Book) -> None:
    ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
    book.details.note_points(
        ride.id, [PointEntry("brakes\n bite", True, ""), PointEntry("fuse volts", False, "")]
    )
    brakes, fuse = book.details.points(ride.id)
    assert (brakes.words, brakes.ticked) == ("brakes bite", True)
    assert (fuse.words, fuse.ticked) == ("fuse volts", False)
    assert brakes.noted_utc.endswith("Z")
    book.details.note_points(
        ride.id, [PointEntry("fuse volts", True, ""), PointEntry(" ", True, "")]
    )
    assert [point.ticked for point in book.details.points(ride.id)] == [True, True]
    with pytest.raises(BookError, match="point: the text has 501 letters, 500 are the most"):
        book.details.note_points(ride.id, [PointEntry("x" * 501, True, "")])
    many = [PointEntry(f"point {number}", True, "") for number in range(99)]
    with pytest.raises(BookError, match="ride 1 has 101 points already, 101 are the most"):
        book.details.note_points(ride.id, many)
    assert len(book.details.points(ride.id)) == 2, "all of it or nothing"
