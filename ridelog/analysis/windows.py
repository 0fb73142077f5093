"""Windows of a fixed length over a ride: which may carry a figure, and their mean speeds."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.core.crossings import cumulative_trapezoid
from ridelog.core.flags import Flag
from ridelog.core.geodesy import to_local
from ridelog.core.spans import Span, joined_spans
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.motion import DRAWS, Motion, Paths
from ridelog.filtering.observations import CRAWL_MPS

_REJECTED = Flag.JUMP | Flag.SPEED_JUMP
# A window may hold this share of rejected fixes, and one in any case with a fix on either side,
# since neighbours bridge a single one. Own choice: a third; of more, what is left may be wrong too.
_MOST_REJECTED = 0.34
# Fixes between which the motion was bridged rather than seen: an interval longer than this many
# usual ones and this long (LONGEST_HOLE_S at most), or a speed this many times less certain than
# usual. Own choice: one fix may be missing at 5 a second, none at 1; laxer, guesses carry figures.
_HOLE_INTERVALS, _HOLE_S = 1.5, 0.4
_BRIDGED_SD = 5.0
# Spacing of the drawn paths: derived, it places a window to 0.005 m/s even at a corner of 2 m/s² to
# either side, 2 x 0.05². [s]
_SPACING_S = 0.1
# A settling receiver this many times noisier than afterwards says nothing worth knowing: own
# choice, it could only raise the upper end of the interval out of all use.
_MOST_SETTLING_FACTOR = 4.0


@dataclass(frozen=True)
class Windows:
    """Candidate windows of the fitted path, one for each start; arrays of shape (m,).

    start_s : start of the window. [s]
    mean_mps : mean speed over it, along the path. [m/s]
    course_rad : direction from its first to its last point.
    usable : whether a figure may be taken from it.
    settling : would be usable if the receiver had settled; what it said is known to be
        ``Motion.settling_factor`` times noisier there.
    lost : carries no figure for what the receiver did in it: jumps, holes, badly placed satellites,
        or settling of which nothing more is known.
    """

    length_s: float
    start_s: FloatArray
    mean_mps: FloatArray
    course_rad: FloatArray
    usable: BoolArray
    settling: BoolArray
    lost: BoolArray

    @property
    def trusted_share(self) -> float:
        """Share of the distance in windows that are not lost; 1 for a ride without any."""
        distance_m = (
            self.mean_mps * np.gradient(self.start_s) if len(self.start_s) > 1 else self.mean_mps
        )
        trusted = self.usable | self.settling
        total = float(distance_m[trusted | self.lost].sum())
        return float(distance_m[trusted].sum()) / total if total > 0.0 else 1.0


def windows_of(
    motion: Motion,
    length_s: float,
    *,
    excluded: tuple[tuple[float, float], ...] = (),
    near: tuple[float, float] | None = None,
) -> Windows:
    """Return the windows that start at each used fix and lie inside one piece.

    None of them touches an ``excluded`` stretch. Given times to stay ``near``, only windows between
    them are made; the work is then that of a short ride. [s]
    """
    rows = motion.known_rows if near is None else motion.known_between(*near)
    time_s = motion.track.time_s[rows]
    flags = motion.flags[rows]
    early = (flags & np.uint32(Flag.SETTLING)) != 0
    # Positions suffer most from badly placed satellites: no speed is taken from them there.
    doubtful = (flags & np.uint32(Flag.POOR_GEOMETRY)) != 0
    doubtful &= motion.speed_source != "reported"
    rejected = (flags & np.uint32(_REJECTED)) != 0
    speed = motion.speed_mps[rows]
    east, north = motion.east_m[rows], motion.north_m[rows]
    step = np.diff(time_s)
    distance_m = cumulative_trapezoid(time_s, speed)
    piece = np.full(len(rows), -1)
    for number, span in enumerate(motion.pieces):
        if near is not None and (span.end_s < near[0] or span.start_s > near[1]):
            continue
        piece[(time_s >= span.start_s - 1e-6) & (time_s <= span.end_s + 1e-6)] = number

    end_s = time_s + length_s
    after = np.searchsorted(time_s, end_s - 1e-9)
    inside = after < len(time_s)
    start = np.flatnonzero(inside)
    after = after[inside]
    inside = (piece[after] == piece[start]) & (piece[start] >= 0)
    start, after = start[inside], after[inside]
    share = (time_s[start] + length_s - time_s[after - 1]) / (time_s[after] - time_s[after - 1])
    mean = (
        distance_m[after - 1]
        + share * (distance_m[after] - distance_m[after - 1])
        - distance_m[start]
    ) / length_s

    def held(mask: BoolArray) -> FloatArray:
        total = np.concatenate([[0.0], np.cumsum(mask)])
        result: FloatArray = total[after + 1] - total[start]
        return result

    sd = motion.speed_sd_mps[rows]
    bridged = sd > _BRIDGED_SD * motion.usual_speed_sd_mps
    longest = min(max(_HOLE_S, _HOLE_INTERVALS / motion.rate_hz), LONGEST_HOLE_S)
    hole = np.append(step > longest, False)
    holes = np.concatenate([[0.0], np.cumsum(hole)])
    edge = np.diff(piece, prepend=-2) != 0
    edge |= np.append(edge[1:], True)
    bridgeable = 1.0 - np.minimum(held(rejected & edge), 1.0)
    seen = (
        (held(rejected) <= np.maximum(_MOST_REJECTED * (after + 1 - start), bridgeable))
        & (held(bridged) == 0)
        & (holes[after] - holes[start] == 0)
        & (held(doubtful) == 0)
    )
    settled = held(early) == 0
    settling = ~settled & (motion.settling_factor <= _MOST_SETTLING_FACTOR)
    lost = ~seen | ~(settled | settling)
    for first_s, last_s in excluded:
        apart = (time_s[start] + 1.5 * length_s <= first_s) | (
            time_s[start] - 0.5 * length_s >= last_s
        )
        seen &= apart
        lost &= apart
    return Windows(
        length_s=length_s,
        start_s=time_s[start],
        mean_mps=mean,
        course_rad=np.arctan2(east[after] - east[start], north[after] - north[start]),
        usable=seen & settled,
        settling=seen & settling,
        lost=lost,
    )


def stretches_near_the_top(
    motion: Motion, windows: Windows, chosen: BoolArray, margin_mps: float, longest_s: float
) -> list[Span]:
    """Return the stretches that hold every chosen window within a margin of the best.

    The best windows come first in the choice, until ``longest_s`` of riding are taken; windows
    further below the best than the margin cannot become the best under any likely error.
    """
    candidates = np.flatnonzero(chosen)
    if not len(candidates):
        return []
    best = windows.mean_mps[candidates].max()
    near = candidates[windows.mean_mps[candidates] >= best - margin_mps]
    near = near[np.argsort(-windows.mean_mps[near], kind="stable")]
    if len(near) > 1:
        usual = float(np.median(np.diff(windows.start_s)))
        near = near[: max(1, int(longest_s / max(usual, 1e-3)))]
    # The best window need not start at a fix: look an interval, or half a window, to either side.
    pad = min(0.5 * windows.length_s, 1.0 / motion.rate_hz)
    stretches: list[Span] = []
    for start in np.sort(windows.start_s[near]):
        piece = next(p for p in motion.pieces if p.start_s - 1e-6 <= start <= p.end_s)
        # A stretch lies wholly before or wholly after the receiver settled, as its windows do.
        begin, end = piece.start_s, piece.end_s
        if start >= motion.settled_s:
            begin = max(begin, motion.settled_s)
        elif start + windows.length_s <= motion.settled_s:
            end = min(end, motion.settled_s)
        last = min(float(start) + windows.length_s + pad, end)
        # At the end of a log no window starts at a fix that is followed by less than its length.
        if end - (start + windows.length_s) < 1.0 / motion.rate_hz:
            last = end
        stretches.append((max(float(start) - pad, begin), last))
    return joined_spans(stretches)


def highest_means(
    motion: Motion,
    sought: Sequence[tuple[Windows, BoolArray]],
    *,
    margin_mps: float,
    longest_s: float,
    noisier: float = 1.0,
    draws: int = DRAWS,
) -> FloatArray:
    """Return the highest means of several choices of windows, all on the same drawn paths. [m/s]

    The first choice is the widest: for it counts every window of its length in all that is looked
    at for any of them. So no choice exceeds it on any path. The windows of each are as long as
    those of the first or a whole number of times longer; the draws are taken ``noisier`` times
    further from the fitted path than drawn. Shape (choices, 1 + 2 draws), NaN of a choice without
    windows. Derivation: top_speed (1) and (2).
    """
    wanted = [
        stretches_near_the_top(motion, windows, chosen, margin_mps, longest_s)
        for windows, chosen in sought
    ]
    best = np.full((len(sought), 1 + 2 * draws), np.nan)
    for first_s, last_s in joined_spans([stretch for each in wanted for stretch in each]):
        # Whole spacings, so that a longer window is made of whole shorter ones.
        count = int((last_s - first_s) / _SPACING_S + 1e-6)
        end_s = first_s + count * _SPACING_S
        paths = motion.paths(first_s, end_s, draws=draws, spacing_s=_SPACING_S)
        means_of = {
            length_s: window_means(paths, length_s)
            for length_s in {windows.length_s for windows, _ in sought}
        }
        if noisier != 1.0:
            for _, means in means_of.values():
                means[:, 1:] = means[:, :1] + noisier * (means[:, 1:] - means[:, :1])
        for number, (windows, _) in enumerate(sought):
            start_s, means = means_of[windows.length_s]
            if number:
                means = means[_inside(start_s, windows.length_s, wanted[number])]
            if len(means):
                best[number] = np.fmax(best[number], means.max(axis=0))
    return best


def _inside(start_s: FloatArray, length_s: float, stretches: list[Span]) -> BoolArray:
    """Return which windows lie inside a stretch, to the spacing of the paths.

    Stretches are parted and in order, so only the last that begins before a window may hold it.
    """
    if not stretches:
        return np.zeros(len(start_s), dtype=bool)
    first_s, last_s = np.array(stretches).T
    last = np.searchsorted(first_s - _SPACING_S, start_s, side="right") - 1
    inside: BoolArray = (last >= 0) & (start_s + length_s <= last_s[last] + 0.5 * _SPACING_S)
    return inside


def window_means(paths: Paths, length_s: float) -> tuple[FloatArray, FloatArray]:
    """Return start times (k,) and mean speeds (k, columns) of all windows on a path's grid."""
    spacing = float(paths.time_s[1] - paths.time_s[0])
    distance_m = paths.distance_m
    count = len(paths.time_s)
    width = length_s / spacing
    whole = int(np.floor(width + 1e-9))
    part = width - whole
    starts = count - whole - (1 if part > 1e-9 else 0)
    if starts < 1:
        return paths.time_s[:0], distance_m[:0]
    end = distance_m[whole : whole + starts]
    if part > 1e-9:
        end = end + part * (distance_m[whole + 1 : whole + 1 + starts] - end)
    return paths.time_s[:starts], (end - distance_m[:starts]) / length_s


