"""FIT, the binary files of watches and handlebar computers: one Track."""

import struct
from collections.abc import Iterator
from typing import Any

import numpy as np

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.text import count_words, shown_name
from ridelog.core.track import FixKind, FloatArray, Track
from ridelog.importer.bounds import MAX_FIT_RECORDS, MAX_FIXES, too_many
from ridelog.importer.fixes import Fixes, LogFile, blank, track_of
from ridelog.importer.timeline import US_PER_S

FORMAT = "fit"
# Times count from 31 December 1989, 00:00 UTC; numbers below 0x10000000 count from the device's
# start (FIT profile, type date_time; from memory, confirmed on Garmin's decoder). [s]
_FIT_EPOCH_S, _LEAST_TIME = 631_065_600, 0x10000000
# Angles are written in 2^-31 half turns (FIT profile, semicircles; exact by definition).
_DEGREES_PER_SEMICIRCLE = 180.0 / 2**31
# Where the size of what follows stands in the header, (FIT protocol; from memory).
_SIZE_AT = 4
# Names of the profile's fields for each column, the first that is there.
_NAMES = {
    "latitude": ("position_lat",),
    "longitude": ("position_long",),
    "height": ("enhanced_altitude", "altitude"),
    "speed": ("enhanced_speed", "speed"),
    "course": ("heading",),
    "accuracy": ("gps_accuracy",),
}
_COLUMNS = ("time", *_NAMES, "number", "part")
# What the library raises on damaged files beside its own errors.
_FAULTS = (
    struct.error, ArithmeticError, AssertionError, AttributeError, LookupError, TypeError,
    ValueError,
)  # fmt: skip


def read_fit(name: str, data: bytes, sha256: str, size_bytes: int) -> Track:
    """Return the fixes of a FIT file, in file order.

    They are its records; a file with more of the finer messages of its receiver (gps_metadata, up
    to ten a second) is read from those. What stands before a damaged place is kept.

    Parameters
    ----------
    name : str
        File name without folders.
    data : bytes
        The file, unpacked.
    sha256, size_bytes : str, int
        Of the bytes that the user gave.

    Raises
    ------
    UnreadableLogError
        If the file is damaged before its first record, or holds more than ridelog reads.
    NotEnoughDataError
        If no record holds a position.

    Source
    ------
    FIT protocol and its profile (Garmin), as fitdecode reads them: positions in semicircles, speed
    in m/s, gps_accuracy in whole metres.
    """
    rows: dict[str, list[tuple[float, ...]]] = {"record": [], "gps_metadata": []}
    warnings: list[str] = []
    seen = 0
    try:
        for number, row in _frames(name, _mended(data, warnings), warnings):
            seen = number
            if row is not None:
                kind, values = row
                rows[kind].append(values)
                if len(rows[kind]) > MAX_FIXES:
                    raise too_many(name, "fixes", MAX_FIXES)
    except _DamagedError as error:
        if not any(rows.values()):
            raise UnreadableLogError(
                f"{shown_name(name)}, record {seen + 1}: the FIT file is damaged before its first "
                f"position ({error}).",
                "copy the file from the device again.",
            ) from error
        warnings.append(
            f"The file breaks off or is damaged after record {seen} ({error}); what stands before "
            "it was read."
        )
    kind = max(rows, key=lambda one: len(rows[one]))
    if not rows[kind]:
        raise NotEnoughDataError(
            f"{shown_name(name)}: the FIT file holds no position (0 of "
            f"{count_words(seen, 'record')}).",
            "record the ride outdoors with the device's positioning switched on.",
        )
    table = np.asarray(rows[kind], dtype=np.float64)
    columns = dict(zip(_COLUMNS, table.T.copy(), strict=True))
    return track_of(
        LogFile(name, sha256, size_bytes, FORMAT),
        _fixes(columns),
        f"from messages {kind}, {count_words(seen, 'record')} in all",
        word="record",
        warnings=tuple(warnings),
    )


class _DamagedError(Exception):
    """A file cannot be read further."""


