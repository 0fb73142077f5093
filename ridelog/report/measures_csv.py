"""All measures of a comparison as one CSV table: a row for each ride's figure and each result."""

import csv
import io

from ridelog.analysis.figure import Figure
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.matching import Rides
from ridelog.core.estimate import Estimate
from ridelog.core.units import SI

COLUMNS = ("measure", "title", "unit", "row", "file", "value", "low", "high", "level", "words")


def measures_csv(comparison: Comparison) -> bytes:
    """Return every figure of a comparison as CSV in UTF-8, in SI units.

    ``row`` is "ride before", "ride after", "before", "after", "difference" or "percent"; values are
    empty where nothing can be said, and ``words`` then says why; beside a difference they are the
    verdict.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for compared in comparison.figures:
        writer.writerows(_rows(compared, comparison))
    return stream.getvalue().encode("utf-8", errors="replace")


def _rows(compared: Compared, comparison: Comparison) -> list[tuple[str, ...]]:
    figure, difference = compared.figure, compared.difference
    head = (figure.name, figure.title_in(SI), figure.quantity.si)
    sides: tuple[tuple[str, Rides, tuple[Figure, ...]], ...] = (
        ("ride before", comparison.before, compared.before),
        ("ride after", comparison.after, compared.after),
    )
    rows = [
        (*head, name, ride.name, *_numbers(reading.estimate), reading.reason)
        for name, rides, readings in sides
        for ride, reading in zip(rides, readings, strict=True)
    ]
    if difference is None:
        words = f"{compared.verdict.word}: {compared.obstacle}"
        return [*rows, (*head, "difference", "", *_numbers(None), words)]
    word = compared.verdict.word
    return [
        *rows,
        (*head, "before", "", *_numbers(difference.before), ""),
        (*head, "after", "", *_numbers(difference.after), ""),
        (*head, "difference", "", *_numbers(difference.difference), word),
        (head[0], head[1], "%", "percent", "", *_numbers(difference.percent), ""),
    ]


def _numbers(estimate: Estimate | None) -> tuple[str, str, str, str]:
    if estimate is None:
        return "", "", "", ""
    value, low, high = (f"{x:.6g}" for x in (estimate.value, estimate.low, estimate.high))
    return value, low, high, f"{estimate.level:g}"
