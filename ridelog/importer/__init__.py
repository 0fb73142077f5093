"""Read a log file into a Track: one format, one file each; content decides."""

import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np

from ridelog.core.bounded_read import read_at_most
from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.text import count_words, shown_name
from ridelog.core.track import Track
from ridelog.importer.containers import MAX_LOG_BYTES, is_packed, too_large, unpack
from ridelog.importer.fit import read_fit
from ridelog.importer.gpx import read_gpx
from ridelog.importer.kinds import SEARCH_BYTES, LogKind, looks_like_log, sniff
from ridelog.importer.nmea import read_nmea
from ridelog.importer.table import read_table
from ridelog.importer.tcx import read_tcx
from ridelog.importer.ubx import read_ubx

__all__ = ["load_track", "log_from_bytes", "read_log", "require_times"]

_READERS = {
    LogKind.GPX: read_gpx,
    LogKind.NMEA: read_nmea,
    LogKind.UBX: read_ubx,
    LogKind.FIT: read_fit,
    LogKind.TCX: read_tcx,
}


def load_track(path: Path | str, *, columns: str = "") -> Track:
    """Return the ride in a log file of any kind that is read, plain, gzip or zip.

    ``columns`` says which column of a table is which, as ``table_choice.parse_columns`` reads it;
    a log that is no table needs none.

    Raises
    ------
    UnreadableLogError
        If the file cannot be read or is no log.
    NotEnoughDataError
        If fewer than two different usable times occur, so that no speed can be had.
    """
    return require_times(read_log(path, columns=columns))


def read_log(path: Path | str, *, columns: str = "") -> Track:
    """Return what a log file holds, even if its times cannot support any speed.

    UnreadableLogError if the file cannot be read, is no log, or holds no fix at all.
    """
    place = Path(path)
    try:
        size_bytes = place.stat().st_size
        if size_bytes > MAX_LOG_BYTES:
            raise too_large(place.name, size_bytes)
        data = read_at_most(place, SEARCH_BYTES)
        # What shows no log so far shows none later: a device need not be read to its end.
        if len(data) > SEARCH_BYTES and (columns or is_packed(data) or looks_like_log(data)):
            data = read_at_most(place, MAX_LOG_BYTES)
            if len(data) > MAX_LOG_BYTES:
                raise too_large(place.name, len(data))
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise UnreadableLogError(
            f"{shown_name(str(path))}: the file cannot be read ({reason}).",
            "check the path and that you may read the file.",
        ) from error
    return log_from_bytes(place.name, data, columns=columns)


def log_from_bytes(name: str, data: bytes, *, columns: str = "") -> Track:
    """Return what the bytes of a log file hold; errors as for read_log."""
    sha256 = hashlib.sha256(data).hexdigest()
    unpacked = unpack(name, data)
    kind = sniff(name, unpacked.data, told=bool(columns))
    if kind is LogKind.CSV:
        track = read_table(name, unpacked.data, sha256, len(data), columns)
    else:
        track = _READERS[kind](name, unpacked.data, sha256, len(data))
    return replace(track, warnings=(*unpacked.warnings, *track.warnings))


def require_times(track: Track) -> Track:
    """Return the track itself if at least two of its fixes have different usable times.

    NotEnoughDataError if not: speed needs time, and none is invented.
    """
    times = np.unique(track.time_s[np.isfinite(track.time_s)])
    if times.shape[0] >= 2:
        return track
    where = {"fit": "record", "ubx": "byte"}.get(track.source.format, "line")
    seen = "no usable time" if times.shape[0] == 0 else f"one time only, {track.utc_text(0.0)}"
    raise NotEnoughDataError(
        f"{track.source.file}, {where} {int(track.source_line[0])} on: the log cannot give a "
        f"speed, for it holds {count_words(len(track), 'fix', 'fixes')} with {seen}.",
        "record or export the ride with a time in every point.",
    )
