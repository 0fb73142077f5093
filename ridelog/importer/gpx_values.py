"""Time stamps and numbers of GPX points, with a sentence for each value that could not be used."""

import re
from dataclasses import dataclass

import numpy as np

from ridelog.core.text import about_lines, shown
from ridelog.core.track import FixKind, FloatArray, IntArray
from ridelog.importer.bounds import LONGEST_VALUE
from ridelog.importer.columns import (
    BoolArray,
    ByteArray,
    Column,
    days_since_1970,
    decimals,
    text_at,
    two_digits,
)
from ridelog.importer.gpx_points import GpxPoints
from ridelog.importer.timeline import LATEST_US, US_PER_S

# 540 km/h: no small vehicle on the ground goes so fast, so the number is not its speed. Own choice.
MOST_SPEED_MPS = 150.0
# Element fix of the GPX 1.1 schema, in the numbers of NMEA. 2d and 3d say nothing of corrections.
_FIX_KINDS = {
    b"none": FixKind.NONE,
    b"2d": FixKind.AUTONOMOUS,
    b"3d": FixKind.AUTONOMOUS,
    b"dgps": FixKind.DIFFERENTIAL,
    b"pps": FixKind.PRECISE,
}
_LONGEST_WORD = 16
# GPS time starts on 6 January 1980 (IS-GPS-200, section 3.3.4): no receiver dates a fix earlier.
GPS_START_US = 3657 * 86400 * US_PER_S
_DAY_US = 86400 * US_PER_S
_DATE_LETTERS = 19
# Separators of YYYY-MM-DDThh:mm:ss and their places (RFC 3339, 5.6).
_SEPARATORS = ((4, b"-"), (7, b"-"), (10, b"T"), (13, b":"), (16, b":"))
# Places of a second read all at once: own choice, one beyond a microsecond, which is what is kept.
# Stamps with more are read one by one.
_LONGEST_FRACTION = 7
_STAMP = re.compile(
    rb"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d:\d\d)(\.\d*)?(?:[Zz]|([+-])(\d\d):?(\d\d))?"
)


@dataclass(frozen=True)
class GpxValues:
    """What the points say beside position and time; arrays of shape (n,), NaN where not given.

    ``no_fix`` is where the receiver had no fix by its own account; ``warnings`` are sentences.
    """

    height_m: FloatArray
    speed_mps: FloatArray
    course_rad: FloatArray
    hdop: FloatArray
    satellites: FloatArray
    fix_kind: IntArray
    no_fix: BoolArray
    warnings: tuple[str, ...]


def read_values(points: GpxPoints, line: IntArray) -> GpxValues:
    """Return the numbers of all points.

    Parameters
    ----------
    points : GpxPoints
        The points as text.
    line : ndarray of int64, shape (n,)
        Line of each point in the file.

    Source
    ------
    GPX 1.1 schema: ele in m, sat a non-negative integer, fix one of five words; speed in m/s and
    course in degrees from true north as in GPX 1.0.
    """
    warnings: list[str] = []
    numbers: dict[str, FloatArray] = {}
    for name in ("ele", "speed", "course", "hdop", "sat"):
        numbers[name], doubt = _numbers(name, points.columns[name], line)
        warnings += doubt
    speed_mps, course_deg = numbers["speed"], numbers["course"]
    fast = speed_mps > MOST_SPEED_MPS
    what, first = f"above {MOST_SPEED_MPS:.0f} m/s", first_shown(points.columns["speed"], fast)
    warnings += about_lines(line[fast], "reported speed", what, "were not used", first)
    # Loggers write -1 for "unknown".
    speed_mps[fast | (speed_mps < 0.0)] = np.nan
    course_deg[(course_deg < 0.0) | (course_deg > 360.0)] = np.nan
    satellites = np.where(numbers["sat"] < 0.0, np.nan, numbers["sat"])
    kind = _fix_kinds(points.columns["fix"])
    return GpxValues(
        height_m=numbers["ele"],
        speed_mps=speed_mps,
        course_rad=np.radians(course_deg % 360.0),
        hdop=np.where(numbers["hdop"] < 0.0, np.nan, numbers["hdop"]),
        satellites=satellites,
        fix_kind=kind,
        no_fix=(kind == FixKind.NONE) | _without_satellites(satellites, kind),
        warnings=tuple(warnings),
    )


