"""Many logs into one table: each once, none lost, the same figures as one by one."""

import hashlib
import json
import math
from collections.abc import Callable
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
from ridelog.workflow.batch_table import GrowingTable, Journal, frame_of, read_table, write_table

SAMPLES = Path(__file__).parents[2] / "sample_tracks"


class Here:
    """Measures in this process, or fails as often as it is told to."""

    workers = 1

    def __init__(self, fail: dict[str, int] | None = None) -> None:
        self.asked: list[str] = []
        self.fail = fail or {}

    def submit(self, work: Callable[[LogToMeasure], Any], log: LogToMeasure) -> "Future[Any]":
        self.asked.append(log.file)
        done: Future[Any] = Future()
        if self.fail.get(log.file, 0) > 0:
            self.fail[log.file] -= 1
            done.set_exception(BrokenProcessPool("gone"))
        else:
            done.set_result({"sha256": log.sha256, "file": log.file, "status": "measured",
                             "reason": "", "start_utc": None, "grade": None})  # fmt: skip
        return done

    def next_done(self, waiting: set["Future[Any]"]) -> set["Future[Any]"]:
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
    rows = {row["file"]: row for row in read_table(out).to_dict("records")}
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
            assert all(map(math.isnan, seen)), figure.name
        else:
            assert seen == [found.value, found.low, found.high]
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
        run = Batch(set(), journal.keep)
        run.run(found[:2], Here())
    with journal.path.open("a") as file:
        file.write('{"sha256": "cut of')  # by a kill
    table = GrowingTable(frame_of([]))
    table.add_again([*journal.rows(), *journal.rows()])
    assert len(table.known) == 2
    engine = Here()
    with journal:
        run = Batch(table.known, table.add)
        run.run(found, engine)
    assert engine.asked == ["2.gpx", "3.gpx", "4.gpx"]
    assert list(table.frame()["file"]) == [f"{number}.gpx" for number in range(5)]
    assert run.counts.rows == 5
    assert run.counts.skipped == 2
    journal.remove()
    assert list(journal.rows()) == []


def test_a_log_that_kills_its_worker_is_a_row_and_stops_no_other(tmp_path: Path) -> None:
    kept: list[Row] = []
    run = Batch(set(), kept.append)
    run.run(logs(tmp_path, 4), Here(fail={"1.gpx": 1, "2.gpx": 9}))
    status = {row["file"]: row["status"] for row in kept}
    assert status == {"0.gpx": "measured", "1.gpx": "measured", "2.gpx": "unreadable",
                      "3.gpx": "measured"}  # fmt: skip
    assert run.counts.unreadable == 1
    assert "worker ended" in next(row for row in kept if row["file"] == "2.gpx")["reason"]


class OneFallsAllFall(Here):
    """Workers of which one death ends all that wait, as those of a pool do."""

    workers = 2

    def __init__(self, deadly: str) -> None:
        super().__init__()
        self.deadly = deadly
        self.waiting: dict[Future[Any], LogToMeasure] = {}

    def submit(self, work: Callable[[LogToMeasure], Any], log: LogToMeasure) -> "Future[Any]":
        done: Future[Any] = Future()
        self.waiting[done] = log
        return done

    def next_done(self, waiting: set["Future[Any]"]) -> set["Future[Any]"]:
        dies = any(log.file == self.deadly for log in self.waiting.values())
        for done, log in self.waiting.items():
            if dies:
                done.set_exception(BrokenProcessPool("gone"))
            else:
                done.set_result(super().submit(measure_log, log).result())
        self.waiting.clear()
        return waiting


def test_the_neighbours_of_a_deadly_log_are_measured(tmp_path: Path) -> None:
    kept: list[Row] = []
    Batch(set(), kept.append).run(logs(tmp_path, 9), OneFallsAllFall("4.gpx"))
    status = {row["file"]: row["status"] for row in kept}
    assert len(kept) == len(status) == 9
    assert [name for name, what in status.items() if what != "measured"] == ["4.gpx"]


