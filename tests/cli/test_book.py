"""The commands about the ride book: what they print, and in whose time."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ridelog.__main__ import main
from ridelog.book.book import Book
from ridelog.book.records import NewResult
from ridelog.core.estimate import Estimate

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a book with one ride, whose figures are made up."""
    with Book(tmp_path / "book") as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
        book.rides.describe(
            ride.id, format="gpx-1.1", start_utc="2024-06-08T23:05:00Z", duration_s=9.0
        )
        figures = {"best_1s_mps": Estimate(10.0, 9.9, 10.1)}
        book.results.put(ride.id, NewResult("0.0.9", {}, {}, figures))
        book.details.add_note(ride.id, "pulled left", "2024-12-08T23:05:00Z")
        book.assign(ride.id, "Bramblehop 4", "11 teeth")
    return tmp_path / "book"


def said(capsys: pytest.CaptureFixture[str], folder: Path, *words: str, leaves: int = 0) -> str:
    """Return what a command prints, or why it ends with another status."""
    with pytest.raises(SystemExit) as caught:
        main(["book", words[0], *words[1:], "--book", str(folder)])
    seen = capsys.readouterr()
    assert int(caught.value.code or 0) == leaves, seen.err
    return seen.err if leaves else seen.out


def test_rides_are_listed_in_local_time(
    folder: Path, capsys: pytest.CaptureFixture[str], zone: Callable[[str], None]
) -> None:
    line = " ".join(said(capsys, folder, "list").split())
    assert line == "1 8 Jun 2024, 23:05 UTC 36.0 km/h (35.6 to 36.4) Bramblehop 4, 11 teeth"
    zone("Berlin")
    assert "9 Jun 2024, 01:05 CEST " in said(capsys, folder, "list")
    assert "9 Jun 2024, 01:05 CEST" in said(capsys, folder, "list", "2024-06-09", "bramble")
    assert said(capsys, folder, "list", "2024-06-08") == ""
    shown = said(capsys, folder, "show", "1")
    assert "\nWhen:                              9 Jun 2024, 01:05 CEST\n" in shown
    assert "\nNote, 9 Dec 2024, 00:05 CET:       pulled left\n" in shown


def test_a_ride_is_moved_by_names(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    moved = said(capsys, folder, "move", "1", "--machine", "Second", "--setup", "10 teeth")
    assert moved == "Ride 1: Second, 10 teeth\n"
    assert said(capsys, folder, "move", "1", "--machine", "Second") == "Ride 1: Second\n"
    words = said(capsys, folder, "move", "7", "--machine", "Third", leaves=1)
    assert "ride 7 is not in the book" in words
    with Book(folder) as book:
        assert [machine.name for machine in book.machines.all()] == ["Bramblehop 4", "Second"]


def test_a_log_is_added_exported_and_imported(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = (SAMPLES / "before-2.nmea").read_bytes().splitlines(keepends=True)
    log = tmp_path / "short.nmea"
    log.write_bytes(b"".join(lines[:200]))
    book = tmp_path / "new"
    added = said(capsys, book, "add", str(log), "--machine", "Bramblehop 4")
    assert added.startswith("Ride 1: short.nmea added, top speed ")
    assert "was there already" in said(capsys, book, "add", str(log))
    none = tmp_path / "none.gpx"
    none.write_text("no log")
    words = said(capsys, book, "add", str(none), leaves=1)
    assert "no log that ridelog reads" in words
    assert said(capsys, book, "check") == "1 log is as given\n"
    out = tmp_path / "out"
    assert said(capsys, book, "export", str(out)) == f"Wrote {out} with 1 ride\n"
    read = said(capsys, tmp_path / "other", "import", str(out))
    assert read == "1 ride added, 0 were there already\n"
    assert "figures changed since ridelog" in said(capsys, tmp_path / "other", "again", "1")


def test_nothing_is_made_where_no_book_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for words in (["list"], ["show", "1"], ["check"], ["export", str(tmp_path / "out")], ["again"],
                  ["rebuild"], ["move", "1", "--machine", "x"]):  # fmt: skip
        assert "there is no ride book here" in said(capsys, tmp_path / "none", *words, leaves=1)
    assert not (tmp_path / "none").exists()


def test_damage_is_named_and_mended(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "book.sqlite3").write_bytes(b"not a database" * 999)
    assert "the ride book's file is damaged" in said(capsys, folder, "list", leaves=1)
    assert "1 thing is amiss in the book" in said(capsys, folder, "check", leaves=1)
    made = said(capsys, folder, "rebuild")
    assert made.startswith(
        "1 ride in the book, 1 of them new\nThe old database is kept as book-set"
    )
    assert said(capsys, folder, "check") == "1 log is as given\n"
    assert "pulled left" in said(capsys, folder, "show", "1")
    assert "not measured yet" in said(capsys, folder, "list")
    # What is no log any more is refused, and says so until it is measured.
    words = said(capsys, folder, "again", leaves=1)
    assert "ride 1: one.gpx, start of file: the content is no log" in words
    assert "could not be measured" in said(capsys, folder, "list")
    assert "\nWhy: " in said(capsys, folder, "show", "1")


def test_an_import_tells_what_differs(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, folder, "export", str(tmp_path / "out"))
    with Book(folder) as book:
        book.details.remove_note(1, 1)
    words = said(capsys, folder, "import", str(tmp_path / "out"), leaves=1)
    assert "ride 1, one.gpx, stays as it is, but the export has other notes." in words
    filled = said(capsys, folder, "import", str(tmp_path / "out"), "--fill")
    assert filled == "0 rides added, 1 was there already\n"


def test_one_bad_log_does_not_stop_the_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = (SAMPLES / "before-2.nmea").read_bytes().splitlines(keepends=True)
    good = tmp_path / "good.nmea"
    good.write_bytes(b"".join(lines[:200]))
    (tmp_path / "dir.gpx").mkdir()
    (tmp_path / "bad.gpx").write_text("no log")
    words = said(
        capsys, tmp_path / "book", "add", *(str(tmp_path / n) for n in ("dir.gpx", "bad.gpx")),
        str(good), "--machine", "x" * 81, leaves=1,
    )  # fmt: skip
    begun, _, words = words.partition("\n")
    assert begun == f"A new ride book was begun in {tmp_path / 'book'}"
    assert words.startswith("ridelog: 2 of 3 logs: ") and "dir.gpx" in words and "bad.gpx" in words
    with Book(tmp_path / "book") as book:
        (ride,) = book.rides.found()
        assert (ride.file, ride.state, ride.machine) == ("good.nmea", "ready", "x" * 81)
