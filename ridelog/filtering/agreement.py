"""Where reported speed and positions contradict each other, so that neither is believed.

A receiver's Doppler speed and its positions are two readings of one motion. Over a second to twelve
they must tell the same displacement, within the noise that either shows in the rest of the ride;
where they do not, nothing says which is wrong: METHOD.md, filtering (19) to (22).
"""

from dataclasses import fields, replace

import numpy as np

from ridelog.core.spans import runs_of
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.observations import CRAWL_MPS, Observations
from ridelog.filtering.outliers import Screened, moved_aside
from ridelog.filtering.shared_offsets import HARDEST_MPS2

# Windows over which displacement is compared, T of filtering (20): own choice, each about a third
# longer than the one before, so that no time between is far from one. [s]
_WINDOWS_S = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 12.0)
# Standard deviations beyond which two readings contradict each other, derived: exp(-6^2 / 2), one
# in 10^8 of normal noise of two axes. So rare is own choice: it leaves room for the tails of real
# receivers.
_BEYOND = 6.0
# What any receiver may claim: noise of a position, and drift of positions against the reported
# velocity (METHOD.md, "What is assumed"), one standard deviation an axis. [m], [m/s]
_LEAST_NOISE_M, _LEAST_DRIFT_MPS = 0.03, 0.045
# A receiver's speed runs behind its positions, or a course behind the speed, by up to this much
# more than what was recognised and taken off, filtering (20): own choice, as more would hide a
# false speed in every change of speed. [s]
_LAG_S = 0.5
# From this interval on a reading at an edge stands alone in its window: the same as the interval
# from which instants without data stand between fixes. [s]
_SPARSE_S = 0.3
# The trapezoid errs by a corner of acceleration within an interval, largest in its middle: an
# eighth of the change times the square of the interval, exact; filtering (20).
_CORNER = 0.125
# Only so short can a window show a way that turns hide in longer ones: filtering (21). [s]
_SHORT_S = 1.5
# Positions are averaged over this long before they are compared, filtering (19): own choice, half
# of the shortest window. [s]
_MEAN_S = 0.5
# Beside a contradiction its foot is too small to be seen: nothing is believed there either. Own
# choice: the shortest window. [s]
_MARGIN_S = 1.0
# Between reported velocities further apart than this, and than so many intervals, none was told.
# Own choice: at a fix a second one lost reading is bridged, two in a row are not.
_UNREPORTED_S, _UNREPORTED_INTERVALS = 1.0, 2.5
# Of a whole ride the way by speed and the way by position agree to within this share, filtering
# (22): own choice, below what another unit of speed would make.
_SAME_SHARE = 0.1
# Shorter ways drown in the noise of positions, fewer windows have no usual size: own choices. Of
# so few what contradicts may be most, so their noise is taken for no more than this. [m]
_LEAST_WAY_M, _LEAST_WINDOWS, _MOST_NOISE_M = 10.0, 20, 1.0


def contradictions(seen: Observations, screened: Screened) -> BoolArray:
    """Return the fixes at which reported velocity and positions contradict each other, shape (m,).

    ``screened`` are their gross errors. None in a log without reported velocities. Single fixes
    that leap and come back, and a position that steps once, are no contradiction: the velocity
    before and after tells which is wrong.
    """
    m = len(seen.time_s)
    against = np.zeros(m, dtype=bool)
    if not np.isfinite(seen.velocity_mps[:, 0]).any():
        return against
    told = np.flatnonzero(~screened.excursions & ~seen.held & ~seen.slides)
    reported = _reported(seen, screened.good_velocity)
    if len(told) < 2 or not reported.any():
        return against
    velocity, moved = moved_aside(seen, reported)
    untold = _lone(screened.leaps) | _unreported(seen, reported)
    moved[untold] = 0.0
    speed = np.hypot(*velocity.T)
    way_m = 0.5 * (speed[1:] + speed[:-1]) * np.diff(seen.time_s)
    way_m[untold | seen.breaks] = 0.0
    # Fixes of different pieces are never compared: their times are set far apart.
    piece = np.concatenate([[0], np.cumsum(seen.breaks)])
    apart_s = seen.time_s + 100.0 * _WINDOWS_S[-1] * piece
    if _disagree_throughout(seen, velocity, told, apart_s):
        return ~seen.crawl
    longest_s = _longest_interval(seen)
    for window_s in _WINDOWS_S:
        pairs = _pairs(apart_s, told, window_s)
        if pairs is None:
            continue
        first, last, miss = _misses(pairs, apart_s, told, moved)
        limit = _allowed(seen, speed, longest_s, first, last, miss)
        lag_s = np.where(_at_an_edge(seen, told, pairs, first, last), 0.0, _LAG_S)
        wrong = miss > limit + lag_s * _apart(velocity, first, last)
        if window_s <= _SHORT_S:
            limit += lag_s * np.abs(speed[last] - speed[first])
            wrong |= _way_without_place(seen, way_m, first, last, limit)
        for start, stop in zip(first[wrong], last[wrong], strict=True):
            against[start : stop + 1] = True
        # What is told already explains what longer windows show of it.
        explained = against[1:] & against[:-1]
        moved[explained], way_m[explained] = 0.0, 0.0
    return _widened(seen.time_s, against)


