"""Independent readers as oracles: gpxpy for GPX, pynmea2 for NMEA, float() for numbers."""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import gpxpy.gpx
import numpy as np
import pynmea2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_lines import gga, log, rmc

from ridelog.importer import log_from_bytes, read_log
from ridelog.importer.columns import decimals, joined

LOGS = Path(__file__).resolve().parents[3] / "shared" / "real-tracks"
START = datetime(2026, 5, 3, 9, 0, tzinfo=UTC)

points = st.lists(
    st.fixed_dictionaries(
        {
            "latitude": st.floats(-90.0, 90.0),
            "longitude": st.floats(-180.0, 179.999),
            "elevation": st.none() | st.floats(-500.0, 9000.0),
            "micros": st.none() | st.integers(0, 10**11),
            "speed": st.none() | st.floats(0.0, 60.0),
            "hdop": st.none() | st.floats(0.1, 99.0),
            "satellites": st.none() | st.integers(0, 40),
            "fix": st.sampled_from([None, "none", "2d", "3d", "dgps", "pps"]),
        }
    ),
    min_size=1,
    max_size=12,
)


def same(seen: float, expected: float | None) -> bool:
    return math.isnan(seen) if expected is None else seen == expected


@settings(max_examples=60, deadline=None, derandomize=True)
@given(points, points, st.sampled_from(["1.0", "1.1"]))
def test_what_gpxpy_writes_is_read_as_gpxpy_reads_it(
    first: list[dict[str, Any]],
    then: list[dict[str, Any]],
    version: str,
) -> None:
    document = gpxpy.gpx.GPX()
    track = gpxpy.gpx.GPXTrack()
    document.tracks.append(track)
    for rows in (first, then):
        segment = gpxpy.gpx.GPXTrackSegment()
        track.segments.append(segment)
        for row in rows:
            micros = row["micros"]
            one = gpxpy.gpx.GPXTrackPoint(
                latitude=row["latitude"],
                longitude=row["longitude"],
                elevation=row["elevation"],
                time=None if micros is None else START + timedelta(microseconds=micros),
                speed=row["speed"],
                horizontal_dilution=row["hdop"],
            )
            one.satellites = row["satellites"]
            one.type_of_gpx_fix = row["fix"]
            segment.points.append(one)
    text = document.to_xml(version=version)
    seen = log_from_bytes("ride.gpx", text.encode())
    expected = [
        (number, one)
        for number, segment in enumerate(gpxpy.parse(text).tracks[0].segments)
        for one in segment.points
    ]
    assert len(seen) == len(expected)
    times = [one.time for _, one in expected if one.time is not None]
    for i, (_, one) in enumerate(expected):
        assert seen.latitude_deg[i] == one.latitude
        assert seen.longitude_deg[i] == one.longitude
        assert same(seen.height_m[i], one.elevation)
        assert same(seen.hdop[i], one.horizontal_dilution)
        assert same(seen.satellites[i], one.satellites)
        if version == "1.0":
            assert same(seen.speed_mps[i], one.speed)
        since = None if one.time is None else (one.time - times[0]).total_seconds()
        assert same(seen.time_s[i], since)
    # A clock set back only adds spans; gpxpy's segments stay apart.
    assert seen.segment[len(first)] > seen.segment[len(first) - 1]


def aware(moment: datetime | None) -> datetime | None:
    """Return a moment with its zone; gpxpy leaves stamps without one as they are."""
    return moment.replace(tzinfo=UTC) if moment and moment.tzinfo is None else moment


@pytest.mark.skipif(not LOGS.exists(), reason="the real logs are not beside here")
@pytest.mark.parametrize("path", sorted(LOGS.glob("*/*.gpx")), ids=lambda path: path.name)
def test_real_gpx_is_read_as_gpxpy_reads_it(path: Path) -> None:
    document = gpxpy.parse(path.read_text(encoding="utf-8-sig"))
    expected = [one for t in document.tracks for s in t.segments for one in s.points]
    if not expected:
        return
    seen = read_log(path)
    assert seen.latitude_deg.tolist() == [one.latitude for one in expected]
    assert seen.longitude_deg.tolist() == [one.longitude for one in expected]
    times = [aware(one.time) for one in expected]
    start = seen.start_utc
    assert start is not None
    for value, moment in zip(seen.time_s.tolist(), times, strict=True):
        assert same(value, None if moment is None else (moment - start).total_seconds())


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.integers(-89, 89), st.floats(0, 59.9999), st.floats(0, 99), st.floats(0, 359)),
        min_size=2,
        max_size=10,
    )
)
def test_sentences_are_read_as_pynmea2_reads_them(
    rows: list[tuple[int, float, float, float]],
) -> None:
    lines: list[str] = []
    for i, (degrees, minutes, knots, course) in enumerate(rows):
        half = "N" if degrees >= 0 else "S"
        place = f"{abs(degrees):02d}{minutes:08.5f},{half},{abs(degrees):03d}{minutes:08.5f},W"
        lines.append(rmc(43200 + i, place=place, knots=f"{knots:.3f}", course=f"{course:.2f}"))
        lines.append(gga(43200 + i, place=place, hdop=f"{knots:.2f}"))
    seen = log_from_bytes("ride.nmea", log(lines))
    for i in range(len(rows)):
        one, two = pynmea2.parse(lines[2 * i]), pynmea2.parse(lines[2 * i + 1])
        assert seen.latitude_deg[i] == pytest.approx(one.latitude, abs=1e-12)
        assert seen.longitude_deg[i] == pytest.approx(one.longitude, abs=1e-12)
        assert seen.speed_mps[i] == pytest.approx(one.spd_over_grnd * 1852 / 3600, rel=1e-14)
        assert np.degrees(seen.course_rad[i]) == pytest.approx(one.true_course, abs=1e-9)
        assert seen.hdop[i] == float(two.horizontal_dil)
        assert seen.satellites[i] == float(two.num_sats)
        assert seen.height_m[i] == two.altitude
        expected = datetime.combine(one.datestamp, one.timestamp)
        assert seen.start_utc is not None
        assert (seen.start_utc + timedelta(seconds=float(seen.time_s[i]))) == expected


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.lists(
        st.from_regex(r"-?[0-9]{0,20}\.?[0-9]{0,20}", fullmatch=True)
        | st.floats(allow_nan=False, allow_infinity=False).map(repr)
        | st.sampled_from(" | 1.5|1.5 |1 5|1_0|nan|inf|-|.|1e3|0x1|".split("|"))
        | st.text(alphabet="0123456789.-+eE x", max_size=8),
        min_size=1,
        max_size=8,
    )
)  # fmt: skip
def test_numbers_are_exactly_what_float_makes_of_them(texts: list[str]) -> None:
    encoded = [text.encode() for text in texts]
    seen = decimals(*joined(encoded, [np.array([len(text) for text in encoded])]))
    for value, text in zip(seen.tolist(), texts, strict=True):
        try:
            expected = float(text) if "_" not in text else math.nan
        except ValueError:
            expected = math.nan
        if not math.isfinite(expected):
            assert math.isnan(value), text
        else:
            assert value == expected, text
