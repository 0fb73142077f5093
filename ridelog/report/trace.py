"""The smoothed motion of a ride as CSV, a row for each fix read, and as GPX for other programs."""

import shlex
from datetime import timedelta

import numpy as np

from ridelog import __version__
from ridelog.core.flags import flag_names
from ridelog.core.geodesy import from_local
from ridelog.core.spans import inside_spans
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.motion import Motion
from ridelog.present.words import clean

COLUMNS = tuple(
    (
        "time_s utc east_m north_m speed_mps speed_sd_mps velocity_mps accel_mps2 accel_sd_mps2 "
        "yaw_rate_radps course_deg flags"
    ).split()
)


def trace_csv(
    motion: Motion,
    reverse: tuple[tuple[float, float], ...] | None = None,
    undecided: tuple[tuple[float, float], ...] = (),
    columns: str = "",
) -> bytes:
    """Return the motion of a ride as a CSV table in UTF-8.

    Values are empty where nothing can be said. The first line is a comment with the origin of
    ``east_m`` and ``north_m``.

    ``reverse`` are stretches (start_s, end_s) where ``velocity_mps`` is negative; None means that
    nobody looked, and it stays empty, as it does in ``undecided`` ones, which may be either.

    ``columns`` is that of ``Settings`` with which the log was read; the comment ends with it.
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
    names = {int(kind): "|".join(flag_names(int(kind))) for kind in np.unique(motion.flags)}
    flags = [names[kind] for kind in motion.flags.tolist()]
    rows = _rows(numbers[0], _utc_texts(track), *numbers[1:], flags)
    head = (
        f"# origin of east_m and north_m (WGS84): latitude_deg={latitude:.9f} "
        f"longitude_deg={longitude:.9f}"
    )
    if columns:
        head += f"; the log was read with --columns {shlex.quote(clean(columns))}"
    return f"{head}\n{','.join(COLUMNS)}\n{rows}".encode()


def _rows(*columns: tuple[FloatArray, int] | list[str]) -> str:
    """Return rows of texts and of numbers with so many decimals, empty where not finite."""
    cells: list[list[float] | list[str]] = []
    forms = []
    for column in columns:
        if isinstance(column, list):
            cells.append(column)
            forms.append("%s")
            continue
        values, count = column
        # Adding nought takes the sign from -0.0.
        rounded = np.where(np.isfinite(values), np.round(values, count) + 0.0, np.nan)
        cells.append(rounded.tolist())
        forms.append(f"%.{count}f")
    row = ",".join(forms) + "\n"
    rows = "".join(map(row.__mod__, zip(*cells, strict=True)))
    # No text holds this word.
    return rows.replace(",nan", ",").replace("\nnan", "\n").removeprefix("nan")


def _utc_texts(track: Track) -> list[str]:
    """Return the time of each fix as ``Track.utc_text`` writes it, with milliseconds always."""
    if track.start_utc is None:
        return [""] * len(track)
    known = np.isfinite(track.time_s)
    since = np.where(known, np.round(track.time_s * 1000.0), 0.0).astype("timedelta64[ms]")
    moments = np.datetime64(track.start_utc.replace(tzinfo=None), "us") + since
    texts = np.datetime_as_string(moments.astype("datetime64[ms]"), unit="ms").tolist()
    skip = 0 if track.date_known else 10
    return [f"{each[skip:]}Z" if there else "" for each, there in zip(texts, known, strict=True)]


def _signed_speed(
    motion: Motion,
    reverse: tuple[tuple[float, float], ...] | None,
    undecided: tuple[tuple[float, float], ...],
) -> FloatArray | None:
    if reverse is None:
        return None
    signed = motion.speed_mps.copy()
    for spans, factor in ((reverse, -1.0), (undecided, np.nan)):
        signed[inside_spans(motion.track.time_s, spans)] *= factor
    return signed


def smoothed_gpx(motion: Motion) -> bytes:
    """Return the smoothed motion as GPX 1.0, which has elements for speed and course.

    A new segment begins after every gap; fixes of which nothing can be said are left out. Times are
    left out where the log holds no date.
    """
    import gpxpy.gpx

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
        segment = gpxpy.gpx.GPXTrackSegment()
        for row in motion.in_order(inside):
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
