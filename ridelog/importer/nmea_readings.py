"""What single NMEA sentences say: each type's fields as columns in SI units."""

from dataclasses import dataclass, field, replace

import numpy as np

from ridelog.core.track import FixKind, FloatArray, IntArray
from ridelog.core.units import MPS_PER_KMH, MPS_PER_KNOT
from ridelog.importer.columns import (
    BoolArray,
    ByteArray,
    days_since_1970,
    decimals,
    letters,
    two_digits,
)
from ridelog.importer.nmea_sentences import Sentences
from ridelog.importer.timeline import US_PER_S

NO_TIME_OF_DAY = -1
NO_DAY = np.iinfo(np.int64).min
# 65535 hundredths: receivers send it for "out of range", in any unit. common practice, no source
_OVER_RANGE_LOW, _OVER_RANGE_HIGH = 655.295, 655.36
# Mode letters of RMC, GLL, VTG and GNS, best first, as kinds of fix (gpsd, NMEA field notes).
_MODES = (
    (b"R", FixKind.RTK_FIXED),
    (b"F", FixKind.RTK_FLOAT),
    (b"P", FixKind.PRECISE),
    (b"D", FixKind.DIFFERENTIAL),
    (b"A", FixKind.AUTONOMOUS),
    (b"E", FixKind.ESTIMATED),
    (b"M", FixKind.MANUAL),
    (b"S", FixKind.SIMULATED),
    (b"N", FixKind.NONE),
)
_NO_RANK = len(_MODES)
_RANK_OF_LETTER = np.full(256, _NO_RANK, dtype=np.int64)
_KIND_OF_RANK = np.full(_NO_RANK + 1, int(FixKind.UNKNOWN), dtype=np.int64)
for _rank, (_letter, _kind) in enumerate(_MODES):
    _RANK_OF_LETTER[_letter[0]] = _rank
    _KIND_OF_RANK[_rank] = _kind
_MOST_CONSTELLATIONS = 8
# From pole to equator: no standard deviation, and its square must not overflow. Own choice.
_MOST_SD_M = 1e7


@dataclass(frozen=True)
class SentenceReadings:
    """Sentences of one type; columns that the type does not have stay NaN.

    which : place of each sentence in the log's Sentences.
    tod_us : UTC time of day, NO_TIME_OF_DAY if blank or impossible. [microseconds]
    says_fix : whether the sentence calls its own fix valid (RMC A, GGA quality > 0, ...).
    has_place : whether it holds a whole position.
    letters_of_place : letters of the latitude field, a measure of its resolution.
    day : days since 1970, NO_DAY if the sentence gives no date.
    fix_kind : values of FixKind.
    """

    which: IntArray
    tod_us: IntArray
    says_fix: BoolArray
    has_place: BoolArray
    letters_of_place: IntArray
    day: IntArray
    fix_kind: IntArray
    columns: dict[str, FloatArray] = field(default_factory=dict)

    @property
    def is_fix(self) -> BoolArray:
        """Return which sentences make an epoch a fix: valid, with position and time."""
        made: BoolArray = self.says_fix & self.has_place & (self.tod_us != NO_TIME_OF_DAY)
        return made

    def after(self, count: int) -> "SentenceReadings":
        """Return the same readings as those of a part of a log after so many sentences."""
        return replace(self, which=self.which + count)

    def column(self, name: str) -> FloatArray:
        """Return a column, NaN throughout if the type does not have it."""
        if name in self.columns:
            return self.columns[name]
        return np.full(self.which.shape[0], np.nan)


def read_all(sentences: Sentences) -> dict[str, SentenceReadings]:
    """Return the readings of every type.

    Source
    ------
    Layouts, since NMEA 0183 itself is sold: gpsd, "NMEA Revealed" (E. S. Raymond), and the
    documentation of the ``nmea`` crate and of marnav; ZDA from memory.
    """
    types = {
        "RMC": _rmc, "GGA": _gga, "GNS": _gns, "GLL": _gll, "VTG": _vtg, "GSA": _gsa, "GST": _gst,
        "ZDA": _zda,
    }  # fmt: skip
    return {name: read(_Fields(sentences, name)) for name, read in types.items()}


