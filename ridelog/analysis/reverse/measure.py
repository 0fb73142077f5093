"""Reverse travel of a ride: by evidence, by the rider's marks, or not at all."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.analysis.reverse.candidates import Candidate, candidates_of
from ridelog.analysis.reverse.evidence import fitted, readings_of, steps_of
from ridelog.analysis.reverse.heading_hmm import Steps, reverse_probability
from ridelog.analysis.reverse.marks import check_mark
from ridelog.analysis.reverse.plausibility import (
    Measured,
    Neighbours,
    doubts,
    is_noise,
    joined,
    measured,
    neighbours_of,
)
from ridelog.core.errors import NotEnoughDataError, RideLogError
from ridelog.core.estimate import Estimate
from ridelog.core.spans import Span
from ridelog.filtering.motion import Motion

# A mark whose edge lies in this much speed cuts through travel: worth a word.
_MOVING_MPS = 0.5
# What is shorter than this cannot be measured.
_SHORTEST_S = 0.2


@dataclass(frozen=True)
class Segment:
    """One stretch of travel that was, or may have been, backwards.

    Attributes
    ----------
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

    Attributes
    ----------
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


@dataclass(frozen=True)
class _Stretch:
    segment: Segment
    figures: Measured


def find_reverse(
    motion: Motion,
    *,
    marks: Sequence[Span] = (),
    has_reverse: bool | None = None,
    left_out: Sequence[Span] = (),
) -> Reverse:
    """Return the reverse travel of a ride.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    marks : sequence of (start_s, end_s)
        Stretches that the rider noted as reverse, seconds since the first fix. They decide: what
        they cover counts as reverse from their first to their last moment, whatever the log shows.
    has_reverse : bool, optional
        What the set-up says. False: nothing is reverse. True or None: the evidence decides.
    left_out : sequence of (start_s, end_s)
        Stretches that the rider left out of every figure: nothing is looked for there.

    Raises
    ------
    RideLogError
        If a mark does not lie in the log, ends before it begins, covers an interruption only, or
        contradicts a set-up without reverse.

    Source
    ------
    Own derivation: METHOD.md of reverse.
    """
    wanted = _checked(motion, marks, has_reverse)
    if has_reverse is False:
        return Reverse("none", None, 0.0, (), "the set-up says that the machine has no reverse.")
    steps = steps_of(motion)
    backwards = reverse_probability(steps)
    readings = readings_of(motion)
    stretches = [_marked(motion, start_s, end_s) for start_s, end_s in wanted]
    for candidate in candidates_of(motion, steps, backwards, readings):
        if any(a < candidate.end_s and candidate.start_s < b for a, b in (*wanted, *left_out)):
            continue
        figures = measured(motion, candidate.start_s, candidate.end_s, candidate.best_mps)
        if is_noise(figures):
            continue
        around = neighbours_of(steps, backwards, candidate)
        against = doubts(motion, steps, candidate, figures, around, readings)
        stretches.append(_by_evidence(steps, candidate, figures, around, against))
    return _together(stretches)


def _together(stretches: list[_Stretch]) -> Reverse:
    stretches.sort(key=lambda stretch: stretch.segment.start_s)
    segments = tuple(stretch.segment for stretch in stretches)
    sure = [stretch for stretch in stretches if stretch.segment.state != "uncertain"]
    if sure:
        marked = sum(stretch.segment.state == "marked" for stretch in sure)
        by = " and ".join(
            part
            for part, there in (
                ("the rider's marks", marked > 0),
                ("the course through the stops", marked < len(sure)),
            )
            if there
        )
        all_of_it = joined([stretch.figures for stretch in sure])
        return Reverse(
            "found", all_of_it.top_speed, all_of_it.distance_m, segments, f"told by {by}."
        )
    if stretches:
        return Reverse(
            "uncertain",
            None,
            0.0,
            segments,
            "something looks like reverse, but the log cannot settle it; mark it if it was "
            "(start and end of each reverse), or name a set-up without reverse.",
        )
    return Reverse(
        "none", None, 0.0, (), "nowhere does the machine leave a stop back along its own course."
    )


