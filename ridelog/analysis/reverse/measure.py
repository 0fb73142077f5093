"""Reverse travel of a ride: by evidence, by the rider's marks, or not at all.

A mark in words is "12:03:10/12:03:25" by the clock, or "83.5/98" in seconds.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from ridelog.analysis.reverse.candidates import (
    Candidate,
    candidates_of,
    doubts,
    is_noise,
    measured,
    neighbours_of,
)
from ridelog.analysis.reverse.evidence import fitted, readings_of, steps_of
from ridelog.analysis.reverse.heading_hmm import Steps, reverse_probability
from ridelog.core.errors import NotEnoughDataError, RideLogError
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.spans import Span, joined_spans
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.motion import Motion

# A mark whose edge lies in this much speed cuts through travel: worth a word. Own choice: slower is
# a crawl that may be scatter.
_MOVING_MPS = 0.5
# What is shorter than this cannot be measured: own choice, a step of the evidence.
_SHORTEST_S = 0.2
# 24 hours, by definition.
_DAY_S = 86_400.0
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?Z?", re.ASCII)
_SECONDS = re.compile(r"\d+(?:[.,]\d+)?s?", re.ASCII)
_HOW = (
    "write start and end with a slash between them, by the clock in UTC (12:03:10/12:03:25) or in "
    "seconds since the first fix (83.5/98)."
)


@dataclass(frozen=True)
class Segment:
    """One stretch of travel that was, or may have been, backwards.

    start_s, end_s : when. [s]
    state : "found" by evidence, "marked" by the rider, or "uncertain".
    distance_m : way covered on the fitted path. [m]
    top_speed_mps : best one-second mean inside (the mean over all of it if shorter); None if
        the motion cannot be told there. [m/s]
    probability : of reverse, by the heading grid alone; NaN for a mark.
    evidence : sentence that says what speaks for it and what against.
    """

    start_s: float
    end_s: float
    state: Literal["found", "marked", "uncertain"]
    distance_m: float
    top_speed_mps: Estimate | None
    probability: float
    evidence: str


@dataclass(frozen=True)
class Reverse:
    """Reverse travel of one ride.

    state : "none", "found" (by evidence or by a mark) or "uncertain".
    top_speed_mps : of all found and marked stretches together, freed from the bias of choosing the
        best; None if there is none. [m/s]
    distance_m : way covered in them. [m]
    segments : in time order, uncertain ones included.
    reason : sentence behind the state.
    """

    state: Literal["none", "found", "uncertain"]
    top_speed_mps: Estimate | None
    distance_m: float
    segments: tuple[Segment, ...]
    reason: str

    @property
    def spans(self) -> tuple[Span, ...]:
        """Return (start_s, end_s) of the stretches that count as reverse."""
        return tuple((s.start_s, s.end_s) for s in self.segments if s.state != "uncertain")

    @property
    def possible_spans(self) -> tuple[Span, ...]:
        """Return (start_s, end_s) of the stretches that may have been reverse."""
        return tuple((s.start_s, s.end_s) for s in self.segments if s.state == "uncertain")


def find_reverse(
    motion: Motion,
    *,
    marks: Sequence[Span] = (),
    has_reverse: bool | None = None,
    left_out: Sequence[Span] = (),
) -> Reverse:
    """Return the reverse travel of a ride, none of it ``left_out``.

    Marks, stretches that the rider noted, decide: what they cover counts as reverse from their
    first to their last moment, whatever the log shows. [s] If the set-up says that the machine has
    no reverse, nothing is; True or None lets the evidence decide. Own derivation: METHOD.md of
    reverse.
    RideLogError if a mark does not lie in the log, ends before it begins, covers an interruption
    only, or contradicts a set-up without reverse.
    """
    wanted = _checked(motion, marks, has_reverse)
    if has_reverse is False:
        return Reverse("none", None, 0.0, (), "the set-up says that the machine has no reverse.")
    steps = steps_of(motion)
    backwards = reverse_probability(steps)
    readings = readings_of(motion)
    stretches = [_marked(motion, *mark) for mark in wanted]
    for candidate in candidates_of(motion, steps, backwards, readings):
        if any(a < candidate.end_s and candidate.start_s < b for a, b in (*wanted, *left_out)):
            continue
        figures = measured(motion, candidate.start_s, candidate.end_s, candidate.best_mps)
        if is_noise(figures):
            continue
        around = neighbours_of(steps, backwards, candidate)
        against = doubts(motion, steps, candidate, figures, around, readings)
        segment = Segment(
            candidate.start_s, candidate.end_s, "uncertain" if against else "found",
            figures.distance_m, figures.top_speed, candidate.probability,
            _evidence(steps, candidate, around.forward, against),
        )  # fmt: skip
        stretches.append((segment, figures.possible_mps))
    return _together(stretches)


def _together(stretches: list[tuple[Segment, FloatArray]]) -> Reverse:
    stretches.sort(key=lambda stretch: stretch[0].start_s)
    segments = tuple(segment for segment, _ in stretches)
    sure = [stretch for stretch in stretches if stretch[0].state != "uncertain"]
    if sure:
        states = {one.state for one, _ in sure}
        told = {"marked": "the rider's marks", "found": "the course through the stops"}
        by = " and ".join(words for state, words in told.items() if state in states)
        # The choosing of the best of several is included.
        top = estimate_of_possible(np.max([possible_mps for _, possible_mps in sure], axis=0))
        way_m = sum(one.distance_m for one, _ in sure)
        return Reverse("found", top, way_m, segments, f"told by {by}.")
    if segments:
        reason = (
            "something looks like reverse, but the log cannot settle it; mark it if it was "
            "(start and end of each reverse), or name a set-up without reverse."
        )
        return Reverse("uncertain", None, 0.0, segments, reason)
    reason = "nowhere does the machine leave a stop back along its own course."
    return Reverse("none", None, 0.0, (), reason)


def _evidence(steps: Steps, candidate: Candidate, forward: list[str], against: list[str]) -> str:
    """Return the sentence that says what speaks for a stretch and what against."""
    share, turned = candidate.probability, _turned_deg(steps, candidate.steps)
    words: list[str] = []
    if np.isfinite(turned):
        words.append(
            f"the course turns by {turned:.0f}° at the stop and no turn of the path explains it"
        )
    if forward:
        words.append(f"riding forward {' and '.join(forward)}")
    words.append(f"{'over 99' if share > 0.99 else f'{100.0 * share:.0f}'} % likely by the course")
    return ", ".join(words) + ("; but " + "; ".join(against) if against else "") + "."


def _turned_deg(steps: Steps, own: slice) -> float:
    """Return the change of course into a stretch, or out of it at the start of a log. [deg]"""
    courses = np.arctan2(steps.velocity_mps[:, 0], steps.velocity_mps[:, 1])
    moving = np.flatnonzero(steps.speed_mps > np.maximum(0.3, 2.0 * steps.sd_mps))
    first, stop = np.searchsorted(moving, [own.start, own.stop])
    if first == stop or (first == 0 and stop == len(moving)):
        return float("nan")
    at = first if first > 0 else stop
    turned = courses[moving[at]] - courses[moving[at - 1]]
    return float(np.degrees(np.abs((turned + np.pi) % (2.0 * np.pi) - np.pi)))


def _marked(motion: Motion, start_s: float, end_s: float) -> tuple[Segment, FloatArray]:
    """Return the stretch of a mark, measured on what the log covers of it."""
    covered = [(max(start_s, p.start_s), min(end_s, p.end_s)) for p in motion.pieces]
    parts = [(first_s, last_s) for first_s, last_s in covered if last_s - first_s > _SHORTEST_S]
    if not parts:
        raise NotEnoughDataError(
            f"{motion.track.source.file}: the mark {start_s:.1f} to {end_s:.1f} s lies in an "
            "interruption of the log.",
            "mark a stretch that the log covers.",
        )
    figures = [measured(motion, *part) for part in parts]
    possible_mps = np.max([each.possible_mps for each in figures], axis=0)
    evidence = "marked by the rider"
    first, last = (fitted(motion, *part, 0.1).speed_mps[:, 0] for part in (parts[0], parts[-1]))
    ends = (("begins", first[0]), ("ends", last[-1]))
    if cut := [word for word, speed in ends if speed > _MOVING_MPS]:
        evidence += (
            f"; the mark {' and '.join(cut)} while the machine moves, so travel in the other "
            "direction may be counted in"
        )
    segment = Segment(
        start_s, end_s, "marked", sum(each.distance_m for each in figures),
        estimate_of_possible(possible_mps), float("nan"), evidence + ".",
    )  # fmt: skip
    return segment, possible_mps


def _checked(motion: Motion, marks: Sequence[Span], has_reverse: bool | None) -> list[Span]:
    """Return the marks in time order, those that touch joined."""
    track = motion.track
    if marks and has_reverse is False:
        raise RideLogError(
            f"{track.source.file}: {len(marks)} reverse marked, but the set-up says that the "
            "machine has none.",
            "leave the marks out, or correct the set-up.",
        )
    known = track.time_s[motion.used]
    first_s, last_s = float(known.min()), float(known.max())
    for start_s, end_s in marks:
        _check_mark(track, (start_s, end_s), f"{start_s:.1f} to {end_s:.1f} s")
    return joined_spans([(max(start_s, first_s), min(end_s, last_s)) for start_s, end_s in marks])


@dataclass(frozen=True)
class Moment:
    """One end of a mark: seconds since midnight UTC if by the clock, else since the first fix."""

    words: str
    seconds: float
    by_clock: bool


def read_mark(words: str) -> tuple[Moment, Moment]:
    """Return start and end of a mark from its words; RideLogError says how one is written."""
    ends = [end.strip() for end in words.split("/")]
    if len(ends) != 2:
        raise RideLogError(f'The mark "{words}" is not a start and an end.', _HOW)
    return _moment(ends[0], words), _moment(ends[1], words)


def _moment(words: str, whole: str) -> Moment:
    clock = _CLOCK.fullmatch(words)
    if clock is None:
        if not _SECONDS.fullmatch(words):
            raise RideLogError(f'"{words}" in the mark "{whole}" is no time.', _HOW)
        return Moment(words, float(words.rstrip("s").replace(",", ".")), False)
    hours, minutes, seconds = (float((part or "0").replace(",", ".")) for part in clock.groups())
    if hours > 23 or minutes > 59 or seconds >= 60.0:
        raise RideLogError(f'"{words}" in the mark "{whole}" is no time of day.', _HOW)
    return Moment(words, (hours * 60.0 + minutes) * 60.0 + seconds, True)


def lay_marks(track: Track, marks: Sequence[tuple[Moment, Moment]]) -> tuple[Span, ...]:
    """Return marks as (start, end) in seconds since the first fix of a log.

    A time of day means its first coming at or after the start of the log; the end of a mark its
    first coming after the mark's start, so that a mark may pass midnight. RideLogError if a mark
    lies outside the log or does not end after it begins, or goes by a clock that the log lacks.
    """
    spans: list[Span] = []
    for start, end in marks:
        start_s = _laid(track, start, _covered(track)[0])
        end_s = _laid(track, end, start_s)
        _check_mark(track, (start_s, end_s), f"{start.words}/{end.words}")
        spans.append((start_s, end_s))
    return tuple(spans)


def _check_mark(track: Track, mark: Span, words: str) -> None:
    """Raise if a mark does not end after it begins, or lies outside the log."""
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


def _laid(track: Track, moment: Moment, not_before_s: float) -> float:
    if not moment.by_clock:
        return moment.seconds
    start = track.start_utc
    if start is None:
        raise RideLogError(
            f"{track.source.file}: the mark {moment.words} goes by the clock, but the log has no "
            "time of day.",
            "give it in seconds since the first fix.",
        )
    midnight = datetime(start.year, start.month, start.day, tzinfo=start.tzinfo)
    since_start = moment.seconds - (start - midnight).total_seconds()
    # Half a second of grace: a mark of whole seconds may name the second in which the log begins.
    days = np.ceil((not_before_s - 1.0 - since_start) / _DAY_S)
    return float(since_start + max(days, 0.0) * _DAY_S)
