"""What the charts of a ride ask the server for: frames, and points for what is in view."""

import json
import math
from functools import lru_cache
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ridelog.book import Book
from ridelog.core.units import SpeedUnit
from ridelog.web.ride_page import ride_of
from ridelog.web.trace_data import HALF_WIDTH, RideTrace, path_columns, speed_columns
from ridelog.web.views import PageError, reads_book, server_of, unit_of

_LONGEST_S = 1e8
# The axis goes at most this much beyond the highest speed. Own choice.
_MOST_BAND = 1.5


@reads_book
def ride_chart(request: Request, book: Book) -> Response:
    """Return the frames of a ride's charts and what they show in words."""
    from ridelog.web import charts

    ride = ride_of(request, book)
    trace, result_id = _trace(request, book)
    result = book.results.latest(ride.id)
    document: dict[str, Any] = result.document if result else {}
    unit = unit_of(request)
    shade = request.query_params.get("shade", "light")
    shade = shade if shade in charts.SHADES else "light"
    if not len(trace.time_s):
        raise PageError("nothing is known of this ride's motion.", "look at the signal.", 404)
    start_s, end_s = float(trace.time_s[0]), float(trace.time_s[-1])
    highest = float(np.max(trace.speed_mps))
    # The band stays in sight unless a doubtful moment would squash everything else.
    above = float(np.max(trace.speed_mps + HALF_WIDTH * trace.speed_sd_mps))
    top = 1.08 * unit.from_mps(min(above, _MOST_BAND * highest))
    marks = [(m.start_s, m.end_s, m.kind) for m in book.details.marks(ride.id)]
    spans = _spans(document) + marks
    phases = _phases(document)
    path = _path(trace, unit)
    return JSONResponse(
        {
            "result": result_id,
            "start": start_s,
            "end": end_s,
            "unit": unit.label,
            "phases": phases,
            "spans": spans,
            "speed": charts.time_item(
                unit,
                shade,
                start_s=start_s,
                end_s=end_s,
                top=top,
                spans=spans,
                phases=phases,
            ),
            "route": path,
            "path": charts.path_item(unit, shade, path, top=unit.from_mps(highest)),
        }
    )


@reads_book
def ride_trace(request: Request, book: Book) -> Response:
    """Return speed and band between two times, thinned to the pixels asked for."""
    trace, _ = _trace(request, book)
    start_s, end_s = _number(request, "from", -_LONGEST_S), _number(request, "to", _LONGEST_S)
    columns = int(min(max(_number(request, "columns", 800.0), 1.0), 10_000.0))
    data = speed_columns(trace, unit_of(request), start_s, end_s, columns)
    return Response(json.dumps(data, allow_nan=False), media_type="application/json")


def _path(trace: RideTrace, unit: SpeedUnit) -> dict[str, list[float | None]]:
    """Return the path with the time of every point, in the unit's lengths."""
    data = path_columns(trace, unit)
    for name in ("east", "north"):
        data[name] = [
            None if value is None else round(unit.from_metres(value), 3) for value in data[name]
        ]
    return data


def _trace(request: Request, book: Book) -> tuple[RideTrace, int]:
    ride = ride_of(request, book)
    result = book.results.latest(ride.id)
    if result is None:
        raise PageError(f"ride {ride.id} has no figures yet.", "wait until it is measured.", 404)
    return _read_trace(str(server_of(request).folder), ride.id, result.id), result.id


@lru_cache(maxsize=8)
def _read_trace(folder: str, ride_id: int, result_id: int) -> RideTrace:
    """Return a trace; a result's number never means another result."""
    from pathlib import Path

    with Book(Path(folder)) as book:
        data = book.results.attachment(ride_id, "trace")
    if data is None:
        raise PageError(
            f"ride {ride_id} was read from an export without its trace.", "measure it again.", 404
        )
    return RideTrace.from_bytes(data)


def _number(request: Request, name: str, otherwise: float) -> float:
    try:
        value = float(request.query_params.get(name, otherwise))
    except ValueError as error:
        raise PageError(f"{name}: this is no number.", "load the page again.") from error
    return value if math.isfinite(value) else otherwise


def _spans(document: dict[str, Any]) -> list[tuple[float, float, str]]:
    top = document.get("top_speed") or {}
    spans: list[tuple[float, float, str]] = []
    for gap in (document.get("signal") or {}).get("gaps") or []:
        spans.append((float(gap["start_s"]), float(gap["end_s"]), "gap"))
    for segment in (document.get("reverse") or {}).get("segments") or []:
        spans.append((float(segment["start_s"]), float(segment["end_s"]), "reverse"))
    if top.get("at_s") is not None:
        spans.append((float(top["at_s"]), float(top["at_s"]) + 1.0, "best"))
    return spans


def _phases(document: dict[str, Any]) -> list[tuple[float, float, str]]:
    return [
        (float(phase["start_s"]), float(phase["end_s"]), str(phase["kind"]))
        for phase in document.get("phases") or []
    ]
