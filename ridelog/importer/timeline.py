"""Order in the time stamps of a log: repeats, steps back, and dates that cannot belong."""

from bisect import bisect_left
from datetime import UTC, datetime, timedelta

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.text import count_words, places
from ridelog.core.track import FlagArray, FloatArray, IntArray
from ridelog.importer.columns import BoolArray

# Exact by definition.
US_PER_S = 1_000_000
# Receivers wake up in January 1980, or lose 1024 weeks (19.6 years). No ride lasts ten years.
# common practice, no source
_FAR_US = 10 * 366 * 86400 * US_PER_S
# No log is dated from 2200 on, 84,006 days after 1970 (own choice); the bound keeps every sum of
# times within what a date can hold.
LATEST_US = 84006 * 86400 * US_PER_S
# Half and one and a half of the usual step: what still counts as the clock running on. Own
# choice: no fix lost and none twice.
_USUAL_LOW, _USUAL_HIGH = 0.5, 1.5
# RMC and GGA of one epoch may be stamped .999 and .998: no clock is set back by so little. Half a
# millisecond lies between, so that rounding cannot decide. common practice, no source
_JITTER_S = 0.0025
# 1e-4 minute, the coarsest step of common receivers, is 1.7e-6 degree: common practice, no source.
SAME_PLACE_DEG = 2e-6
# Slips of a logger that repeats a time are fewer: own choices.
_LEAST_TWICE, _TWICE_SHARE = 5, 0.1
# A degree of latitude, derived: 6371 km times pi / 180, to the nearest 1 %; only for a sentence.
_METRES_PER_DEGREE = 111_000.0


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


def clock_set_back(
    time_s: FloatArray, line: IntArray, word: str = "line"
) -> tuple[BoolArray, list[str]]:
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
        f"({places(line[starts].tolist(), word)}); a new stretch starts there."
    ]


def two_receivers(apart_deg: FloatArray, times: int) -> list[str]:
    """Return a sentence if many of a log's times come with two places, none if few do.

    Parameters
    ----------
    apart_deg : ndarray, shape (k,)
        How far apart the places of each such time are, in latitude or in longitude.
    times : int
        Number of different times in the log.
    """
    apart_deg = apart_deg[apart_deg > SAME_PLACE_DEG]
    if len(apart_deg) < max(_LEAST_TWICE, _TWICE_SHARE * times):
        return []
    usual_m = float(np.median(apart_deg)) * _METRES_PER_DEGREE
    return [
        f"{count_words(len(apart_deg), 'time')} of {times:,} come with two places, usually "
        f"{usual_m:.3g} m apart: two receivers seem to have written this log. The first of each "
        "was read; give each receiver its own log."
    ]


def places_twice(
    time_s: FloatArray, latitude_deg: FloatArray, longitude_deg: FloatArray
) -> tuple[FloatArray, int]:
    """Return how far from the first row of their time the other rows lie, and the times. [deg]"""
    known = np.isfinite(time_s) & np.isfinite(latitude_deg) & np.isfinite(longitude_deg)
    _, first, of_time = np.unique(time_s[known], return_index=True, return_inverse=True)
    apart = [
        np.abs(one[known] - one[known][first][of_time]) for one in (latitude_deg, longitude_deg)
    ]
    again = np.ones(int(known.sum()), dtype=np.bool_)
    again[first] = False
    return np.maximum(*apart)[again], len(first)


def start_of(stamp_us: IntArray, usable: BoolArray) -> tuple[datetime | None, FloatArray]:
    """Return the first usable moment in file order and seconds since it, NaN where unusable."""
    if not usable.any():
        return None, np.full(stamp_us.shape[0], np.nan)
    start_us = int(stamp_us[usable][0])
    time_s = np.where(usable, (stamp_us - start_us) / US_PER_S, np.nan)
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=start_us), time_s
