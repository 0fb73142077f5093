"""What is written can be read by others: gpxpy and pynmea2; the samples come out the same."""

import json
from datetime import timedelta
from pathlib import Path

import gpxpy
import numpy as np
import pynmea2
import pytest
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset
from simulate import Observation, Place, Receiver, gpx_text, nmea_text
from simulate.__main__ import check, run, write
from simulate.sample_truth import crossing_speed_mps
from simulate.samples import AFTER, BEFORE, SAMPLES, generate, sample_ride
from simulate.write_log import NAMESPACE, sentence

from ridelog.core.errors import OutputError
from ridelog.core.geodesy import to_local
from ridelog.core.track import FloatArray
from ridelog.core.units import MPS_PER_KMH, MPS_PER_KNOT

FOLDER = Path(__file__).parents[2] / "sample_tracks"
# South and west, so that every sign is used.
PLACE = Place(-41.5, -71.25, 800.0)


@pytest.fixture(scope="module")
def seen() -> Observation:
    rng = np.random.default_rng(1)
    truth = out_and_back(rng, top_mps=6.0, plateau_s=2.0, passes=1, pull_end="held").truth
    return Receiver(rate_hz=5.0, claims_sd=1.0).observe(truth, rng)


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return generate()


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_gpx_reads_back(seen: Observation, version: str) -> None:
    text = gpx_text(seen, PLACE, version=version, name="a & b", speed_decimals=3)
    gpx = gpxpy.parse(text)
    assert gpx.version == version
    points = gpx.tracks[0].segments[0].points
    assert len(points) == len(seen)
    track = to_track(seen, PLACE)
    for i in (0, 7, len(seen) // 2, len(seen) - 1):
        point = points[i]
        assert point.latitude == pytest.approx(track.latitude_deg[i], abs=1e-10)
        assert point.longitude == pytest.approx(track.longitude_deg[i], abs=1e-10)
        assert point.elevation == pytest.approx(track.height_m[i], abs=0.006)
        assert point.time is not None
        since = point.time - PLACE.start_utc
        assert since / timedelta(seconds=1) == pytest.approx(track.time_s[i], abs=1e-6)
        assert point.horizontal_dilution == pytest.approx(track.hdop[i])
        assert point.satellites == track.satellites[i]
        if version == "1.0":
            values = {"speed": point.speed, "course": point.course}
        else:
            values = {
                element.tag.removeprefix(f"{{{NAMESPACE}}}"): float(element.text)
                for element in point.extensions
            }
        assert values["speed"] == pytest.approx(seen.speed_mps[i], abs=6e-4)
        if np.isfinite(seen.course_rad[i]):
            assert values["course"] == pytest.approx(np.degrees(seen.course_rad[i]), abs=0.006)


def test_gpx_of_another_version() -> None:
    with pytest.raises(ValueError, match="GPX version '2.0' is not 1.0 or 1.1"):
        gpx_text(_at_origin(0), version="2.0")


def _at_origin(count: int) -> Observation:
    def zeros() -> FloatArray:
        return np.zeros(count)

    return Observation(
        true_time_s=zeros(),
        time_s=zeros(),
        east_m=zeros(),
        north_m=zeros(),
        height_m=zeros(),
        speed_mps=zeros(),
        course_rad=zeros(),
        hdop=zeros(),
        satellites=zeros(),
        fix_kind=np.ones(count, dtype=np.int64),
        position_sd_m=np.full(count, np.nan),
        speed_sd_mps=np.full(count, np.nan),
    )


def test_blank_speed_and_course_are_left_out() -> None:
    rng = np.random.default_rng(1)
    truth = out_and_back(rng, top_mps=6.0, passes=1).truth
    alone = preset("clean", 1.0, rng, reports_speed=False).observe(truth, rng)
    for version in ("1.0", "1.1"):
        text = gpx_text(alone, version=version)
        assert "speed" not in text and "course" not in text
    first = nmea_text(alone).splitlines()[0].split(",")
    assert first[7] == first[8] == ""


def test_nmea_reads_back(seen: Observation) -> None:
    text = nmea_text(seen, PLACE, with_gst=True, with_vtg=True)
    sentences = [pynmea2.parse(line, check=True) for line in text.splitlines()]
    assert len(sentences) == 5 * len(seen)
    track = to_track(seen, PLACE, decimals=10)
    for i in (0, 7, len(seen) // 2, len(seen) - 1):
        rmc, gga, gsa, gst, vtg = sentences[5 * i : 5 * i + 5]
        names = [item.sentence_type for item in (rmc, gga, gsa, gst, vtg)]
        assert names == ["RMC", "GGA", "GSA", "GST", "VTG"]
        # Seven decimals of a minute: half a unit is 8.3e-10 degrees.
        for item in (rmc, gga):
            assert item.latitude == pytest.approx(track.latitude_deg[i], abs=1e-9)
            assert item.longitude == pytest.approx(track.longitude_deg[i], abs=1e-9)
        since = rmc.datetime - PLACE.start_utc
        assert since / timedelta(seconds=1) == pytest.approx(track.time_s[i], abs=1e-6)
        assert float(rmc.spd_over_grnd) * MPS_PER_KNOT == pytest.approx(seen.speed_mps[i], abs=3e-4)
        assert float(vtg.spd_over_grnd_kmph) * MPS_PER_KMH == pytest.approx(
            seen.speed_mps[i], abs=3e-4
        )
        if np.isfinite(seen.course_rad[i]):
            assert rmc.true_course == pytest.approx(np.degrees(seen.course_rad[i]), abs=0.006)
        assert float(gga.horizontal_dil) == pytest.approx(seen.hdop[i])
        assert int(gga.num_sats) == seen.satellites[i]
        assert gga.altitude == pytest.approx(seen.height_m[i] + 800.0, abs=6e-4)
        assert float(gsa.hdop) == pytest.approx(seen.hdop[i])
        assert float(gst.std_dev_latitude) == pytest.approx(seen.position_sd_m[i])


def test_checksum_of_a_published_sentence() -> None:
    # The GGA example of public summaries of NMEA 0183 (from memory: P. Bennett, The NMEA FAQ).
    body = "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
    assert sentence(body) == f"${body}*47\r\n"


def test_sixty_minutes_never_appear() -> None:
    text = nmea_text(_at_origin(1), Place(1.99999999999, -0.99999999999), minute_decimals=4)
    assert ",0200.0000,N,00100.0000,W," in text


def test_track_has_the_local_positions(seen: Observation) -> None:
    track = to_track(seen, PLACE, decimals=9)
    east, north = to_local(track.latitude_deg, track.longitude_deg, -41.5, -71.25)
    assert east == pytest.approx(seen.east_m, abs=2e-4)
    assert north == pytest.approx(seen.north_m, abs=2e-4)
    coarse = to_track(seen, PLACE, decimals=5)
    assert np.array_equal(coarse.latitude_deg, np.round(track.latitude_deg, 5))
    assert coarse.source.sha256 == track.source.sha256
    assert to_track(seen).source.sha256 != track.source.sha256


def test_samples_are_as_computed(files: dict[str, bytes]) -> None:
    present = sorted(path.name for path in FOLDER.iterdir() if path.is_file())
    assert present == sorted(files)
    check(files, FOLDER)
    assert sum(len(content) for content in files.values()) < 4_000_000


def test_samples_are_the_same_on_every_call(files: dict[str, bytes]) -> None:
    assert generate() == files


def test_sample_story_is_in_the_truth(files: dict[str, bytes]) -> None:
    truth = json.loads(files["truth.json"])
    rides = truth["rides"]
    assert truth["invented"] is True
    before = [rides[f"before-{k}"] for k in ("1.gpx", "2.nmea", "3.gpx")]
    after = [rides[f"after-{k}"] for k in ("1.gpx", "2.nmea", "3.gpx")]
    gain = np.mean([r["two_way_mps"] for r in after]) - np.mean([r["two_way_mps"] for r in before])
    # No machine gains more than its teeth allow; resistance, which grows with speed, takes some.
    taller = BEFORE.rear_teeth / AFTER.rear_teeth
    by_teeth_mps = (taller - 1.0) * BEFORE.steady_mps()
    assert 0.5 * by_teeth_mps < gain < by_teeth_mps
    starts = [
        [s["0-20 km/h"] for s in ride["launches"] if s["0-20 km/h"]] for ride in rides.values()
    ]
    assert all(len(times) == 4 for times in starts)
    assert max(map(max, starts[:3])) < min(map(min, starts[3:]))
    assert 0.0 < truth["crossing_mps"] < BEFORE.steady_mps() < AFTER.steady_mps()
    below, above = (np.array([truth["crossing_mps"] + step]) for step in (-0.2, 0.2))
    assert BEFORE.acceleration_mps2(below)[0] > AFTER.acceleration_mps2(below)[0]
    assert BEFORE.acceleration_mps2(above)[0] < AFTER.acceleration_mps2(above)[0]
    assert crossing_speed_mps(AFTER, BEFORE) == pytest.approx(truth["crossing_mps"], abs=1e-3)
    assert np.isnan(crossing_speed_mps(BEFORE, BEFORE))
    backward = {file: ride["reverses"] for file, ride in rides.items() if ride["reverses"]}
    assert list(backward) == ["before-2.nmea"]
    assert backward["before-2.nmea"][0]["top_1s_mps"] > 6.0 * MPS_PER_KMH
    for ride in rides.values():
        assert 120.0 <= ride["duration_s"] <= 240.0
        assert len(ride["coasts"]) == 2
        fast = [stop for stop in ride["brakings"] if stop["from_mps"] > 9.0]
        assert len(fast) == 2


def test_coasting_and_stops_go_both_ways() -> None:
    for sample in SAMPLES:
        labelled, _ = sample_ride(sample)
        for kind in ("coasts", "brakings"):
            spans = [s for s in labelled.labels[kind] if s.from_mps > 9.0]
            assert len(spans) == 2
            assert np.cos(spans[0].heading_rad - spans[1].heading_rad) == pytest.approx(-1.0)


def test_readme_says_that_it_is_invented(files: dict[str, bytes]) -> None:
    page = files["README.md"].decode()
    assert "Everything here is invented." in page
    assert all(f"`{sample.file}`" in page for sample in SAMPLES)


def test_command_writes_checks_and_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], files: dict[str, bytes]
) -> None:
    folder = tmp_path / "new"
    assert run(["--out", str(folder)]) == 0
    assert f"wrote {len(files)} files to {folder}" in capsys.readouterr().out
    assert run(["--out", str(folder), "--check"]) == 0
    assert f"{len(files)} files in {folder} are as computed" in capsys.readouterr().out
    assert run(["--out", str(folder)]) == 1
    assert capsys.readouterr().err == (
        f"{folder}: before-1.gpx is there already. What to do: add --force to write over it, "
        "or choose another folder with --out.\n"
    )


def test_check_names_the_file_and_the_byte(tmp_path: Path) -> None:
    write({"a": b"12345", "b": b"x"}, tmp_path)
    with pytest.raises(OutputError, match=r"a: differs from what is computed, first at byte 2\."):
        check({"a": b"12x45", "b": b"x"}, tmp_path)
    with pytest.raises(OutputError, match=r"a: differs from what is computed, first at byte 5\."):
        check({"a": b"123456"}, tmp_path)
    with pytest.raises(OutputError, match=r"c: the file is missing\."):
        check({"c": b""}, tmp_path)


def test_a_folder_that_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="the samples cannot be written there"):
        write({"a": b""}, tmp_path / "file")
