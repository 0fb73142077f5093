"""Spans of time: runs of rows for which something holds, and rows with a flag joined."""

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.track import BoolArray, FlagArray, FloatArray

# From and to. [s]
Span = tuple[float, float]


def runs_of(inside: BoolArray) -> list[tuple[int, int]]:
    """Return first and one-past-last index of every run of True, shape (n,) in order."""
    edges = np.flatnonzero(np.diff(inside, prepend=False, append=False))
    return [(first, stop) for first, stop in edges.reshape(-1, 2).tolist()]


def flagged_spans(
    time_s: FloatArray, flags: FlagArray, flag: Flag, *, join_within_s: float
) -> tuple[Span, ...]:
    """Return the spans over which a flag is set, in time order.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time of each row, in any order, NaN where unknown (such rows are passed over). [s]
    flags : ndarray, shape (n,)
        Flags of each row.
    flag : Flag
        The flag to look for.
    join_within_s : float
        Flagged rows no further apart than this belong to one span. [s]

    Returns
    -------
    tuple of (start_s, end_s)
        From the first flagged row to the last one of each span; a single row has no length.
    """
    found = np.sort(time_s[((flags & np.uint32(flag)) != 0) & np.isfinite(time_s)])
    if not len(found):
        return ()
    cuts = np.flatnonzero(np.diff(found) > join_within_s)
    starts = found[np.concatenate([[0], cuts + 1])]
    ends = found[np.concatenate([cuts, [len(found) - 1]])]
    return tuple(zip(starts.tolist(), ends.tolist(), strict=True))
