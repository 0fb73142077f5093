"""Runs of one kind along a ride, the short ones taken into the longer of their neighbours."""

import heapq
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np


@dataclass
class PhaseSpan:
    """A run of one kind; those next to each other share an instant. [s]"""

    kind: str
    start_s: float
    end_s: float


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
