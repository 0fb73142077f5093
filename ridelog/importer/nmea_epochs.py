"""Sentences grouped into epochs: which belong together, and which epochs are fixes."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray, IntArray
from ridelog.importer.columns import BoolArray
from ridelog.importer.nmea_clock import Dated, LooseDate, date_fixes
from ridelog.importer.nmea_readings import NO_DAY, NO_TIME_OF_DAY, SentenceReadings
from ridelog.importer.timeline import SAME_PLACE_DEG

# Sentences that carry position and validity; the others belong to one of these.
_NAVIGATION = ("RMC", "GGA", "GNS", "GLL")
_NONE = -1
# RMC and GGA of one receiver may be written with different resolution, down to 1e-2 minute,
# which is 1.7e-4 degree: common practice, no source.
_SAME_BY_TYPES_DEG = 2e-4


@dataclass(frozen=True)
class Epochs:
    """Fixes of the log, one row for each distinct UTC epoch, in file order.

    row_of : for each type the row of each of its sentences, -1 if it belongs to no fix.
    first_sentence : for each row the place of its first valid position sentence.
    dated : full time stamps of the rows.
    span : number of the continuous span of each row, counted up where the clock was set back.
    makers : types whose valid sentences make a fix (RMC and GGA, or else GNS and GLL).
    void_epochs : epochs in which no sentence had a valid fix.
    repeated : epochs that repeat an earlier time with another position; not rows.
    """

    row_of: dict[str, IntArray]
    first_sentence: IntArray
    dated: Dated
    span: IntArray
    makers: tuple[str, ...]
    void_epochs: int
    repeated: int

    def __len__(self) -> int:
        return int(self.first_sentence.shape[0])

    def first_values(
        self, readings: dict[str, SentenceReadings], kind: str, name: str
    ) -> FloatArray:
        """Return for each row the first known value of a column among one type's sentences."""
        values = readings[kind].column(name)
        return self.spread(kind, values, np.isfinite(values))

    def spread(self, kind: str, values: FloatArray, good: BoolArray) -> FloatArray:
        """Return for each row the first good value of one type's sentences, NaN if none."""
        rows = self.row_of[kind]
        used = np.flatnonzero(good & (rows != _NONE))[::-1]
        result = np.full(len(self), np.nan)
        result[rows[used]] = values[used]
        return result

    def places_apart(self, readings: dict[str, SentenceReadings]) -> FloatArray:
        """Return how far apart the places of each row's sentences are, shape (n,). [deg]

        Within one type any difference counts, between types only what resolution cannot explain.
        """
        apart = np.zeros(len(self))
        for name in ("latitude_deg", "longitude_deg"):
            low, high = np.full(len(self), np.inf), np.full(len(self), -np.inf)
            for kind in self.makers:
                reading, rows = readings[kind], self.row_of[kind]
                used = np.flatnonzero(reading.is_fix & (rows != _NONE))
                least, most = np.full(len(self), np.inf), np.full(len(self), -np.inf)
                np.minimum.at(least, rows[used], reading.column(name)[used])
                np.maximum.at(most, rows[used], reading.column(name)[used])
                apart = np.fmax(apart, np.where(np.isfinite(least), most - least, 0.0))
                low, high = np.minimum(low, least), np.maximum(high, most)
            across = np.where(np.isfinite(low), high - low, 0.0)
            apart = np.fmax(apart, np.where(across > _SAME_BY_TYPES_DEG, across, 0.0))
        return apart

    def any_of(self, kind: str, condition: BoolArray) -> BoolArray:
        """Return for each row whether any of its sentences of one type meets a condition."""
        rows = self.row_of[kind]
        result = np.zeros(len(self), dtype=np.bool_)
        result[rows[condition & (rows != _NONE)]] = True
        return result


