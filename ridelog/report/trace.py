"""The smoothed motion of a ride as CSV, a row for each fix read, and as GPX for other programs."""

from collections.abc import Sequence
from datetime import timedelta

import gpxpy.gpx
import numpy as np
import numpy.typing as npt

from ridelog import __version__
from ridelog.core.flags import flag_names
from ridelog.core.geodesy import from_local
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.motion import Motion
from ridelog.present.words import clean

COLUMNS = (
    "time_s",
    "utc",
    "east_m",
    "north_m",
    "speed_mps",
    "speed_sd_mps",
    "velocity_mps",
    "accel_mps2",
    "accel_sd_mps2",
    "yaw_rate_radps",
    "course_deg",
    "flags",
)
# Rows put into letters at once: a whole day's would take far more memory than its table.
_AT_ONCE = 20_000


def trace_csv(
    motion: Motion,
    reverse: tuple[tuple[float, float], ...] | None = None,
    undecided: tuple[tuple[float, float], ...] = (),
) -> bytes:
    """Return the motion of a ride as a CSV table in UTF-8.

    Values are empty where nothing can be said. The first line is a comment with the origin of
    ``east_m`` and ``north_m``.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    reverse : tuple of (start_s, end_s), optional
        Stretches of reverse travel, where ``velocity_mps`` is negative. None means that nobody
        looked: the direction is then unknown and ``velocity_mps`` stays empty.
    undecided : tuple of (start_s, end_s)
        Stretches that may be either: ``velocity_mps`` stays empty there.
    """
    track = motion.track
    latitude, longitude = motion.origin_deg
    signed = _signed_speed(motion, reverse, undecided)
    # Decimals: millimetres and milliseconds, a tenth of a millimetre a second; finer is noise.
    numbers = (
        (track.time_s, 3),
        (motion.east_m, 3),
        (motion.north_m, 3),
        (motion.speed_mps, 4),
        (motion.speed_sd_mps, 4),
        (np.full(len(track), np.nan) if signed is None else signed, 4),
        (motion.accel_mps2, 4),
        (motion.accel_sd_mps2, 4),
        (motion.yaw_rate_radps, 5),
        (np.degrees(motion.course_rad), 3),
    )
    kinds, flags = np.unique(motion.flags, return_inverse=True)
    names = np.array(["|".join(flag_names(int(kind))).encode("ascii") for kind in kinds])
    parts = [
        f"# origin of east_m and north_m (WGS84): latitude_deg={latitude:.9f} "
        f"longitude_deg={longitude:.9f}\n{','.join(COLUMNS)}\n".encode()
    ]
    for start in range(0, len(track), _AT_ONCE):
        rows = slice(start, start + _AT_ONCE)
        columns = [decimal_letters(values[rows], decimals) for values, decimals in numbers]
        columns.insert(1, word_letters(_utc_words(track, rows)))
        columns.append(word_letters(names[flags[rows]]))
        parts.append(joined_rows(columns))
    return b"".join(parts)


def utc_texts(track: Track) -> list[str]:
    """Return the time of each fix as ``Track.utc_text`` writes it, with milliseconds always."""
    return [word.decode("ascii") for word in _utc_words(track, slice(None)).tolist()]


def _utc_words(track: Track, rows: slice) -> npt.NDArray[np.bytes_]:
    time_s = track.time_s[rows]
    if track.start_utc is None:
        return np.zeros(len(time_s), dtype="S1")
    known = np.isfinite(time_s)
    since = np.where(known, np.round(time_s * 1000.0), 0.0).astype(np.int64)
    start = np.datetime64(track.start_utc.replace(tzinfo=None), "us").astype("datetime64[us]")
    moments = (start + since.astype("timedelta64[ms]")).astype("datetime64[ms]")
    skip = 0 if track.date_known else 10
    words = word_letters(np.datetime_as_string(moments, unit="ms").astype("S23"))[:, skip:]
    words = np.pad(words, ((0, 0), (0, 1)), constant_values=ord("Z"))
    words[~known] = 0
    return words.view(f"S{words.shape[1]}")[:, 0]


