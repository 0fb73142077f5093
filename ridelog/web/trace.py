"""What the charts of a ride ask the server for: frames, and as many points as there are pixels."""

import io
import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ridelog.book.book import Book
from ridelog.book.records import StoredResult
from ridelog.core.estimate import QUANTILE
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.core.units import SpeedUnit
from ridelog.present.thinning import lowest_and_highest, thin_path
from ridelog.web.ride_pages import result_of
from ridelog.web.views import PageError, asked_of, reads_book, server_of, unit_of
from ridelog.workflow.measuring import TRACE

_MOST_COLUMNS, _USUAL_COLUMNS = 4_000, 800.0
# Points of the path on the page, and how far one may lie from the line that leaves it out. [m]
_MOST_PATH, _PATH_TOLERANCE_M = 3_000, 0.05
_LONGEST_S = 1e8
# The axis goes at most this much beyond the highest speed. Own choice.
_MOST_BAND = 1.5


@dataclass(frozen=True)
class RideTrace:
    """The smoothed motion of a ride in time order, read back from the book; shapes (m,), SI."""

    time_s: FloatArray
    broken: BoolArray
    doubtful: BoolArray
    speed_mps: FloatArray
    speed_sd_mps: FloatArray
    east_m: FloatArray
    north_m: FloatArray


@reads_book
def ride_chart(request: Request, book: Book) -> Response:
    """Return the frames of a ride's charts and what they show in words."""
    from ridelog.web import charts

    trace, result = _trace(request, book)
    unit = unit_of(request)
    shade = asked_of(request).shade
    if not len(trace.time_s):
        raise PageError("nothing is known of this ride's motion.", "look at the signal.", 404)
    start_s, end_s = float(trace.time_s[0]), float(trace.time_s[-1])
    highest = float(np.max(trace.speed_mps))
    # The band stays in sight unless a doubtful moment would squash everything else.
    above = float(np.max(trace.speed_mps + QUANTILE * trace.speed_sd_mps))
    top = 1.08 * unit.from_mps(min(above, _MOST_BAND * highest))
    marks = [(m.start_s, m.end_s, m.kind) for m in book.details.marks(result.ride_id)]
    spans = _spans(result.document) + marks
    phases = [(p["start_s"], p["end_s"], p["kind"]) for p in result.document.get("phases") or []]
    path = path_columns(trace, unit)
    return JSONResponse(
        {
            "result": result.id,
            "start": start_s,
            "end": end_s,
            "unit": unit.label,
            "phases": phases,
            "spans": spans,
            "speed": charts.time_item(
                unit, shade, start_s=start_s, end_s=end_s, top=top, spans=spans, phases=phases
            ),
            "route": path,
            "path": charts.path_item(unit, shade, path, top=unit.from_mps(highest)),
        }
    )


@reads_book
def ride_trace(request: Request, book: Book) -> Response:
    """Return speed and band between two times, thinned to the pixels asked for."""
    trace, _ = _trace(request, book)
    asked = asked_of(request)
    start_s = -_LONGEST_S if asked.start_s is None else asked.start_s
    end_s = _LONGEST_S if asked.end_s is None else asked.end_s
    wanted = _USUAL_COLUMNS if asked.columns is None else asked.columns
    columns = int(min(max(wanted, 1.0), 10_000.0))
    data = speed_columns(trace, unit_of(request), start_s, end_s, columns)
    return Response(json.dumps(data, allow_nan=False), media_type="application/json")


def _trace(request: Request, book: Book) -> tuple[RideTrace, StoredResult]:
    result = result_of(request, book)
    return _read_trace(str(server_of(request).folder), result.ride_id, result.id), result


@lru_cache(maxsize=8)
def _read_trace(folder: str, ride_id: int, result_id: int) -> RideTrace:
    """Return a trace; a result's number never means another result."""
    with Book(Path(folder), make=False) as book:
        data = book.results.attachment(ride_id, TRACE)
    if data is None:
        raise PageError(
            f"ride {ride_id} was read from an export without its trace.", "measure it again.", 404
        )
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:  # as measuring.trace_bytes wrote
        numbers = ("time_s", "speed_mps", "speed_sd_mps", "east_m", "north_m")
        broken = arrays["broken"].astype(bool)
        # Results of an older ridelog do not hold it.
        doubtful = (
            arrays["doubtful"].astype(bool) if "doubtful" in arrays else np.zeros_like(broken)
        )
        return RideTrace(
            broken=broken, doubtful=doubtful, **{n: arrays[n].astype(np.float64) for n in numbers}
        )


