"""The ride in phases: standstill, launch, pull, steady, coasting, braking, turning, reverse.

Each instant speaks for the kinds that its speed, acceleration and rate of turn allow, as surely as
they are known; a change of kind must be worth more than it costs. The most probable sequence is
found by dynamic programming. Measured brakings and reverse travel are laid over it, so that the
strip and the tables agree. Derivation: METHOD.md of phases.
"""

import heapq
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ridelog.analysis.braking.measure import Brakings
from ridelog.analysis.fitted import FittedPath, fitted_paths
from ridelog.analysis.phases.likelihood import LIKELY, log_odds, most_probable
from ridelog.core.spans import Span
from ridelog.filtering.motion import Motion

StrArray = npt.NDArray[np.str_]

KINDS = (
    "standstill",
    "launch",
    "pull",
    "steady",
    "coasting",
    "braking",
    "turning",
    "reverse",
)
# What is shorter than this, or than two fixes, is no phase of its own; common practice, no source.
_SHORTEST_S, _SHORTEST_INTERVALS = 0.8, 1.0
# Fixes this far apart cannot tell what the machine did between them, as with top speeds.
_LONGEST_INTERVAL_S = 2.1
# What was measured by itself stays, however short.
_MEASURED = ("braking", "reverse")


@dataclass
class PhaseSpan:
    """A run of one kind; those next to each other share an instant. [s]"""

    kind: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Phase:
    """One phase; speeds are those of the fitted path at its ends, never negative."""

    kind: str
    start_s: float
    end_s: float
    from_mps: float
    to_mps: float


@dataclass(frozen=True)
class Phases:
    """The phases of a ride in time order; where the log has a gap, or nothing is known, is none.

    "coasting" and "steady" say how the machine moved: a throttle cannot be seen in a log.
    """

    each: tuple[Phase, ...]


def divide_ride(
    motion: Motion,
    *,
    brakings: Brakings | None = None,
    reverse_spans: Sequence[Span] = (),
    launch_starts_s: Sequence[float] = (),
) -> Phases:
    """Return the phases of a ride; none if its fixes are more than 2.1 s apart.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    brakings : Brakings, optional
        Measured ones; they decide where braking begins and ends.
    reverse_spans : sequence of (start_s, end_s)
        Travel backwards, found or marked; it decides too.
    launch_starts_s : sequence of float
        When measured standing starts left zero; each moves the boundary next to it. [s]
    """
    sd = motion.usual_speed_sd_mps
    shortest = max(_SHORTEST_S, _SHORTEST_INTERVALS / motion.rate_hz)
    braked = [(b.start_s, b.end_s) for b in brakings.each] if brakings else []
    found: list[Phase] = []
    if 1.0 / motion.rate_hz > _LONGEST_INTERVAL_S:
        return Phases(())
    for path in fitted_paths(motion):
        kinds = most_probable(log_odds(path, sd, motion.rate_hz))
        names = np.array(LIKELY)[kinds]
        for stretches, name in ((braked, "braking"), (reverse_spans, "reverse")):
            for start_s, end_s in stretches:
                first, stop = np.searchsorted(path.time_s, [start_s, end_s])
                names[first:stop] = name
        spans = _joined(path, names, shortest)
        _name_launches(spans)
        _move_starts(spans, launch_starts_s)
        found += [_phase(path, span) for span in spans]
    return Phases(tuple(found))


def _joined(path: FittedPath, names: StrArray, shortest_s: float) -> list[PhaseSpan]:
    """Return runs of one kind, short ones taken into the longer of their neighbours."""
    edges = np.flatnonzero(names[1:] != names[:-1]) + 1
    first, last = np.append(0, edges), np.append(edges, len(names) - 1)
    spans = [
        PhaseSpan(str(kind), float(start_s), float(end_s))
        for kind, start_s, end_s in zip(
            names[first], path.time_s[first], path.time_s[last], strict=True
        )
    ]
    return without_short(spans, shortest_s, _MEASURED)


def _name_launches(spans: list[PhaseSpan]) -> None:
    """Call a pull that follows a standstill a launch."""
    for before, span in zip(spans[:-1], spans[1:], strict=True):
        if before.kind == "standstill" and span.kind == "pull":
            span.kind = "launch"


def _move_starts(spans: list[PhaseSpan], starts_s: Sequence[float]) -> None:
    """Let measured standing starts decide where their launch begins."""
    for before, span in zip(spans[:-1], spans[1:], strict=True):
        if before.kind != "standstill":
            continue
        for start_s in starts_s:
            if abs(start_s - span.start_s) < 1.0 and before.start_s < start_s < span.end_s:
                before.end_s = span.start_s = start_s
                if span.kind == "steady":
                    span.kind = "launch"


def _phase(path: FittedPath, span: PhaseSpan) -> Phase:
    speeds = np.interp([span.start_s, span.end_s], path.time_s, path.speed_mps)
    return Phase(span.kind, span.start_s, span.end_s, float(speeds[0]), float(speeds[1]))


def without_short(
    spans: list[PhaseSpan], shortest_s: float, kept: Collection[str]
) -> list[PhaseSpan]:
    """Return spans in order, none shorter than a time; the shortest gives way first.

    Neighbours that are of one kind then become one span. Each span gives way once, found by a heap
    and taken out of a chain, so that the cost grows hardly faster than their number.

    Parameters
    ----------
    spans : list of PhaseSpan
        In order of time, no two neighbours of one kind; changed in place.
    shortest_s : float
        Shorter ones give way, unless there is no other. [s]
    kept : collection of str
        Kinds that stay however short they are.
    """
    count = len(spans)
    before, after = list(range(-1, count - 1)), list(range(1, count + 1))
    gone = [False] * count

    def length(place: int) -> float:
        span = spans[place]
        return np.inf if span.kind in kept else span.end_s - span.start_s

    def take_out(place: int) -> None:
        gone[place] = True
        if before[place] >= 0:
            after[before[place]] = after[place]
        if after[place] < count:
            before[after[place]] = before[place]

    heap = [(length(place), place) for place in range(count)]
    heapq.heapify(heap)
    while heap and heap[0][0] < shortest_s:
        taken_s, short = heapq.heappop(heap)
        left, right = before[short], after[short]
        beside = [place for place in (left, right) if 0 <= place < count]
        if gone[short] or taken_s != length(short) or not beside:
            continue
        longer = max(beside, key=lambda place: spans[place].end_s - spans[place].start_s)
        spans[longer].start_s = min(spans[longer].start_s, spans[short].start_s)
        spans[longer].end_s = max(spans[longer].end_s, spans[short].end_s)
        take_out(short)
        if len(beside) == 2 and spans[left].kind == spans[right].kind:
            spans[left].end_s = spans[right].end_s
            take_out(right)
            longer = left
        heapq.heappush(heap, (length(longer), longer))
    return [span for span, out in zip(spans, gone, strict=True) if not out]