def group(readings: dict[str, SentenceReadings], sentence_count: int) -> Epochs | None:
    """Return the epochs of a log; None if no sentence holds a valid fix with a time.

    Neighbouring sentences with one time of day are one visit; visits with one date and time are one
    epoch, wherever they stand, so two talkers or out-of-step RMC and GGA need no special care.

    Parameters
    ----------
    readings : dict of SentenceReadings
        By sentence type.
    sentence_count : int
        Number of sentences in the log.
    """
    makers = _makers(readings)
    visit_of, visit_tod = _visits(readings, sentence_count)
    is_fix = np.zeros(sentence_count, dtype=np.bool_)
    for kind in makers:
        is_fix[readings[kind].which[readings[kind].is_fix]] = True
    fix_sentences = np.flatnonzero(is_fix)
    if fix_sentences.shape[0] == 0:
        return None
    fix_visit, first_at = np.unique(visit_of[fix_sentences], return_index=True)
    first_sentence = fix_sentences[first_at]
    number_of = np.full(visit_tod.shape[0], _NONE, dtype=np.int64)  # visit -> number of the fix
    number_of[fix_visit] = np.arange(fix_visit.shape[0])
    rmc_day = _days_of(readings["RMC"], readings["RMC"].is_fix, number_of[visit_of], fix_visit)
    zda = readings["ZDA"]
    zda_visit = _matching_visit(zda, visit_of, visit_tod)
    zda_number = np.where(zda_visit == _NONE, _NONE, number_of[zda_visit])
    zda_day = _days(zda.day, zda_number, fix_visit.shape[0])
    loose = _loose_dates(zda, zda_number, first_sentence)
    dated = date_fixes(visit_tod[fix_visit], rmc_day, zda_day, loose)
    kept, row_of_number = _distinct(dated.stamp_us)
    repeated = _moved_repeats(readings, makers, number_of[visit_of], row_of_number, kept)
    row_of_visit = np.where(number_of == _NONE, _NONE, row_of_number[number_of])
    row_of: dict[str, IntArray] = {}
    for kind, reading in readings.items():
        visits = _visit_of_type(kind, reading, visit_of, visit_tod)
        row_of[kind] = np.where(visits == _NONE, _NONE, row_of_visit[visits])
    return Epochs(
        row_of=row_of,
        first_sentence=first_sentence[kept],
        dated=Dated(
            dated.stamp_us[kept], dated.usable[kept], dated.date_known, dated.warnings
        ),
        # A stretch that runs over times already seen is not rows; what follows it starts anew.
        span=np.cumsum(repeated, dtype=np.int64)[kept],
        makers=makers,
        void_epochs=_count_void(readings, makers, visit_of, number_of),
        repeated=int(np.count_nonzero(repeated)),
    )  # fmt: skip


def _makers(readings: dict[str, SentenceReadings]) -> tuple[str, ...]:
    """Return the types that make fixes: GNS and GLL only in a log without RMC and GGA."""
    if readings["RMC"].which.shape[0] or readings["GGA"].which.shape[0]:
        return ("RMC", "GGA")
    return ("GNS", "GLL")


def _visits(
    readings: dict[str, SentenceReadings], sentence_count: int
) -> tuple[IntArray, IntArray]:
    """Return the visit that each sentence belongs to or follows, and each visit's time of day.

    Visit 0 stands before the first timed sentence and has no time.
    """
    tod = np.full(sentence_count, NO_TIME_OF_DAY, dtype=np.int64)
    for kind in _NAVIGATION:
        tod[readings[kind].which] = readings[kind].tod_us
    timed = np.flatnonzero(tod != NO_TIME_OF_DAY)
    begins = np.zeros(sentence_count, dtype=np.int64)
    begins[timed[np.concatenate([[True], np.diff(tod[timed]) != 0])] if timed.size else timed] = 1
    visit_of = np.cumsum(begins)
    return visit_of, np.concatenate([[NO_TIME_OF_DAY], tod[np.flatnonzero(begins)]])


def _matching_visit(reading: SentenceReadings, visit_of: IntArray, visit_tod: IntArray) -> IntArray:
    """Return the visit before or after each timed sentence that has its time, -1 if neither."""
    before = visit_of[reading.which]
    after = np.minimum(before + 1, visit_tod.shape[0] - 1)
    timed = reading.tod_us != NO_TIME_OF_DAY
    matched: IntArray = np.where(timed & (visit_tod[after] == reading.tod_us), after, _NONE)
    matched = np.where(timed & (visit_tod[before] == reading.tod_us), before, matched)
    return matched


