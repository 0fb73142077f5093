"""The smoothed motion as CSV: a row for each fix read, in the order of the file."""

import numpy as np

from ridelog.filtering.motion import Motion
from ridelog.flags import flag_names
from ridelog.track import FloatArray, Track

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
# Decimals: millimetres and milliseconds, a tenth of a millimetre a second; finer is noise.
_ROW = "%.3f,%s,%.3f,%.3f,%.4f,%.4f,%s,%.4f,%.4f,%.5f,%.3f,%s\n"


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
    rows = zip(
        _rounded(track.time_s, 3),
        utc_texts(track),
        _rounded(motion.east_m, 3),
        _rounded(motion.north_m, 3),
        _rounded(motion.speed_mps, 4),
        _rounded(motion.speed_sd_mps, 4),
        [""] * len(track) if signed is None else [f"{v:.4f}" for v in _rounded(signed, 4)],
        _rounded(motion.accel_mps2, 4),
        _rounded(motion.accel_sd_mps2, 4),
        _rounded(motion.yaw_rate_radps, 5),
        _rounded(np.degrees(motion.course_rad), 3),
        _flag_texts(motion),
        strict=True,
    )
    # No name of a flag and no time holds the letters "nan": what is left of them is a missing
    # value, and a missing value is an empty cell.
    table = "".join([_ROW % row for row in rows]).replace("nan", "")
    head = (
        f"# origin of east_m and north_m (WGS84): latitude_deg={latitude:.9f} "
        f"longitude_deg={longitude:.9f}\n" + ",".join(COLUMNS) + "\n"
    )
    return (head + table).encode("utf-8")


def utc_texts(track: Track) -> list[str]:
    """Return the time of each fix as ``Track.utc_text`` writes it, with milliseconds always."""
    if track.start_utc is None:
        return [""] * len(track)
    known = np.isfinite(track.time_s)
    since = np.where(known, np.round(track.time_s * 1000.0), 0.0).astype(np.int64)
    start = np.datetime64(track.start_utc.replace(tzinfo=None), "us").astype("datetime64[us]")
    moments = (start + since.astype("timedelta64[ms]")).astype("datetime64[ms]")
    texts = np.datetime_as_string(moments, unit="ms").tolist()
    skip = 0 if track.date_known else 10
    return [
        text[skip:] + "Z" if there else ""
        for text, there in zip(texts, known.tolist(), strict=True)
    ]


def _rounded(values: FloatArray, decimals: int) -> list[float]:
    # Adding zero turns -0.0 into 0.0.
    rounded: list[float] = (np.round(values, decimals) + 0.0).tolist()
    return rounded


def _flag_texts(motion: Motion) -> list[str]:
    kinds, places = np.unique(motion.flags, return_inverse=True)
    texts = ["|".join(flag_names(int(kind))) for kind in kinds]
    return [texts[place] for place in places.tolist()]


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