class _Fields:
    """The fields of all sentences of one type, numbered from 1 as in the standard."""

    def __init__(self, sentences: Sentences, name: str) -> None:
        self.sentences = sentences
        self.buffer = sentences.buffer
        self.which = sentences.of_type(name)
        self.none = np.zeros(len(self.which), dtype=np.int64)

    def texts(self, number: int) -> tuple[IntArray, IntArray]:
        """Return starts and lengths of one field."""
        return self.sentences.field(self.which, number)

    def numbers(self, number: int) -> FloatArray:
        """Return one field as numbers."""
        return decimals(self.buffer, *self.texts(number))

    def letters(self, number: int) -> ByteArray:
        """Return one field of a single letter."""
        return letters(self.buffer, *self.texts(number))

    def kinds(self, number: int) -> IntArray:
        """Return the kinds of fix that a field of one mode letter names."""
        return _KIND_OF_RANK[_RANK_OF_LETTER[self.letters(number)]]

    def angles(self, number: int, plus: bytes, minus: bytes, most_deg: float) -> FloatArray:
        """Return two fields ddmm.mm,N in degrees; NaN if not whole."""
        value, side = self.numbers(number), self.letters(number + 1)
        degrees = np.floor(value / 100.0)
        minutes = value - 100.0 * degrees
        angle = degrees + minutes / 60.0
        good = (value >= 0.0) & (minutes < 60.0) & (angle <= most_deg)
        good &= (side == plus[0]) | (side == minus[0])
        return np.where(good, np.where(side == minus[0], -angle, angle), np.nan)

    def speeds(self, number: int, mps_per_unit: float) -> FloatArray:
        """Return one field as speeds. [m/s]"""
        value = self.numbers(number)
        over_range = (value > _OVER_RANGE_LOW) & (value < _OVER_RANGE_HIGH)
        return np.where((value < 0.0) | over_range, np.nan, value * mps_per_unit)

    def courses(self, number: int) -> FloatArray:
        """Return one field as courses. [deg]"""
        value = self.numbers(number)
        return np.where((value < 0.0) | (value > 360.0), np.nan, value % 360.0)

    def times_of_day(self, number: int) -> IntArray:
        """Return hhmmss.sss as microseconds of the day; 60 s (a leap second) rolls over."""
        value, (start, length) = self.numbers(number), self.texts(number)
        # Six digits before the point: 93512 could be 9:35:12 or a line that lost a digit.
        good = (length >= 6) & (value >= 0.0) & (value < 240000.0)
        good &= (length == 6) | (self.buffer[start + 6] == ord("."))
        safe = np.where(good, value, 0.0)
        whole = np.floor(safe).astype(np.int64)
        minute, second = whole // 100 % 100, whole % 100
        good &= (minute < 60) & (second <= 60)
        seconds = whole // 10000 * 3600 + minute * 60 + second
        micros = np.round((safe - whole) * US_PER_S).astype(np.int64)
        return np.where(good, seconds * US_PER_S + micros, NO_TIME_OF_DAY)

    def readings(
        self,
        says_fix: BoolArray,
        *,
        time: int | None = None,
        place: int | None = None,
        kind: IntArray | None = None,
        day: IntArray | None = None,
        **columns: FloatArray,
    ) -> SentenceReadings:
        """Return the readings, time and place from the fields of these numbers."""
        if place is not None:
            columns["latitude_deg"] = self.angles(place, b"N", b"S", 90.0)
            columns["longitude_deg"] = self.angles(place + 2, b"E", b"W", 180.0)
        has_place = np.zeros(len(self.which), dtype=np.bool_)
        if place is not None:
            has_place = np.isfinite(columns["latitude_deg"]) & np.isfinite(columns["longitude_deg"])
        return SentenceReadings(
            which=self.which,
            tod_us=self.none + NO_TIME_OF_DAY if time is None else self.times_of_day(time),
            says_fix=says_fix,
            has_place=has_place,
            letters_of_place=self.none if place is None else self.texts(place)[1],
            day=self.none + NO_DAY if day is None else day,
            fix_kind=self.none + int(FixKind.UNKNOWN) if kind is None else kind,
            columns=columns,
        )


