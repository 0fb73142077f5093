"""Numbers of GPX points in SI units, with a sentence for each value that could not be used."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FixKind, FloatArray, IntArray
from ridelog.importer.columns import BoolArray, Column, decimals, text_at
from ridelog.importer.gpx_points import GpxPoints
from ridelog.importer.wording import counted, places, shown

# 540 km/h: no small vehicle on the ground goes so fast, so the number is not its speed. Own choice.
_MOST_SPEED_MPS = 150.0
# Element fix of the GPX 1.1 schema, in the numbers of NMEA. 2d and 3d say nothing of corrections.
_FIX_KINDS = {
    b"none": FixKind.NONE,
    b"2d": FixKind.AUTONOMOUS,
    b"3d": FixKind.AUTONOMOUS,
    b"dgps": FixKind.DIFFERENTIAL,
    b"pps": FixKind.PRECISE,
}
_LONGEST_WORD = 16


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
    fast = speed_mps > _MOST_SPEED_MPS
    if fast.any():
        first = text_at(points.columns["speed"], int(np.flatnonzero(fast)[0]))
        warnings.append(
            f"{counted(int(fast.sum()), 'reported speed')} above {_MOST_SPEED_MPS:.0f} m/s "
            f"({places(line[fast].tolist())}; first {shown(first)}) "
            f"{'was' if fast.sum() == 1 else 'were'} not used."
        )
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
    suspects = np.flatnonzero(np.isnan(values) & (column[2] > 0))
    bad = [int(row) for row in suspects if text_at(column, int(row)).strip()]
    if not bad:
        return values, []
    sentence = (
        f"{counted(len(bad), 'value')} of {name} cannot be read as a number "
        f"({places(line[bad].tolist())}; first {shown(text_at(column, bad[0]))}) and "
        f"{'was' if len(bad) == 1 else 'were'} not used."
    )
    return values, [sentence]


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
    known = {word: _FIX_KINDS.get(word.strip().lower(), FixKind.UNKNOWN) for word in set(words)}
    kinds[given] = [int(known[word]) for word in words]
    return kinds
