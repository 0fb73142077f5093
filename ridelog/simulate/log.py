"""A simulated log as a Track in memory, with the rounding that a file would bring."""

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from ridelog.core.geodesy import from_local
from ridelog.core.track import FloatArray, Source, Track
from ridelog.simulate.receiver import Observation

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
        source_line=np.arange(1, n + 1, dtype=np.int64),
        segment=np.zeros(n, dtype=np.int64),
        flags=np.zeros(n, dtype=np.uint32),
        history=(f"simulated {n} fixes",),
    )
