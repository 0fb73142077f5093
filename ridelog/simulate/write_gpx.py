"""A simulated log as GPX, written with gpxpy."""

from datetime import timedelta
from xml.etree import ElementTree

import gpxpy.gpx
import numpy as np

from ridelog.core.track import FixKind
from ridelog.simulate.log import Place
from ridelog.simulate.receiver import Observation

# ridelog's own namespace for what GPX 1.1 has no element for; a name, not an address to fetch.
NAMESPACE = "urn:ridelog:fix:1"

_FIX_WORDS = {FixKind.NONE: "none", FixKind.DIFFERENTIAL: "dgps", FixKind.PRECISE: "pps"}


def gpx_text(
    observation: Observation,
    place: Place | None = None,
    *,
    version: str = "1.1",
    decimals: int = 8,
    speed_decimals: int = 3,
    name: str = "",
    description: str = "",
) -> str:
    """Return a log as GPX; missing values are left out.

    Version 1.0 carries speed and course in its own elements, version 1.1 in an extension of each
    point in the namespace NAMESPACE (speed in m/s, course in degrees from true north).

    Raises
    ------
    ValueError
        For a version other than 1.0 and 1.1.

    Source
    ------
    Topografix, GPX 1.0 (2002) and GPX 1.1 (2004) schemas.
    """
    if version not in ("1.0", "1.1"):
        raise ValueError(f"GPX version {version!r} is not 1.0 or 1.1")
    place = place or Place()
    latitude, longitude = place.coordinates(observation)
    gpx = gpxpy.gpx.GPX()
    gpx.creator = "ridelog.simulate"
    gpx.name, gpx.description = name or None, description or None
    if version == "1.1":
        gpx.nsmap["ride"] = NAMESPACE
    track = gpxpy.gpx.GPXTrack(name=name or None)
    segment = gpxpy.gpx.GPXTrackSegment()
    gpx.tracks.append(track)
    track.segments.append(segment)
    milliseconds = np.round(observation.time_s * 1000.0).astype(np.int64)
    for i in range(len(observation)):
        point = gpxpy.gpx.GPXTrackPoint(
            latitude=round(float(latitude[i]), decimals),
            longitude=round(float(longitude[i]), decimals),
            elevation=round(float(observation.height_m[i]) + place.height_m, 2),
            time=place.start_utc + timedelta(milliseconds=int(milliseconds[i])),
            horizontal_dilution=float(observation.hdop[i]),
        )
        point.satellites = int(observation.satellites[i])
        point.type_of_gpx_fix = _FIX_WORDS.get(FixKind(int(observation.fix_kind[i])), "3d")
        speed, course = float(observation.speed_mps[i]), float(observation.course_rad[i])
        values = []
        if np.isfinite(speed):
            values.append(("speed", f"{speed:.{speed_decimals}f}"))
        if np.isfinite(course):
            # Rounded up to 360.00 it would leave the range 0 <= course < 360 of the schema.
            degrees = round(float(np.degrees(course)), 2) % 360.0
            values.append(("course", f"{degrees:.2f}"))
        for key, text in values:
            if version == "1.0":
                setattr(point, key, float(text))
            else:
                element = ElementTree.Element(f"{{{NAMESPACE}}}{key}")
                element.text = text
                point.extensions.append(element)
        segment.points.append(point)
    return str(gpx.to_xml(version=version, prettyprint=False))
