"""Real logs, none known to hold a reverse: nothing may be called one (uncertain is allowed)."""

import json
from pathlib import Path

import pytest

from ridelog.analysis.reverse.measure import find_reverse
from ridelog.core.errors import RideLogError
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

LOGS = Path(__file__).resolve().parents[4] / "shared" / "real-tracks"
MANIFEST = LOGS / "MANIFEST.json"
# Longer ones take seconds each; the walk doubles back on itself, the car overshoots at its stops.
CHOSEN = (
    "gpx/walk-8-tracks.gpx",
    "nmea/car-gga-only-1hz.nmea",
    "nmea/car-sirf-1hz-short.nmea",
    "nmea/rx-mr-350p.log",
    "nmea/rx-nmea-rtk.log",
    "nmea/rx-telit-he910.log",
    "truth-walkpace-2hz5/walkpace-2hz5-a.gpx",
)

pytestmark = pytest.mark.skipif(not MANIFEST.exists(), reason="the real logs are not beside here")


@pytest.mark.parametrize("name", CHOSEN)
def test_no_reverse_is_called_in_a_real_log(name: str) -> None:
    known = {entry["file"] for entry in json.loads(MANIFEST.read_text())["files"]}
    assert name in known
    try:
        motion = estimate_motion(load_track(LOGS / name))
    except RideLogError:
        pytest.skip("this log carries no speed")
    found = find_reverse(motion)
    assert found.spans == ()
    if found.state == "uncertain":
        assert all("; but " in segment.evidence for segment in found.segments)