def _lone(leaps: BoolArray) -> BoolArray:
    """Return the intervals in which the position steps once, between two that it does not."""
    beside = np.zeros_like(leaps)
    beside[1:] |= leaps[:-1]
    beside[:-1] |= leaps[1:]
    lone: BoolArray = leaps & ~beside
    return lone


def _reported(seen: Observations, good_velocity: BoolArray) -> BoolArray:
    """Return the fixes whose velocity is compared: all reported ones but lone spikes."""
    told = np.isfinite(seen.velocity_mps[:, 0]) | seen.crawl
    spike = told & ~good_velocity
    beside = np.zeros_like(spike)
    beside[1:] |= spike[:-1]
    beside[:-1] |= spike[1:]
    compared: BoolArray = told & ~(spike & ~beside)
    return compared


def _unreported(seen: Observations, reported: BoolArray) -> BoolArray:
    """Return the intervals with no reported velocity near enough before and after to compare."""
    known = np.flatnonzero(reported)
    after = np.searchsorted(known, np.arange(1, len(seen.time_s)))
    before = known[np.maximum(np.searchsorted(known, np.arange(len(seen.breaks)), "right") - 1, 0)]
    between = known[np.minimum(after, len(known) - 1)]
    longest = max(_UNREPORTED_S, _UNREPORTED_INTERVALS * seen.usual_interval_s)
    far: BoolArray = seen.time_s[between] - seen.time_s[before] > longest
    return far


def _pairs(
    apart_s: FloatArray, told: IntArray, window_s: float
) -> tuple[IntArray, IntArray] | None:
    """Return places in ``told`` of fixes a window apart, each with the next if none is nearer."""
    times = apart_s[told]
    last = np.searchsorted(times, times + window_s + 1e-6, side="right") - 1
    # Where fixes are further apart than the window, neighbours are compared once.
    if window_s == _WINDOWS_S[0]:
        following = np.minimum(np.arange(len(told)) + 1, len(told) - 1)
        near = times[following] - times < 50.0 * _WINDOWS_S[-1]
        last = np.where((last == np.arange(len(told))) & near, following, last)
    first = np.flatnonzero(last > np.arange(len(told)))
    if not len(first):
        return None
    # A window cut short by its last fix is a shorter one, which has been looked at.
    length = times[last[first]] - times[first]
    whole = length > 0.5 * window_s
    return (first[whole], last[first][whole]) if whole.any() else None


