"""A book written as plain files and read back is the same book."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from ridelog.book.book import Book
from ridelog.book.exchange import export_book, import_book
from ridelog.book.records import NewResult
from ridelog.core.errors import BookError
from ridelog.core.estimate import Estimate


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
        book.details.add_mark(ride.id, "reverse", 1.5, 2.5)
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
    assert export_book(filled, tmp_path / "out") == 3
    with Book(tmp_path / "second") as second:
        assert import_book(second, tmp_path / "out").added == 3
        assert export_book(second, tmp_path / "again") == 3
        again = import_book(second, tmp_path / "out")
        assert (again.added, again.present, again.problems) == (0, 3, ())
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


def test_an_export_never_replaces_anything(filled: Book, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(BookError, match="is there already and is left as it was"):
        export_book(filled, tmp_path / "out")
    with pytest.raises(BookError, match="there is no folder"):
        export_book(filled, tmp_path / "nowhere" / "out")


def test_an_export_of_a_damaged_log_leaves_nothing(filled: Book, tmp_path: Path) -> None:
    place = filled.place(filled.rides.get(2).sha256)
    place.chmod(0o644)
    place.write_bytes(b"other")
    with pytest.raises(BookError, match="it has changed"):
        export_book(filled, tmp_path / "out")
    assert not (tmp_path / "out").exists()
    assert not list(tmp_path.glob(".*part"))


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
    changes: tuple[dict[str, object], ...] = (
        {"marks": 7}, {"notes": ["x"]}, {"sha256": 5}, {"conditions": []},
    )  # fmt: skip
    for change in changes:
        (place / "ride.json").write_text(json.dumps({**entry, **change}))
        with Book(tmp_path / f"book{next(iter(change))}") as other:
            found = import_book(other, tmp_path / "out")
            assert found.added == 2
            assert (
                "SHA-256" in found.problems[0] or "is not as it was exported" in found.problems[0]
            )
