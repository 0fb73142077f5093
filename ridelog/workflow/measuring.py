"""One log measured for the book, in stages: first figures, the whole result, drawn pages."""

import io
import json
from dataclasses import dataclass
from typing import Any

import numpy as np

from ridelog import __version__
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.windows import window_means, windows_of
from ridelog.book import Book, NewResult
from ridelog.core.interval import estimate
from ridelog.core.quantity import SPEED, bounds, value
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.report.ride_json import ride_json
from ridelog.report.ride_page import page_words, ride_pictures, ride_sections

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


def first_figures(motion: Motion, settings: Settings) -> dict[str, Any]:
    """Return a first look at the headline, before everything else is measured.

    The best second is drawn about where the fitted path has it, and nowhere else: the result, which
    weighs all riding near the top, may differ by a part of its interval and replaces it.

    Returns
    -------
    dict
        ``best_1s_mps``: E or None; ``words``: value and bounds in each unit, empty without.
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
        label: [value(best, SPEED, unit), bounds(best, SPEED, unit)] if best else []
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
        figures={
            name: figure.firm for name, figure in result.figures.items() if figure.firm is not None
        },
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
