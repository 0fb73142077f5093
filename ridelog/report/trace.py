"""The smoothed motion as CSV: a row for each fix read, in the order of the file."""

import numpy as np
import numpy.typing as npt

from ridelog.core.flags import flag_names
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.motion import Motion
from ridelog.present.table_letters import decimal_letters, joined_rows, word_letters

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