def _numbers(name: str, column: Column, line: IntArray) -> tuple[FloatArray, list[str]]:
    """Return one column of numbers, and a sentence if a text in it is none."""
    values = decimals(*column)
    bad = np.isnan(values) & (column[2] > 0)
    for row in np.flatnonzero(bad):
        bad[row] = bool(text_at(column, int(row)).strip())
    what, first = f"of {name} cannot be read as a number", first_shown(column, bad)
    return values, about_lines(line[bad], "value", what, "and were not used", first)


def first_shown(column: Column, chosen: BoolArray) -> str:
    """Return the first of the chosen texts as a sentence shows it, nothing if there is none."""
    return shown(text_at(column, int(chosen.argmax()))) if chosen.any() else ""


def _without_satellites(satellites: FloatArray, kind: IntArray) -> BoolArray:
    """Return which points had no satellite, in logs that do count satellites.

    Some loggers repeat the last position with <sat>0</sat> instead of <fix>none</fix>. A logger
    that writes 0 in every point does not count, and a stated kind of fix outweighs the count.
    """
    none: BoolArray = (satellites == 0.0) & (kind == FixKind.UNKNOWN)
    return none if (satellites > 0.0).any() else np.zeros_like(none)


def _fix_kinds(column: Column) -> IntArray:
    """Return the kind of fix of each point; unknown if left out or none of the schema's words."""
    buffer, start, length = column
    kinds = np.full(start.shape[0], int(FixKind.UNKNOWN), dtype=np.int64)
    given = np.flatnonzero((length > 0) & (length <= _LONGEST_WORD))
    letter = np.arange(_LONGEST_WORD)
    texts = buffer[start[given, np.newaxis] + letter]
    texts[letter >= length[given, np.newaxis]] = 0
    words = texts.view(f"S{_LONGEST_WORD}")[:, 0].tolist()
    known = {
        word: int(_FIX_KINDS.get(word.strip().lower(), FixKind.UNKNOWN)) for word in set(words)
    }
    kinds[given] = [known[word] for word in words]
    return kinds


def gpx_times(
    buffer: ByteArray, start: IntArray, length: IntArray
) -> tuple[IntArray, BoolArray, BoolArray]:
    """Return a column of time stamps in UTC.

    Parameters
    ----------
    buffer : ndarray of uint8
        The log, padded.
    start, length : ndarray, shape (n,)
        Place and number of letters of each stamp; length 0 is a missing stamp.

    Returns
    -------
    stamp_us : ndarray of int64
        Microseconds since 1970; 0 where not usable. A stamp without a zone is UTC.
    usable : ndarray of bool
        Whether the stamp is a real moment between the start of GPS time and 2200.
    malformed : ndarray of bool
        Whether there is a text that is no time stamp at all.

    Source
    ------
    GPX 1.1 schema, element time: xsd:dateTime in UTC, fractions and zones as XML Schema allows.
    """
    stamp_us, read = _regular(buffer, start, length)
    malformed = np.zeros(start.shape[0], dtype=np.bool_)
    # Zone offsets, blanks and anything unusual: one by one, from the same bytes.
    for i in np.flatnonzero(~read & (length > 0)):
        text = text_at((buffer, start, length), int(i)).strip()
        one = _single(text)
        if one is None:
            malformed[i] = bool(text)
        else:
            stamp_us[i], read[i] = one, True
    usable = read & (stamp_us >= GPS_START_US) & (stamp_us < LATEST_US)
    return np.where(usable, stamp_us, 0), usable, malformed


