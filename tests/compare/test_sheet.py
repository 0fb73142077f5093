"""The owner's sheet: one sheet, plain words, tagged PDF with the result inside, no coordinates."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison, compare
from ridelog.core.units import SPEED_UNITS
from ridelog.importer import load_track
from ridelog.report.compare_json import compare_json
from ridelog.report.pdf import PAPERS
from ridelog.report.ride_json import to_bytes
from ridelog.report.sheet_pdf import COLUMNS, measures_csv, sheet_files
from ridelog.report.trace import smoothed_gpx

pytest_plugins = ("thin_rides",)
KMH = SPEED_UNITS["km/h"]
TEMPLATES = Path(__file__).resolve().parents[2] / "ridelog" / "report" / "templates"


def made(comparison: Comparison, **words: str) -> tuple[dict[str, bytes], str]:
    return sheet_files(comparison, KMH, to_bytes(compare_json(comparison)), **words)


@pytest.fixture(scope="module")
def files(thin_comparison: Comparison) -> dict[str, bytes]:
    return made(thin_comparison, workshop="Quillgarth Works", note="Eight teeth fewer.")[0]


@pytest.mark.parametrize(("paper", "width_pt"), list(zip(PAPERS, (595, 612), strict=True)))
def test_pdf_is_one_tagged_sheet(thin_comparison: Comparison, paper: str, width_pt: int) -> None:
    made_files, lacking = made(thin_comparison, paper=paper)
    reader = pypdf.PdfReader(io.BytesIO(made_files["sheet.pdf"]))
    assert lacking == ""
    assert len(reader.pages) == 1
    assert round(float(reader.pages[0].mediabox.width)) == width_pt
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    assert reader.metadata is not None and reader.metadata.title == "What the change did"
    assert b"pdfuaid" in root["/Metadata"].get_data()


def test_pdf_carries_the_result_byte_for_byte(files: dict[str, bytes]) -> None:
    reader = pypdf.PdfReader(io.BytesIO(files["sheet.pdf"]))
    assert reader.attachments["result.json"] == [files["result.json"]]


def test_pdf_is_the_same_twice(thin_comparison: Comparison) -> None:
    assert made(thin_comparison)[0]["sheet.pdf"] == made(thin_comparison)[0]["sheet.pdf"]


def test_html_stands_alone_and_tells_no_place(files: dict[str, bytes], thin_logs: Path) -> None:
    page = files["sheet.html"].decode()
    assert "<script" not in page and "@import" not in page
    assert "http" not in page.replace("http://www.w3.org", "")
    for log in thin_logs.rglob("*.gpx"):
        for name in ("lat", "lon"):
            seen = log.read_text().split(f'{name}="')[1].split('"')[0]
            assert seen[:7] not in page
    assert "Quillgarth Works" in page and "Eight teeth fewer." in page


def test_the_sheet_answers_an_owner(files: dict[str, bytes]) -> None:
    page = files["sheet.html"].decode()
    text = "".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(files["sheet.pdf"])).pages)
    flat = " ".join(text.split())
    for words in (
        "top speed rose by",
        "How sure is it?",
        "What it cost",
        "Before anyone rides it",
        "What was not measured",
        "nine times out of ten",
        "Helmet, eye protection",
        "tyre pressure",
        "What else differed",
    ):
        assert words in page, words
        assert words in flat, words
    for jargon in ("Welch", "Holm", "p value", "Satterthwaite", "degrees of freedom", "null"):
        assert jargon not in page
        assert jargon not in flat


def test_a_name_is_never_markup(thin_comparison: Comparison) -> None:
    name = '#panic("x") <b>&amp; $y$ *bold*'
    made_files, lacking = made(thin_comparison, workshop=name)
    text = pypdf.PdfReader(io.BytesIO(made_files["sheet.pdf"])).pages[0].extract_text()
    assert name in text
    assert lacking == ""
    assert "&lt;b&gt;" in made_files["sheet.html"].decode()


def test_letters_that_the_font_lacks_are_told(thin_comparison: Comparison) -> None:
    made_files, lacking = made(thin_comparison, workshop="\N{CJK UNIFIED IDEOGRAPH-8ECA}")
    assert made_files["sheet.pdf"].startswith(b"%PDF")
    assert "fonts of this machine" in lacking or "does not claim to be accessible" in lacking


def test_templates_fetch_nothing() -> None:
    for path in TEMPLATES.iterdir():
        text = path.read_text(encoding="utf-8")
        assert "@preview" not in text, path
        assert "http" not in text, path


def test_csv_holds_every_figure(thin_comparison: Comparison) -> None:
    rows = list(csv.DictReader(io.StringIO(measures_csv(thin_comparison).decode())))
    assert tuple(rows[0]) == COLUMNS
    result = compare_json(thin_comparison)
    for measure in result["measures"]:
        mine = [row for row in rows if row["measure"] == measure["name"]]
        assert [row["row"] for row in mine].count("ride before") == 2
        difference = next(row for row in mine if row["row"] == "difference")
        if measure["difference"] is not None:
            assert float(difference["value"]) == pytest.approx(
                measure["difference"]["value"], rel=1e-5
            )
            assert difference["words"] == measure["verdict"]
        else:
            assert difference["value"] == ""


def test_smoothed_gpx_reads_back(
    thin_rides: dict[str, tuple[MeasuredRide, ...]], tmp_path: Path
) -> None:
    motion = thin_rides["before"][0].motion
    path = tmp_path / "smoothed.gpx"
    path.write_bytes(smoothed_gpx(motion))
    track = load_track(path)
    assert track.source.format == "gpx-1.0"
    known = motion.used & np.isfinite(motion.speed_mps)
    assert len(track) == np.count_nonzero(known)
    assert np.allclose(track.speed_mps, motion.speed_mps[known], atol=1e-4)
    assert track.start_utc == motion.track.start_utc


def test_one_ride_a_side_on_the_sheet(thin_rides: dict[str, tuple[MeasuredRide, ...]]) -> None:
    lone = compare(thin_rides["before"][:1], thin_rides["after"][:1])
    page = made(lone)[0]["sheet.html"].decode()
    assert "nothing here is called better or worse" in page
    assert '<p class="verdict">cannot say</p>' in page
    assert json.loads(made(lone)[0]["result.json"])["false_alarms"]["figures_tested"] == 0
