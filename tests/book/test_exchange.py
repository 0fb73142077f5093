"""A book written as plain files and read back is the same book."""

import errno
import json
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from ridelog.book.book import Book
from ridelog.book.exchange import ImportedRides, export_book, import_book
from ridelog.book.records import NewResult, PointEntry
from ridelog.core.errors import BookError
from ridelog.core.estimate import Estimate

NOTED_UTC = "2024-06-09T09:00:00Z"


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "book") as opened:
        yield opened


@pytest.fixture
def filled(book: Book) -> Book:
    machine = book.machines.named("Thistledrake 2")
    book.machines.change(machine.id, name="Thistledrake 2", note="red")
    setup = book.machines.setup_named(machine.id, "56 teeth")
    book.machines.change_setup(
        setup.id, name="56 teeth", since_utc="2024-06-09", toml="rear_teeth = 56"
    )
    for number in range(3):
        ride, _ = book.rides.add(book.store(b"log %d" % number), f"ride {number}.gpx")
        book.rides.describe(
            ride.id, format="gpx-1.1", start_utc="2024-06-09T09:05:00Z", duration_s=212.0
        )
        book.rides.move(ride.id, machine.id, setup.id)
        book.details.set_conditions(ride.id, {"rider": "Edda"})
        book.details.add_note(ride.id, "wet", "2024-06-09T10:00:00Z")
        if number == 2:
            book.details.add_mark(ride.id, "mode", 3.0, 60.0, "eco")
        book.details.add_mark(ride.id, "reverse", 1.5, 2.5)
        looked = [PointEntry("brakes", True, NOTED_UTC), PointEntry("fuse volts", False, NOTED_UTC)]
        book.details.note_points(ride.id, looked)
        book.results.put(
            ride.id,
            NewResult("0.1.0", {"marks": []}, {"n": number}, {"top": Estimate(9.0, 8.0, 10.0)}),
        )
    return book


