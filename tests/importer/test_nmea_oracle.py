"""The NMEA reader against another parser, and against thousands of damaged bytes."""

import random
from datetime import datetime
from typing import Any

import numpy as np
import pynmea2
import pytest
from random_rides import out_and_back
from simulate import Observation, Place, Receiver, nmea_text
from simulate.write_log import sentence

from ridelog.core.errors import RideLogError
from ridelog.core.flags import Flag
from ridelog.core.track import Track
from ridelog.core.units import MPS_PER_KNOT
from ridelog.importer import log_from_bytes

# South and west, so that every sign is used; midnight falls inside the ride.
PLACE = Place(-41.5, -71.25, 800.0, datetime.fromisoformat("2025-12-31T23:59:50+00:00"))


@pytest.fixture(scope="module")
def seen() -> Observation:
    rng = np.random.default_rng(20)
    truth = out_and_back(rng, top_mps=6.0, plateau_s=2.0, passes=1, pull_end="held").truth
    return Receiver(rate_hz=5.0, claims_sd=1.0).observe(truth, rng)


@pytest.fixture(scope="module")
def text(seen: Observation) -> str:
    return nmea_text(seen, PLACE, with_gst=True, with_vtg=True)


def parsed(text: str, kind: str) -> list[Any]:
    """Return what pynmea2 makes of all sentences of one type, checksums demanded."""
    sentences = [pynmea2.parse(line, check=True) for line in text.splitlines()]
    return [one for one in sentences if one.sentence_type == kind]


def read(text: str) -> Track:
    return log_from_bytes("oracle.nmea", text.encode("ascii"))


def numbers(values: list[Any]) -> list[float]:
    return [float("nan") if value in (None, "") else float(value) for value in values]


def test_every_epoch_agrees_with_pynmea2(text: str, seen: Observation) -> None:
    track = read(text)
    rmc, gga, gst = (parsed(text, kind) for kind in ("RMC", "GGA", "GST"))
    assert len(track) == len(rmc) == len(seen) > 100
    start = track.start_utc
    assert start is not None and track.date_known
    expected_s = [(one.datetime - start).total_seconds() for one in rmc]
    np.testing.assert_allclose(track.time_s, expected_s, atol=1e-6)
    assert track.utc_text(float(track.time_s[-1])).startswith("2026-01-01T00:0")
    for column, values in (
        (track.latitude_deg, [one.latitude for one in rmc]),
        (track.longitude_deg, [one.longitude for one in rmc]),
    ):
        np.testing.assert_allclose(column, numbers(values), atol=1e-10)
    knots = np.asarray(numbers([one.spd_over_grnd for one in rmc]))
    np.testing.assert_allclose(track.speed_mps, knots * MPS_PER_KNOT, rtol=1e-12)
    course_deg = np.asarray(numbers([one.true_course for one in rmc]))
    np.testing.assert_allclose(track.course_rad, np.radians(course_deg), rtol=1e-12)
    np.testing.assert_allclose(track.height_m, numbers([one.altitude for one in gga]))
    np.testing.assert_allclose(track.hdop, numbers([one.horizontal_dil for one in gga]))
    np.testing.assert_allclose(track.satellites, numbers([one.num_sats for one in gga]))
    assert track.fix_kind.tolist() == [int(one.gps_qual) for one in gga]
    north_m = np.asarray(numbers([one.std_dev_latitude for one in gst]))
    east_m = np.asarray(numbers([one.std_dev_longitude for one in gst]))
    np.testing.assert_allclose(track.position_sd_m, np.sqrt((north_m**2 + east_m**2) / 2.0))
    assert not track.flags.any() and track.warnings == ()


def test_source_line_is_where_the_epoch_begins(text: str) -> None:
    lines = text.splitlines()
    track = read(text)
    for i in range(0, len(track), 17):
        line = lines[int(track.source_line[i]) - 1]
        assert line == next(one for one in lines if f"RMC,{line.split(',')[1]}," in one)


@pytest.mark.parametrize("kind", ["RMC", "GGA"])
def test_either_type_alone_gives_the_same_places(text: str, kind: str) -> None:
    whole = read(text)
    alone = read("".join(line + "\r\n" for line in text.splitlines() if line[3:6] == kind))
    np.testing.assert_array_equal(alone.latitude_deg, whole.latitude_deg)
    np.testing.assert_array_equal(alone.time_s, whole.time_s)
    assert alone.date_known == (kind == "RMC")