def _signed_speed(
    motion: Motion,
    reverse: tuple[tuple[float, float], ...] | None,
    undecided: tuple[tuple[float, float], ...],
) -> FloatArray | None:
    if reverse is None:
        return None
    signed = motion.speed_mps.copy()
    for spans, factor in ((reverse, -1.0), (undecided, np.nan)):
        for start_s, end_s in spans:
            inside = (motion.track.time_s >= start_s) & (motion.track.time_s <= end_s)
            signed[inside] *= factor
    return signed


Letters = npt.NDArray[np.uint8]
_ZERO, _POINT, _MINUS, _COMMA, _NEWLINE = (ord(letter) for letter in "0.-,\n")


def decimal_letters(values: FloatArray, decimals: int) -> Letters:
    """Return numbers with so many decimals, rounded to even as ``numpy.round`` does.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Below 2**53 / 10**decimals in size; what is not finite is left empty.
    decimals : int
        One or more.
    """
    known = np.isfinite(values)
    scaled = np.rint(np.where(known, values, 0.0) * 10.0**decimals).astype(np.int64)
    left = np.abs(scaled)
    digits = max(len(str(int(left.max(initial=0)))), decimals + 1)
    # Sign, digits, point: the sign needs no place of its own next to the digits.
    letters = np.zeros((len(values), digits + 2), dtype=np.uint8)
    letters[scaled < 0, 0] = _MINUS
    place = letters.shape[1] - 1
    for number in range(digits):
        if number == decimals:
            letters[:, place] = _POINT
            place -= 1
        left, digit = np.divmod(left, 10)
        # No zeros before the first digit, but always one before the point.
        written = digit + _ZERO
        if number > decimals:
            written[(left == 0) & (digit == 0)] = 0
        letters[:, place] = written
        place -= 1
    letters[~known] = 0
    return letters


def word_letters(words: npt.NDArray[np.bytes_]) -> Letters:
    """Return ASCII words, padded at their end."""
    width = max(words.dtype.itemsize, 1)
    letters = np.ascontiguousarray(words.astype(f"S{width}")).view(np.uint8)
    return letters.reshape(len(words), width)


def joined_rows(columns: Sequence[Letters]) -> bytes:
    """Return the rows of a table, columns apart by commas."""
    comma = np.full((len(columns[0]), 1), _COMMA, dtype=np.uint8)
    apart = [part for column in columns for part in (column, comma)]
    rows: Letters = np.concatenate(apart, axis=1)
    rows[:, -1] = _NEWLINE
    return bytes(rows[rows != 0])


def smoothed_gpx(motion: Motion) -> bytes:
    """Return the smoothed motion as GPX 1.0, which has elements for speed and course.

    A new segment begins after every gap; fixes of which nothing can be said are left out. Times are
    left out where the log holds no date.
    """
    gpx = gpxpy.gpx.GPX()
    gpx.creator = f"ridelog {__version__}"
    track = gpxpy.gpx.GPXTrack(name=f"smoothed {clean(motion.track.source.file)}")
    gpx.tracks.append(track)
    latitude, longitude = from_local(motion.east_m, motion.north_m, *motion.origin_deg)
    time_s = motion.track.time_s
    known = motion.used & np.isfinite(motion.speed_mps) & np.isfinite(latitude)
    start = motion.track.start_utc if motion.track.date_known else None
    for piece in motion.pieces:
        inside = known & (time_s >= piece.start_s - 1e-6) & (time_s <= piece.end_s + 1e-6)
        rows = np.flatnonzero(inside)
        rows = rows[np.argsort(time_s[rows], kind="stable")]
        segment = gpxpy.gpx.GPXTrackSegment()
        for row in rows:
            point = gpxpy.gpx.GPXTrackPoint(
                latitude=round(float(latitude[row]), 9),
                longitude=round(float(longitude[row]), 9),
                speed=round(float(motion.speed_mps[row]), 4),
            )
            if start is not None:
                point.time = start + timedelta(seconds=round(float(time_s[row]), 3))
            course = float(motion.course_rad[row])
            if np.isfinite(course):
                degrees = round(float(np.degrees(course)) % 360.0, 2)
                point.course = degrees  # type: ignore[assignment]  # gpxpy starts it as None
            segment.points.append(point)
        if segment.points:
            track.segments.append(segment)
    return str(gpx.to_xml(version="1.0", prettyprint=True)).encode("utf-8", errors="replace")