def plain(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_out_and_in_again_is_the_same(filled: Book, tmp_path: Path) -> None:
    assert export_book(filled, tmp_path / "out").count == 3
    with Book(tmp_path / "second") as second:
        assert import_book(second, tmp_path / "out").added == 3
        assert export_book(second, tmp_path / "again").count == 3
        again = import_book(second, tmp_path / "out")
        assert again == ImportedRides(0, 3, (), ())
    one, two = plain(tmp_path / "out"), plain(tmp_path / "again")
    assert list(one) == list(two)
    for name in one:
        if name.endswith("ride.json"):
            first, other = json.loads(one[name]), json.loads(two[name])
            first.pop("added_utc"), other.pop("added_utc")
            assert first == other
        else:
            assert one[name] == two[name], name
    assert "rides/00001-2024-06-09-" + filled.rides.get(1).sha256[:12] + "/original.gpx" in one


def test_what_was_looked_at_before_a_ride_is_carried(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    with Book(tmp_path / "second") as second:
        import_book(second, tmp_path / "out")
        points = second.details.points(1)
        assert [(point.words, point.ticked) for point in points] == [
            ("brakes", True), ("fuse volts", False),
        ]  # fmt: skip
        # Another tick in the book stays, and is said.
        second.details.note_points(1, [PointEntry("fuse volts", True, NOTED_UTC)])
        (words,) = import_book(second, tmp_path / "out").differing
        assert "the export has other points looked at before it." in words
        assert [point.ticked for point in second.details.points(1)] == [True, True]
        # A point that the book lacks is added when it is asked to be filled.
        folder = next((tmp_path / "out" / "rides").glob("00002-*"))
        told = json.loads((folder / "ride.json").read_text())
        told["before_riding"].append({"words": "gear on", "ticked": True, "noted_utc": NOTED_UTC})
        (folder / "ride.json").write_text(json.dumps(told))
        import_book(second, tmp_path / "out", fill=True)
        assert len(second.details.points(2)) == 3


def test_an_export_of_an_older_book_tells_no_points(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    for path in (tmp_path / "out" / "rides").glob("*/ride.json"):
        told = json.loads(path.read_text())
        del told["before_riding"]
        path.write_text(json.dumps(told))
    with Book(tmp_path / "second") as second:
        assert import_book(second, tmp_path / "out") == ImportedRides(3, 0, (), ())
        assert second.details.points(1) == ()


def test_an_export_never_replaces_anything(filled: Book, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(BookError, match="is there already and is left as it was"):
        export_book(filled, tmp_path / "out")
    with pytest.raises(BookError, match="there is no folder"):
        export_book(filled, tmp_path / "nowhere" / "out")


def test_an_export_leaves_out_a_damaged_log_and_names_it(filled: Book, tmp_path: Path) -> None:
    sha256 = filled.rides.get(2).sha256
    place = filled.place(sha256)
    place.chmod(0o644)
    place.write_bytes(b"other")
    made = export_book(filled, tmp_path / "out")
    assert made.count == 2 and len(made.left_out) == 1
    assert made.left_out[0].startswith(f"ride 2: the log {sha256[:12]} on the disk is not the one")
    # Its words are there all the same; the others come back whole.
    (entry,) = (tmp_path / "out" / "rides").glob("00002-*/ride.json")
    assert json.loads(entry.read_text())["notes"][0]["words"] == "wet"
    with Book(tmp_path / "second") as other:
        found = import_book(other, tmp_path / "out")
        assert found.added == 2 and "there are 0 logs, expected one" in found.problems[0]


def test_an_export_with_no_room_leaves_nothing(
    filled: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, data: bytes) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(BookError, match=r"cannot be written \(no space left on device\)"):
        export_book(filled, tmp_path / "out")
    assert not (tmp_path / "out").exists() and not list(tmp_path.glob(".*part"))


def test_what_an_ended_export_left_goes_with_the_next(filled: Book, tmp_path: Path) -> None:
    (tmp_path / ".out.99999999-abcd.part" / "rides").mkdir(parents=True)
    running = tmp_path / f".out.{os.getpid()}-abcd.part"
    running.mkdir()
    export_book(filled, tmp_path / "out")
    assert list(tmp_path.glob(".*part")) == [running]


def test_what_differs_is_told_and_filled_if_asked(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    with Book(tmp_path / "second") as other:
        import_book(other, tmp_path / "out")
        ride, mark = other.rides.found()[0], other.details.marks(1)[0]
        other.details.remove_note(ride.id, other.details.notes(ride.id)[0].id)
        other.details.remove_mark(1, mark.id)
        other.details.set_conditions(1, {"rider": "Ida"})
        other.machines.change(1, name="Thistledrake 2", note="blue")
        found = import_book(other, tmp_path / "out")
        assert (found.added, found.present, found.problems) == (0, 1, ())
        assert found.differing == (
            "machine Thistledrake 2 stays as it is, but the export has another note.",
            "ride 1, ride 0.gpx, stays as it is, but the export has other conditions, marks.",
            f"ride {ride.id}, {ride.file}, stays as it is, but the export has other notes.",
        )
        filled_up = import_book(other, tmp_path / "out", fill=True)
        # What the book says otherwise is the owner's; only what lacked has come.
        assert filled_up.differing == (
            found.differing[0],
            "ride 1, ride 0.gpx, stays as it is, but the export has other conditions.",
        )
        assert other.details.conditions(1) == {"rider": "Ida"}
        assert len(other.details.marks(1)) == len(other.details.notes(ride.id)) == 1


def test_damaged_figures_are_measured_anew(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    first, *_ = sorted((tmp_path / "out" / "rides").iterdir())
    (first / "result.json").write_text('{"n": NaN}')
    with Book(tmp_path / "second") as other:
        found = import_book(other, tmp_path / "out")
        assert found.added == 3 and not found.problems
        assert "the figures are not as they were exported" in found.differing[0]
        assert [ride.file for ride in other.rides.waiting()] == ["ride 0.gpx"]
        assert len(other.details.notes(other.rides.waiting()[0].id)) == 1


def test_a_word_that_is_always_written_is_missed(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    first, second, _ = sorted((tmp_path / "out" / "rides").glob("*/ride.json"))
    first.write_text(first.read_text().replace('"notes"', '"motes"'))
    second.write_text(second.read_text().replace('"result"', '"insult"'))
    with Book(tmp_path / "second") as other:
        found = import_book(other, tmp_path / "out")
        assert (found.added, len(found.problems)) == (2, 1)
        assert "notes is not as it was written (Field required)" in found.problems[0]
        assert "ride.json says nothing about figures" in " ".join(found.differing)


def test_damaged_machines_do_not_stop_the_rides(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    (tmp_path / "out" / "machines.json").write_text("{")
    with Book(tmp_path / "second") as other:
        found = import_book(other, tmp_path / "out")
        assert found.added == 3 and "machines.json: the file is no JSON" in found.problems[0]
        assert other.rides.found()[0].machine == "Thistledrake 2"


def test_one_damaged_ride_does_not_stop_the_others(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    first, second, third = sorted((tmp_path / "out" / "rides").iterdir())
    (first / "original.gpx").write_bytes(b"log 0 changed")
    (second / "ride.json").write_text("[" * 100_000)
    with Book(tmp_path / "second") as other:
        found = import_book(other, tmp_path / "out")
        assert found.added == 1 and other.rides.found()[0].file == "ride 2.gpx"
    assert f"{first.name}: the log does not match its SHA-256" in found.problems[0]
    assert "the file is no JSON" in found.problems[1]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, "the file cannot be read"),
        ("{}", "this is no export of a ride book that this ridelog knows"),
        ("[]", "does not hold a JSON object"),
        ("{", "the file is no JSON"),
    ],
)
def test_folders_that_are_no_export(
    book: Book, tmp_path: Path, text: str | None, words: str
) -> None:
    if text is not None:
        (tmp_path / "machines.json").write_text(text)
    with pytest.raises(BookError, match=words):
        import_book(book, tmp_path)


def test_a_ride_file_of_another_shape_is_a_sentence(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    place = sorted((tmp_path / "out" / "rides").iterdir())[0]
    entry = json.loads((place / "ride.json").read_text())
    changes: tuple[tuple[str, object], ...] = (
        ("marks", 7), ("notes", ["x"]), ("sha256", 5), ("conditions", []), ("machine", []),
        ("duration_s", float("inf")), ("duration_s", 1e300), ("start_utc", "2" * 41),
        ("file", "\ud800"), ("notes", [{"words": 7}]), ("marks", [{"kind": "x"}]),
        ("sha256", "../" * 20), ("result", 7),
    )  # fmt: skip
    for number, (name, value) in enumerate(changes):
        (place / "ride.json").write_text(json.dumps({**entry, name: value}))
        with Book(tmp_path / f"book{number}") as other:
            found = import_book(other, tmp_path / "out")
            assert (found.added, len(found.problems)) == (2, 1), (name, value)
            assert export_book(other, tmp_path / f"out{number}").count == 2
            words = ("is no SHA-256", "is not as it was written", "the file is no JSON")
            assert any(each in found.problems[0] for each in words), found.problems
