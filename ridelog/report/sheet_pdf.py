"""The owner's sheet as a tagged PDF that carries its result, and the files beside it."""

import csv
import io
import json
from dataclasses import asdict

from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison
from ridelog.compare.matching import Rides
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture
from ridelog.report.aim import Aim
from ridelog.report.compare_json import ComparedFigure, RideReading, compared_figures
from ridelog.report.compare_plot import compare_picture, sheet_svg
from ridelog.report.letterhead import Letterhead
from ridelog.report.pdf import NO_DAY, one_page, plain_svg
from ridelog.report.predict_json import predict_json
from ridelog.report.predict_plot import predict_pictures
from ridelog.report.ride_json import to_bytes
from ridelog.report.sheet import SheetWords, sheet_html, sheet_words
from ridelog.report.trace import smoothed_gpx


def sheet_pdf(
    words: SheetWords,
    picture_svg: str,
    label: str,
    result: bytes,
    paper: str,
    head: Letterhead | None = None,
) -> tuple[bytes, str]:
    """Return the sheet as PDF, and a sentence if it had to do without something.

    Equal input gives equal bytes: the file's date is that of the last ride.

    ``picture_svg`` and its ``label`` are empty for no picture; ``result`` is the JSON of the
    comparison, attached as result.json; paper is one of PAPERS; ``head`` gives the logo.

    OutputError if the sheet cannot be set at all.
    """
    inputs = {
        "words": json.dumps(asdict(words), ensure_ascii=False),
        "paper": paper,
        "result": result.decode("utf-8"),
        "day": words.last_day or NO_DAY,
    }
    if picture_svg:
        inputs |= {"picture": plain_svg(picture_svg), "label": label}
    return one_page("sheet.typ", *(head or Letterhead()).beside(inputs))


COLUMNS = ("measure", "title", "unit", "row", "file", "value", "low", "high", "level", "words")


def sheet_files(
    comparison: Comparison,
    unit: SpeedUnit,
    document: bytes,
    *,
    letterhead: Letterhead | None = None,
    note: str = "",
    aim: Aim | None = None,
    paper: str = "a4",
) -> tuple[dict[str, bytes], str]:
    """Return the sheet with what belongs to it, and what the PDF had to do without, if anything.

    ``document`` is the comparison as JSON, written as result.json and attached to the PDF; ``note``
    and ``aim`` are as of ``sheet_words``; paper is one of PAPERS.
    """
    words = sheet_words(comparison, unit, letterhead=letterhead, note=note, aim=aim)
    picture = compare_picture(comparison, unit)
    flat = sheet_svg(comparison, unit, picture.label if picture else "")
    files, lacking = paper_files(words, picture, flat, document, letterhead, paper)
    files["measures.csv"] = measures_csv(comparison)
    if comparison.predicted is not None:
        told = comparison.predicted
        files["predicted.json"] = to_bytes(predict_json(told.prediction, told.after))
        files["predicted.png"] = predict_pictures(told.prediction, unit, told.after)[0].png
    return files, lacking


def paper_files(
    words: SheetWords,
    picture: Picture | None,
    flat_svg: str,
    document: bytes,
    letterhead: Letterhead | None,
    paper: str,
) -> tuple[dict[str, bytes], str]:
    """Return a sheet as page and PDF with its result, and what the PDF had to do without."""
    label = picture.label if picture else ""
    logo = letterhead.logo_url if letterhead else ""
    pdf, lacking = sheet_pdf(words, flat_svg, label, document, paper, letterhead)
    files = {
        "sheet.html": sheet_html(words, picture, logo).encode("utf-8", errors="replace"),
        "sheet.pdf": pdf,
        "result.json": document,
    }
    if picture is not None:
        files["runs.png"] = picture.png
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
