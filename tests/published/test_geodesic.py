"""The local plane of ridelog.core.geodesy against published geodesics on the ellipsoid.

Source: Vincenty's example Flinders Peak to Buninyong (T. Vincenty, Survey Review 23 (1975), 88-93
is the method; the digits as in the tests of two open geodesy libraries).
A geodesic is followed here by its own differential equations, so neither a chord through the Earth
nor the code under test decides where it runs: only the lengths and directions of its short steps
are measured with ridelog.core.geodesy.
"""

import math

import numpy as np
import pytest

from ridelog.core.geodesy import WGS84_A_M, WGS84_F, to_local


def degrees(whole: int, minutes: int, seconds: float) -> float:
    return math.copysign(abs(whole) + minutes / 60.0 + seconds / 3600.0, whole)


FLINDERS = (degrees(-37, 57, 3.72030), degrees(144, 25, 29.52440))
BUNINYONG = (degrees(-37, 39, 10.15610), degrees(143, 55, 35.38390))
DISTANCE_M = 54972.271
FORWARD_DEG = degrees(306, 52, 5.37)
BACKWARD_DEG = degrees(127, 10, 25.07)
ARC_SECOND_DEG = 1.0 / 3600.0


def slopes(state: np.ndarray) -> np.ndarray:
    """Return d(latitude, longitude, azimuth)/ds on WGS84, textbook equations of the geodesic."""
    latitude, _, azimuth = state
    e2 = (1.0 / 298.257223563) * (2.0 - 1.0 / 298.257223563)
    w2 = 1.0 - e2 * math.sin(latitude) ** 2
    prime_vertical = 6378137.0 / math.sqrt(w2)
    meridian = prime_vertical * (1.0 - e2) / w2
    return np.array(
        [
            math.cos(azimuth) / meridian,
            math.sin(azimuth) / (prime_vertical * math.cos(latitude)),
            math.sin(azimuth) * math.tan(latitude) / prime_vertical,
        ]
    )


def geodesic(steps: int) -> np.ndarray:
    """Return points of the published geodesic, shape (steps + 1, 3), by Runge-Kutta of order 4."""
    state = np.radians([*FLINDERS, FORWARD_DEG])
    h = DISTANCE_M / steps
    path = [state]
    for _ in range(steps):
        k1 = slopes(state)
        k2 = slopes(state + h / 2.0 * k1)
        k3 = slopes(state + h / 2.0 * k2)
        k4 = slopes(state + h * k3)
        state = state + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
        path.append(state)
    points: np.ndarray = np.degrees(np.asarray(path))
    return points


def test_a21_wgs84_constants() -> None:
    # NIMA TR8350.2 (1997), defining parameters.
    assert WGS84_A_M == 6378137.0
    assert 1.0 / WGS84_F == pytest.approx(298.257223563, abs=0.5e-9)


def test_a24_the_geodesic_used_here_is_the_published_one() -> None:
    end = geodesic(200)[-1]
    # 0.005" of azimuth, half its last digit, moves the end by 1.3 mm: 0.00006" of latitude.
    assert end[0] == pytest.approx(BUNINYONG[0], abs=1e-4 * ARC_SECOND_DEG)
    assert end[1] == pytest.approx(BUNINYONG[1], abs=1e-4 * ARC_SECOND_DEG)
    assert end[2] - 180.0 == pytest.approx(BACKWARD_DEG, abs=0.005 * ARC_SECOND_DEG)


def test_a24_length_in_local_steps() -> None:
    path = geodesic(400)
    total_m = 0.0
    for before, after in zip(path[:-1], path[1:], strict=True):
        east, north = to_local(after[:1], after[1:2], float(before[0]), float(before[1]))
        total_m += math.hypot(float(east[0]), float(north[0]))
    assert total_m == pytest.approx(DISTANCE_M, abs=0.5e-3)


def test_a24_direction_of_the_first_and_last_step() -> None:
    path = geodesic(400)
    for origin, goal, published in (
        (path[0], path[1], FORWARD_DEG),
        (path[-1], path[-2], BACKWARD_DEG),
    ):
        east, north = to_local(goal[:1], goal[1:2], float(origin[0]), float(origin[1]))
        seen = math.degrees(math.atan2(float(east[0]), float(north[0]))) % 360.0
        assert seen == pytest.approx(published, abs=0.01 * ARC_SECOND_DEG)


def test_a25_a_sphere_would_be_47_metres_short() -> None:
    # Haversine with the mean radius gives 54 925.508 m. ridelog must not do that.
    path = geodesic(1)
    east, north = to_local(path[1:, 0], path[1:, 1], float(path[0, 0]), float(path[0, 1]))
    assert abs(math.hypot(float(east[0]), float(north[0])) - DISTANCE_M) < 1.0
