"""The commands on a sample ride: exit status, results by schema, nothing lost or given away."""

import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from ridelog.report.ride_json import schema_of

ROOT = Path(__file__).resolve().parents[2]
RIDE = ROOT / "sample_tracks" / "after-1.gpx"


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "ridelog", *arguments],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip


def test_report_prints_the_headline_first_and_json_follows_its_schema(tmp_path: Path) -> None:
    done = run("report", str(RIDE), "--json", str(tmp_path / "r.json"))
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[2].startswith("Top speed")
    result = json.loads((tmp_path / "r.json").read_text())
    jsonschema.validate(result, schema_of("ridelog.ride/2"))
    truth = json.loads((ROOT / "sample_tracks" / "truth.json").read_text())
    best = result["top_speed"]["best_1s_mps"]
    expected = truth["rides"]["after-1.gpx"]["best_1s_mps"]
    assert best["low"] <= expected <= best["high"]


def test_a_file_is_not_written_over_without_force(tmp_path: Path) -> None:
    target = tmp_path / "trace.csv"
    target.write_text("mine")
    done = run("trace", str(RIDE), "--csv", str(target))
    assert done.returncode == 2
    assert "there already" in done.stderr and "Traceback" not in done.stderr
    assert target.read_text() == "mine"


def test_trace_has_a_row_for_each_fix(tmp_path: Path) -> None:
    target = tmp_path / "trace.csv"
    assert run("trace", str(RIDE), "--csv", str(target)).returncode == 0
    lines = target.read_text().splitlines()
    assert lines[0].startswith("#")
    assert lines[1].startswith("time_s,utc,east_m,north_m,speed_mps,speed_sd_mps,velocity_mps")
    assert len(lines) == 2 + RIDE.read_text().count("<trkpt")


def test_the_page_gives_no_coordinates_away(tmp_path: Path) -> None:
    done = run("report", str(RIDE), "--out", str(tmp_path / "out"))
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "out" / "ride.html").read_text()
    start = RIDE.read_text().split('lat="')[1].split('"')[0]
    longitude = RIDE.read_text().split('lon="')[1].split('"')[0]
    assert start[:6] not in page and longitude[:6] not in page
    assert "<script" not in page and "http://" not in page.replace("http://www.w3.org", "")


@pytest.mark.parametrize(
    ("arguments", "status"),
    [(("report", "nowhere.gpx"), 1), (("report",), 2), (("report", str(RIDE), "--wrong"), 2)],
)
def test_exit_status(arguments: tuple[str, ...], status: int) -> None:
    done = run(*arguments)
    assert done.returncode == status
    assert "Traceback" not in done.stderr


def test_the_command_line_starts_without_heavy_imports() -> None:
    code = (
        "import sys, ridelog.__main__; "
        "print([m for m in ('numpy','scipy','pandas','matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("words", [("signal",), ("trace", "--csv", "nowhere/x.csv"), ("report",)])
def test_plain_words_are_taken_without_heavy_imports(words: tuple[str, ...]) -> None:
    code = (
        "import sys; from ridelog.__main__ import main\n"
        f"try: main({[*words, 'nowhere.gpx']!r})\n"
        "except SystemExit: sys.exit(str([m for m in ('pydantic', 'scipy') if m in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    said, loaded = done.stderr.splitlines()[0], done.stderr.splitlines()[-1]
    assert "What to do" in said and loaded == "[]"
