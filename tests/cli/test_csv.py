"""Every result as a table: a ride, a prediction, options, and the rides of the book."""

import csv
import io
from pathlib import Path

import pytest

from ridelog.__main__ import main
from ridelog.book.book import Book
from ridelog.book.records import NewResult
from ridelog.core.estimate import Estimate

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
RIDE, SETUP = SAMPLES / "before-1.gpx", SAMPLES / "thistledrake-before.toml"


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


def rows_of(data: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data)))


def ends(row: dict[str, str], before: str = "") -> list[float]:
    return [float(row[f"{before}{end}"]) for end in ("low", "value", "high")]


def test_a_ride_as_a_table(tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    place = tmp_path / "figures.csv"
    assert leave("report", str(RIDE), "--csv", str(place), "--mode", "slow=0/90") == 0
    assert b"Top speed" in capsysbinary.readouterr().out  # the screen is there all the same
    rows = rows_of(place.read_text(encoding="utf-8"))
    assert {row["mode"] for row in rows} == {"", "slow"}
    assert {row["file"] for row in rows} == {"before-1.gpx"}
    top = next(row for row in rows if row["name"] == "best_1s_mps")
    assert top["unit"] == "m/s" and ends(top) == sorted(ends(top))
    assert all(row["reason"] for row in rows if not row["value"])
    assert leave("report", str(RIDE), "--csv", str(place)) == 2
    assert b"there already" in capsysbinary.readouterr().err
    assert leave("report", str(RIDE), "--csv", "-") == 0
    assert capsysbinary.readouterr().out.startswith(b"file,mode,name,unit,value,low,high,reason\n")
    assert leave("report", str(RIDE), "--csv", "-", "--json", "-") == 2
    assert b"cannot both go to standard output" in capsysbinary.readouterr().err


def test_prediction_and_options_as_tables(
    tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    told = tmp_path / "told.csv"
    assert leave("predict", str(SETUP), "--change", "rear_teeth=56", "--csv", str(told)) == 0
    rows = rows_of(told.read_text(encoding="utf-8"))
    top = next(row for row in rows if row["name"] == "top_speed_mps")
    assert float(top["changed_value"]) > float(top["now_value"]) and top["limited_by"]
    assert ends(top, "difference_") == sorted(ends(top, "difference_"))
    options = SAMPLES / "thistledrake-options.toml"
    capsysbinary.readouterr()
    assert leave("options", str(SETUP), str(options), "--csv", "-") == 0
    rows = rows_of(capsysbinary.readouterr().out.decode())
    assert len({row["option"] for row in rows}) == 4
    price = next(row for row in rows if row["name"] == "price" and row["value"] == "620.0")
    assert price["unit"] == "EUR"
    moved = [r for r in rows if r["option"] != "as it is" and r["name"] == "top_speed_mps"]
    assert len(moved) == 3 and all(row["difference_value"] for row in moved)


def test_the_book_as_a_table(tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    folder = tmp_path / "book"
    with Book(folder) as book:
        for number in range(60):
            ride, _ = book.rides.add(book.store(b"log %d" % number), f"{number}.gpx")
            book.assign(ride.id, "=Tern", "56 teeth")
            if number:
                figures = {"best_1s_mps": Estimate(9.0 + number, 8.5 + number, 9.5 + number)}
                book.results.put(ride.id, NewResult("0.1.0", {}, {}, figures))
    place = tmp_path / "rides.csv"
    assert leave("book", "list", "--book", str(folder), "--csv", str(place)) == 0
    rows = rows_of(place.read_text(encoding="utf-8"))
    assert len(rows) == 60  # more than are printed
    assert {row["machine"] for row in rows} == {"'=Tern"}  # no spreadsheet computes a name
    first = next(row for row in rows if row["file"] == "0.gpx")
    assert first["best_1s_mps_value"] == "" and len(first["sha256"]) == 64
    second = next(row for row in rows if row["file"] == "1.gpx")
    assert ends(second, "best_1s_mps_") == [9.5, 10.0, 10.5]
    capsysbinary.readouterr()
    assert leave("book", "list", "1.gpx", "--book", str(folder), "--csv", "-") == 0
    assert b"ride,file,sha256" in capsysbinary.readouterr().out
    assert leave("book", "list", "--book", str(folder), "--csv", str(place)) == 2
    assert b"there already" in capsysbinary.readouterr().err
