"""Reverse on the command line: marks, a machine without reverse, limits, signed velocity."""

import csv
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from ridelog.core.units import MPS_PER_KMH
from ridelog.report.ride_json import schema_of

ROOT = Path(__file__).resolve().parents[3]
RIDE = "sample_tracks/before-2.nmea"


def truth() -> dict[str, Any]:
    whole = json.loads((ROOT / "sample_tracks" / "truth.json").read_text())
    ride: dict[str, Any] = whole["rides"]["before-2.nmea"]
    return ride


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "ridelog", *arguments],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip


def test_the_reverse_of_the_sample_is_found_and_kept_out_of_the_top_speed() -> None:
    done = run("report", RIDE, "--json", "-")
    result = json.loads(done.stdout)
    jsonschema.validate(result, schema_of("ridelog.ride/2"))
    (true,) = truth()["reverses"]
    reverse = result["reverse"]
    assert reverse["state"] == "found"
    (segment,) = reverse["segments"]
    assert segment["start_s"] == pytest.approx(true["start_s"], abs=0.5)
    assert segment["end_s"] == pytest.approx(true["end_s"], abs=0.5)
    top = segment["top_speed_mps"]
    assert top["low"] <= true["top_1s_mps"] <= top["high"]
    codes = [caution["code"] for caution in result["cautions"]]
    assert true["top_1s_mps"] > 6.0 * MPS_PER_KMH
    assert "reverse_too_fast" in codes


def test_the_trace_is_signed_and_marks_decide() -> None:
    (true,) = truth()["reverses"]
    middle_s = 0.5 * (true["start_s"] + true["end_s"])
    # A mark on the first full start, which truly went forward; the log begins at 09:20:00.
    start = next(launch for launch in truth()["launches"] if launch["0-20 km/h"])["start_s"]
    first, last = round(start) + 6, round(start) + 11
    done = run("trace", RIDE, "--csv", "-", "--reverse", f"09:20:{first}/09:20:{last}")
    assert done.returncode == 0, done.stderr
    rows = csv.DictReader(io.StringIO(done.stdout.split("\n", 1)[1]))
    signed = {float(row["time_s"]): float(row["velocity_mps"] or "nan") for row in rows}
    assert signed[round(middle_s)] < -2.0
    assert signed[first + 2.0] < 0.0
    assert signed[first - 2.0] > 0.0


def test_a_machine_without_reverse_goes_forward() -> None:
    done = run("report", RIDE, "--cannot-reverse", "--json", "-")
    result = json.loads(done.stdout)
    assert result["reverse"]["state"] == "none"
    assert result["settings"]["has_reverse"] is False


def test_limits_are_in_the_result() -> None:
    done = run(
        "report", RIDE, "--reverse-caution", "2 m/s", "--reverse-alarm", "20 mph", "--json", "-"
    )
    result = json.loads(done.stdout)
    assert result["settings"]["reverse_caution_mps"] == 2.0
    assert result["settings"]["reverse_strong_mps"] == pytest.approx(8.9408)
    assert "reverse_too_fast" in [caution["code"] for caution in result["cautions"]]


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["--reverse", "soon"], 2, 'The mark "soon" is not a start and an end.'),
        (["--reverse", "1/2", "--cannot-reverse"], 2, "has no reverse to mark: give one of the"),
        (
            ["--reverse-caution", "6"],
            2,
            '"6" is no speed. What to do: write a number above 0',
        ),
        (["--reverse-alarm", "4 km/h"], 2, "the strong caution lies below the caution"),
        (["--reverse", "12:00:00/12:01:00"], 1, "lies outside the log, which goes from 0.0 to"),
    ],
)
def test_wrong_options_are_refused(arguments: list[str], status: int, words: str) -> None:
    done = run("report", RIDE, *arguments)
    assert done.returncode == status
    assert words in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
