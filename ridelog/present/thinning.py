"""Fewer points for the same picture: what an eye cannot see need not be written."""

import numpy as np

from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.motion import Motion


def rows_in_time(motion: Motion) -> tuple[IntArray, BoolArray]:
    """Return the rows with a known motion in time order, and after which the line is broken."""
    return in_time(motion, motion.used & np.isfinite(motion.speed_mps))


def in_time(motion: Motion, wanted: BoolArray) -> tuple[IntArray, BoolArray]:
    """Return the wanted rows in time order, and after which of them a gap breaks the line."""
    rows = motion.in_order(wanted)
    time_s = motion.track.time_s[rows]
    broken = np.zeros(max(len(rows) - 1, 0), dtype=bool)
    for start_s, end_s in motion.gaps:
        after = int(np.searchsorted(time_s, 0.5 * (start_s + end_s)))
        if 0 < after < len(time_s):
            broken[after - 1] = True
    return rows, broken


def unbroken_parts(chosen: IntArray, broken: BoolArray) -> list[IntArray]:
    """Return the chosen points split where the line is broken."""
    before = np.concatenate([[0], np.cumsum(broken)])[chosen] if len(chosen) else chosen
    return np.split(chosen, np.flatnonzero(np.diff(before)) + 1)


def lowest_and_highest(
    time_s: FloatArray, broken: BoolArray, values: FloatArray, columns: int
) -> IntArray:
    """Return which points to draw: first, lowest, highest and last in every column of pixels.

    ``values`` are drawn against increasing ``time_s``, both of shape (m,); ``broken``, (m - 1,), is
    where the line is interrupted, and both sides of a break are kept.
    """
    m = len(time_s)
    if m <= 4 * columns:
        return np.arange(m)
    span = time_s[-1] - time_s[0]
    column = np.minimum(((time_s - time_s[0]) / span * columns).astype(np.int64), columns - 1)
    # A break begins a new group, so that no point is drawn across it.
    group = column + (columns + 1) * np.concatenate([[0], np.cumsum(broken)])
    first = np.flatnonzero(np.concatenate([[True], np.diff(group) != 0]))
    last = np.append(first[1:], m) - 1
    order = np.lexsort((values, group))
    return np.unique(np.concatenate([first, last, order[first], order[last]]))


def thin_path(
    east_m: FloatArray, north_m: FloatArray, keep: BoolArray, tolerance_m: float, most: int
) -> IntArray:
    """Return which points of a path to draw so that it moves by no more than the eye can see.

    Every second point that lies within the tolerance of the line between its neighbours is left
    out, again and again; the tolerance grows until no more than ``most`` points are left.

    Parameters
    ----------
    east_m, north_m : ndarray, shape (m,)
        The path in order. [m]
    keep : ndarray, shape (m,)
        Points that must stay, such as those beside a gap.
    tolerance_m : float
        How far a left-out point may lie from the line at first. [m]
    most : int
        How many points may be left, if the kept ones allow it.
    """
    chosen = np.arange(len(east_m))
    for _ in range(40):
        while len(chosen) > 2:
            inner = np.arange(1, len(chosen) - 1, 2)
            before, here, after = chosen[inner - 1], chosen[inner], chosen[inner + 1]
            along_e, along_n = east_m[after] - east_m[before], north_m[after] - north_m[before]
            off_e, off_n = east_m[here] - east_m[before], north_m[here] - north_m[before]
            length2 = np.maximum(along_e**2 + along_n**2, 1e-12)
            share = np.clip((off_e * along_e + off_n * along_n) / length2, 0.0, 1.0)
            away = np.hypot(off_e - share * along_e, off_n - share * along_n)
            drop = (away < tolerance_m) & ~keep[here]
            if not drop.any():
                break
            chosen = np.delete(chosen, inner[drop])
        if len(chosen) <= max(most, int(np.count_nonzero(keep)) + 2):
            break
        tolerance_m *= 1.6
    return chosen