def _visit_of_type(
    kind: str, reading: SentenceReadings, visit_of: IntArray, visit_tod: IntArray
) -> IntArray:
    """Return the visit of each sentence of a type, -1 if unknown."""
    if kind in _NAVIGATION:
        timed = reading.tod_us != NO_TIME_OF_DAY
        return np.where(timed, visit_of[reading.which], _NONE)
    if kind in ("GST", "ZDA"):
        return _matching_visit(reading, visit_of, visit_tod)
    visits = visit_of[reading.which]
    # A log that opens with the type and has none after its last time sends it first in each burst.
    last = visit_tod.shape[0] - 1
    sent_first = visits.size > 0 and visits[0] == 0 and visits[-1] < last
    if sent_first:
        visits = visits + 1
    return np.where(visits == 0, _NONE, visits)


def _days(day: IntArray, number: IntArray, n: int) -> IntArray:
    """Return for each of n fixes the first date among the sentences that belong to it."""
    result = np.full(n, NO_DAY, dtype=np.int64)
    used = np.flatnonzero((day != NO_DAY) & (number != _NONE))[::-1]
    result[number[used]] = day[used]
    return result


def _days_of(
    reading: SentenceReadings, good: BoolArray, number_of_sentence: IntArray, fix_visit: IntArray
) -> IntArray:
    number = np.where(good, number_of_sentence[reading.which], _NONE)
    return _days(reading.day, number, fix_visit.shape[0])


def _loose_dates(
    zda: SentenceReadings, number: IntArray, first_sentence: IntArray
) -> list[LooseDate]:
    """Return the last ZDA that stands after the first fix but belongs to none."""
    free = (number == _NONE) & (zda.day != NO_DAY) & (zda.tod_us != NO_TIME_OF_DAY)
    free &= zda.which > first_sentence[0]
    loose = []
    for i in np.flatnonzero(free)[-1:]:
        after = int(np.searchsorted(first_sentence, zda.which[i])) - 1
        loose.append(LooseDate(after, int(zda.tod_us[i]), int(zda.day[i])))
    return loose


def _distinct(stamp_us: IntArray) -> tuple[IntArray, IntArray]:
    """Return the fixes that come first with their time, in file order, and each fix's row."""
    _, first, inverse = np.unique(stamp_us, return_index=True, return_inverse=True)
    kept = np.sort(first)
    row_of_unique = np.searchsorted(kept, first)
    return kept, row_of_unique[inverse]


def _moved_repeats(
    readings: dict[str, SentenceReadings],
    makers: tuple[str, ...],
    number_of_sentence: IntArray,
    row_of_number: IntArray,
    kept: IntArray,
) -> BoolArray:
    """Return which fixes repeat the time of an earlier one at another place.

    A sentence sent twice, or RMC and GGA of one epoch out of step, are no such repeats.
    """
    n = row_of_number.shape[0]
    repeats = np.ones(n, dtype=np.bool_)
    repeats[kept] = False
    moved = np.zeros(n, dtype=np.bool_)
    if not repeats.any():
        return moved
    for kind in makers:
        reading = readings[kind]
        place = np.full((n, 2), np.nan)
        used = np.flatnonzero(reading.is_fix)[::-1]
        number = number_of_sentence[reading.which[used]]
        place[number, 0] = reading.column("latitude_deg")[used]
        place[number, 1] = reading.column("longitude_deg")[used]
        away = np.abs(place - place[kept][row_of_number]).max(axis=1)
        moved |= repeats & (away > SAME_PLACE_DEG)
    return moved


def _count_void(
    readings: dict[str, SentenceReadings],
    makers: tuple[str, ...],
    visit_of: IntArray,
    number_of: IntArray,
) -> int:
    """Return the epochs in which the receiver said that it had no valid fix.

    Sentences without any time cannot be told apart by it: the larger count of one type is taken.
    """
    void_visits: list[IntArray] = []
    untimed = [0]
    for kind in makers:
        reading = readings[kind]
        timed = reading.tod_us != NO_TIME_OF_DAY
        visits = visit_of[reading.which[timed]]
        void_visits.append(visits[number_of[visits] == _NONE])
        untimed.append(int(np.count_nonzero(~timed)))
    return int(np.unique(np.concatenate(void_visits)).shape[0]) + max(untimed)
