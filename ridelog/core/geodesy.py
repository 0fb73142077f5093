"""Latitude and longitude to local east and north metres on the WGS84 ellipsoid, and back."""

import numpy as np

from ridelog.core.track import FloatArray

# WGS84 defining parameters, NIMA TR8350.2 (1997): semi-major axis [m] and flattening, exact.
WGS84_A_M = 6378137.0
WGS84_F = 1.0 / 298.257223563
_E2 = WGS84_F * (2.0 - WGS84_F)
# Courses of one straight agree within this; the same as for opposite runs.
SAME_WAY_DEG = 20.0


def to_earth_centred(
    latitude_deg: FloatArray, longitude_deg: FloatArray, height_m: FloatArray | float = 0.0
) -> FloatArray:
    """Return earth-centred, earth-fixed coordinates, shape (n, 3). [m]

    Source
    ------
    Closed form of the ellipsoid: NIMA TR8350.2 (1997), equation 4-14.
    """
    phi = np.radians(latitude_deg)
    lam = np.radians(longitude_deg)
    prime_vertical = WGS84_A_M / np.sqrt(1.0 - _E2 * np.sin(phi) ** 2)
    return np.stack(
        [
            (prime_vertical + height_m) * np.cos(phi) * np.cos(lam),
            (prime_vertical + height_m) * np.cos(phi) * np.sin(lam),
            (prime_vertical * (1.0 - _E2) + height_m) * np.sin(phi),
        ],
        axis=-1,
    )


def to_local(
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    origin_latitude_deg: float,
    origin_longitude_deg: float,
) -> tuple[FloatArray, FloatArray]:
    """Return east and north of a local origin, in the plane tangent to the ellipsoid there. [m]

    Heights are left out: a ride's speed is wanted along the ground, and height is the worst
    coordinate of a receiver. Distances shrink by (d / 6378 km)^2 / 2: 0.01 m at 2 km, 1 m at 10 km
    from the origin, 0.01 % of speed at 90 km.

    Source
    ------
    Rotation of earth-centred differences to the local horizon; own derivation, textbook geometry.
    """
    centred = to_earth_centred(latitude_deg, longitude_deg)
    origin = to_earth_centred(np.asarray([origin_latitude_deg]), np.asarray([origin_longitude_deg]))
    difference = centred - origin
    phi, lam = np.radians(origin_latitude_deg), np.radians(origin_longitude_deg)
    east_m = -np.sin(lam) * difference[..., 0] + np.cos(lam) * difference[..., 1]
    north_m = (
        -np.sin(phi) * np.cos(lam) * difference[..., 0]
        - np.sin(phi) * np.sin(lam) * difference[..., 1]
        + np.cos(phi) * difference[..., 2]
    )
    return east_m, north_m


def from_local(
    east_m: FloatArray, north_m: FloatArray, origin_latitude_deg: float, origin_longitude_deg: float
) -> tuple[FloatArray, FloatArray]:
    """Return latitude and longitude of points east and north of a local origin. [deg]

    The inverse of ``to_local``, good to 1e-8 m within 100 km of an origin between 70 degrees
    south and north. Longitudes are not wrapped.

    Source
    ------
    Newton's iteration on ``to_local`` with the radii of curvature at the origin; own derivation.
    """
    phi = np.radians(origin_latitude_deg)
    share = 1.0 - _E2 * np.sin(phi) ** 2
    prime_vertical_m = WGS84_A_M / np.sqrt(share)
    meridian_m = prime_vertical_m * (1.0 - _E2) / share
    if np.size(east_m) == 0:
        return np.empty_like(east_m), np.empty_like(north_m)
    latitude = np.full_like(east_m, origin_latitude_deg)
    longitude = np.full_like(east_m, origin_longitude_deg)
    for _ in range(12):
        east_now, north_now = to_local(
            latitude, longitude, origin_latitude_deg, origin_longitude_deg
        )
        north_step = (north_m - north_now) / meridian_m
        latitude = latitude + np.degrees(north_step)
        east_step = (east_m - east_now) / (prime_vertical_m * np.cos(np.radians(latitude)))
        longitude = longitude + np.degrees(east_step)
        # 1e-15 rad are 6e-9 m on the ground, about the rounding of the coordinates themselves.
        if max(np.max(np.abs(north_step)), np.max(np.abs(east_step))) < 1e-15:
            break
    return latitude, longitude


def courses_apart_deg(one: float, other: float) -> float:
    """Return the angle between two courses, 0 to 180."""
    return abs((one - other + 180.0) % 360.0 - 180.0)
