"""Every real log: fixes, times and reported maximum as its manifest states them."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridelog.core.errors import NotEnoughDataError, RideLogError, UnreadableLogError
from ridelog.importer import load_track, read_log

LOGS = Path(__file__).resolve().parents[3] / "shared" / "real-tracks"
MANIFEST = LOGS / "MANIFEST.json"


def entries() -> list[dict[str, Any]]:
    if not MANIFEST.exists():
        return []
    files = json.loads(MANIFEST.read_text(encoding="utf-8"))["files"]
    return [entry for entry in files if entry["kind"] in ("nmea", "gpx")]


pytestmark = pytest.mark.skipif(not MANIFEST.exists(), reason="the real logs are not beside here")


def named(entry: dict[str, Any]) -> str:
    return str(entry["file"])


@pytest.mark.parametrize("entry", [one for one in entries() if one["fixes"]], ids=named)
def test_log_is_read_as_the_manifest_says(entry: dict[str, Any]) -> None:
    track = read_log(LOGS / entry["file"])
    assert len(track) == entry["fixes"]
    times = track.time_s[np.isfinite(track.time_s)]
    seen = [track.utc_text(float(t)) for t in (times[0], times[-1], times.min(), times.max())]
    assert seen == [entry[key] for key in ("t_first", "t_last", "t_min", "t_max")]
    if entry["max_speed_mps"] is None:
        # VTG counts as reported speed, but the manifest's maximum is of RMC and GPX only.
        assert np.isnan(track.speed_mps).all() or entry["expect"].get("vtg_max_mps") is not None
    else:
        assert np.nanmax(track.speed_mps) == pytest.approx(entry["max_speed_mps"], abs=0.5e-4)
    if entry["rate_hz"] is not None:
        steps = np.diff(times)
        rate_hz = 1.0 / float(np.median(steps[steps > 0.0]))
        assert rate_hz == pytest.approx(entry["rate_hz"], abs=0.06)


@pytest.mark.parametrize("entry", entries(), ids=named)
def test_log_that_cannot_give_speed_is_refused(entry: dict[str, Any]) -> None:
    timed = entry["fixes"] if entry["kind"] == "nmea" else entry["expect"]["points_with_time"]
    if timed >= 2:
        assert len(load_track(LOGS / entry["file"])) == entry["fixes"]
        return
    with pytest.raises(RideLogError) as caught:
        load_track(LOGS / entry["file"])
    assert Path(entry["file"]).name in caught.value.problem
    assert isinstance(caught.value, NotEnoughDataError if entry["fixes"] else UnreadableLogError)


@pytest.mark.parametrize("entry", [e for e in entries() if e["kind"] == "nmea"], ids=named)
def test_nmea_details_match_the_manifest(entry: dict[str, Any]) -> None:
    expect = entry["expect"]
    track = read_log(LOGS / entry["file"])
    wrong = [text for text in track.warnings if "wrong checksum" in text]
    assert bool(wrong) == bool(expect["bad_checksum"])
    assert track.void_epochs == max(expect["rmc_void"], expect["gga_no_fix"])
    if expect["gga_valid"] < entry["fixes"]:
        return  # elsewhere HDOP and satellites come from GSA, which the manifest does not count
    low, high = expect["hdop_min_max"]
    assert (np.nanmin(track.hdop), np.nanmax(track.hdop)) == (low, high)
    low, high = expect["sats_min_max"]
    assert (np.nanmin(track.satellites), np.nanmax(track.satellites)) == (low, high)


@pytest.mark.parametrize("entry", [e for e in entries() if e["kind"] == "gpx"], ids=named)
def test_gpx_details_match_the_manifest(entry: dict[str, Any]) -> None:
    expect = entry["expect"]
    if not entry["fixes"]:
        return
    track = read_log(LOGS / entry["file"])
    assert np.isfinite(track.time_s).sum() == expect["points_with_time"]
    assert np.isfinite(track.speed_mps).sum() == expect["points_with_speed"]
    assert np.isfinite(track.hdop).sum() == expect["points_with_hdop"]
    assert np.isfinite(track.satellites).sum() == expect["points_with_sat"]
    if expect["gpx_version"]:
        assert track.source.format == f"gpx-{expect['gpx_version']}"
    else:
        assert any("states no GPX version" in text for text in track.warnings)
