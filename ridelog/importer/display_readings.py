"""Readings of a speed display: a table with a time and what was shown."""

import csv
import io
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.text import clean, shown
from ridelog.core.track import FloatArray, Track
from ridelog.core.units import SpeedUnit

# A table typed by hand is short; more is another kind of file. Own choice: 100,000 lines and more.
_MOST_BYTES = 4 << 20
_NUMBER = re.compile(r"[+-]?\d{1,12}(?:[.,]\d{0,9})?")
_CLOCK = re.compile(r"(\d{1,2}):(\d\d):(\d\d(?:[.,]\d{1,6})?)")


@dataclass(frozen=True)
class DisplayReadings:
    """What a display showed, arrays of shape (n,) in order of time.

    time_s : since the first fix of the log. shown_mps : in SI. step_mps : to which the display
    rounds, as its digits say.
    """

    time_s: FloatArray
    shown_mps: FloatArray
    step_mps: float


def read_display_readings(place: Path, track: Track, unit: SpeedUnit) -> DisplayReadings:
    """Return the readings of a display in a CSV table with the columns ``time`` and ``shown``.

    Parameters
    ----------
    place : Path
        Columns may be parted by commas, semicolons or tabs. A time is UTC (2024-06-09T09:05:31Z,
        or 09:05:31 on the day of the ride) or seconds since the first fix.
    track : Track
        The log that the readings belong to.
    unit : SpeedUnit
        Of what was shown.

    Raises
    ------
    UnreadableLogError
        If the table cannot be read: which line, and what stands there.
    NotEnoughDataError
        If it holds no reading.
    """
    name = clean(place.name)
    try:
        data = place.read_bytes()
        if len(data) > _MOST_BYTES:
            raise UnreadableLogError(f"{name}: a table of readings is not so long.")
        text = data.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is no UTF-8 text"
        raise UnreadableLogError(
            f"{name}: the readings cannot be read ({reason}).",
            "write a table with the columns time and shown.",
        ) from error
    first = text.partition("\n")[0]
    delimiter = max(";\t,", key=first.count)
    rows = list(csv.reader(io.StringIO(text), delimiter=delimiter))
    heads = [head.strip().lower() for head in rows[0]] if rows else []
    if not {"time", "shown"} <= set(heads):
        raise UnreadableLogError(
            f"{name}, line 1: the table has no columns time and shown (it has "
            f"{', '.join(map(shown, heads[:6])) or 'none'}).",
            "head the two columns so.",
        )
    at, speed = heads.index("time"), heads.index("shown")
    times, speeds, digits = [], [], 0
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = [row[index].strip() if index < len(row) else "" for index in (at, speed)]
        if not _NUMBER.fullmatch(cells[1]):
            raise UnreadableLogError(
                f"{name}, line {number}: {shown(cells[1])} is no speed.", "write it as 34 or 34.5."
            )
        times.append(_time_s(cells[0], track, f"{name}, line {number}"))
        speeds.append(unit.to_mps(float(cells[1].replace(",", "."))))
        digits = max(digits, len(cells[1].replace(",", ".").partition(".")[2]))
    if not times:
        raise NotEnoughDataError(f"{name}: the table holds no reading.", "write one a line.")
    order = np.argsort(times, kind="stable")
    step_mps = unit.to_mps(10.0**-digits)
    return DisplayReadings(np.array(times)[order], np.array(speeds)[order], step_mps)


def _time_s(words: str, track: Track, where: str) -> float:
    """Return the time of a reading since the first fix. [s]"""
    if _NUMBER.fullmatch(words):
        return float(words.replace(",", "."))
    start = track.start_utc
    clock = _CLOCK.fullmatch(words.removesuffix("Z"))
    if start is None:
        raise UnreadableLogError(
            f"{where}: the log has no clock for {shown(words)}.", "write seconds since its start."
        )
    if clock:
        seconds = float(clock[3].replace(",", "."))
        of_day = 3600.0 * int(clock[1]) + 60.0 * int(clock[2]) + seconds
        began = 3600.0 * start.hour + 60.0 * start.minute + start.second + start.microsecond / 1e6
        # The day is the ride's; half a day before it is the next one.
        return (of_day - began + 43_200.0) % 86_400.0 - 43_200.0
    try:
        moment = datetime.fromisoformat(words)
    except ValueError as error:
        raise UnreadableLogError(
            f"{where}: {shown(words)} is no time.",
            "write 2024-06-09T09:05:31Z, 09:05:31, or seconds since the first fix.",
        ) from error
    moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return (moment - start).total_seconds()
