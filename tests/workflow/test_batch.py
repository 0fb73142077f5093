"""Many logs into one table: each once, none lost, the same figures as one by one."""

import hashlib
import json
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

import ridelog
from ridelog.cli.main import app
from ridelog.core.errors import RideLogError
from ridelog.workflow.batch import (
    Batch,
    Cluster,
    LogToMeasure,
    Processes,
    Row,
    logs_of,
    measure_log,
)
from ridelog.workflow.batch_table import Journal, frame_of, read_table, write_table

SAMPLES = Path(__file__).parents[2] / "sample_tracks"


class Here:
    """Measures in this process, or fails as often as it is told to."""

    workers = 1

    def __init__(self, fail: dict[str, int] | None = None) -> None:
        self.asked: list[str] = []
        self.fail = fail or {}

    def submit(self, log: LogToMeasure) -> "Future[Row]":
        self.asked.append(log.file)
        done: Future[Row] = Future()
        if self.fail.get(log.file, 0) > 0:
            self.fail[log.file] -= 1
            done.set_exception(BrokenProcessPool("gone"))
        else:
            done.set_result({"sha256": log.sha256, "file": log.file, "status": "measured",
                             "reason": "", "start_utc": None, "grade": None})  # fmt: skip
        return done

    def next_done(self, waiting: set["Future[Row]"]) -> set["Future[Row]"]:
        return waiting

    def close(self) -> None:
        pass


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """A folder with a log, its copy, one that is no log, and things that are passed over."""
    folder = tmp_path / "season"
    (folder / "Thistledrake 2" / "64 teeth").mkdir(parents=True)
    log = (SAMPLES / "before-2.nmea").read_bytes()
    (folder / "Thistledrake 2" / "64 teeth" / "before-2.nmea").write_bytes(log)
    (folder / "other").mkdir()
    (folder / "other" / "copy.nmea").write_bytes(log)
    (folder / "broken.gpx").write_text("no log at all")
    (folder / "still.gpx").write_bytes(still_log())
    (folder / "notes.docx").write_text("words")
    (folder / ".hidden.gpx").write_text("hidden")
    return folder


def still_log() -> bytes:
    """A log with one time only, which no speed can come from."""
    point = '<trkpt lat="0.1" lon="0.2"><time>2024-06-09T09:00:00Z</time></trkpt>'
    return f'<gpx version="1.1"><trk><trkseg>{point * 2}</trkseg></trk></gpx>'.encode()


def test_a_season_becomes_a_table_with_the_figures_of_each_report(
    season: Path, tmp_path: Path
) -> None:
    out = tmp_path / "rides.csv"
    words = ["batch", str(season), "--out", str(out), "--workers", "1", "--json", "-",
             "--machine-from", "{machine}/{setup}/*"]  # fmt: skip
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    counts = json.loads(done.stdout)
    assert {name: counts[name] for name in ("schema", "rows", "measured", "no_answer",
                                            "unreadable", "skipped")} == {
        "schema": "ridelog.batch/1", "rows": 3, "measured": 1, "no_answer": 1, "unreadable": 1,
        "skipped": 1,
    }  # fmt: skip
    rows = {row["file"]: row for row in read_table(out)}
    assert set(rows) == {"broken.gpx", "still.gpx", "Thistledrake 2/64 teeth/before-2.nmea"}
    assert rows["broken.gpx"]["status"] == "unreadable"
    assert "no log that ridelog reads" in rows["broken.gpx"]["reason"]
    assert rows["still.gpx"]["status"] == "no answer"
    row = rows["Thistledrake 2/64 teeth/before-2.nmea"]
    assert (row["machine"], row["setup"]) == ("Thistledrake 2", "64 teeth")
    ride = ridelog.load(SAMPLES / "before-2.nmea")
    assert row["grade"] == ride["signal"].grade
    for figure in ride.figures.values():
        found = figure.firm
        seen = [row[f"{figure.name}_{part}"] for part in ("value", "low", "high")]
        if found is None:
            assert seen == [None] * 3, figure.name
        else:
            assert seen == pytest.approx([found.value, found.low, found.high], rel=1e-12)
    # Run again, nothing is measured and nothing is lost.
    before = out.read_bytes()
    again = CliRunner().invoke(app, words)
    assert json.loads(again.stdout)["measured"] == 0
    assert json.loads(again.stdout)["skipped"] == 4
    assert out.read_bytes() == before


def logs(folder: Path, count: int) -> list[tuple[str, Path]]:
    for number in range(count):
        (folder / f"{number}.gpx").write_text(f"log {number}")
    return list(logs_of([folder]))


