"""CSV tables with a head, as telephones and home-made loggers write them: one Track."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from ridelog.core.errors import NotEnoughDataError, RideLogError, UnreadableLogError
from ridelog.core.text import about_lines, count_words, shown, shown_name
from ridelog.core.track import FixKind, FloatArray, IntArray, Track
from ridelog.core.units import METRES_PER_FOOT, SPEED_WORDS
from ridelog.importer.bounds import LONGEST_VALUE, MAX_FIXES, too_many
from ridelog.importer.fixes import Fixes, LogFile, blank, track_of
from ridelog.importer.table_choice import Column, Questions, choose, parse_columns
from ridelog.importer.table_head import TableHead, decoded, find_head
from ridelog.importer.table_names import UNIT_OF, folded
from ridelog.importer.table_times import read_times

FORMAT = "csv"
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?")
_WITH_UNIT = re.compile(r"([+-]?[\d.,]+)\s*([^\d\s].*)")
_SIDED = re.compile(r"([NSEWO])?\s*([+-]?\d+(?:[.,]\d+)?)\s*°?\s*([NSEWO])?", re.IGNORECASE)
_DMS = re.compile(
    r"([NSEWO])?\s*(\d{1,3})\s*°\s*(\d{1,2}(?:[.,]\d+)?)\s*['′’]\s*(?:(\d{1,2}(?:[.,]\d+)?)\s*"
    r"(?:\"|″|''|”))?\s*([NSEWO])?",
    re.IGNORECASE,
)
# Cells that say that there is nothing.
_NOTHING: Final = frozenset({"", "-", "--", "nan", "null", "none", "n/a", "na"})
# So many rows show how numbers are written. Own choice.
_LOOKED_AT = 200
# A telephone's accuracy is the radius that holds 68 % of the fixes (Android's documentation of
# Location.getAccuracy, from memory); of that an axis has 1 / sqrt(-2 ln 0.32).
_RADII_PER_AXIS = 1.5096
_NUMBERS: Final = (
    "lat", "lon", "height", "speed", "course", "hdop", "satellites", "accuracy", "speed_accuracy",
)  # fmt: skip


def read_table(name: str, data: bytes, sha256: str, size_bytes: int, columns: str = "") -> Track:
    """Return the rows of a table that have a position, in file order.

    Parameters
    ----------
    name : str
        File name without folders.
    data : bytes
        The table, unpacked.
    sha256, size_bytes : str, int
        Of the bytes that the user gave.
    columns : str
        What the user says of its columns, as ``table_choice.parse_columns`` reads it.

    Raises
    ------
    AskedError
        If head and cells leave open what a column is: with the words that would answer it.
    UnreadableLogError
        If the table cannot be read.
    NotEnoughDataError
        If no row holds a position.

    Source
    ------
    RFC 4180 for quotes and separators; semicolons, tabs, bars and decimal commas are common
    practice.
    """
    told = parse_columns(columns)
    text = decoded(data)
    head = find_head(text)
    if head is None:
        raise UnreadableLogError(
            f"{shown_name(name)}: no line of the table can be its head.",
            "export it with the names of its columns in the first line.",
        )
    where = f"{shown_name(name)}, line {max(head.line, 1)}"
    questions = Questions()
    try:
        chosen, doubts = choose(head.heads, told, questions)
    except RideLogError as error:
        raise UnreadableLogError(f"{where}: {error.problem}", error.advice) from error
    _ask_for_missing(head, chosen, questions)
    questions.raise_if_any(where)
    cells, line, more = _rows(name, text, head, chosen)
    return _track(LogFile(name, sha256, size_bytes, FORMAT), where, chosen, cells, line,
                  [*doubts, *more])  # fmt: skip


def _ask_for_missing(head: TableHead, chosen: dict[str, Column], questions: Questions) -> None:
    names = ", ".join(shown(one.text) for one in head.heads[:8])
    missing = [key for key in ("lat", "lon") if key not in chosen and key not in questions.answers]
    if "time" not in chosen and "date" not in chosen and "time" not in questions.answers:
        missing.insert(0, "time")
    words = {"time": "time", "lat": "latitude", "lon": "longitude"}
    for number, key in enumerate(missing):
        which = "no column is known as" if head.line else "without a head nobody tells which is"
        told = f"{which} the {words[key]}" + (f" (the columns are {names})" if not number else "")
        questions.ask(key, told, str(number + 1) if not head.line else "NAME")


def _rows(
    name: str, text: str, head: TableHead, chosen: dict[str, Column]
) -> tuple[dict[str, list[str]], IntArray, list[str]]:
    """Return the cells of each chosen column, the line of each row, and doubts."""
    reader = csv.reader(io.StringIO(text[head.end :], newline=""), delimiter=head.delimiter)
    before = text.count("\n", 0, head.end)
    width = len(head.heads)
    wanted = [(key, column.index) for key, column in chosen.items()]
    cells: dict[str, list[str]] = {key: [] for key, _ in wanted}
    lines: list[int] = []
    doubts: list[str] = []
    longer = 0
    try:
        for row in reader:
            if not any(row) or row[0].lstrip().startswith("#"):
                continue
            longer += len(row) > width and any(row[width:])
            if len(lines) == MAX_FIXES:
                raise too_many(name, "rows", MAX_FIXES)
            lines.append(before + reader.line_num)
            for key, index in wanted:
                cells[key].append(row[index] if index < len(row) else "")
    except csv.Error as error:
        doubts.append(
            f"The table is damaged at line {before + reader.line_num} ({error}); what stands "
            "before it was read."
        )
    if lines and longer * 2 > len(lines):
        raise UnreadableLogError(
            f"{shown_name(name)}, line {lines[0]} on: the rows have more cells than the head has "
            f"names ({width}), so decimal commas may have been taken for separators.",
            "export the table with semicolons, or with decimal points.",
        )
    if not lines:
        raise NotEnoughDataError(
            f"{shown_name(name)}: the table holds a head and no row.",
            "export the recorded ride, not an empty one.",
        )
    return cells, np.asarray(lines, dtype=np.int64), doubts


def _track(
    log: LogFile,
    where: str,
    chosen: dict[str, Column],
    cells: dict[str, list[str]],
    line: IntArray,
    warnings: list[str],
) -> Track:
    questions = Questions()
    numbers: dict[str, FloatArray] = {}
    for key in _NUMBERS:
        if key not in chosen:
            numbers[key] = blank(len(line))
        elif key in ("lat", "lon"):
            numbers[key] = _angles(key, chosen[key], cells[key], questions)
        else:
            chosen[key] = _unit_in_cells(key, chosen[key], cells[key])
            numbers[key] = _values(cells[key])
        if key in chosen:
            bad = np.asarray(
                [cell.strip().lower() not in _NOTHING for cell in cells[key]]
            ) & np.isnan(numbers[key])  # fmt: skip
            warnings += about_lines(
                line[bad], "value", f"of {key} cannot be read as a number", "and were not used",
                shown(cells[key][int(bad.argmax())][:LONGEST_VALUE]) if bad.any() else "",
            )  # fmt: skip
    if "speed" in chosen and not chosen["speed"].unit:
        questions.ask("speed", f"{shown(chosen['speed'].head.text)} has no unit", "km/h")
    clock = chosen.get("time")
    if clock is None:
        clock = chosen["date"]
        times = read_times(cells["date"], None, clock, None, questions)
    else:
        day = chosen.get("date")
        dates = cells["date"] if day is not None else None
        times = read_times(cells["time"], dates, clock, day, questions)
    questions.raise_if_any(where)
    warnings += times.doubts
    unread = ~times.read & np.asarray([bool(c.strip()) for c in cells["time" if "time" in chosen
                                                                      else "date"]])  # fmt: skip
    warnings += about_lines(line[unread], "time stamp", "cannot be read")
    placed = np.isfinite(numbers["lat"]) | np.isfinite(numbers["lon"])
    if not placed.any():
        raise NotEnoughDataError(
            f"{shown_name(log.name)}: no row of the table holds a position "
            f"(0 of {count_words(len(line), 'row')}).",
            "record the ride outdoors with positioning switched on.",
        )
    speeds = _scaled(numbers["speed"], chosen.get("speed"))
    speed_sd = _scaled(numbers["speed_accuracy"], chosen.get("speed_accuracy"))
    height = numbers["height"] * _metres(chosen.get("height"))
    accuracy = numbers["accuracy"] * _metres(chosen.get("accuracy"))
    fixes = Fixes(
        stamp_us=times.stamp_us,
        has_time=times.read,
        latitude_deg=numbers["lat"],
        longitude_deg=numbers["lon"],
        height_m=height,
        speed_mps=speeds,
        course_deg=numbers["course"],
        hdop=numbers["hdop"],
        satellites=numbers["satellites"],
        position_sd_m=accuracy / _RADII_PER_AXIS,
        speed_sd_mps=speed_sd,
        fix_kind=np.full(len(line), int(FixKind.UNKNOWN), dtype=np.int64),
        segment=np.zeros(len(line), dtype=np.int64),
        line=line,
    )
    kept = Fixes(**{name: values[placed] for name, values in vars(fixes).items()})
    read_as = ", ".join(
        f"{key} from {shown(column.head.text or str(column.index + 1))}"
        + (f" in {column.unit}" if column.unit else "")
        for key, column in chosen.items()
    )
    return track_of(
        log, kept, f"from {count_words(len(line), 'row')} ({read_as})",
        warnings=tuple(warnings), date_known=times.date_known,
    )  # fmt: skip


def _scaled(values: FloatArray, column: Column | None) -> FloatArray:
    return values if column is None else values * SPEED_WORDS.get(column.unit, np.nan)


def _metres(column: Column | None) -> float:
    return METRES_PER_FOOT if column is not None and column.unit == "ft" else 1.0


def _values(cells: Sequence[str]) -> FloatArray:
    """Return cells as numbers, NaN where one is none."""
    values = np.full(len(cells), np.nan)
    for row, cell in enumerate(cells):
        plain = cell.strip()
        if plain.lower() in _NOTHING or len(plain) > LONGEST_VALUE:
            continue
        if not _NUMBER.fullmatch(plain):
            found = _WITH_UNIT.fullmatch(plain)
            plain = found[1] if found and _NUMBER.fullmatch(found[1]) else ""
        if plain:
            values[row] = float(plain.replace(",", "."))
    values[~np.isfinite(values)] = np.nan
    return values


def _unit_in_cells(key: str, column: Column, cells: Sequence[str]) -> Column:
    """Return a column with the unit that its cells carry, where its head has none."""
    if column.unit or key not in UNIT_OF:
        return column
    units = set()
    for cell in [one.strip() for one in cells if one.strip()][:_LOOKED_AT]:
        found = _WITH_UNIT.fullmatch(cell[:LONGEST_VALUE])
        units.add(UNIT_OF[key].get(folded(found[2]).strip(), "") if found else "")
    return replace(column, unit=units.pop()) if len(units) == 1 else column


def _angles(key: str, column: Column, cells: Sequence[str], questions: Questions) -> FloatArray:
    """Return cells as degrees: decimal, with a letter for the side, or minutes and seconds."""
    values = np.full(len(cells), np.nan)
    for row, cell in enumerate(cells):
        plain = cell.strip()
        if plain and len(plain) <= LONGEST_VALUE:
            values[row] = _angle(plain)
    if column.unit == "e7":
        values = values * 1e-7
    elif column.unit == "ddmm":
        degrees = np.trunc(values / 100.0)
        values = degrees + (values - 100.0 * degrees) / 60.0
    most = 90.0 if key == "lat" else 180.0
    known = values[np.isfinite(values)]
    if len(known) and np.median(np.abs(known)) > most:
        questions.ask(
            key, f"{shown(column.head.text)} holds no decimal degrees "
            f"({shown(next(c for c in cells if c.strip()))})",
            "e7" if np.median(np.abs(known)) > 1e5 else "ddmm",
        )  # fmt: skip
    return values


def _angle(plain: str) -> float:
    found = _DMS.fullmatch(plain)
    if found:
        minutes = float(found[3].replace(",", "."))
        seconds = float((found[4] or "0").replace(",", "."))
        value, side = float(found[2]) + minutes / 60.0 + seconds / 3600.0, found[1] or found[5]
    else:
        found = _SIDED.fullmatch(plain)
        if found is None:
            return float(plain) if _NUMBER.fullmatch(plain) and "," not in plain else float("nan")
        value, side = float(found[2].replace(",", ".")), found[1] or found[3]
    # West is O in French (ouest), east is O in German (Ost): a side that may be either is none.
    if side and side.upper() == "O":
        return float("nan")
    return -value if side and side.upper() in "SW" else value