# Fixes further apart than this do not tell what the machine did in any one second between them:
# METHOD.md, (1). The tenth of a second is for stamps that jitter.
LONGEST_HOLE_S = 2.1
# Where less than half of the distance was seen, the fastest second was more likely missed:
# METHOD.md, (2).
LEAST_SEEN = 0.5
# The interval is meant to hold in nine rides of ten: from so much of the distance unseen on, the
# second that was missed can be the whole of that tenth (own rule, derived so).
WELL_SEEN = 0.9


def raw_places(motion: Motion, rows: IntArray) -> FloatArray:
    """Return the logged positions of some rows, shape (m, 2), east and north. [m]"""
    track = motion.track
    places = to_local(track.latitude_deg[rows], track.longitude_deg[rows], *motion.origin_deg)
    return np.stack(places, axis=1)


def seen_share(motion: Motion) -> float:
    """Return the share of the distance between fixes LONGEST_HOLE_S apart at most, 0 to 1.

    The distance is counted and not the time, so that a logger which pauses while the machine stands
    loses nothing. Across a longer interval it is the straight line, the least it can be. Neither
    what came before the receiver had settled nor what lies between two segments of the log counts:
    the log does not claim to tell of it. 1 for a ride without any distance. METHOD.md, (2).
    """
    track = motion.track
    after = motion.settled_s if np.isfinite(motion.settled_s) else -np.inf
    with np.errstate(invalid="ignore"):
        rows = motion.in_order(motion.used & (track.time_s >= after))
    smoothed = np.isfinite(motion.speed_mps[rows])
    # A jump that nobody smoothed would be a long distance.
    kept = smoothed | ((motion.flags[rows] & np.uint32(Flag.JUMP)) == 0)
    rows, smoothed = rows[kept], smoothed[kept]
    step = np.diff(track.time_s[rows])
    place = np.where(
        smoothed[:, None],
        np.stack([motion.east_m[rows], motion.north_m[rows]], axis=1),
        raw_places(motion, rows),
    )
    chord = np.hypot(*np.diff(place, axis=0).T)
    speed = motion.speed_mps[rows]
    seen = (step <= LONGEST_HOLE_S) & smoothed[1:] & smoothed[:-1]
    # Between near fixes the smoothed speed counts: chords would add their noise up.
    distance_m = np.where(seen, 0.5 * (speed[1:] + speed[:-1]) * step, chord)
    # On the whole slower than a crawl: it stood, and the position wandered.
    distance_m[~seen & (chord < CRAWL_MPS * step)] = 0.0
    distance_m[np.diff(track.segment[rows]) != 0] = 0.0
    total = float(distance_m.sum())
    return float(distance_m[seen].sum()) / total if total > 0.0 else 1.0