def _fixes(columns: dict[str, FloatArray]) -> Fixes:
    count = len(columns["time"])
    has_time = np.isfinite(columns["time"])
    stamp_us = np.round(np.where(has_time, columns["time"], 0.0) * US_PER_S).astype(np.int64)
    return Fixes(
        stamp_us=stamp_us,
        has_time=has_time,
        latitude_deg=columns["latitude"] * _DEGREES_PER_SEMICIRCLE,
        longitude_deg=columns["longitude"] * _DEGREES_PER_SEMICIRCLE,
        height_m=columns["height"],
        speed_mps=columns["speed"],
        course_deg=columns["course"],
        hdop=blank(count),
        satellites=blank(count),
        # Not said of how many fixes it holds: taken for the distance root mean square of both axes.
        position_sd_m=columns["accuracy"] / np.sqrt(2.0),
        speed_sd_mps=blank(count),
        fix_kind=np.full(count, int(FixKind.UNKNOWN), dtype=np.int64),
        segment=columns["part"].astype(np.int64),
        line=columns["number"].astype(np.int64),
    )


def _mended(data: bytes, warnings: list[str]) -> bytes:
    """Return a file whose header tells the size of what follows.

    A device that lost its power leaves the size open.
    """
    head = data[0]
    if int.from_bytes(data[_SIZE_AT : _SIZE_AT + 4], "little") or len(data) <= head:
        return data
    warnings.append("The file was never finished by the device: it was read as far as it goes.")
    size = (len(data) - head).to_bytes(4, "little")
    # A header's own checksum of 0 says that there is none (FIT protocol, "File header").
    check = b"\0\0" if head == 14 else b""
    return data[:_SIZE_AT] + size + data[_SIZE_AT + 4 : 12] + check + data[head:]


def _frames(
    name: str, data: bytes, warnings: list[str]
) -> Iterator[tuple[int, tuple[str, tuple[float, ...]] | None]]:
    """Yield the number of each data message, and its kind and values if it is a fix."""
    # Loads slowly, and only a FIT file needs it.
    import fitdecode

    seen = 0
    unchecked = 0
    reader = fitdecode.FitReader(
        data, processor=None, check_crc=fitdecode.CrcCheck.READONLY,
        error_handling=fitdecode.ErrorHandling.IGNORE,
    )  # fmt: skip
    with reader as frames:
        try:
            for frame in frames:
                if frame.frame_type == fitdecode.FIT_FRAME_CRC:
                    unchecked += not frame.matched
                if frame.frame_type != fitdecode.FIT_FRAME_DATA:
                    continue
                seen += 1
                if seen > MAX_FIT_RECORDS:
                    raise too_many(name, "FIT records", MAX_FIT_RECORDS)
                row = _row(frame, seen, frames.fit_files_count)
                yield seen, (frame.name, row) if row is not None else None
        except (fitdecode.FitError, *_FAULTS) as error:
            raise _DamagedError(_why(error)) from error
    if unchecked:
        warnings.append("The checksum at the file's end is wrong: some of it may be damaged.")


def _why(error: Exception) -> str:
    """Return why a file cannot be read further, without what a library says for programmers."""
    return "it ends too early" if type(error).__name__ == "FitEOFError" else "its layout is broken"


def _row(frame: Any, number: int, part: int) -> tuple[float, ...] | None:
    """Return a fix's numbers in the order of _COLUMNS, None if the message is none."""
    if frame.name not in ("record", "gps_metadata"):
        return None
    values = {name: _number(frame, names) for name, names in _NAMES.items()}
    if np.isnan(values["latitude"]) or np.isnan(values["longitude"]):
        return None
    if frame.name == "gps_metadata":
        time = _number(frame, ("utc_timestamp",))
        time = _number(frame, ("timestamp",)) if np.isnan(time) else time
        milliseconds = _number(frame, ("timestamp_ms",))
        time += 0.0 if np.isnan(milliseconds) else 1e-3 * milliseconds
    else:
        time = _number(frame, ("timestamp",))
    time = time + _FIT_EPOCH_S if time >= _LEAST_TIME else float("nan")
    return (time, *values.values(), float(number), float(part))


def _number(frame: Any, names: tuple[str, ...]) -> float:
    """Return the first of some fields that is a number, NaN if none is."""
    for name in names:
        if frame.has_field(name):
            value = frame.get_value(name)
            if isinstance(value, (int, float)):
                return float(value)
    return float("nan")
