"""The way back from local metres to coordinates."""

import numpy as np
import pytest

from ridelog.core.geodesy import from_local, to_local


@pytest.mark.parametrize("latitude_deg", [0.0, 47.3, -60.0, 69.9])
@pytest.mark.parametrize("reach_m", [100.0, 1e5])
def test_there_and_back(latitude_deg: float, reach_m: float) -> None:
    rng = np.random.default_rng(5)
    east, north = rng.uniform(-reach_m, reach_m, (2, 500))
    latitude, longitude = from_local(east, north, latitude_deg, 10.0)
    again = to_local(latitude, longitude, latitude_deg, 10.0)
    assert np.max(np.abs(again[0] - east)) < 1e-8
    assert np.max(np.abs(again[1] - north)) < 1e-8


def test_one_minute_of_latitude_at_45_degrees() -> None:
    # A minute of latitude on WGS84 at 45 degrees is 1852.2 m: meridian radius of curvature
    # a (1 - e²) / (1 - e² sin² phi)^1.5 = 6367382 m, NIMA TR8350.2 (1997), times pi / 10800.
    latitude, _ = from_local(np.array([0.0]), np.array([1852.2]), 45.0, 0.0)
    assert latitude[0] == pytest.approx(45.0 + 1.0 / 60.0, abs=2e-6)


def test_no_points() -> None:
    latitude, longitude = from_local(np.empty(0), np.empty(0), 45.0, 0.0)
    assert latitude.size == longitude.size == 0
