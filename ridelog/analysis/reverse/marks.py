"""The rider's own marks in words: "12:03:10/12:03:25" by the clock, or "83.5/98" in seconds."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from ridelog.core.errors import RideLogError
from ridelog.core.spans import Span
from ridelog.core.track import Track

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?Z?", re.ASCII)
_SECONDS = re.compile(r"\d+(?:[.,]\d+)?s?", re.ASCII)
_HOW = (
    "write start and end with a slash between them, by the clock in UTC (12:03:10/12:03:25) or in "
    "seconds since the first fix (83.5/98)."
)


@dataclass(frozen=True)
class Moment:
    """One end of a mark: seconds since the first fix, or a time of day in UTC; the other None."""

    words: str
    since_start_s: float | None
    clock_s: float | None


@dataclass(frozen=True)
class Mark:
    """What a rider wrote down, not yet laid on a log."""

    start: Moment
    end: Moment


def read_mark(words: str) -> Mark:
    """Return a mark from its words.

    Raises
    ------
    RideLogError
        If the words are no mark; the message shows them and says how one is written.
    """
    ends = [end.strip() for end in words.split("/")]
    if len(ends) != 2:
        raise RideLogError(f'The mark "{words}" is not a start and an end.', _HOW)
    return Mark(_moment(ends[0], words), _moment(ends[1], words))


def lay_marks(track: Track, marks: Sequence[Mark]) -> tuple[Span, ...]:
    """Return marks as (start, end) in seconds since the first fix of a log.

    A time of day means its first coming at or after the start of the log; the end of a mark its
    first coming after the mark's start, so that a mark may pass midnight.

    Raises
    ------
    RideLogError
        If a mark lies outside the log or does not end after it begins, or goes by the clock and
        the log has no time of day.
    """
    first_s, _ = _covered(track)
    spans: list[Span] = []
    for mark in marks:
        start_s = _laid(track, mark.start, first_s)
        end_s = _laid(track, mark.end, start_s)
        check_mark(track, (start_s, end_s), f"{mark.start.words}/{mark.end.words}")
        spans.append((start_s, end_s))
    return tuple(spans)


def check_mark(track: Track, mark: Span, words: str) -> None:
    """Check that a mark ends after it begins and touches the log.

    Raises
    ------
    RideLogError
        If it does not; the message names it by the words.
    """
    start_s, end_s = mark
    named = f"{track.source.file}: the mark {words}"
    if not (np.isfinite(start_s) and np.isfinite(end_s)) or end_s <= start_s:
        raise RideLogError(
            f"{named} does not end after it begins.", "give the start first, then the end."
        )
    first_s, last_s = _covered(track)
    if start_s >= last_s or end_s <= first_s:
        clock = [track.utc_text(at).split("T")[-1][:8] for at in (first_s, last_s)]
        shown = f" ({clock[0]} to {clock[1]} UTC)" if track.start_utc else ""
        raise RideLogError(
            f"{named} lies outside the log, which goes from {first_s:.1f} to {last_s:.1f} s"
            f"{shown}.",
            "give times inside the log, UTC or seconds since its first fix.",
        )


def _covered(track: Track) -> Span:
    known = track.time_s[np.isfinite(track.time_s)]
    return (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)


def _moment(words: str, whole: str) -> Moment:
    clock = _CLOCK.fullmatch(words)
    if clock is not None:
        hours, minutes = int(clock[1]), int(clock[2])
        seconds = float((clock[3] or "0").replace(",", "."))
        if hours > 23 or minutes > 59 or seconds >= 60.0:
            raise RideLogError(f'"{words}" in the mark "{whole}" is no time of day.', _HOW)
        since_midnight = timedelta(hours=hours, minutes=minutes, seconds=seconds)
        return Moment(words, None, since_midnight.total_seconds())
    if _SECONDS.fullmatch(words):
        return Moment(words, float(words.rstrip("s").replace(",", ".")), None)
    raise RideLogError(f'"{words}" in the mark "{whole}" is no time.', _HOW)


def _laid(track: Track, moment: Moment, not_before_s: float) -> float:
    if moment.since_start_s is not None:
        return moment.since_start_s
    start = track.start_utc
    if start is None or moment.clock_s is None:
        raise RideLogError(
            f"{track.source.file}: the mark {moment.words} goes by the clock, but the log has no "
            "time of day.",
            "give it in seconds since the first fix.",
        )
    midnight = datetime(start.year, start.month, start.day, tzinfo=start.tzinfo)
    since_start = moment.clock_s - (start - midnight).total_seconds()
    # Half a second of grace: a mark of whole seconds may name the second in which the log begins.
    days = np.ceil((not_before_s - 1.0 - since_start) / timedelta(days=1).total_seconds())
    return float(since_start + max(days, 0.0) * timedelta(days=1).total_seconds())
