"""A ride of the book measured in stages, the rides asked for last kept in memory."""

import io
import json
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ridelog import __version__
from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.analysis.windows import window_means, windows_of
from ridelog.book.book import Book
from ridelog.book.originals import read_original
from ridelog.book.records import NewResult
from ridelog.core.flags import Flag
from ridelog.core.interval import estimate
from ridelog.core.quantity import SPEED, bounds, value
from ridelog.core.track import FloatArray
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.present.thinning import rows_in_time
from ridelog.report.ride_json import ride_json
from ridelog.report.ride_page import page_words, ride_pictures, ride_sections
from ridelog.workflow.book_ride import LogAt
from ridelog.workflow.measure import motion_of_bytes

TRACE, PAGES = "trace", "pages"
# How far about the best second the first look draws. [s]
_LOOK_S = 2.0
# As much as may come in at once; the command line reads larger logs.
MOST_UNPACKED_BYTES = 128 * 1024 * 1024
# So many fixes are kept at hand (about 0.5 GB), but never fewer than one ride. Own choice.
_MOST_FIXES = 60_000


@dataclass(frozen=True)
class MeasuredLog:
    """What was measured of one log, ready for the book."""

    source: RideSource
    result: NewResult


def first_figures(motion: Motion, settings: Settings) -> dict[str, Any]:
    """Return a first look at the headline, before everything else is measured.

    The best second is drawn about where the fitted path has it, and nowhere else: the result, which
    weighs all riding near the top, may differ by a part of its interval and replaces it. Holds
    ``best_1s_mps``: E or None, and ``words``: value and bounds in each unit, empty without.
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
    new = NewResult(
        version=__version__,
        settings=result.settings.as_json(),
        document=ride_json(result),
        figures={name: each.firm for name, each in result.figures.items() if each.firm},
        attachments={TRACE: trace_bytes(motion)},
    )
    return MeasuredLog(result.source, new)


def keep(book: Book, ride_id: int, found: MeasuredLog) -> int:
    """Write into the book what was measured of a ride; return the number of the result."""
    number, log = book.results.put(ride_id, found.result), found.source
    book.rides.describe(
        ride_id, format=log.format, start_utc=log.start_utc, duration_s=log.duration_s
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
    (float32), broken (bool, whether the line is interrupted before the row), doubtful (bool,
    whether between the row before and it speed and positions contradict each other). [SI]
    """
    rows, broken_after = rows_in_time(motion)
    stream, time_s = io.BytesIO(), motion.track.time_s[rows]
    np.savez_compressed(
        stream,
        time_s=time_s,
        broken=np.append(False, broken_after)[: len(rows)],
        doubtful=np.diff(np.searchsorted(_contradicted_s(motion), time_s), prepend=0) > 0,
        **{
            name: getattr(motion, name)[rows].astype(np.float32)
            for name in ("speed_mps", "speed_sd_mps", "east_m", "north_m")
        },
    )
    return stream.getvalue()


def _contradicted_s(motion: Motion) -> FloatArray:
    """Return the times of fixes whose speed and position contradict each other. [s]"""
    flagged = (motion.flags & int(Flag.CONTRADICTED)) != 0
    return np.sort(motion.track.time_s[flagged & np.isfinite(motion.track.time_s)])


class RideCache:
    """The motions and figures of the rides asked for last."""

    def __init__(self) -> None:
        self._motions: OrderedDict[tuple[str, str, str], Motion] = OrderedDict()
        self._rides: dict[tuple[str, str, str], MeasuredRide] = {}

    def motion(
        self, log: LogAt, report_progress: Callable[[float], None] = lambda done: None
    ) -> Motion:
        """Return the smoothed motion of a log.

        RideLogError if the log is gone, is not the one that was given, or cannot give a speed.
        """
        # Proven each time: what lies on the disk now must be what was given.
        data = read_original(Path(log.place), log.sha256)
        columns = log.settings.get("columns", "")
        key = (log.sha256, log.name, columns)
        if key not in self._motions:
            self._motions[key] = motion_of_bytes(
                log.name, data, columns=columns, report_progress=report_progress,
                most_bytes=MOST_UNPACKED_BYTES,
            )  # fmt: skip
            self._drop_the_oldest()
        self._motions.move_to_end(key)
        return self._motions[key]

    def ridden(self, log: LogAt) -> MeasuredRide:
        """Return a ride with everything that is measured on it."""
        motion = self.motion(log)
        key = (log.sha256, log.name, json.dumps(log.settings, sort_keys=True))
        if key not in self._rides:
            self._rides[key] = analyse(motion, Settings.from_json(log.settings))
        return self._rides[key]

    def _drop_the_oldest(self) -> None:
        fixes = sum(len(motion.track) for motion in self._motions.values())
        while len(self._motions) > 1 and fixes > _MOST_FIXES:
            gone, motion = self._motions.popitem(last=False)
            fixes -= len(motion.track)
            self._rides = {key: ride for key, ride in self._rides.items() if key[:2] != gone[:2]}