def _spans(document: dict[str, Any]) -> list[tuple[float, float, str]]:
    """Return the stretches that a result tells of: start, end and what it was. [s]"""
    spans = [
        (float(each["start_s"]), float(each["end_s"]), kind)
        for part, name, kind in (("signal", "gaps", "gap"), ("reverse", "segments", "reverse"))
        for each in (document.get(part) or {}).get(name) or []
    ]
    top = document.get("top_speed") or {}
    if top.get("headline") == "two_way_mps":
        starts = [run["start_s"] for run in top["two_way_runs"]]
    else:
        starts = [top["at_s"]] if top.get("at_s") is not None else []
    return [*spans, *((float(start), float(start) + 1.0, "best") for start in starts)]


def speed_columns(
    trace: RideTrace, unit: SpeedUnit, start_s: float, end_s: float, columns: int
) -> dict[str, list[float | None]]:
    """Return speed and its band between two times, thinned to columns of pixels.

    The lowest and highest point of every column stay, so no peak is lost; with fewer points than
    that, all of them are there. One point beyond either end is kept, so that the line goes on.

    Lists "time" [s], "speed", "low", "high" [unit]; null where the line is interrupted.
    """
    first = max(0, int(np.searchsorted(trace.time_s, start_s)) - 1)
    last = min(len(trace.time_s), int(np.searchsorted(trace.time_s, end_s, side="right")) + 1)
    time_s, speed = trace.time_s[first:last], trace.speed_mps[first:last]
    if not len(time_s):
        return {"time": [], "speed": [], "low": [], "high": []}
    broken = trace.broken[first + 1 : last]
    columns = int(np.clip(columns, 50, _MOST_COLUMNS))
    rows = lowest_and_highest(time_s, broken, speed, columns)
    half = QUANTILE * trace.speed_sd_mps[first:last][rows]
    known = {
        "time": time_s[rows],
        "speed": unit.from_mps(1.0) * speed[rows],
        "low": unit.from_mps(1.0) * np.maximum(speed[rows] - half, 0.0),
        "high": unit.from_mps(1.0) * (speed[rows] + half),
    }
    return _lists(known, trace.broken[first:last], rows, time_decimals=4)


def path_columns(trace: RideTrace, unit: SpeedUnit) -> dict[str, list[float | None]]:
    """Return the path in the unit's lengths with the time and speed of every point kept.

    It is interrupted where speed and positions contradict each other: nobody knows the way there.
    """
    broken = trace.broken | trace.doubtful
    beside = broken | np.append(broken[1:], False)
    rows = thin_path(trace.east_m, trace.north_m, beside, _PATH_TOLERANCE_M, _MOST_PATH)
    known = {
        "time": trace.time_s[rows],
        "east": unit.from_metres(1.0) * trace.east_m[rows],
        "north": unit.from_metres(1.0) * trace.north_m[rows],
        "speed": unit.from_mps(1.0) * trace.speed_mps[rows],
    }
    return _lists(known, broken, rows, time_decimals=3)


def _lists(
    known: dict[str, FloatArray], broken: BoolArray, rows: IntArray, time_decimals: int
) -> dict[str, list[float | None]]:
    """Return columns of the rows kept, rounded, with None where the line is interrupted."""
    # After thinning a break lies between two kept rows if one lay anywhere between them.
    gap_after = np.flatnonzero(np.diff(np.cumsum(broken)[rows]) > 0)[::-1].tolist()
    lists: dict[str, list[float | None]] = {}
    for name, values in known.items():
        lists[name] = np.round(values, time_decimals if name == "time" else 3).tolist()
        for place in gap_after:
            lists[name].insert(place + 1, None)
    return lists
