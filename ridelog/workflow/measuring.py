"""One log measured for the book, in stages: first figures, the whole result, drawn pages."""

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ridelog import __version__
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.windows import window_means, windows_of
from ridelog.book import Book, NewResult
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import log_from_bytes, require_times
from ridelog.importer.containers import MAX_LOG_BYTES, unpack
from ridelog.present.words import bounds_words, speed_words
from ridelog.report.ride_json import ride_json
from ridelog.report.ride_page import page_words
from ridelog.report.ride_pictures import ride_pictures
from ridelog.report.ride_sections import ride_sections

TRACE, PAGES = "trace", "pages"
# How far about the best second the first look draws. [s]
_LOOK_S = 2.0
# More fixes than a day at 5 Hz is not one test ride, and its memory would not be bounded.
MOST_FIXES = 432_000


@dataclass(frozen=True)
class MeasuredLog:
    """What was measured of one log, ready for the book."""

    format: str
    start_utc: str
    duration_s: float
    result: NewResult


def motion_of_log(
    name: str,
    data: bytes,
    report_progress: Callable[[float], None] = lambda done: None,
    *,
    most_bytes: int = MAX_LOG_BYTES,
) -> Motion:
    """Return the smoothed motion of a log's bytes.

    Parameters
    ----------
    name : str
        File name, for messages.
    data : bytes
        The whole file.
    report_progress : callable
        Told the share that is done.
    most_bytes : int
        Most bytes that the log may hold once it is unpacked.

    Raises
    ------
    RideLogError
        If the bytes are no log, or cannot give a speed.
    """
    # Unpacked twice, so that a bomb ends at the smaller limit; the second time costs little.
    unpack(name, data, limit_bytes=most_bytes)
    track = require_times(log_from_bytes(name, data))
    if len(track) > MOST_FIXES:
        raise NotEnoughDataError(
            f"{track.source.file}: the log holds {len(track):,} fixes, more than the workshop "
            f"page takes ({MOST_FIXES:,}).",
            "cut the log down to the one test ride, or use `ridelog report`.",
        )
    return estimate_motion(track, report_progress=report_progress)


def first_figures(motion: Motion, settings: Settings) -> dict[str, Any]:
    """Return a first look at the headline, before everything else is measured.

    The best second is drawn about where the fitted path has it, and nowhere else: the result, which
    weighs all riding near the top, may differ by a part of its interval and replaces it.

    Returns
    -------
    dict
        ``best_1s_mps``: E or None; ``words``: value, low and high in each unit, empty without.
    """
    windows = windows_of(motion, 1.0, excluded=settings.left_out_s)
    best = None
    if windows.usable.any():
        at = int(np.flatnonzero(windows.usable)[np.argmax(windows.mean_mps[windows.usable])])
        start_s = float(windows.start_s[at])
        paths = motion.paths(start_s - _LOOK_S, start_s + 1.0 + _LOOK_S, spacing_s=0.1)
        means = window_means(paths, 1.0)[1]
        best = estimate(means.max(axis=0), smallest=0.0) if len(means) else None
    words = {
        label: [speed_words(best, unit), *bounds_words(best, unit)] if best else []
        for label, unit in SPEED_UNITS.items()
    }
    return {"best_1s_mps": None if best is None else best.as_json(), "words": words}


def measured(motion: Motion, result: MeasuredRide) -> MeasuredLog:
    """Return everything that was measured on a ride, with its trace but without pictures."""
    document = ride_json(result)
    new = NewResult(
        version=__version__,
        settings=result.settings.as_json(),
        document=document,
        figures=figures_in(document),
        attachments={TRACE: trace_bytes(motion)},
    )
    source = result.source
    return MeasuredLog(source.format, source.start_utc, source.duration_s, new)


def keep(book: Book, ride_id: int, found: MeasuredLog) -> int:
    """Write into the book what was measured of a ride; return the number of the result."""
    number = book.results.put(ride_id, found.result)
    book.rides.describe(
        ride_id, format=found.format, start_utc=found.start_utc, duration_s=found.duration_s
    )
    return number


def pages_bytes(result: MeasuredRide) -> bytes:
    """Return what the page of a ride says and shows, in either unit, as JSON.

    Speed and path are not drawn: there the page has charts.
    """
    pages = {}
    for label, unit in SPEED_UNITS.items():
        pictures = ride_pictures(result, unit, ("signal",))
        sections = ride_sections(result, unit)
        pages[label] = page_words(result, pictures, unit, sections=sections)
    return json.dumps(pages, allow_nan=False, ensure_ascii=False).encode("utf-8", "replace")


def figures_in(document: dict[str, Any]) -> dict[str, Estimate]:
    """Return the figures of a result that lists and histories show, by name.

    Parameters
    ----------
    document : dict
        A ``ridelog.ride/2`` object, whole or in part.
    """
    top = document.get("top_speed") or {}
    reverse = document.get("reverse") or {}
    found = {
        "best_1s_mps": top.get("best_1s_mps"),
        "best_5s_mps": top.get("best_5s_mps"),
        "two_way_mps": top.get("two_way_mps"),
        "reverse_top_mps": reverse.get("top_speed_mps"),
    }
    for launch in document.get("launches") or []:
        for window in launch.get("windows") or []:
            name, time_s = f"window {window.get('label')}", window.get("time_s")
            best = estimate_of(found.get(name))
            here = estimate_of(time_s)
            if here is not None and (best is None or here.value < best.value):
                found[name] = time_s
    pull = document.get("pull") or {}
    for point in pull.get("curve") or [] if isinstance(pull, dict) else []:
        if isinstance(point, dict) and "speed_mps" in point:
            found[f"pull at {point['speed_mps']:g}"] = point.get("accel_mps2")
    return {
        name: value
        for name, value in ((name, estimate_of(record)) for name, record in found.items())
        if value is not None
    }


def trace_bytes(motion: Motion) -> bytes:
    """Return the smoothed motion in time order as a compressed table of arrays.

    Arrays of shape (m,): time_s (float64), speed_mps, speed_sd_mps, east_m, north_m
    (float32), broken (bool, whether the line is interrupted before the row). [SI]
    """
    rows = np.flatnonzero(motion.used & np.isfinite(motion.speed_mps))
    rows = rows[np.argsort(motion.track.time_s[rows], kind="stable")]
    time_s = motion.track.time_s[rows]
    broken = np.zeros(len(rows), dtype=bool)
    for start_s, end_s in motion.gaps:
        after = int(np.searchsorted(time_s, 0.5 * (start_s + end_s)))
        if 0 < after < len(rows):
            broken[after] = True
    stream = io.BytesIO()
    np.savez_compressed(
        stream,
        time_s=time_s,
        broken=broken,
        **{
            name: getattr(motion, name)[rows].astype(np.float32)
            for name in ("speed_mps", "speed_sd_mps", "east_m", "north_m")
        },
    )
    return stream.getvalue()


def estimate_of(value: object) -> Estimate | None:
    """Return an estimate read back from a result, or None."""
    if not isinstance(value, dict) or not {"value", "low", "high"} <= set(value):
        return None
    return Estimate(value["value"], value["low"], value["high"], value.get("level", 0.9))
