"""Order in the time stamps of a log: repeats, steps back, and dates that cannot belong."""

from bisect import bisect_left
from datetime import UTC, datetime, timedelta

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.text import count_words, places
from ridelog.core.track import FlagArray, FloatArray, IntArray
from ridelog.importer.columns import BoolArray

US_PER_S = 1_000_000
# Receivers wake up in January 1980, or lose 1024 weeks (19.6 years). No ride lasts ten years.
# common practice, no source
_FAR_US = 10 * 366 * 86400 * US_PER_S
# No log is dated from 2200 on; the bound keeps every sum of times within what a date can hold.
LATEST_US = 84006 * 86400 * US_PER_S
# Half and one and a half of the usual step: what still counts as the clock running on.
_USUAL_LOW, _USUAL_HIGH = 0.5, 1.5
# RMC and GGA of one epoch may be stamped .999 and .998: no clock is set back by so little. Half a
# millisecond lies between, so that rounding cannot decide. common practice, no source
_JITTER_S = 0.0025


def far_from_the_rest(stamp_us: IntArray, usable: BoolArray) -> BoolArray:
    """Return which stamps lie more than ten years from the middle one, so cannot be the ride.

    Parameters
    ----------
    stamp_us : ndarray of int64, shape (n,)
        Microseconds since 1970.
    usable : ndarray of bool, shape (n,)
        Stamps to look at.
    """
    far = np.zeros(stamp_us.shape[0], dtype=np.bool_)
    if usable.any():
        # A stamp that occurs, not the mean of two that are decades apart.
        ordered = np.sort(stamp_us[usable])
        middle = ordered[ordered.shape[0] // 2]
        far[usable] = np.abs(stamp_us[usable] - middle) > _FAR_US
    return far


def time_flags(time_s: FloatArray) -> FlagArray:
    """Return NO_TIME, DUPLICATE_TIME and BACKWARD_TIME for rows in file order.

    The largest set of rows whose times rise strictly stays unflagged, so that one stamp far ahead
    does not condemn all that follow it; where two sets are equally large, the earlier rows stay.

    Source
    ------
    Longest increasing subsequence by patience sorting: C. Schensted, Canad. J. Math. 13 (1961),
    179-191; applied here from the end of the log to its start.
    """
    flags = np.zeros(time_s.shape[0], dtype=np.uint32)
    usable = np.isfinite(time_s)
    flags[~usable] = Flag.NO_TIME
    rows = np.flatnonzero(usable)
    times = time_s[rows]
    if times.shape[0] < 2 or np.all(np.diff(times) > 0.0):
        return flags
    dropped = np.ones(times.shape[0], dtype=np.bool_)
    dropped[_longest_rising(times)] = False
    first_of_its_time = np.zeros(times.shape[0], dtype=np.bool_)
    first_of_its_time[np.unique(times, return_index=True)[1]] = True
    flags[rows[dropped & ~first_of_its_time]] = Flag.DUPLICATE_TIME
    flags[rows[dropped & first_of_its_time]] = Flag.BACKWARD_TIME
    return flags


def _longest_rising(times: FloatArray) -> list[int]:
    """Return the places of a longest strictly rising subsequence, earlier rows preferred."""
    tails: list[float] = []
    tail_places: list[int] = []
    before = [-1] * times.shape[0]
    for place in range(times.shape[0] - 1, -1, -1):
        value = -float(times[place])
        at = bisect_left(tails, value)
        if at:
            before[place] = tail_places[at - 1]
        if at == len(tails):
            tails.append(value)
            tail_places.append(place)
        else:
            tails[at] = value
            tail_places[at] = place
    chain: list[int] = []
    place = tail_places[-1]
    while place >= 0:
        chain.append(place)
        place = before[place]
    return chain


def clock_set_back(time_s: FloatArray, line: IntArray) -> tuple[BoolArray, list[str]]:
    """Return at which rows the clock was set back and then ran on, and a sentence if any.

    A lone row out of order is no such place: the rows round it do not run on from it.
    """
    starts = np.zeros(time_s.shape[0], dtype=np.bool_)
    rows = np.flatnonzero(np.isfinite(time_s))
    steps = np.diff(time_s[rows])
    rising = steps[steps > 0.0]
    if rising.shape[0] == 0:
        return starts, []
    usual_s = float(np.median(rising))
    usual = (steps > _USUAL_LOW * usual_s) & (steps < _USUAL_HIGH * usual_s)
    back = np.flatnonzero(steps < -_JITTER_S)
    runs_before = np.where(back > 0, usual[back - 1], True)
    runs_after = np.append(usual, False)[back + 1]
    starts[rows[back[runs_before & runs_after] + 1]] = True
    if not starts.any():
        return starts, []
    return starts, [
        f"The clock is set back {count_words(int(starts.sum()), 'time')} "
        f"({places(line[starts].tolist())}); a new stretch starts there."
    ]


def start_of(stamp_us: IntArray, usable: BoolArray) -> tuple[datetime | None, FloatArray]:
    """Return the first usable moment in file order and seconds since it, NaN where unusable."""
    if not usable.any():
        return None, np.full(stamp_us.shape[0], np.nan)
    start_us = int(stamp_us[usable][0])
    time_s = np.where(usable, (stamp_us - start_us) / US_PER_S, np.nan)
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=start_us), time_s