def without_zone(
    buffer: ByteArray, start: IntArray, length: IntArray, usable: BoolArray
) -> BoolArray:
    """Return which of the usable stamps end in neither Z nor an offset from UTC.

    Parameters
    ----------
    buffer, start, length, usable
        As given to and returned by gpx_times; arrays of shape (n,).
    """
    bare = np.zeros(start.shape[0], dtype=np.bool_)
    zulu = buffer[np.maximum(start + length - 1, 0)] == ord("Z")
    for i in np.flatnonzero(usable & ~zulu):
        text = text_at((buffer, start, length), int(i)).strip()
        # After the date "-" and "+" can only begin an offset.
        clock = text[10:]
        bare[i] = not (clock[-1:] in b"Zz" or b"+" in clock or b"-" in clock)
    return bare


def _regular(buffer: ByteArray, start: IntArray, length: IntArray) -> tuple[IntArray, BoolArray]:
    """Return the stamps of the plain form YYYY-MM-DDThh:mm:ss(.f)(Z), and which have it."""
    regular = (length >= _DATE_LETTERS) & (length <= _DATE_LETTERS + _LONGEST_FRACTION + 2)
    for place, separator in _SEPARATORS:
        regular &= buffer[start + place] == separator[0]
    century, year = two_digits(buffer, start), two_digits(buffer, start + 2)
    month, day = two_digits(buffer, start + 5), two_digits(buffer, start + 8)
    hour, minute = two_digits(buffer, start + 11), two_digits(buffer, start + 14)
    second = two_digits(buffer, start + 17)
    regular &= (century >= 0) & (year >= 0) & (hour >= 0) & (hour < 24)
    # A leap second (60) is taken as the first of the next minute.
    regular &= (minute >= 0) & (minute < 60) & (second >= 0) & (second <= 60)
    days, real = days_since_1970(100 * century + year, month, day)
    regular &= real
    micros = np.zeros(start.shape[0], dtype=np.int64)
    end = start + length
    zulu = buffer[end - 1] == ord("Z")
    end = np.where(zulu & (length > 0), end - 1, end)
    has_fraction = regular & (end > start + _DATE_LETTERS)
    regular &= ~has_fraction | (buffer[start + _DATE_LETTERS] == ord("."))
    worth = np.int64(US_PER_S)
    for j in range(1, _LONGEST_FRACTION + 1):
        here = has_fraction & (start + _DATE_LETTERS + j < end)
        if not here.any():
            break
        value = buffer[np.where(here, start + _DATE_LETTERS + j, 0)] - np.uint8(48)
        regular &= ~here | (value < 10)
        worth = worth // 10
        micros += np.where(here & (value < 10), value * worth, 0)
    # More than seven places, or something after the seconds that is no fraction.
    regular &= end - start <= _DATE_LETTERS + _LONGEST_FRACTION + 1
    stamp_us = days * _DAY_US + (hour * 3600 + minute * 60 + second) * US_PER_S + micros
    return np.where(regular, stamp_us, 0), regular


def _single(text: bytes) -> int | None:
    """Return one stamp in microseconds since 1970, None if it is no time."""
    match = _STAMP.fullmatch(text) if len(text) <= LONGEST_VALUE else None
    if match is None:
        return None
    date, clock, fraction, sign, zone_hours, zone_minutes = match.groups()
    year, month, day = (np.asarray([int(part)]) for part in date.split(b"-"))
    days, real = days_since_1970(year, month, day)
    hour, minute, second = (int(part) for part in clock.split(b":"))
    zone_s = int(zone_hours or 0) * 3600 + int(zone_minutes or 0) * 60
    if not real[0] or hour > 23 or minute > 59 or second > 60 or zone_s > 14 * 3600:
        return None
    micros = int((fraction or b".")[1:7].ljust(6, b"0"))
    shift_s = -zone_s if sign == b"-" else zone_s
    seconds = int(days[0]) * 86400 + hour * 3600 + minute * 60 + second - shift_s
    return seconds * US_PER_S + micros