def _rmc(f: _Fields) -> SentenceReadings:
    start, length = f.texts(9)
    day, month, year = (two_digits(f.buffer, start + place) for place in (0, 2, 4))
    # Two-digit years: 80-99 are 19xx, 00-79 are 20xx. common practice, no source
    days, real = days_since_1970(year + np.where(year >= 80, 1900, 2000), month, day)
    real &= (length == 6) & (year >= 0)
    return f.readings(
        f.letters(2) == ord("A"), time=1, place=3, kind=f.kinds(12),
        day=np.where(real, days, NO_DAY),
        speed_mps=f.speeds(7, MPS_PER_KNOT), course_deg=f.courses(8),
    )  # fmt: skip


def _gga(f: _Fields) -> SentenceReadings:
    quality = f.numbers(6)
    known = np.isin(quality, np.arange(9))
    kind = np.where(known, np.nan_to_num(quality), int(FixKind.UNKNOWN)).astype(np.int64)
    return f.readings(
        quality > 0, time=1, place=2, kind=kind,
        satellites=f.numbers(7), hdop=f.numbers(8), height_m=f.numbers(9),
    )  # fmt: skip


def _gns(f: _Fields) -> SentenceReadings:
    start, length = f.texts(6)
    rank = f.none + _NO_RANK
    for j in range(_MOST_CONSTELLATIONS):
        here = _RANK_OF_LETTER[f.buffer[start + j]]
        rank = np.where(j < length, np.minimum(rank, here), rank)
    kind = _KIND_OF_RANK[rank]
    return f.readings(
        kind > 0, time=1, place=2, kind=kind,
        satellites=f.numbers(7), hdop=f.numbers(8), height_m=f.numbers(9),
    )  # fmt: skip


def _gll(f: _Fields) -> SentenceReadings:
    return f.readings(f.letters(6) == ord("A"), time=5, place=1, kind=f.kinds(7))


def _vtg(f: _Fields) -> SentenceReadings:
    knots = f.speeds(5, MPS_PER_KNOT)
    speed_mps = np.where(np.isnan(knots), f.speeds(7, MPS_PER_KMH), knots)
    return f.readings(f.letters(9) != ord("N"), speed_mps=speed_mps, course_deg=f.courses(1))


def _gsa(f: _Fields) -> SentenceReadings:
    used = sum((f.texts(number)[1] > 0 for number in range(3, 15)), f.none).astype(np.float64)
    has_fix = np.isin(f.letters(2), np.frombuffer(b"23", dtype=np.uint8))
    return f.readings(has_fix, satellites=used, hdop=f.numbers(16))


def _gst(f: _Fields) -> SentenceReadings:
    north_m, east_m = f.numbers(6), f.numbers(7)
    known = (np.abs(north_m) < _MOST_SD_M) & (np.abs(east_m) < _MOST_SD_M)
    north_m, east_m = np.where(known, north_m, np.nan), np.where(known, east_m, np.nan)
    sd_m = np.sqrt((north_m**2 + east_m**2) / 2.0)
    return f.readings(np.ones(len(f.which), dtype=np.bool_), time=1, position_sd_m=sd_m)


def _zda(f: _Fields) -> SentenceReadings:
    day, month, year = (f.numbers(number) for number in (2, 3, 4))
    whole = np.isfinite(day) & np.isfinite(month) & np.isfinite(year)
    whole &= (year >= 1980) & (year <= 9999) & (np.abs(day) < 100) & (np.abs(month) < 100)
    parts = [np.where(whole, part, 0).astype(np.int64) for part in (year, month, day)]
    days, real = days_since_1970(*parts)
    return f.readings(whole, time=1, day=np.where(whole & real, days, NO_DAY))
