"""Times of a table, written in any of the usual ways, as microseconds since 1970."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo

import numpy as np

from ridelog.core.text import shown
from ridelog.core.track import BoolArray, IntArray
from ridelog.importer.bounds import LONGEST_VALUE
from ridelog.importer.table_choice import Column, Questions, zone_of
from ridelog.importer.timeline import US_PER_S

_NUMBER = re.compile(r"([+-]?)(\d{1,19})(?:[.,](\d{1,12}))?")
_DATE = re.compile(r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})")
_CLOCK = re.compile(
    r"(\d{1,2}):(\d\d)(?::(\d\d)(?:[.,:](\d{1,9}))?)?\s*([ap])?\.?(?:m\.?)?\s*"
    r"(z|utc|gmt|[+-]\d\d:?(?:\d\d)?)?(?:\s*\[[\w/+-]*\])?",
    re.IGNORECASE,
)
# Microseconds in the unit in which a number counts; exact.
_US_PER = {"s": US_PER_S, "ms": 1000, "us": 1}
# Between these a number of seconds since 1970 is a moment from 2001 to 2128, and no time since a
# start; the same with three, six and nine digits more. Own choice.
_LEAST_EPOCH, _MOST_EPOCH = 10**9, 5 * 10**9
_EPOCH_UNITS = ("s", "ms", "us", "ns")
_DAY = timedelta(days=1)
_1970 = datetime(1970, 1, 1)
# So far back in a time of day that a day has ended. Own choice. [microseconds]
_MIDNIGHT_US = 12 * 3600 * US_PER_S


@dataclass(frozen=True)
class Times:
    """Times of all rows, shape (n,): microseconds since 1970, and where they can be read.

    date_known : whether they are moments, not times of day or since a start.
    doubts : sentences about what was taken for granted.
    """

    stamp_us: IntArray
    read: BoolArray
    date_known: bool
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Stamp:
    """One time as it is written: date in the order of its text, time of day, zone."""

    date: tuple[int, int, int] | None
    separator: str
    of_day_us: int | None
    offset: timedelta | None


def read_times(
    times: Sequence[str],
    dates: Sequence[str] | None,
    column: Column,
    date_column: Column | None,
    questions: Questions,
) -> Times:
    """Return the times of a table.

    Parameters
    ----------
    times, dates : sequence of str
        Cells of the column of times and, if there is one, of that of dates.
    column, date_column : Column
        How they are read.
    questions : Questions
        Takes what the cells do not tell: unit, zone, order of day and month.
    """
    cells = [cell.strip() if len(cell) <= LONGEST_VALUE else "" for cell in times]
    given = [cell for cell in cells if cell]
    if given and all(_NUMBER.fullmatch(cell) for cell in given[:_LOOKED_AT]):
        return _numbers(cells, column, questions)
    if dates is not None:
        days = [cell.strip() if len(cell) <= LONGEST_VALUE else "" for cell in dates]
        cells = [
            cell if _DATE.match(cell) else f"{day} {cell}" if day and cell else ""
            for day, cell in zip(days, cells, strict=True)
        ]
    stamps = [_stamp(cell) for cell in cells]
    order = column.day_order or (date_column.day_order if date_column else "")
    return _stamped(cells, stamps, order, column, questions)


# So many cells show how all are written. Own choice.
_LOOKED_AT = 200


def _numbers(cells: Sequence[str], column: Column, questions: Questions) -> Times:
    """Return times that are numbers: since 1970, or since the start."""
    name = shown(column.head.text)
    matches = [_NUMBER.fullmatch(cell) for cell in cells]
    whole = sorted(int(match[2]) for match in matches if match)
    middle = whole[len(whole) // 2] if whole else 0
    scale = next(
        (
            unit
            for power, unit in enumerate(_EPOCH_UNITS)
            if _LEAST_EPOCH * 1000**power <= middle < _MOST_EPOCH * 1000**power
        ),
        "",
    )
    is_epoch = bool(scale) and not column.head.since_start and column.unit in ("", scale)
    unit = scale if is_epoch else column.unit
    if not unit:
        questions.ask(
            "time", f"the numbers in {name} may be seconds, milliseconds or another time",
            f"{column.head.text or column.index + 1}:s",
        )  # fmt: skip
        unit = "s"
    stamp = np.zeros(len(cells), dtype=np.int64)
    read = np.zeros(len(cells), dtype=np.bool_)
    for row, match in enumerate(matches):
        if match is not None:
            value = _micros(match, unit)
            if value is not None:
                stamp[row], read[row] = value, True
    doubt = "The times of the table count from its start: neither date nor time of day is known."
    return Times(stamp, read, is_epoch, () if is_epoch else (doubt,))


def _micros(match: re.Match[str], unit: str) -> int | None:
    """Return a number of some unit in microseconds, exactly; None if it is beyond any time."""
    digits = (match[3] or "").ljust(12, "0")
    # In units of 1e-12.
    value = int(match[2]) * 10**12 + int(digits)
    per = 10**3 if unit == "ns" else 1
    micros = round(value * _US_PER.get(unit, 1) / per / 10**12)
    if abs(micros) >= 2**62:
        return None
    return -micros if match[1] == "-" else micros


def _stamp(cell: str) -> _Stamp | None:
    """Return a time as it is written, None if it is none."""
    date: tuple[int, int, int] | None = None
    separator = ""
    found = _DATE.match(cell)
    rest = cell
    if found:
        date, separator = (int(found[1]), int(found[3]), int(found[4])), found[2]
        if len(found[1]) == 4:
            separator = "y"
        rest = cell[found.end() :].lstrip("Tt ,;_")
        if not rest:
            return _Stamp(date, separator, None, None)
    clock = _CLOCK.fullmatch(rest.strip())
    if clock is None:
        return None
    hour, minute, second = int(clock[1]), int(clock[2]), int(clock[3] or 0)
    if clock[5]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if clock[5] in "pP" else 0)
    # A leap second (60) is taken as the first of the next minute.
    if hour > 23 or minute > 59 or second > 60:
        return None
    of_day = ((hour * 60 + minute) * 60 + second) * US_PER_S + int(
        (clock[4] or "").ljust(6, "0")[:6]
    )
    return _Stamp(date, separator, of_day, _offset(clock[6]))


def _offset(words: str | None) -> timedelta | None:
    if not words:
        return None
    if words.lower() in ("z", "utc", "gmt"):
        return timedelta(0)
    digits = words[1:].replace(":", "").ljust(4, "0")
    span = timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    return -span if words[0] == "-" else span


def _stamped(
    cells: Sequence[str],
    stamps: Sequence[_Stamp | None],
    order: str,
    column: Column,
    questions: Questions,
) -> Times:
    """Return times that are written with colons, with or without a date."""
    name = shown(column.head.text)
    known = [one for one in stamps if one is not None and one.of_day_us is not None]
    read = np.zeros(len(cells), dtype=np.bool_)
    stamp = np.zeros(len(cells), dtype=np.int64)
    if not known:
        first = next((cell for cell in cells if cell), "")
        questions.ask("time", f"{name} holds no time that ridelog reads ({shown(first)})", "...")
        return Times(stamp, read, False)
    order = order or _day_order(known)
    if not order:
        example = next(one for one in known if one.date)
        assert example.date is not None
        questions.ask(
            "time", f"the dates in {name} may begin with the day or with the month",
            f"{column.head.text or column.index + 1}:d/m/y",
        )  # fmt: skip
        order = "d/m/y"
    zone = _zone(column)
    if zone is None and any(one.offset is None for one in known):
        local = " (it says local)" if column.head.zone == "local" else ""
        before = questions.answers.get("time", column.head.text or str(column.index + 1))
        questions.ask(
            "time", f"the times in {name} have no zone{local}",
            f"{before}:{'Europe/Berlin' if local else 'UTC'}",
        )  # fmt: skip
        zone = UTC
    dated = sum(one.date is not None for one in known) * 2 > len(known)
    days = 0
    last_us: int | None = None
    for row, one in enumerate(stamps):
        if one is None or one.of_day_us is None or (one.date is None) == dated:
            continue
        if dated:
            assert one.date is not None
            moment = _moment(one.date, one.separator, order, one.of_day_us)
            if moment is None:
                continue
        else:
            # A time of day that falls far back has passed midnight.
            if last_us is not None and last_us - one.of_day_us > _MIDNIGHT_US:
                days += 1
            last_us = one.of_day_us
            moment = _1970 + days * _DAY + timedelta(microseconds=one.of_day_us)
        if one.offset is not None:
            moment -= one.offset
        elif zone is not None:
            offset = moment.replace(tzinfo=zone).utcoffset() or timedelta(0)
            moment -= offset
        span = moment - _1970
        stamp[row] = (span.days * 86400 + span.seconds) * US_PER_S + span.microseconds
        read[row] = True
    doubts = () if dated else ("The times of the table have no date.",)
    return Times(stamp, read, dated, doubts)


def _zone(column: Column) -> tzinfo | None:
    words = column.zone
    if words == "UTC" or (not words and column.head.zone == "utc"):
        return UTC
    if words[:1] in ("+", "-"):
        return timezone(_offset(words) or timedelta(0))
    return zone_of(words) if words else None


def _day_order(stamps: Sequence[_Stamp]) -> str:
    """Return the order of dates, "" if it is open: by four digits of the year, dots, or proof."""
    dates = [one for one in stamps if one.date is not None]
    if not dates or all(one.separator == "y" for one in dates):
        return "y/m/d"
    # With dots the day comes first. common practice, no source
    if all(one.separator == "." for one in dates):
        return "d/m/y"
    firsts = max(one.date[0] for one in dates if one.date)
    seconds = max(one.date[1] for one in dates if one.date)
    return "d/m/y" if firsts > 12 >= seconds else "m/d/y" if seconds > 12 >= firsts else ""


def _moment(
    date: tuple[int, int, int], separator: str, order: str, of_day_us: int
) -> datetime | None:
    if separator == "y" or order == "y/m/d":
        year, month, day = date
    elif order == "m/d/y":
        month, day, year = date
    else:
        day, month, year = date
    # Two-digit years: 80-99 are 19xx, 00-79 are 20xx. common practice, no source
    year += (1900 if year >= 80 else 2000) if year < 100 else 0
    try:
        # Years at the edges of the calendar would leave it by a zone.
        return datetime(min(max(year, 2), 9998), month, day) + timedelta(microseconds=of_day_us)
    except ValueError:
        return None
