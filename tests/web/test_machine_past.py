"""A machine's history on its page: what was done, what it cost, photos, decisions, its table."""

import csv
import io
from pathlib import Path
from urllib.parse import urlencode

import pytest
from PIL import Image
from visitor import Answer, Visitor, app_in

from ridelog.book.book import Book
from ridelog.book.records import NewResult
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.present.tables import safe_cell
from ridelog.web.timeline import MOST_OPEN, past_of


def jpeg(shade: int = 90) -> bytes:
    stream = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "a secret maker"
    Image.new("RGB", (900, 600), (shade, 40, 40)).save(stream, "JPEG", exif=exif)
    return stream.getvalue()


@pytest.fixture
def visitor(tmp_path: Path) -> Visitor:
    found = Visitor(app_in(tmp_path / "book"))
    found.get("/machines")
    assert found.post("/machines", name="Tern").status == 303
    return found


def put(visitor: Visitor, name: str, data: bytes, **query: str) -> Answer:
    headers = {"origin": f"http://{visitor.host}", "x-ridelog-token": visitor.token}
    path = f"/machines/1/photos?{urlencode({'name': name, **query})}"
    return visitor.ask("PUT", path, data, headers=headers)


def test_what_was_done_stands_on_one_line_of_time(visitor: Visitor, tmp_path: Path) -> None:
    visitor.get("/machines/1")
    for told in (
        {"kind": "part", "day": "2023-04-01", "words": "chain <b>", "price": "18,50",
         "currency": "EUR"},
        {"kind": "change", "day": "2022-03-02", "words": "14 teeth", "price": "40",
         "currency": "EUR", "hours": "1.5"},
        {"kind": "decision", "day": "2022-03-01", "words": "on 12 teeth: 14 teeth", "price": "40",
         "currency": "EUR"},
    ):  # fmt: skip
        assert visitor.post("/machines/1/work", **told).status == 303
    with Book(tmp_path / "book") as book:
        setup = book.machines.setup_named(1, "14 teeth")
        book.machines.change_setup(setup.id, name="14 teeth", since_utc="2022-03-02", toml="")
        for number in range(2):
            ride, _ = book.rides.add(book.store(b"log %d" % number), f"={number}.gpx")
            book.rides.move(ride.id, 1, setup.id)
            top = {"two_way_mps": Estimate(10.0 + number, 9.9 + number, 10.1 + number)}
            book.results.put(ride.id, NewResult("0.1.0", {}, {}, top))
            book.rides.describe(ride.id, format="gpx-1.1", start_utc="2022-03-03T10:00:00Z",
                                duration_s=60.0)  # fmt: skip
        past = past_of(book, book.machines.get(1), SPEED_UNITS["km/h"])
    assert [(one.day, one.kind) for one in past.entries] == [
        ("2023-04-01", "part"), ("2022-03-03", "ride"), ("2022-03-02", "set-up"),
        ("2022-03-02", "change"), ("2022-03-01", "decision"),
    ]  # fmt: skip
    # A decision's price is what is to be spent, so that it is not counted twice.
    assert past.spent == "58.50 EUR, 1.5 h of work"
    page = visitor.get("/machines/1")
    assert "Spent on it: 58.50 EUR, 1.5 h of work" in page.words
    assert "2 rides on 14 teeth" in page.words and "36.0 km/h (35.6 to 36.4)" in page.words
    assert "chain &lt;b&gt;" in page.text and "18.50 EUR" in page.words

    table = visitor.get("/machines/1/history.csv")
    assert table.headers["content-disposition"].endswith('"machine-1-history.csv"')
    rows = list(csv.DictReader(io.StringIO(table.text)))
    assert [row["kind"] for row in rows][:3] == ["decision", "set-up", "change"]
    figures = [row for row in rows if row["figure"]]
    assert [(row["figure"], row["value"], row["words"]) for row in figures][1] in (
        ("two_way_mps", "10", "'=0.gpx"), ("two_way_mps", "11", "'=1.gpx"),
    )  # fmt: skip
    assert rows[-1]["price"] == "18.5"