def damage(data: bytes, rng: random.Random) -> bytes:
    """Return a stretch of a log with bytes changed, lost and put in."""
    first = rng.randrange(len(data) // 2)
    hurt = bytearray(data[first : first + rng.randrange(200, 4000)])
    for _ in range(rng.randrange(1, 40)):
        at, way = rng.randrange(len(hurt)), rng.random()
        if way < 0.6:
            hurt[at] = rng.choice(b"0123456789.,-+NSEWAV*$e\r\n \x00\xff")
        elif way < 0.8:
            del hurt[at : at + min(rng.randrange(1, 30), len(hurt) - 60)]
        else:
            hurt[at:at] = bytes(rng.choice(b"0123456789,.-") for _ in range(rng.randrange(1, 30)))
    return bytes(hurt)


def with_right_checksums(data: bytes) -> bytes:
    """Return the damaged lines with checksums that fit, so that their fields are really read."""
    lines = []
    for line in data.decode("ascii", "replace").replace("\ufffd", "?").split("\r\n"):
        body = line[1 : line.rindex("*")] if line[:1] == "$" and "*" in line else ""
        lines.append(sentence(body) if body else line + "\r\n")
    return "".join(lines).encode("ascii")


@pytest.mark.parametrize("checked", [False, True])
def test_damaged_logs_end_in_a_track_or_in_a_sentence(text: str, checked: bool) -> None:
    rng = random.Random(20)
    data = text.encode("ascii")
    tracks = 0
    for _ in range(150):
        hurt = damage(data, rng)
        try:
            track = log_from_bytes("hurt.nmea", with_right_checksums(hurt) if checked else hurt)
        except RideLogError as error:
            assert error.problem.startswith("hurt.nmea") and error.advice
            continue
        tracks += 1
        assert np.isfinite(track.latitude_deg).all() and np.isfinite(track.longitude_deg).all()
        assert (np.abs(track.latitude_deg) <= 90.0).all()
        assert not (track.speed_mps < 0.0).any()
        # Decades are never crossed inside one log.
        times_s = track.time_s[np.isfinite(track.time_s)]
        assert times_s.size == 0 or np.ptp(times_s) < 20 * 366 * 86400.0
    assert tracks > 100


def test_undamaged_epochs_of_a_damaged_log_are_all_kept(text: str) -> None:
    rng = random.Random(3)
    lines = text.splitlines()
    whole = read(text)
    spoilt = {i for i, line in enumerate(lines) if "GGA" not in line and rng.random() < 0.3}
    broken = "".join(
        (line[: len(line) // 2] if i in spoilt else line) + "\r\n" for i, line in enumerate(lines)
    )
    track = read(broken)
    np.testing.assert_array_equal(track.latitude_deg, whole.latitude_deg)
    np.testing.assert_array_equal(track.time_s, whole.time_s)
    assert any("cut short or without a checksum" in one for one in track.warnings)


@pytest.mark.parametrize("late_ms", [1, 2])
def test_stamps_of_one_epoch_a_millisecond_apart_break_no_stretch(late_ms: int) -> None:
    place = "4807.038,N,01131.000,E"
    lines = []
    for i in range(6):
        lines.append(sentence(f"GPRMC,1200{i:02d}.999,A,{place},010.0,084.4,030526,,,A"))
        stamp = f"1200{i:02d}.{999 - late_ms}"
        lines.append(sentence(f"GPGGA,{stamp},{place},1,08,0.9,545.4,M,46.9,M,,"))
    track = read("".join(lines))
    # The manifest's rule: distinct UTC epochs are rows, so both are; the later one is used.
    assert len(track) == 12
    assert not track.segment.any()
    assert track.flags.tolist() == [0, int(Flag.BACKWARD_TIME)] * 6
    assert track.speed_mps[0::2] == pytest.approx(10.0 * MPS_PER_KNOT)
    assert not any("set back" in one for one in track.warnings)


def test_clock_set_back_by_more_than_jitter_starts_a_stretch() -> None:
    seconds = [0.0, 1.0, 2.0, 1.997, 2.997, 3.997]
    lines = [
        sentence(f"GPRMC,1200{second:06.3f},A,4807.03{i},N,01131.000,E,010.0,,030526,,,A")
        for i, second in enumerate(seconds)
    ]
    assert read("".join(lines)).segment.tolist() == [0, 0, 0, 1, 1, 1]
