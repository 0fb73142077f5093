"""Columns of fixes, from whatever format, become one Track."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.text import about_lines, count_words, shown_name
from ridelog.core.track import BoolArray, FixKind, FloatArray, IntArray, Source, Track
from ridelog.importer.gpx_values import GPS_START_US, MOST_SPEED_MPS
from ridelog.importer.timeline import (
    LATEST_US,
    clock_set_back,
    far_from_the_rest,
    places_twice,
    start_of,
    time_flags,
    two_receivers,
)

# A hundred kilometres is no place; some receivers write 4,295 km for what they do not know. Own
# choice.
_MOST_SD = 1e5
_GUESSED = (FixKind.ESTIMATED, FixKind.MANUAL, FixKind.SIMULATED)


@dataclass(frozen=True)
class Fixes:
    """What a log's fixes say, in file order; arrays of shape (n,), NaN where nothing is said.

    stamp_us, has_time : int64 microseconds since 1970 in UTC, and where they are told.
    latitude_deg, longitude_deg, height_m, speed_mps, course_deg, hdop, satellites, position_sd_m,
    speed_sd_mps, fix_kind, segment : as ``Track`` has them; wrong ones are sorted out later.
    line : where each fix stands, counted from 1.
    """

    stamp_us: IntArray
    has_time: BoolArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    height_m: FloatArray
    speed_mps: FloatArray
    course_deg: FloatArray
    hdop: FloatArray
    satellites: FloatArray
    position_sd_m: FloatArray
    speed_sd_mps: FloatArray
    fix_kind: IntArray
    segment: IntArray
    line: IntArray

    def __len__(self) -> int:
        return int(self.line.shape[0])


@dataclass(frozen=True)
class LogFile:
    """The file that is read: its name, its bytes' SHA-256 and number, and its format."""

    name: str
    sha256: str
    size_bytes: int
    format: str


def blank(count: int) -> FloatArray:
    """Return a column in which nothing is said, shape (count,)."""
    return np.full(count, np.nan)


def track_of(
    log: LogFile,
    fixes: Fixes,
    read_from: str,
    *,
    word: str = "line",
    warnings: tuple[str, ...] = (),
    void_epochs: int = 0,
    date_known: bool = True,
) -> Track:
    """Return the track of a log's fixes, with a sentence for each value that cannot be.

    Parameters
    ----------
    log : LogFile
        What was read.
    fixes : Fixes
        Its fixes, at least one.
    read_from : str
        What they were read from, such as "from 1,200 track points", for the history.
    word : str
        What ``fixes.line`` counts.
    warnings : tuple of str
        Doubts of the reader itself.
    void_epochs : int
        Epochs without a fix, which are no rows.
    date_known : bool
        Whether the stamps tell a date, not the time of day alone.
    """
    said = list(warnings)
    line = fixes.line
    latitude, longitude = fixes.latitude_deg, fixes.longitude_deg
    # +180 names a real place, the meridian of -180.
    longitude = np.where(longitude == 180.0, -180.0, longitude)
    with np.errstate(invalid="ignore"):
        there = (np.abs(latitude) <= 90.0) & (longitude >= -180.0) & (longitude < 180.0)
        fast = fixes.speed_mps > MOST_SPEED_MPS
        speed = np.where(fast | (fixes.speed_mps < 0.0), np.nan, fixes.speed_mps)
        known = (fixes.course_deg >= 0.0) & (fixes.course_deg <= 360.0)
        course = np.where(known, fixes.course_deg % 360.0, np.nan)
    said += about_lines(line[~there], "fix", "without a usable position", "took no part", word=word)
    said += about_lines(
        line[fast], "reported speed", f"above {MOST_SPEED_MPS:.0f} m/s", "were not used", word=word
    )
    usable = fixes.has_time & (fixes.stamp_us < LATEST_US)
    if date_known:
        usable &= fixes.stamp_us >= GPS_START_US
    missing = int(np.count_nonzero(~fixes.has_time))
    if missing:
        said.append(
            f"No time is given in {missing:,} of {count_words(len(fixes), 'fix', 'fixes')}."
        )
    far = far_from_the_rest(fixes.stamp_us, usable) | (fixes.has_time & ~usable)
    said += about_lines(
        line[far], "time stamp", "cannot belong to this ride", "and were not used", word=word
    )
    start_utc, time_s = start_of(np.where(usable, fixes.stamp_us, 0), usable & ~far)
    flags = time_flags(time_s)
    flags[~there] |= np.uint32(Flag.NO_POSITION)
    flags[fixes.fix_kind == FixKind.NONE] |= np.uint32(Flag.NO_FIX)
    flags[np.isin(fixes.fix_kind, _GUESSED)] |= np.uint32(Flag.DEAD_RECKONING)
    set_back, doubt = clock_set_back(time_s, line, word)
    said += doubt
    latitude, longitude = np.where(there, latitude, np.nan), np.where(there, longitude, np.nan)
    said += two_receivers(*places_twice(time_s, latitude, longitude))
    timed = int(np.count_nonzero(np.isfinite(time_s)))
    history = (
        f"Read {shown_name(log.name)} as {log.format}: {count_words(len(fixes), 'fix', 'fixes')} "
        f"{read_from}, {timed:,} with a usable time."
    )
    return Track(
        source=Source(shown_name(log.name), log.sha256, log.format, log.size_bytes),
        start_utc=start_utc,
        date_known=date_known,
        time_s=time_s,
        latitude_deg=latitude,
        longitude_deg=longitude,
        height_m=fixes.height_m,
        speed_mps=speed,
        course_rad=np.radians(course),
        hdop=_positive(fixes.hdop),
        satellites=np.where(fixes.satellites < 0.0, np.nan, fixes.satellites),
        fix_kind=fixes.fix_kind,
        position_sd_m=_positive(fixes.position_sd_m),
        speed_sd_mps=_positive(fixes.speed_sd_mps),
        source_line=line,
        segment=fixes.segment - fixes.segment[0] + np.cumsum(set_back),
        flags=flags,
        void_epochs=void_epochs,
        history=(history,),
        warnings=tuple(said),
    )


def _positive(values: FloatArray) -> FloatArray:
    """Return what can be a dilution or a standard deviation; 0 is how receivers say nothing."""
    with np.errstate(invalid="ignore"):
        return np.where((values > 0.0) & (values < _MOST_SD), values, np.nan)
