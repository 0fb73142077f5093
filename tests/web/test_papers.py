"""The workshop on its papers, and rides held against a stated speed, in the page."""

import io
import re
import time
from pathlib import Path
from urllib.parse import urlencode

import jsonschema
import pytest
from PIL import Image
from pypdf import PdfReader
from visitor import SAMPLES, Answer, Visitor, app_in, queue_of, wait_until_measured

from ridelog.book.book import Book
from ridelog.book.exchange import export_book, import_book
from ridelog.book.workshop import kept_workshop
from ridelog.report.ride_json import schema_of


def logo(kind: str = "PNG") -> bytes:
    stream = io.BytesIO()
    Image.new("RGB", (60, 20), (0, 32, 77)).save(stream, kind)
    return stream.getvalue()


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Visitor:
    found = Visitor(app_in(tmp_path_factory.mktemp("papers") / "book"))
    found.get("/machines")
    return found


def folder(visitor: Visitor) -> Path:
    found: Path = visitor.app.inner.state.server.folder
    return found


def put_logo(visitor: Visitor, data: bytes, name: str = "logo.png") -> Answer:
    headers = {"origin": f"http://{visitor.host}", "x-ridelog-token": visitor.token}
    return visitor.ask("PUT", f"/workshop/logo?{urlencode({'name': name})}", data, headers=headers)


def test_the_workshop_is_kept_and_goes_through_an_export(visitor: Visitor, tmp_path: Path) -> None:
    visitor.get("/workshop")
    visitor.post("/workshop", workshop="Quillgarth  Works", contact="Mill Lane 3")
    assert put_logo(visitor, logo("JPEG")).status == 201
    assert put_logo(visitor, logo()).status == 201  # in the place of the other
    page = visitor.get("/workshop")
    assert 'value="Quillgarth Works"' in page.text and 'src="/workshop/logo"' in page.text
    assert visitor.get("/workshop/logo").body == logo()
    kept = kept_workshop(folder(visitor) / "words")
    assert kept.logo is not None and kept.logo.name == "workshop-logo.png"
    with Book(folder(visitor)) as book:
        export_book(book, tmp_path / "export")
    with Book(tmp_path / "fresh") as fresh:
        import_book(fresh, tmp_path / "export")
    again = kept_workshop(tmp_path / "fresh" / "words")
    assert (again.name, again.contact) == ("Quillgarth Works", "Mill Lane 3")
    assert again.logo is not None and again.logo.read_bytes() == logo()


def test_what_is_no_logo_is_refused(visitor: Visitor) -> None:
    visitor.get("/workshop")
    assert "a logo is a PNG or JPEG" in put_logo(visitor, b"GIF89a", "x.gif").json()["problem"]
    assert put_logo(visitor, b"\x89PNG\r\n\x1a\n" + bytes(1_000_000)).status == 413
    long = visitor.post("/workshop", workshop="x" * 101)
    assert long.status == 400 and "100 are the most" in long.words


def test_words_of_the_workshop_that_are_spoilt_are_none(tmp_path: Path) -> None:
    (tmp_path / "workshop.json").write_text('{"name": 1')
    assert kept_workshop(tmp_path) == kept_workshop(tmp_path / "nowhere")


@pytest.fixture(scope="module")
def place(visitor: Visitor) -> str:
    """The page of a machine that came without rides, with one ride now."""
    visitor.get("/machines")
    visitor.post("/machines", name="Tern")
    visitor.get("/machines/1")
    visitor.post("/machines/1/setups", name="new motor")
    name = "after-2.nmea"
    headers = {"origin": f"http://{visitor.host}", "x-ridelog-token": visitor.token}
    said = urlencode({"name": name, "machine_name": "Tern", "setup_name": "new motor"})
    queue = queue_of(visitor.app)
    queue.start()
    try:
        data = (SAMPLES / name).read_bytes()
        assert visitor.ask("PUT", f"/logs?{said}", data, headers=headers).status == 202
        wait_until_measured(visitor)
    finally:
        time.sleep(0.1)
    return "/machines/1/setups/1/stated"


def test_a_statement_is_held_against_the_rides_now(visitor: Visitor, place: str) -> None:
    form = visitor.get(place)
    assert form.status == 200 and "Faster than stated?" in form.words
    assert "Quillgarth Works" in form.words
    said = urlencode({"asked": 1, "ride": 1, "speed": "28", "within": "10 %", "by": "a leaflet",
                      "price": "120 EUR", "done": "a motor", "aim": "tamer"})  # fmt: skip
    answer = visitor.get(f"{place}?{said}")
    assert "times (1.7" in answer.words and "the stated 28.0 km/h (a leaflet)" in answer.words
    assert "Tern: new motor" in answer.words and "Owner's sheet as PDF" in answer.words
    pdf = PdfReader(io.BytesIO(visitor.get(f"{place}/sheet.pdf?{said}").body))
    text = " ".join(pdf.pages[0].extract_text().split())
    assert len(pdf.pages) == 1 and "Quillgarth Works" in text and "120 EUR" in text
    assert "Your decision: please tick one and sign" in text
    images = [image for image in pdf.pages[0].images]
    assert images  # the logo
    document = visitor.get(f"{place}/result.json?{said}").json()
    jsonschema.validate(document, schema_of("ridelog.compare/1"))
    assert document["stated"]["within"] == 0.1
    assert visitor.get(f"{place}/book.sqlite3?{said}").status == 404
    page = visitor.get(f"{place}/sheet.html?{said}")
    assert re.search(r'<img src="data:image/png;base64,[^"]+" alt="Logo', page.text)


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"within": "10"}, "The stated speed: is missing"),
        ({"speed": "fast", "within": "10"}, '"fast" is no number'),
        ({"speed": "28"}, "How good the statement is: is missing"),
        ({"speed": "28", "within": "0"}, "good to a share between 0 and 100 %"),
        ({"speed": "28", "within": "10", "ride": "99"}, "No ride was ticked"),
    ],
)
def test_what_is_missing_is_said_beside_the_form(
    said: dict[str, str], says: str, visitor: Visitor, place: str
) -> None:
    asked = urlencode({"asked": "1", "ride": "1", **said})
    answer = visitor.get(f"{place}?{asked}")
    assert answer.status == 200 and says.lower() in answer.words.lower()
    assert visitor.get(f"{place}/sheet.pdf?{asked}").status in (400, 404)
