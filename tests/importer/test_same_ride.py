"""One ride in every format: the same fixes to each format's digits, and the same figures."""

from functools import cache

import numpy as np
import pytest
from random_rides import out_and_back
from receiver_presets import preset
from simulate import Observation, gpx_text, nmea_text
from simulate.write_others import csv_text, fit_bytes, tcx_text, ubx_bytes

from ridelog.analysis.top_speed.measure import TopSpeed, measure_top_speed
from ridelog.core.track import Track
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import log_from_bytes

FORMATS = ("gpx-1.1", "nmea-0183", "ubx", "fit", "tcx", "csv")
WITH_COURSE = ("gpx-1.1", "nmea-0183", "ubx", "csv")


@cache
def observed() -> Observation:
    """Return a ride logged once a second: FIT has no part of a second."""
    rng = np.random.default_rng(4)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=6.0, passes=2)
    receiver = preset("clean", 1.0, rng)
    object.__setattr__(receiver, "claims_sd", 0.7)
    object.__setattr__(receiver, "claims_speed_sd", 0.7)
    object.__setattr__(receiver, "stamp_jitter_s", 0.0)
    return receiver.observe(ride.truth, rng)


@cache
def read(name: str) -> Track:
    one = observed()
    data = {
        "gpx-1.1": lambda: gpx_text(one).encode(),
        "nmea-0183": lambda: nmea_text(one, with_gst=True).encode(),
        "ubx": lambda: ubx_bytes(one),
        "fit": lambda: fit_bytes(one),
        "tcx": lambda: tcx_text(one).encode(),
        "csv": lambda: csv_text(one).encode(),
    }[name]()
    track = log_from_bytes(f"ride.{name}", data)
    assert track.source.format == name
    return track


@cache
def top_speed(name: str) -> TopSpeed:
    return measure_top_speed(estimate_motion(read(name)))


@pytest.mark.parametrize("name", FORMATS[1:])
def test_the_same_fixes_to_the_last_digit(name: str) -> None:
    track, gpx = read(name), read("gpx-1.1")
    assert track.start_utc == gpx.start_utc
    assert np.array_equal(track.time_s, gpx.time_s)
    # Half a unit of the coarser of the two: 1e-8 and 1e-7 degree, 1e-7 minute, a semicircle.
    step_deg = {"ubx": 1e-7, "fit": 180.0 / 2**31}.get(name, 1e-8)
    assert track.latitude_deg == pytest.approx(gpx.latitude_deg, abs=0.51 * (step_deg + 1e-8))
    assert track.longitude_deg == pytest.approx(gpx.longitude_deg, abs=0.51 * (step_deg + 1e-8))
    # GPX, TCX, UBX and FIT write 1 mm/s, the table 1e-4 km/h, NMEA 1e-3 kn.
    assert track.speed_mps == pytest.approx(gpx.speed_mps, abs=1.01e-3)
    if name in WITH_COURSE:
        moving = np.isfinite(gpx.course_rad)
        assert np.degrees(track.course_rad[moving]) == pytest.approx(
            np.degrees(gpx.course_rad[moving]), abs=0.011
        )
    else:
        assert np.isnan(track.course_rad).all()


@pytest.mark.parametrize(
    ("name", "metres", "mps"),
    [("nmea-0183", 0.005, None), ("ubx", 0.0005, 0.0005), ("csv", 0.0005, 0.0005),
     ("fit", 0.5, None)],
)  # fmt: skip
def test_accuracies_come_through(name: str, metres: float, mps: float | None) -> None:
    track, one = read(name), observed()
    assert track.position_sd_m == pytest.approx(one.position_sd_m, abs=metres)
    if mps is None:
        assert np.isnan(track.speed_sd_mps).all()
    else:
        assert track.speed_sd_mps == pytest.approx(one.speed_sd_mps, abs=mps)


@pytest.mark.parametrize("name", FORMATS[1:])
def test_the_same_figures(name: str) -> None:
    for figure in ("best_1s_mps", "best_5s_mps"):
        there, here = getattr(top_speed("gpx-1.1"), figure), getattr(top_speed(name), figure)
        half = 0.5 * (there.high - there.low)
        # A course that is made up from positions, and accuracies, may move it by a part of its
        # interval; digits alone by far less.
        near = 0.1 if name in WITH_COURSE else 0.5
        assert abs(here.value - there.value) < near * half
        assert 0.6 < (here.high - here.low) / (there.high - there.low) < 1.6
