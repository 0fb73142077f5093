"""The files of a comparison by name: the owner's sheet, the result, the table, smoothed rides."""

from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison
from ridelog.core.units import SpeedUnit
from ridelog.report.compare_plot import compare_picture, sheet_svg
from ridelog.report.measures_csv import measures_csv
from ridelog.report.predict_json import predict_json
from ridelog.report.predict_plot import predict_pictures
from ridelog.report.ride_json import to_bytes
from ridelog.report.sheet import sheet_words
from ridelog.report.sheet_html import sheet_html
from ridelog.report.sheet_pdf import sheet_pdf
from ridelog.report.smoothed_gpx import smoothed_gpx


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

    Parameters
    ----------
    comparison, unit
        What to tell, and in which unit.
    document : bytes
        The comparison as JSON, written as result.json and attached to the PDF.
    workshop, note : str
        Free text for the sheet.
    paper : str
        One of ``sheet_pdf.PAPERS``.
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
