"""What single NMEA sentences say: each type's fields as columns in SI units."""

from dataclasses import dataclass, field

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
# Mode letters of RMC, GLL, VTG and GNS, best first, as kinds of fix (rows A12 to A17).
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
# Larger than the Earth: no standard deviation, and its square must not overflow.
_MOST_SD_M = 1e7


@dataclass(frozen=True)
class SentenceReadings:
    """Sentences of one type; columns that the type does not have stay NaN.

    Attributes
    ----------
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

    def column(self, name: str) -> FloatArray:
        """Return a column, NaN throughout if the type does not have it."""
        if name in self.columns:
            return self.columns[name]
        return np.full(self.which.shape[0], np.nan)


def read_all(sentences: Sentences) -> dict[str, SentenceReadings]:
    """Return the readings of every type.

    Source
    ------
    Layouts: standards sheet rows A12 to A18 (open parser documentation, gpsd field notes).
    """
    return {
        "RMC": _rmc(sentences),
        "GGA": _gga(sentences),
        "GNS": _gns(sentences),
        "GLL": _gll(sentences),
        "VTG": _vtg(sentences),
        "GSA": _gsa(sentences),
        "GST": _gst(sentences),
        "ZDA": _zda(sentences),
    }


def _rmc(s: Sentences) -> SentenceReadings:
    which = s.of_type("RMC")
    columns = _place(s, which, 3)
    columns["speed_mps"] = _speed(s, which, 7, MPS_PER_KNOT)
    columns["course_deg"] = _course(s, which, 8)
    start, length = s.field(which, 9)
    digits = [two_digits(s.buffer, start + place) for place in (0, 2, 4)]
    # Two-digit years: 80-99 are 19xx, 00-79 are 20xx. common practice, no source
    year = digits[2] + np.where(digits[2] >= 80, 1900, 2000)
    days, real = days_since_1970(year, digits[1], digits[0])
    real &= (length == 6) & (digits[2] >= 0)
    kind = _KIND_OF_RANK[_RANK_OF_LETTER[letters(s.buffer, *s.field(which, 12))]]
    return _readings(
        s, which, 1, letters(s.buffer, *s.field(which, 2)) == ord("A"), columns, kind,
        place_field=3, day=np.where(real, days, NO_DAY),
    )  # fmt: skip


def _gga(s: Sentences) -> SentenceReadings:
    which = s.of_type("GGA")
    columns = _place(s, which, 2)
    columns["satellites"] = decimals(s.buffer, *s.field(which, 7))
    columns["hdop"] = decimals(s.buffer, *s.field(which, 8))
    columns["height_m"] = decimals(s.buffer, *s.field(which, 9))
    quality = decimals(s.buffer, *s.field(which, 6))
    known = np.isin(quality, np.arange(9))
    kind = np.where(known, np.nan_to_num(quality), int(FixKind.UNKNOWN)).astype(np.int64)
    return _readings(s, which, 1, quality > 0, columns, kind, place_field=2)


def _gns(s: Sentences) -> SentenceReadings:
    which = s.of_type("GNS")
    columns = _place(s, which, 2)
    columns["satellites"] = decimals(s.buffer, *s.field(which, 7))
    columns["hdop"] = decimals(s.buffer, *s.field(which, 8))
    columns["height_m"] = decimals(s.buffer, *s.field(which, 9))
    start, length = s.field(which, 6)
    rank = np.full(which.shape[0], _NO_RANK, dtype=np.int64)
    for j in range(_MOST_CONSTELLATIONS):
        here = _RANK_OF_LETTER[s.buffer[start + j]]
        rank = np.where(j < length, np.minimum(rank, here), rank)
    kind = _KIND_OF_RANK[rank]
    return _readings(s, which, 1, kind > 0, columns, kind, place_field=2)


def _gll(s: Sentences) -> SentenceReadings:
    which = s.of_type("GLL")
    kind = _KIND_OF_RANK[_RANK_OF_LETTER[letters(s.buffer, *s.field(which, 7))]]
    valid = letters(s.buffer, *s.field(which, 6)) == ord("A")
    return _readings(s, which, 5, valid, _place(s, which, 1), kind, place_field=1)


def _vtg(s: Sentences) -> SentenceReadings:
    which = s.of_type("VTG")
    knots = _speed(s, which, 5, MPS_PER_KNOT)
    speed_mps = np.where(np.isnan(knots), _speed(s, which, 7, MPS_PER_KMH), knots)
    columns = {"speed_mps": speed_mps, "course_deg": _course(s, which, 1)}
    mode = letters(s.buffer, *s.field(which, 9))
    return _readings(s, which, None, mode != ord("N"), columns, None)


def _gsa(s: Sentences) -> SentenceReadings:
    which = s.of_type("GSA")
    used = np.zeros(which.shape[0], dtype=np.int64)
    for number in range(3, 15):
        used += s.field(which, number)[1] > 0
    columns = {"satellites": used.astype(np.float64)}
    columns["hdop"] = decimals(s.buffer, *s.field(which, 16))
    has_fix = np.isin(letters(s.buffer, *s.field(which, 2)), np.frombuffer(b"23", dtype=np.uint8))
    return _readings(s, which, None, has_fix, columns, None)


def _gst(s: Sentences) -> SentenceReadings:
    which = s.of_type("GST")
    north_m = decimals(s.buffer, *s.field(which, 6))
    east_m = decimals(s.buffer, *s.field(which, 7))
    known = (np.abs(north_m) < _MOST_SD_M) & (np.abs(east_m) < _MOST_SD_M)
    north_m, east_m = np.where(known, north_m, np.nan), np.where(known, east_m, np.nan)
    columns = {"position_sd_m": np.sqrt((north_m**2 + east_m**2) / 2.0)}
    return _readings(s, which, 1, np.ones(which.shape[0], dtype=np.bool_), columns, None)


def _zda(s: Sentences) -> SentenceReadings:
    which = s.of_type("ZDA")
    day, month, year = (decimals(s.buffer, *s.field(which, number)) for number in (2, 3, 4))
    whole = np.isfinite(day) & np.isfinite(month) & np.isfinite(year)
    whole &= (year >= 1980) & (year <= 9999) & (np.abs(day) < 100) & (np.abs(month) < 100)
    parts = [np.where(whole, part, 0).astype(np.int64) for part in (year, month, day)]
    days, real = days_since_1970(*parts)
    return _readings(
        s, which, 1, whole, {}, None, day=np.where(whole & real, days, NO_DAY)
    )  # fmt: skip


def _readings(
    s: Sentences,
    which: IntArray,
    time_field: int | None,
    says_fix: BoolArray,
    columns: dict[str, FloatArray],
    kind: IntArray | None,
    *,
    place_field: int | None = None,
    day: IntArray | None = None,
) -> SentenceReadings:
    n = which.shape[0]
    tod_us = np.full(n, NO_TIME_OF_DAY, dtype=np.int64)
    if time_field is not None:
        tod_us = _time_of_day(s.buffer, *s.field(which, time_field))
    if place_field is None:
        has_place = np.zeros(n, dtype=np.bool_)
        letters_of_place = np.zeros(n, dtype=np.int64)
    else:
        has_place = np.isfinite(columns["latitude_deg"]) & np.isfinite(columns["longitude_deg"])
        letters_of_place = s.field(which, place_field)[1]
    return SentenceReadings(
        which=which,
        tod_us=tod_us,
        says_fix=says_fix,
        has_place=has_place,
        letters_of_place=letters_of_place,
        day=np.full(n, NO_DAY, dtype=np.int64) if day is None else day,
        fix_kind=np.full(n, int(FixKind.UNKNOWN), dtype=np.int64) if kind is None else kind,
        columns=columns,
    )


def _time_of_day(buffer: ByteArray, start: IntArray, length: IntArray) -> IntArray:
    """Return hhmmss.sss as microseconds of the day; 60 s (a leap second) rolls over."""
    value = decimals(buffer, start, length)
    # Six digits before the point: 93512 could be 9:35:12 or a line that lost a digit.
    good = (length >= 6) & (value >= 0.0) & (value < 240000.0)
    good &= (length == 6) | (buffer[start + 6] == ord("."))
    safe = np.where(good, value, 0.0)
    whole = np.floor(safe).astype(np.int64)
    minute, second = whole // 100 % 100, whole % 100
    good &= (minute < 60) & (second <= 60)
    seconds = whole // 10000 * 3600 + minute * 60 + second
    micros = np.round((safe - whole) * US_PER_S).astype(np.int64)
    return np.where(good, seconds * US_PER_S + micros, NO_TIME_OF_DAY)


def _place(s: Sentences, which: IntArray, number: int) -> dict[str, FloatArray]:
    """Return latitude and longitude of four fields ddmm.mm,N,dddmm.mm,E; NaN if not whole."""
    latitude_deg = _angle(s, which, number, b"N", b"S", 90.0)
    longitude_deg = _angle(s, which, number + 2, b"E", b"W", 180.0)
    return {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}


def _angle(
    s: Sentences, which: IntArray, number: int, plus: bytes, minus: bytes, most_deg: float
) -> FloatArray:
    value = decimals(s.buffer, *s.field(which, number))
    side = letters(s.buffer, *s.field(which, number + 1))
    degrees = np.floor(value / 100.0)
    minutes = value - 100.0 * degrees
    angle = degrees + minutes / 60.0
    good = (value >= 0.0) & (minutes < 60.0) & (angle <= most_deg)
    good &= (side == plus[0]) | (side == minus[0])
    return np.where(good, np.where(side == minus[0], -angle, angle), np.nan)


def _speed(s: Sentences, which: IntArray, number: int, mps_per_unit: float) -> FloatArray:
    value = decimals(s.buffer, *s.field(which, number))
    over_range = (value > _OVER_RANGE_LOW) & (value < _OVER_RANGE_HIGH)
    return np.where((value < 0.0) | over_range, np.nan, value * mps_per_unit)


def _course(s: Sentences, which: IntArray, number: int) -> FloatArray:
    value = decimals(s.buffer, *s.field(which, number))
    return np.where((value < 0.0) | (value > 360.0), np.nan, value % 360.0)
