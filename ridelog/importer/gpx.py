"""GPX 1.0 and 1.1: the texts of the track points become one Track."""

from datetime import datetime

import numpy as np

from ridelog.core.errors import UnreadableLogError
from ridelog.core.flags import Flag
from ridelog.core.text import about_lines, count_words, places, shown, shown_name
from ridelog.core.track import FloatArray, IntArray, Source, Track
from ridelog.importer.columns import BoolArray, decimals, text_at
from ridelog.importer.gpx_points import GpxPoints, read_points
from ridelog.importer.gpx_values import first_shown, gpx_times, read_values, without_zone
from ridelog.importer.timeline import (
    clock_set_back,
    far_from_the_rest,
    places_twice,
    start_of,
    time_flags,
    two_receivers,
)


def read_gpx(name: str, data: bytes, sha256: str, size_bytes: int) -> Track:
    """Return all track points of a GPX document, in file order, with or without a time.

    Parameters
    ----------
    name : str
        File name without folders.
    data : bytes
        The document itself, unpacked.
    sha256, size_bytes : str, int
        Of the bytes that the user gave.

    UnreadableLogError if the document holds no track point or must not be trusted (entities).

    Source
    ------
    GPX 1.1 schema, element trkpt; speeds in m/s, course in degrees from true north.
    """
    # White space before the XML declaration is an error in XML and harmless here.
    stripped = data.lstrip() if data[:1].isspace() else data
    lines_before = data[: len(data) - len(stripped)].count(b"\n")
    points = read_points(name, stripped)
    if len(points) == 0:
        raise _no_points(name, points, lines_before)
    return _track(name, points, points.line + lines_before, sha256, size_bytes)


def _no_points(name: str, points: GpxPoints, lines_before: int) -> UnreadableLogError:
    who = shown_name(name)
    if points.broken:
        return UnreadableLogError(
            f"{who}, line {points.broken_line + lines_before}: the GPX file is damaged before its "
            f"first whole track point ({points.broken}).",
            "copy the file from the logger again.",
        )
    return UnreadableLogError(
        f"{who}: the GPX file holds no track points (0 trkpt, "
        f"{count_words(points.way_points, 'way-point')}).",
        "export the recorded track of the ride, not its way-points or a planned route.",
    )


def _track(name: str, points: GpxPoints, line: IntArray, sha256: str, size_bytes: int) -> Track:
    warnings: list[str] = []
    if points.broken:
        warnings.append(
            f"The file breaks off or is damaged at line {points.broken_line} ({points.broken}); "
            f"the {count_words(len(points), 'whole point')} before it "
            f"{'was' if len(points) == 1 else 'were'} read."
        )
    version, doubt = _version(points)
    warnings += doubt
    latitude_deg, longitude_deg, doubt = _positions(points, line)
    warnings += doubt
    start_utc, time_s, doubt = _times(points, line)
    warnings += doubt
    values = read_values(points, line)
    warnings += values.warnings
    flags = time_flags(time_s)
    flags[np.isnan(latitude_deg)] |= np.uint32(Flag.NO_POSITION)
    flags[values.no_fix] |= np.uint32(Flag.NO_FIX)
    set_back, doubt = clock_set_back(time_s, line)
    warnings += doubt
    warnings += two_receivers(*places_twice(time_s, latitude_deg, longitude_deg))
    history = (
        f"Read {shown_name(name)} as {version}: {count_words(len(points), 'track point')} in "
        f"{count_words(int(np.unique(points.segment).shape[0]), 'segment')}, "
        f"{int(np.count_nonzero(np.isfinite(time_s))):,} with a usable time."
    )
    return Track(
        source=Source(shown_name(name), sha256, version, size_bytes),
        start_utc=start_utc,
        date_known=True,
        time_s=time_s,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        height_m=values.height_m,
        speed_mps=values.speed_mps,
        course_rad=values.course_rad,
        hdop=values.hdop,
        satellites=values.satellites,
        fix_kind=values.fix_kind,
        position_sd_m=np.full(len(points), np.nan),
        speed_sd_mps=np.full(len(points), np.nan),
        source_line=line,
        segment=points.segment - points.segment[0] + np.cumsum(set_back),
        flags=flags,
        history=(history,),
        warnings=tuple(warnings),
    )


def _version(points: GpxPoints) -> tuple[str, list[str]]:
    """Return the format's name; where the file does not state it, the content decides."""
    if points.version in ("1.0", "1.1"):
        return f"gpx-{points.version}", []
    for version in ("1.0", "1.1"):
        if points.namespace.rstrip("/").endswith("/GPX/" + version.replace(".", "/")):
            return f"gpx-{version}", []
    version = "gpx-1.0" if points.own_speed else "gpx-1.1"
    stated = f"GPX version {shown(points.version)}" if points.version else "no GPX version"
    return version, [f"The file states {stated}; it was read as {version} from its content."]


def _positions(points: GpxPoints, line: IntArray) -> tuple[FloatArray, FloatArray, list[str]]:
    """Return latitude and longitude, NaN where outside the schema's range, with warnings."""
    latitude_deg = decimals(*points.columns["lat"])
    longitude_deg = decimals(*points.columns["lon"])
    warnings: list[str] = []
    # The schema excludes +180, but it names a real place: the meridian of -180.
    edge = longitude_deg == 180.0
    if edge.any():
        warnings.append(
            f"Longitude +180 ({places(line[edge].tolist())}) is outside GPX; it was read as -180."
        )
        longitude_deg[edge] = -180.0
    good = (np.abs(latitude_deg) <= 90.0) & (longitude_deg >= -180.0) & (longitude_deg < 180.0)
    if not good.all():
        worst = int(np.flatnonzero(~good)[0])
        seen = " ".join(
            f"{axis} {shown(text_at(points.columns[axis], worst))}" for axis in ("lat", "lon")
        )
        warnings += about_lines(
            line[~good], "point", "without a usable position", "took no part", seen
        )
    return (np.where(good, latitude_deg, np.nan), np.where(good, longitude_deg, np.nan), warnings)


def _times(points: GpxPoints, line: IntArray) -> tuple[datetime | None, FloatArray, list[str]]:
    """Return the first usable stamp, seconds since it, and doubts."""
    stamp_us, usable, malformed = gpx_times(*points.columns["time"])
    given: BoolArray = points.columns["time"][2] > 0
    warnings: list[str] = []
    missing = int(np.count_nonzero(~given))
    if missing:
        warnings.append(f"No time is given in {missing:,} of {count_words(len(points), 'point')}.")
    first = first_shown(points.columns["time"], malformed)
    warnings += about_lines(line[malformed], "time stamp", "cannot be read", first=first)
    far = far_from_the_rest(stamp_us, usable)
    wrong = far | (given & ~usable & ~malformed)
    first = first_shown(points.columns["time"], wrong)
    what, end = "cannot belong to this ride", "and were not used"
    warnings += about_lines(line[wrong], "time stamp", what, end, first)
    usable &= ~far
    bare = without_zone(*points.columns["time"], usable)
    warnings += about_lines(line[bare], "time stamp", "without a zone", "were read as UTC")
    return *start_of(stamp_us, usable), warnings
