"""The owner's sheet as a tagged PDF that carries its result, and the files beside it."""

import csv
import io
import json
import re
import shutil
import tempfile
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path

import matplotlib

from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison
from ridelog.compare.matching import Rides
from ridelog.core.errors import OutputError
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.report.compare_json import ComparedFigure, RideReading, compared_figures
from ridelog.report.compare_plot import compare_picture, sheet_svg
from ridelog.report.predict_json import predict_json
from ridelog.report.predict_plot import predict_pictures
from ridelog.report.ride_json import to_bytes
from ridelog.report.sheet import SheetWords, sheet_html, sheet_words
from ridelog.report.trace import smoothed_gpx

PAPERS = ("a4", "us-letter")
# Letters become smaller until the sheet is one page; at the last size it may take its back too.
_SIZES_PT = ("8.4", "8.0", "7.6", "7.2", "6.8")
_FONT = "DejaVu Sans"
# The date of a file whose rides tell no day: the first that typst takes as a date of any kind.
_NO_DAY = "1970-01-01"
# matplotlib ships these; a folder of its own, because its last-resort font hides missing letters.
_FONT_FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")


def sheet_pdf(
    words: SheetWords, picture_svg: str, label: str, result: bytes, paper: str
) -> tuple[bytes, str]:
    """Return the sheet as PDF, and a sentence if it had to do without something.

    Equal input gives equal bytes: the file's date is that of the last ride.

    ``picture_svg`` and its ``label`` are empty for no picture; ``result`` is the JSON of the
    comparison, attached as result.json; paper is one of PAPERS.

    OutputError if the sheet cannot be set at all.
    """
    inputs = {
        "words": json.dumps(asdict(words), ensure_ascii=False),
        "paper": paper,
        "font": _FONT,
        "result": result.decode("utf-8"),
        "day": words.last_day or _NO_DAY,
    }
    if picture_svg:
        inputs |= {"picture": _plain_svg(picture_svg), "label": label}
    with tempfile.TemporaryDirectory(prefix="ridelog-") as folder:
        for name in _FONT_FILES:
            font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name
            shutil.copy(font, Path(folder) / name)
        source = Path(folder) / "sheet.typ"
        source.write_bytes((files("ridelog.report") / "templates" / "sheet.typ").read_bytes())
        for size in _SIZES_PT:
            inputs["size"] = size
            if _pages(str(source), inputs, folder) == 1:
                break
        return _compiled(str(source), inputs, folder)


def _pages(source: str, inputs: dict[str, str], fonts: str) -> int:
    """Return on how many pages the sheet would be set."""
    import typst

    found = typst.query(
        source, "<pages>", field="value", one=True, font_paths=[fonts], sys_inputs=inputs,
        ignore_system_fonts=True,
    )  # fmt: skip
    return int(json.loads(found))


def _compiled(source: str, inputs: dict[str, str], fonts: str) -> tuple[bytes, str]:
    """Try strictly first; a letter that the font lacks asks for the system's fonts."""
    import typst

    failure = ""
    for own_font_only, strict, note in (
        (True, True, ""),
        (False, True, "The sheet was set with fonts of this machine ({why})."),
        (False, False, "The PDF does not claim to be accessible or archival ({why})."),
    ):
        try:
            data = typst.compile(
                source,
                format="pdf",
                font_paths=[fonts],
                sys_inputs=inputs,
                ignore_system_fonts=own_font_only,
                # Tagged for those who listen (PDF/UA-1), with the result inside (PDF/A-3a).
                pdf_standards=["ua-1", "a-3a"] if strict else [],
            )
        except typst.TypstError as error:
            failure = (str(error).splitlines() or [type(error).__name__])[0]
            continue
        if not isinstance(data, bytes):
            raise TypeError("one PDF was asked for")
        return data, note.format(why=failure)
    raise OutputError(
        f"The PDF of the sheet cannot be set ({failure}).",
        "print sheet.html instead, and report this.",
    )


def _plain_svg(svg: str) -> str:
    """Return a picture with plain colours: variables of a page mean nothing outside it."""
    return re.sub(r"var\(--[a-z0-9]+,(#[0-9a-fA-F]{6})\)", r"\1", svg)


COLUMNS = ("measure", "title", "unit", "row", "file", "value", "low", "high", "level", "words")


def sheet_files(
    comparison: Comparison,
    unit: SpeedUnit,
    document: bytes,
    *,
    workshop: str = "",
    note: str = "",
    paper: str = "a4",
) -> tuple[dict[str, bytes], str]:
    """Return the sheet with what belongs to it, and what the PDF had to do without, if anything.

    ``document`` is the comparison as JSON, written as result.json and attached to the PDF; workshop
    and note are free text; paper is one of PAPERS.
    """
    words = sheet_words(comparison, unit, workshop=workshop, note=note)
    picture = compare_picture(comparison, unit)
    label = picture.label if picture else ""
    pdf, lacking = sheet_pdf(words, sheet_svg(comparison, unit, label), label, document, paper)
    files = {
        "sheet.html": sheet_html(words, picture).encode("utf-8", errors="replace"),
        "sheet.pdf": pdf,
        "result.json": document,
        "measures.csv": measures_csv(comparison),
    }
    if picture is not None:
        files["runs.png"] = picture.png
    if comparison.predicted is not None:
        told = comparison.predicted
        files["predicted.json"] = to_bytes(predict_json(told.prediction, told.after))
        files["predicted.png"] = predict_pictures(told.prediction, unit, told.after)[0].png
    return files, lacking


def gpx_files(rides: dict[str, MeasuredRide]) -> dict[str, bytes]:
    """Return each ride's smoothed motion as GPX under the same name."""
    return {name: smoothed_gpx(ride.motion) for name, ride in rides.items()}


def measures_csv(comparison: Comparison) -> bytes:
    """Return every figure of a comparison as CSV in UTF-8, in SI units.

    ``row`` is "ride before", "ride after", "before", "after", "difference" or "percent"; values are
    empty where nothing can be said, and ``words`` then says why; beside a difference they are the
    verdict.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for figure in compared_figures(comparison):
        writer.writerows(_rows(figure, comparison))
    return stream.getvalue().encode("utf-8", errors="replace")


def _rows(figure: ComparedFigure, comparison: Comparison) -> list[tuple[str, ...]]:
    head = (figure.name, figure.title, figure.unit)
    sides: tuple[tuple[str, Rides, tuple[RideReading, ...]], ...] = (
        ("ride before", comparison.before, figure.rides_before),
        ("ride after", comparison.after, figure.rides_after),
    )
    rows = [
        (*head, name, ride.name, *_numbers(reading.estimate), reading.reason)
        for name, rides, readings in sides
        for ride, reading in zip(rides, readings, strict=True)
    ]
    if figure.difference is None:
        words = f"{figure.verdict}: {figure.reason}"
        return [*rows, (*head, "difference", "", *_numbers(None), words)]
    why = "" if figure.before else figure.reason
    return [
        *rows,
        (*head, "before", "", *_numbers(figure.before), why),
        (*head, "after", "", *_numbers(figure.after), why),
        (*head, "difference", "", *_numbers(figure.difference), figure.verdict),
        (*head[:2], "%", "percent", "", *_numbers(figure.percent), why),
    ]


def _numbers(estimate: Estimate | None) -> tuple[str, str, str, str]:
    if estimate is None:
        return "", "", "", ""
    value, low, high = (f"{x:.6g}" for x in (estimate.value, estimate.low, estimate.high))
    return value, low, high, f"{estimate.level:g}"
