"""Dates for NMEA times of day: from RMC or ZDA, counted over midnight, repaired when certain."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.text import count_words
from ridelog.core.track import IntArray
from ridelog.importer.columns import BoolArray
from ridelog.importer.nmea_readings import NO_DAY
from ridelog.importer.timeline import LATEST_US, US_PER_S, far_from_the_rest

# A day without a leap second is 86,400 s, exact.
_DAY_US = 86400 * US_PER_S
# GPS counts its weeks modulo 1024 (IS-GPS-200, section 20.3.3.3.1.1): 7168 days.
_ROLLOVER_DAYS = 1024 * 7
_DAY_2000 = 10957
# Within this long, or a few usual steps, the receiver's clock ran on and the date cannot change
# but at midnight. common practice, no source
_RUNNING_ON_S = 3.0
_RUNNING_ON_STEPS = 2.5
# So few dated fixes against so many more are slips, not a correction. common practice, no source
_SLIP_FIXES, _SLIP_RATIO = 2, 10


@dataclass(frozen=True)
class LooseDate:
    """A date (ZDA) outside the fixes, after the fix with the number ``after``."""

    after: int
    tod_us: int
    day: int


@dataclass(frozen=True)
class Dated:
    """Moments of the fixes, in file order.

    stamp_us : microseconds since 1970; without a date since the first fix's midnight.
    usable : False where the date belongs to another decade than the ride.
    date_known : whether the log gives a date.
    """

    stamp_us: IntArray
    usable: BoolArray
    date_known: bool
    warnings: tuple[str, ...]


def date_fixes(
    tod_us: IntArray, rmc_day: IntArray, zda_day: IntArray, loose: list[LooseDate]
) -> Dated:
    """Return full time stamps for fixes that carry a time of day and sometimes a date.

    Parameters
    ----------
    tod_us : ndarray, shape (n,)
        UTC time of day of each fix, in file order. [microseconds]
    rmc_day, zda_day : ndarray, shape (n,)
        Day since 1970 that the fix's own RMC (status A) or ZDA gives, NO_DAY if none. Dates sent
        without a fix are not among them: a receiver that wakes up guesses.
    loose : list of LooseDate
        Dates sent between fixes, after the first one; used only if no fix has a date.
    """
    step_us = np.diff(tod_us)
    # Half a day decides: a fall from 23:59:59 to 00:00:00 is midnight, not a step back.
    step_us -= _DAY_US * np.round(step_us / _DAY_US).astype(np.int64)
    running_us = tod_us[0] + np.concatenate([[0], np.cumsum(step_us)])
    warnings: list[str] = []
    own_day = rmc_day if (rmc_day != NO_DAY).any() else zda_day
    dated = np.flatnonzero(own_day != NO_DAY)
    if dated.shape[0]:
        shift = own_day[dated] + (tod_us[dated] - running_us[dated]) // _DAY_US
        shift, warnings = _settled_shifts(running_us[dated], shift, step_us)
    elif loose:
        last = loose[-1]
        dated = np.asarray([last.after])
        wrapped = (last.tod_us - int(tod_us[last.after]) + _DAY_US // 2) % _DAY_US - _DAY_US // 2
        moment_us = int(running_us[last.after]) + wrapped
        shift = np.asarray([last.day - moment_us // _DAY_US])
        warnings = [f"The date {_date(last.day)} comes from a ZDA sentence outside the fixes."]
    else:
        warning = "The log gives no date; its times are times of day (UTC) only."
        return Dated(running_us, np.abs(running_us) < LATEST_US, False, (warning,))
    stamp_us = running_us + _DAY_US * _nearest(running_us, dated, shift)
    usable = np.abs(stamp_us) < LATEST_US
    far = far_from_the_rest(stamp_us, usable) | ~usable
    if far.any():
        first = int(stamp_us[np.flatnonzero(far)[0]] // _DAY_US)
        warnings.append(
            f"{count_words(int(far.sum()), 'fix', 'fixes')} dated decades away from the rest "
            f"(first {_date(first)}) got no time."
        )
    first_day = int(stamp_us[~far][0] // _DAY_US) if not far.all() else _DAY_2000
    if first_day < _DAY_2000:
        warnings.append(
            f"The log dates itself {_date(first_day)}; receivers whose week count has rolled over "
            "do that, and it does not touch the speeds."
        )
    return Dated(stamp_us, ~far, True, tuple(warnings))


def _nearest(running_us: IntArray, dated: IntArray, shift: IntArray) -> IntArray:
    """Return for every fix the shift of the dated fix that is nearer in time, before or after."""
    n = running_us.shape[0]
    before = np.searchsorted(dated, np.arange(n), side="right") - 1
    after = np.minimum(before + 1, dated.shape[0] - 1)
    before = np.maximum(before, 0)
    # A dated fix is its own "before" at distance zero.
    to_before = np.abs(running_us - running_us[dated[before]])
    to_after = np.abs(running_us - running_us[dated[after]])
    chosen: IntArray = np.where(to_after < to_before, shift[after], shift[before])
    return chosen


def _settled_shifts(
    running_us: IntArray, shift: IntArray, step_us: IntArray
) -> tuple[IntArray, list[str]]:
    """Return one date shift for each stretch in which the clock ran on, and what was repaired.

    Parameters
    ----------
    running_us : ndarray, shape (m,)
        Running time of the dated fixes.
    shift : ndarray, shape (m,)
        Days to add to the running time, by each fix's own date.
    step_us : ndarray
        Steps between all fixes, for the usual step.
    """
    if np.all(shift == shift[0]):
        return shift, []
    usual_us = float(np.median(step_us[step_us > 0])) if (step_us > 0).any() else 0.0
    limit_us = max(_RUNNING_ON_S * US_PER_S, _RUNNING_ON_STEPS * usual_us)
    broken = np.abs(np.diff(running_us)) > limit_us
    stretch = np.concatenate([[0], np.cumsum(broken)])
    settled = shift.copy()
    for number in np.unique(stretch[1:][(np.diff(shift) != 0) & ~broken]):
        # Stretches are numbered in order: one is found without looking at all the others.
        first, stop = np.searchsorted(stretch, [number, number + 1])
        settled[first:stop] = _one_shift(shift[first:stop])
    _, rolled = np.unique(settled % _ROLLOVER_DAYS, return_inverse=True)
    latest = np.full(int(rolled.max()) + 1, np.iinfo(np.int64).min)
    np.maximum.at(latest, rolled, settled)
    settled = latest[rolled]
    changed = np.flatnonzero(settled != shift)
    if changed.shape[0] == 0:
        return settled, []
    first = changed[0]
    day = int(running_us[first] // _DAY_US)
    return settled, [
        f"{count_words(changed.shape[0], 'fix', 'fixes')} carried a date that the running clock "
        f"contradicts (first {_date(day + int(shift[first]))}, now "
        f"{_date(day + int(settled[first]))}); the date was repaired, the time of day kept."
    ]


def _one_shift(shift: IntArray) -> int:
    """Return the shift of a stretch in which the clock ran on although the date changed.

    A receiver corrects its date forward; a count that falls back has lost weeks or is late at
    midnight. So the later of first and last holds, unless one of them is a slip of a fix or two.
    """
    first, last = int(shift[0]), int(shift[-1])
    early, late = min(first, last), max(first, last)
    number_early, number_late = (int(np.count_nonzero(shift == one)) for one in (early, late))
    rollover = (late - early) % _ROLLOVER_DAYS == 0
    if not rollover and number_late <= _SLIP_FIXES and number_early >= _SLIP_RATIO * number_late:
        return early
    return late


def _date(day: int) -> str:
    """Return a day as ISO text."""
    # numpy's dates reach far beyond the year 9999, where a damaged log may point.
    return str(np.datetime64(day, "D"))