def test_photos_are_kept_as_they_are_and_shown_without_their_notes(
    visitor: Visitor, tmp_path: Path
) -> None:
    visitor.get("/machines/1")
    data = jpeg()
    assert put(visitor, "as it came.jpg", data, day="2022-03-02", note="as it came").status == 201
    assert put(visitor, "again.jpg", data, day="2022-03-02").status == 201  # the same is one
    page = visitor.get("/machines/1")
    assert page.text.count('<img src="/machines/1/photos/1"') == 1
    assert 'alt="Photo of 2022-03-02: as it came"' in page.text
    small, large = (visitor.get(f"/machines/1/photos/1{q}") for q in ("", "?large=1"))
    assert small.headers["content-type"] == large.headers["content-type"] == "image/jpeg"
    assert Image.open(io.BytesIO(small.body)).size == (360, 240)
    assert Image.open(io.BytesIO(large.body)).size == (900, 600)
    assert b"secret maker" in data and b"secret maker" not in small.body + large.body
    kept = visitor.get("/machines/1/photos/1/original")
    assert kept.body == data and kept.headers["content-disposition"].startswith("attachment")
    visitor.get("/machines/1")
    assert visitor.post("/machines/1/photos/remove", photo="1").status == 303
    assert visitor.get("/machines/1/photos/1").status == 404
    assert "as it came" not in visitor.get("/machines/1").words


def test_what_is_no_photo_is_refused_beside_the_form(visitor: Visitor) -> None:
    visitor.get("/machines/1")
    said = put(visitor, "x.jpg", b"no photo at all").json()
    assert "x.jpg: this is no JPEG or PNG photo." in said["problem"]
    assert put(visitor, "x.jpg", b"\xff" * 24_000_001).status == 413
    assert "is no day" in put(visitor, "x.jpg", jpeg(), day="soon").json()["problem"]
    missing = visitor.ask("PUT", "/machines/9/photos?name=x.jpg", jpeg(), headers={
        "origin": f"http://{visitor.host}", "x-ridelog-token": visitor.token})  # fmt: skip
    assert missing.status == 404
    visitor.token = "wrong"
    refused = put(visitor, "x.jpg", jpeg())
    assert refused.status == 403 and "the photo was not taken" in refused.json()["problem"]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"kind": "party"}, "What it was is not chosen"),
        ({"price": "much"}, "'much' is no number"),
        ({"price": "-3"}, "price: -3 must be from 0"),
        ({"day": "soon"}, "is no day"),
        ({"words": ""}, "What was done is not said"),
    ],
)
def test_what_cannot_be_noted_is_said(wrong: dict[str, str], says: str, visitor: Visitor) -> None:
    visitor.get("/machines/1")
    told = {"kind": "part", "day": "2023-04-01", "words": "chain"} | wrong
    answer = visitor.post("/machines/1/work", **told)
    assert answer.status == 400 and says.lower() in answer.words.lower()


def test_a_long_history_is_folded_and_entries_leave_by_hand(visitor: Visitor) -> None:
    visitor.get("/machines/1")
    for number in range(MOST_OPEN + 3):
        visitor.post("/machines/1/work", kind="note", day=f"20{10 + number % 12}-01-01",
                     words=f"thing {number}")  # fmt: skip
    page = visitor.get("/machines/1")
    assert page.text.count('class="past-note"') == MOST_OPEN + 3
    assert "<summary>Earlier</summary>" in page.text
    assert visitor.post("/machines/1/work/remove", work="1").status == 303
    assert "thing 0 " not in visitor.get("/machines/1").words


def test_cells_are_no_formulas() -> None:
    """OWASP, "CSV Injection": cells that begin with =, +, -, @ or white space."""
    assert safe_cell("=1+1") == "'=1+1" and safe_cell("@x") == "'@x" and safe_cell("-a") == "'-a"
    assert safe_cell("-1.5") == "-1.5" and safe_cell(-2.0) == -2.0 and safe_cell(None) == ""
    assert safe_cell("chain") == "chain"
