"""A simulated log as a Track in memory, with the rounding that a file would bring."""

import hashlib

import numpy as np
from simulate import Observation, Place

from ridelog.core.track import Source, Track


def to_track(
    observation: Observation,
    place: Place | None = None,
    *,
    decimals: int = 8,
    name: str = "simulated.gpx",
) -> Track:
    """Return a log as a Track, as the importer would read it from a file.

    Parameters
    ----------
    observation : Observation
        What the receiver logged.
    place : Place, optional
        Where and when.
    decimals : int
        Decimals of a degree that the log keeps: 5 are 1.1 m, 6 are 0.11 m, 7 are 0.011 m.
    name : str
        File name in the track's source; its hash is that of the arrays, there is no file.
    """
    place = place or Place()
    latitude, longitude = place.coordinates(observation)
    n = len(observation)
    digest = hashlib.sha256(name.encode())
    for array in (observation.time_s, latitude, longitude, observation.speed_mps):
        digest.update(np.ascontiguousarray(array).tobytes())
    return Track(
        source=Source(file=name, sha256=digest.hexdigest(), format="gpx-1.1", size_bytes=0),
        start_utc=place.start_utc,
        date_known=True,
        time_s=np.round(observation.time_s, 3),
        latitude_deg=np.round(latitude, decimals),
        longitude_deg=np.round(longitude, decimals),
        height_m=np.round(observation.height_m + place.height_m, 2),
        speed_mps=observation.speed_mps.copy(),
        course_rad=observation.course_rad.copy(),
        hdop=observation.hdop.copy(),
        satellites=observation.satellites.copy(),
        fix_kind=observation.fix_kind.copy(),
        position_sd_m=observation.position_sd_m.copy(),
        speed_sd_mps=observation.speed_sd_mps.copy(),
        source_line=np.arange(1, n + 1, dtype=np.int64),
        segment=np.zeros(n, dtype=np.int64),
        flags=np.zeros(n, dtype=np.uint32),
        history=(f"simulated {n} fixes",),
    )
