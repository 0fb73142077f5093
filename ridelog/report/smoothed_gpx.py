"""The smoothed motion of a ride as GPX, for other programs. It holds coordinates by its nature."""

from datetime import timedelta

import gpxpy.gpx
import numpy as np

from ridelog import __version__
from ridelog.core.geodesy import from_local
from ridelog.filtering.motion import Motion
from ridelog.present.words import clean


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