def test_what_cannot_be_opened_is_a_row_and_tried_again(tmp_path: Path) -> None:
    table = GrowingTable(frame_of([]))
    Batch(table.known, table.add).run([("gone.gpx", tmp_path / "gone.gpx")], Here())
    (row,) = table.frame().to_dict("records")
    assert row["status"] == "unreadable"
    assert "cannot be read (No such file" in row["reason"]
    assert GrowingTable(table.frame()).known == set()
    assert len(GrowingTable(table.frame()).frame()) == 0


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
        first = engine.submit(measure_log, log)
        engine.next_done({first})
        (pid,) = engine._pool._processes
        engine._pool._processes[pid].kill()
        with pytest.raises(BrokenProcessPool):
            engine.submit(measure_log, log).result()
        assert engine.submit(measure_log, log).result()["status"] == "no answer"
    finally:
        engine.close()


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_a_table_is_read_as_it_was_written(ending: str, tmp_path: Path) -> None:
    if ending == "parquet":
        pytest.importorskip("pyarrow")
    rows: list[dict[str, Any]] = [
        {"sha256": "b" * 64, "file": "b.gpx", "status": "measured", "reason": "",
         "start_utc": "2024-06-09T09:00:00Z", "grade": "good", "machine": "08",
         "best_1s_mps_value": 0.1 + 0.2},
        {"sha256": "0" * 64, "machine": "07", "file": "007", "status": "unreadable",
         "reason": 'NA, "quoted"\nline',
         "start_utc": None, "grade": None},
    ]  # fmt: skip
    place = tmp_path / f"t.{ending}"
    write_table(place, frame_of(rows))
    again = read_table(place)
    pd.testing.assert_frame_equal(again, frame_of(rows), check_exact=True)
    assert list(again["file"]) == ["007", "b.gpx"]
    assert again["machine"][1] == "08" and again["best_1s_mps_value"][1] == 0.1 + 0.2
    assert again["grade"][0] is None


def test_another_file_is_not_taken_for_a_table(tmp_path: Path) -> None:
    (tmp_path / "costs.csv").write_text("part,price\nsprocket,12\n")
    with pytest.raises(RideLogError, match="no table of rides"):
        read_table(tmp_path / "costs.csv")
    assert len(read_table(tmp_path / "none.csv")) == 0


def test_a_table_does_not_tell_in_which_order_its_rows_came(tmp_path: Path) -> None:
    rows: list[Row] = [
        {"sha256": f"{k}" * 64, "file": f"{k}.gpx", "status": "measured", "reason": "",
         "start_utc": None, "grade": "good", f"{name}_value": float(k), f"{name}_low": 0.0,
         f"{name}_high": 9.0}
        for k, name in enumerate(["0-20 km/h", "two_way_mps", "best_1s_mps"])
    ]  # fmt: skip
    forth, back, resumed = (
        GrowingTable(frame_of([])),
        GrowingTable(frame_of([])),
        frame_of(rows[2:]),
    )
    for row in rows:
        forth.add(row)
    for row in reversed(rows):
        back.add(row)
    (third := GrowingTable(resumed)).add_again(rows[::-1])
    assert list(forth.frame())[6:10:3] == ["best_1s_mps_value", "two_way_mps_value"]
    pd.testing.assert_frame_equal(forth.frame(), back.frame())
    pd.testing.assert_frame_equal(forth.frame(), third.frame())


def test_what_was_noted_in_a_table_by_hand_stays(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "still.gpx").write_bytes(still_log())
    words = ["batch", str(tmp_path / "in"), "--out", str(tmp_path / "t.csv"), "--workers", "1"]
    assert CliRunner().invoke(app, words).exit_code == 0
    table = read_table(tmp_path / "t.csv").assign(machine="07", weather="rain")
    table.to_csv(tmp_path / "t.csv", index=False)
    assert CliRunner().invoke(app, words).exit_code == 0
    (row,) = read_table(tmp_path / "t.csv").to_dict("records")
    assert (row["machine"], row["weather"]) == ("07", "rain")


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
