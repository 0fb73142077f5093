"""The page of a fleet leads to the pages of its rides, and nowhere else."""

import re
from pathlib import Path
from urllib.parse import unquote

import pandas as pd
import pytest
from typer.testing import CliRunner

from ridelog.cli.main import app
from ridelog.report.fleet_page import rides_to_look_at
from ridelog.workflow.batch import LogToMeasure, OneByOne, logs_of
from ridelog.workflow.batch_pages import make_pages, page_name, page_of, pages_in
from ridelog.workflow.batch_table import read_table

SAMPLE = Path(__file__).parents[2] / "sample_tracks" / "before-2.nmea"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two short logs of one machine and one that is no log."""
    folder = tmp_path_factory.mktemp("fleet") / "kart & co"
    folder.mkdir()
    lines = SAMPLE.read_bytes().splitlines(keepends=True)
    for number in range(2):
        part = lines[600 * number : 600 * number + 600]
        (folder / f"ride {number} #1.nmea").write_bytes(b"".join(part))
    (folder / "broken.gpx").write_text("no log at all")
    return folder


def links_of(page: Path) -> dict[str, str]:
    """Return where each linked ride leads, by its name."""
    found = re.findall(r'<a href="([^"#]*)">([^<]*)</a>', page.read_text(encoding="utf-8"))
    return {name: unquote(href) for href, name in found}


def test_every_row_leads_to_its_page_and_no_link_is_broken(season: Path, tmp_path: Path) -> None:
    page = tmp_path / "fleet.html"
    words = ["batch", str(season), "--out", str(tmp_path / "t.csv"), "--workers", "1", "--force",
             "--page", str(page), "--pages", str(tmp_path / "its pages")]  # fmt: skip
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    assert "Made 2 pages" in done.stderr
    links = links_of(page)
    assert set(links) == {"ride 0 #1.nmea", "ride 1 #1.nmea"}
    for name, place in links.items():
        assert f"Test ride {name}" in (tmp_path / place).read_text(encoding="utf-8")
    # Run again, pages that are there stay; one whose log is gone as well is no link any more.
    kept, lost = (tmp_path / links[name] for name in sorted(links))
    before = kept.stat().st_mtime_ns
    lost.unlink()
    (season / "ride 1 #1.nmea").rename(season / "ride 1.away")
    try:
        done = CliRunner().invoke(app, words)
    finally:
        (season / "ride 1.away").rename(season / "ride 1 #1.nmea")
    assert "Made 0 pages" in done.stderr
    assert set(links_of(page)) == {"ride 0 #1.nmea"}
    assert "ride 1 #1.nmea" in page.read_text(encoding="utf-8")
    assert kept.stat().st_mtime_ns == before
    assert len(read_table(tmp_path / "t.csv")) == 3


def test_only_wanted_pages_are_made(season: Path, tmp_path: Path) -> None:
    logs = list(logs_of([season]))
    made = make_pages(logs, {"f" * 64}, tmp_path / "p", OneByOne(), settings={}, unit="km/h")
    assert made == 0
    assert pages_in(tmp_path / "p", ["f" * 64, ""]) == {}
    (tmp_path / "p" / page_name("f" * 64)).write_text("a page")
    assert set(pages_in(tmp_path / "p", ["f" * 64])) == {"f" * 64}


def test_a_log_that_gives_no_page_gives_no_file() -> None:
    changed = LogToMeasure("a.gpx", "0" * 64, "", b"other bytes", {})
    gone = LogToMeasure("a.gpx", "0" * 64, "/nowhere/a.gpx", None, {})
    assert page_of(changed, "km/h") == page_of(gone, "mph") == b""


def test_pages_need_a_page_that_links_to_them(tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["batch", ".", "--out", "t.csv", "--pages", "p"])
    assert done.exit_code == 2
    assert "give both" in " ".join(done.output.replace("│", " ").split())


def test_the_rides_to_look_at_are_those_of_machines_that_changed() -> None:
    rows = [
        {"sha256": f"{machine}{number:02d}", "file": f"{number}.gpx", "status": "measured",
         "start_utc": f"2025-04-{number + 1:02d}T09:00:00Z", "machine": machine,
         "reverse_top_mps_low": 2.5 if (machine, number) == ("fast back", 3) else 0.5,
         "two_way_mps_value": (9.7 + 0.1 * ((0.618034 * number) % 1.0 - 0.5))
         * (0.95 if machine in ("slower", "") and number >= 10 else 1.0)}
        for machine in ("slower", "same", "fast back", "")
        for number in range(20)
    ]  # fmt: skip
    found = rides_to_look_at(pd.DataFrame(rows))
    # Rides of which no machine is known may be of many: what changes there is no drift.
    assert found == {f"{machine}{k:02d}" for machine in ("slower", "fast back") for k in range(20)}