def test_a_run_that_was_cut_off_goes_on_where_it_stopped(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    found = logs(tmp_path / "in", 5)
    journal = Journal(tmp_path / "t.csv")
    with journal:
        run = Batch({}, journal.keep)
        run.run(found[:2], Here())
    with journal.path.open("a") as file:
        file.write('{"sha256": "cut of')  # by a kill
    known = {row["sha256"]: row for row in journal.rows()}
    assert {row["file"] for row in known.values()} == {"0.gpx", "1.gpx"}
    engine = Here()
    with journal:
        run = Batch(known, journal.keep)
        run.run(found, engine)
    assert engine.asked == ["2.gpx", "3.gpx", "4.gpx"]
    assert len(journal.rows()) == run.counts.rows == 5
    assert run.counts.skipped == 2
    journal.remove()
    assert journal.rows() == []


def test_a_log_that_kills_its_worker_is_a_row_and_stops_no_other(tmp_path: Path) -> None:
    kept: list[Row] = []
    run = Batch({}, kept.append)
    run.run(logs(tmp_path, 4), Here(fail={"1.gpx": 1, "2.gpx": 9}))
    status = {row["file"]: row["status"] for row in kept}
    assert status == {"0.gpx": "measured", "1.gpx": "measured", "2.gpx": "unreadable",
                      "3.gpx": "measured"}  # fmt: skip
    assert run.counts.unreadable == 1
    assert "worker ended" in next(row for row in kept if row["file"] == "2.gpx")["reason"]


def test_what_cannot_be_opened_is_a_row(tmp_path: Path) -> None:
    run = Batch({}, lambda row: None)
    run.run([("gone.gpx", tmp_path / "gone.gpx")], Here())
    (row,) = run.known.values()
    assert row["status"] == "unreadable"
    assert "cannot be read (No such file" in row["reason"]


def test_a_log_that_changes_meanwhile_is_not_measured_as_another(tmp_path: Path) -> None:
    place = tmp_path / "a.gpx"
    place.write_bytes(still_log())
    sha256 = hashlib.sha256(b"what it was").hexdigest()
    row = measure_log(LogToMeasure("a.gpx", sha256, str(place), None, {}))
    assert (row["status"], row["reason"]) == ("unreadable", "the file changed while it was read")
    # Sent bytes need no place at all.
    data = still_log()
    sent = LogToMeasure("a.gpx", hashlib.sha256(data).hexdigest(), "/nowhere", data, {})
    assert measure_log(sent)["status"] == "no answer"


def test_workers_of_this_machine_are_replaced_when_one_dies(tmp_path: Path) -> None:
    engine = Processes(1)
    try:
        data = still_log()
        log = LogToMeasure("a.gpx", hashlib.sha256(data).hexdigest(), "", data, {})
        first = engine.submit(log)
        engine.next_done({first})
        (pid,) = engine._pool._processes
        engine._pool._processes[pid].kill()
        with pytest.raises(BrokenProcessPool):
            engine.submit(log).result()
        assert engine.submit(log).result()["status"] == "no answer"
    finally:
        engine.close()


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_a_table_is_read_as_it_was_written(ending: str, tmp_path: Path) -> None:
    if ending == "parquet":
        pytest.importorskip("pyarrow")
    rows: list[dict[str, Any]] = [
        {"sha256": "b" * 64, "file": "b.gpx", "status": "measured", "reason": "",
         "start_utc": "2024-06-09T09:00:00Z", "grade": "good", "best_1s_mps_value": 0.1 + 0.2},
        {"sha256": "0" * 64, "file": "007", "status": "unreadable", "reason": 'NA, "quoted"\nline',
         "start_utc": None, "grade": None},
    ]  # fmt: skip
    place = tmp_path / f"t.{ending}"
    write_table(place, frame_of(rows))
    again = read_table(place)
    assert [row["file"] for row in again] == ["007", "b.gpx"]
    assert (
        again[0] | {"best_1s_mps_value": None} == again[0] == rows[1] | {"best_1s_mps_value": None}
    )
    assert again[1] == rows[0]


def test_another_file_is_not_taken_for_a_table(tmp_path: Path) -> None:
    (tmp_path / "costs.csv").write_text("part,price\nsprocket,12\n")
    with pytest.raises(RideLogError, match="no table of rides"):
        read_table(tmp_path / "costs.csv")
    assert read_table(tmp_path / "none.csv") == []


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["nowhere", "--out", "t.csv"], 1, "no such file or folder"),
        ([".", "--out", "t.xls"], 1, "let it end in .csv or .parquet"),
        ([".", "--out", "no/t.csv"], 1, "there is no folder"),
        ([".", "--out", "t.csv", "--machine-from", "x/*"], 2, "neither {machine} nor {setup}"),
        ([".", "--out", "t.csv", "--machine-from", "{setup}{setup}"], 2, "one thing twice"),
        (
            [".", "--out", "t.csv", "--workers", "2", "--scheduler", "tcp://h:1"],
            2,
            "one of the two",
        ),
    ],
)
def test_what_cannot_be_is_said(
    words: list[str], status: int, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["batch", *words])
    said = " ".join((done.output + str(done.exception)).replace("│", " ").split())
    assert says in said
    assert done.exit_code == status


def test_a_scheduler_that_is_not_there_is_said() -> None:
    pytest.importorskip("distributed")
    with pytest.raises(RideLogError, match="no scheduler answers"):
        Cluster("tcp://127.0.0.1:1")


def test_the_table_for_programs(season: Path) -> None:
    table = ridelog.batch([season / "still.gpx", season / "broken.gpx"])
    assert isinstance(table, pd.DataFrame)
    assert list(table["status"]) == ["unreadable", "no answer"]