def _by_evidence(
    steps: Steps,
    candidate: Candidate,
    figures: Measured,
    around: Neighbours,
    against: tuple[str, ...],
) -> _Stretch:
    turned = _turned_deg(steps, candidate)
    words: list[str] = []
    if np.isfinite(turned):
        words.append(
            f"the course turns by {turned:.0f}° at the stop and no turn of the path explains it"
        )
    sides = [
        word
        for word, rode in (("before", around.forward_before), ("after", around.forward_after))
        if rode
    ]
    if sides:
        words.append(f"riding forward {' and '.join(sides)}")
    words.append(f"{_percent(candidate.probability)} likely by the course")
    evidence = ", ".join(words)
    if against:
        evidence += "; but " + "; ".join(against)
    segment = Segment(
        start_s=candidate.start_s,
        end_s=candidate.end_s,
        state="uncertain" if against else "found",
        distance_m=figures.distance_m,
        top_speed_mps=figures.top_speed,
        probability=candidate.probability,
        evidence=evidence + ".",
    )
    return _Stretch(segment, figures)


def _percent(share: float) -> str:
    return "over 99 %" if share > 0.99 else f"{100.0 * share:.0f} %"


def _turned_deg(steps: Steps, candidate: Candidate) -> float:
    """Return the change of course into a stretch, or out of it at the start of a log. [deg]"""
    speed = steps.speed_mps
    courses = np.arctan2(steps.velocity_mps[:, 0], steps.velocity_mps[:, 1])
    moving = speed > np.maximum(0.3, 2.0 * steps.sd_mps)
    inside = np.flatnonzero(moving[candidate.first : candidate.stop]) + candidate.first
    before = np.flatnonzero(moving[: candidate.first])
    after = np.flatnonzero(moving[candidate.stop :]) + candidate.stop
    if not len(inside):
        return float("nan")
    if len(before):
        pair = courses[before[-1]], courses[inside[0]]
    elif len(after):
        pair = courses[inside[-1]], courses[after[0]]
    else:
        return float("nan")
    return float(np.degrees(np.abs((pair[1] - pair[0] + np.pi) % (2.0 * np.pi) - np.pi)))


def _marked(motion: Motion, start_s: float, end_s: float) -> _Stretch:
    """Return the stretch of a mark, measured on what the log covers of it."""
    parts = [
        (max(start_s, piece.start_s), min(end_s, piece.end_s))
        for piece in motion.pieces
        if min(end_s, piece.end_s) - max(start_s, piece.start_s) > _SHORTEST_S
    ]
    if not parts:
        raise NotEnoughDataError(
            f"{motion.track.source.file}: the mark {start_s:.1f} to {end_s:.1f} s lies in an "
            "interruption of the log.",
            "mark a stretch that the log covers.",
        )
    figures = joined([measured(motion, first, last) for first, last in parts])
    evidence = "marked by the rider"
    first, last = (fitted(motion, *part, 0.1).speed_mps[:, 0] for part in (parts[0], parts[-1]))
    cut = [
        word for word, speed in (("begins", first[0]), ("ends", last[-1])) if speed > _MOVING_MPS
    ]
    if cut:
        evidence += (
            f"; the mark {' and '.join(cut)} while the machine moves, so travel in the other "
            "direction may be counted in"
        )
    segment = Segment(
        start_s, end_s, "marked", figures.distance_m, figures.top_speed, float("nan"),
        evidence + ".",
    )  # fmt: skip
    return _Stretch(segment, figures)


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
    merged: list[Span] = []
    for start_s, end_s in sorted(marks):
        check_mark(track, (start_s, end_s), f"{start_s:.1f} to {end_s:.1f} s")
        start_s, end_s = max(start_s, first_s), min(end_s, last_s)
        if merged and start_s <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end_s))
        else:
            merged.append((start_s, end_s))
    return merged
