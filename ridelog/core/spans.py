"""Spans of time: runs of rows for which something holds, and rows with a flag joined."""

from collections.abc import Sequence

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.track import BoolArray, FlagArray, FloatArray

# From and to. [s]
Span = tuple[float, float]


def runs_of(inside: BoolArray) -> list[tuple[int, int]]:
    """Return first and one-past-last index of every run of True, shape (n,) in order."""
    edges = np.flatnonzero(np.diff(inside, prepend=False, append=False))
    return [(first, stop) for first, stop in edges.reshape(-1, 2).tolist()]


def inside_spans(time_s: FloatArray, spans: Sequence[Span]) -> BoolArray:
    """Return which instants lie in one of the spans, ends included."""
    inside = np.zeros(len(time_s), dtype=bool)
    for start_s, end_s in spans:
        inside |= (time_s >= start_s) & (time_s <= end_s)
    return inside


def joined_spans(spans: Sequence[Span]) -> list[Span]:
    """Return spans as few that do not touch, in order."""
    joined: list[Span] = []
    for start_s, end_s in sorted(spans):
        if joined and start_s <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end_s))
        else:
            joined.append((start_s, end_s))
    return joined


def flagged_spans(
    time_s: FloatArray, flags: FlagArray, flag: Flag, *, join_within_s: float
) -> tuple[Span, ...]:
    """Return the spans over which a flag is set, in time order; a single row has no length.

    Rows, shape (n,), may come in any order and without a time (NaN: passed over); flagged ones no
    further apart than ``join_within_s`` belong to one span. [s]
    """
    found = np.sort(time_s[((flags & np.uint32(flag)) != 0) & np.isfinite(time_s)])
    if not len(found):
        return ()
    cuts = np.flatnonzero(np.diff(found) > join_within_s)
    starts = found[np.concatenate([[0], cuts + 1])]
    ends = found[np.concatenate([cuts, [len(found) - 1]])]
    return tuple(zip(starts.tolist(), ends.tolist(), strict=True))
