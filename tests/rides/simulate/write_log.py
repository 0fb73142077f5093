"""A simulated log as the text of a file: GPX by gpxpy, or NMEA 0183 with valid checksums."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import reduce
from operator import xor
from xml.etree import ElementTree

import gpxpy.gpx
import numpy as np

from ridelog.core.geodesy import from_local
from ridelog.core.track import FixKind, FloatArray
from ridelog.core.units import MPS_PER_KMH, MPS_PER_KNOT
from simulate.receiver import Observation

# ridelog's own namespace for what GPX 1.1 has no element for; a name, not an address to fetch.
NAMESPACE = "urn:ridelog:fix:1"

_FIX_WORDS = {FixKind.NONE: "none", FixKind.DIFFERENTIAL: "dgps", FixKind.PRECISE: "pps"}
# An invented day; nothing happened then.
START_UTC = datetime(2024, 6, 8, 9, 0, 0, tzinfo=UTC)
# Open sea in the Gulf of Guinea, 0.4 degrees from where the equator meets the zero meridian: no
# workshop, no road and nobody's home.
ORIGIN_DEG = (0.2, -0.35)


@dataclass(frozen=True)
class Place:
    """Where and when a simulated log is set.

    Attributes
    ----------
    latitude_deg, longitude_deg : of east = north = 0. [deg]
    height_m : of the ground there. [m]
    start_utc : aware time of the first fix.
    """

    latitude_deg: float = ORIGIN_DEG[0]
    longitude_deg: float = ORIGIN_DEG[1]
    height_m: float = 12.0
    start_utc: datetime = START_UTC

    def coordinates(self, observation: Observation) -> tuple[FloatArray, FloatArray]:
        """Return latitude and longitude of every fix, not rounded. [deg]"""
        return from_local(
            observation.east_m, observation.north_m, self.latitude_deg, self.longitude_deg
        )


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


def sentence(body: str) -> str:
    """Return a sentence with its checksum: exclusive or of the characters between $ and *.

    Source
    ------
    NMEA 0183, as printed on every public summary of the standard.
    """
    return f"${body}*{reduce(xor, body.encode('ascii')):02X}\r\n"


def nmea_text(
    observation: Observation,
    place: Place | None = None,
    *,
    talker: str = "GN",
    minute_decimals: int = 7,
    knot_decimals: int = 3,
    course_decimals: int = 2,
    with_gsa: bool = True,
    with_gst: bool = False,
    with_vtg: bool = False,
) -> str:
    """Return a log as one RMC and one GGA an epoch, and GSA, GST, VTG if asked.

    Parameters
    ----------
    observation : Observation
        What the receiver logged.
    place : Place, optional
        Where and when.
    talker : str
        Two letters before each sentence's name.
    minute_decimals : int
        Decimals of a minute of the coordinates: 4 are 0.19 m, 5 are 0.019 m.
    knot_decimals, course_decimals : int
        Decimals of the speed in knots and of the course in degrees.
    with_gsa, with_gst, with_vtg : bool
        GST is left out where the receiver claims no standard deviation.
    """
    place = place or Place()
    latitude, longitude = place.coordinates(observation)
    milliseconds = np.round(observation.time_s * 1000.0).astype(np.int64)
    lines: list[str] = []
    for i in range(len(observation)):
        moment = place.start_utc + timedelta(milliseconds=int(milliseconds[i]))
        clock = moment.strftime("%H%M%S.%f")[:10]
        where = ",".join(
            (
                _angle(float(latitude[i]), 2, "NS", minute_decimals),
                _angle(float(longitude[i]), 3, "EW", minute_decimals),
            )
        )
        speed, course = float(observation.speed_mps[i]), float(observation.course_rad[i])
        knots = "" if np.isnan(speed) else f"{speed / MPS_PER_KNOT:.{knot_decimals}f}"
        degrees = "" if np.isnan(course) else _degrees(course, course_decimals)
        hdop, count = float(observation.hdop[i]), int(observation.satellites[i])
        height = f"{float(observation.height_m[i]) + place.height_m:.3f}"
        quality = int(observation.fix_kind[i])
        bodies = [
            f"{talker}RMC,{clock},A,{where},{knots},{degrees},{moment:%d%m%y},,,A",
            f"{talker}GGA,{clock},{where},{quality},{count:02d},{hdop:.2f},{height},M,0.0,M,,",
        ]
        if with_gsa:
            # Twelve places for satellite numbers; position and vertical dilution go with HDOP.
            used = ",".join(f"{k + 1:02d}" if k < count else "" for k in range(12))
            dilutions = f"{1.8 * hdop:.2f},{hdop:.2f},{1.5 * hdop:.2f}"
            bodies.append(f"{talker}GSA,A,3,{used},{dilutions}")
        if with_gst and np.isfinite(observation.position_sd_m[i]):
            sd = f"{float(observation.position_sd_m[i]):.2f}"
            bodies.append(f"{talker}GST,{clock},{sd},{sd},{sd},0.0,{sd},{sd},{sd}")
        if with_vtg:
            kmh = "" if np.isnan(speed) else f"{speed / MPS_PER_KMH:.{knot_decimals}f}"
            bodies.append(f"{talker}VTG,{degrees},T,,M,{knots},N,{kmh},K,A")
        lines.extend(sentence(body) for body in bodies)
    return "".join(lines)


def _angle(value_deg: float, width: int, letters: str, decimals: int) -> str:
    """Return a coordinate as whole degrees, minutes and a letter."""
    # Whole units of the last decimal first, so that 60 minutes never appear.
    units = round(abs(value_deg) * 60.0 * 10**decimals)
    degrees, rest = divmod(units, 60 * 10**decimals)
    minutes, fraction = divmod(rest, 10**decimals)
    letter = letters[1] if value_deg < 0.0 else letters[0]
    return f"{degrees:0{width}d}{minutes:02d}.{fraction:0{decimals}d},{letter}"


def _degrees(course_rad: float, decimals: int) -> str:
    """Return a course in degrees below 360."""
    return f"{round(float(np.degrees(course_rad)), decimals) % 360.0:.{decimals}f}"