def _misses(
    pairs: tuple[IntArray, IntArray], apart_s: FloatArray, told: IntArray, moved: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return first and last fix of each window, and by how far its two displacements differ."""
    times = apart_s[told]
    # East and north as one complex number: a tenth of the time of rows of two.
    slid = np.concatenate([[0.0], np.cumsum(moved @ [1.0, 1.0j])])[told]
    total = np.concatenate([[0.0], np.cumsum(slid)])
    first, last = pairs
    before = np.searchsorted(times, times[first] - _MEAN_S - 1e-6)
    after = np.searchsorted(times, times[last] + _MEAN_S + 1e-6, side="right")
    mean_before = (total[first + 1] - total[before]) / (first + 1 - before)
    mean_after = (total[after] - total[last]) / (after - last)
    return told[first], told[last], np.abs(mean_after - mean_before)


def _allowed(
    seen: Observations,
    speed: FloatArray,
    longest_s: FloatArray,
    first: IntArray,
    last: IntArray,
    miss: FloatArray,
) -> FloatArray:
    """Return how far displacements may differ for all but a lag: filtering (20)."""
    length = seen.time_s[last] - seen.time_s[first]
    floor = np.hypot(_LEAST_NOISE_M + seen.position_step_m, _LEAST_DRIFT_MPS * length)
    riding = (speed[first] > 2.0 * CRAWL_MPS) & (speed[last] > 2.0 * CRAWL_MPS)
    sample = miss[riding] if riding.sum() >= _LEAST_WINDOWS else miss
    usual = float(np.median(sample)) / 1.1774
    if len(sample) < _LEAST_WINDOWS:
        usual = min(usual, _MOST_NOISE_M)
    factor = np.maximum(np.maximum(seen.factor[first], seen.factor[last]), 1.0)
    longest = np.maximum(longest_s[first], longest_s[last])
    allowed: FloatArray = (
        _BEYOND * np.maximum(usual, floor) * factor + _CORNER * HARDEST_MPS2 * longest**2
    )
    return allowed


def _way_without_place(
    seen: Observations, way_m: FloatArray, first: IntArray, last: IntArray, limit_m: FloatArray
) -> BoolArray:
    """Return the windows whose way by speed no turn can hide between two places: filtering (21).

    At rest a receiver's course is noise, so that a false speed goes to and fro.
    """
    total = np.concatenate([[0.0], np.cumsum(way_m)])
    way = total[last] - total[first]
    chord = _apart(seen.position_m, first, last)
    length = seen.time_s[last] - seen.time_s[first]
    turned = np.minimum(HARDEST_MPS2 * length**2 / np.maximum(way, 1e-9), 2.0 * np.pi)
    # numpy's sinc has the factor pi inside.
    hidden = way * (1.0 - np.sinc(turned / (2.0 * np.pi)))
    without: BoolArray = way - chord > limit_m + hidden
    return without


def _apart(vectors: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Return how far the vectors (m, 2) at two places are apart, for every pair of places."""
    between = vectors.take(last, axis=0) - vectors.take(first, axis=0)
    length: FloatArray = np.sqrt((between * between).sum(axis=1))
    return length


def _at_an_edge(
    seen: Observations,
    told: IntArray,
    pairs: tuple[IntArray, IntArray],
    first: IntArray,
    last: IntArray,
) -> BoolArray:
    """Return the windows of two neighbours, far apart, of which one begins or ends a piece.

    There a lag would be made up for by nothing that follows, and one reading is all that is told:
    it is believed only as far as the positions bear it out.
    """
    edge = np.ones(len(seen.time_s), dtype=bool)
    edge[1:-1] = seen.breaks[1:] | seen.breaks[:-1]
    neighbours = pairs[1] == pairs[0] + 1
    far = seen.time_s[last] - seen.time_s[first] > _SPARSE_S
    at_edge: BoolArray = neighbours & far & (edge[first] | edge[last])
    return at_edge


def _longest_interval(seen: Observations) -> FloatArray:
    """Return the longer of the intervals beside each fix, breaks left out, shape (m,). [s]"""
    interval = np.where(seen.breaks, 0.0, np.diff(seen.time_s))
    longest: FloatArray = np.maximum(np.append(interval, 0.0), np.append(0.0, interval))
    return longest


def _disagree_throughout(
    seen: Observations, velocity: FloatArray, told: IntArray, apart_s: FloatArray
) -> bool:
    """Return whether the reported speed is another quantity than speed over ground all along.

    Such as a speed in another unit: it disagrees everywhere, so that no part stands out.
    """
    pairs = _pairs(apart_s, told, 5.0)
    if pairs is None:
        return False
    first, last = told[pairs[0]], told[pairs[1]]
    way = np.concatenate(
        [[0.0], np.cumsum(0.5 * np.hypot(*(velocity[1:] + velocity[:-1]).T) * np.diff(seen.time_s))]
    )
    by_speed = way[last] - way[first]
    by_place = _apart(seen.position_m, first, last)
    # Only where it went straight is the chord the way.
    east, north = velocity[first].T
    other_east, other_north = velocity[last].T
    along = east * other_east + north * other_north
    straight = along > 0.9 * np.hypot(east, north) * np.hypot(other_east, other_north)
    far = straight & (np.maximum(by_speed, by_place) > _LEAST_WAY_M)
    if far.sum() < _LEAST_WINDOWS:
        return False
    share = by_place[far] / np.maximum(by_speed[far], 1e-3)
    spread = float(np.median(np.abs(share - np.median(share))))
    return abs(float(np.median(share)) - 1.0) > _SAME_SHARE + spread


def _widened(time_s: FloatArray, against: BoolArray) -> BoolArray:
    wider = against.copy()
    for start, stop in runs_of(against):
        first = np.searchsorted(time_s, time_s[start] - _MARGIN_S)
        last = np.searchsorted(time_s, time_s[stop - 1] + _MARGIN_S, side="right")
        wider[first:last] = True
    return wider


def without(seen: Observations, left_out: BoolArray) -> tuple[Observations, BoolArray]:
    """Return the observations without some fixes, and which breaks stand for fixes left out."""
    if not left_out.any():
        return seen, np.zeros(len(seen.breaks), dtype=bool)
    kept = np.flatnonzero(~left_out)
    arrays = {
        item.name: getattr(seen, item.name)[kept]
        for item in fields(seen)
        if isinstance(getattr(seen, item.name), np.ndarray) and item.name != "breaks"
    }
    broken = np.concatenate([[0], np.cumsum(seen.breaks)])
    made = np.diff(kept) > 1
    breaks = (np.diff(broken[kept]) > 0) | made
    return replace(seen, **arrays, breaks=breaks), made
