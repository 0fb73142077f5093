"""One option says which column of a table is which, for every command that reads a ride."""

import json
import shlex
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from simulate.write_log import ORIGIN_DEG

from ridelog.book.book import Book
from ridelog.book.records import COLUMNS
from ridelog.cli.main import run
from ridelog.report.ride_json import schema_of

ANSWER = "time=Zeit:UTC,speed=km/h"


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a ride of 40 s at 5 Hz whose head leaves zone and unit open."""
    time_s = np.arange(0.0, 40.0, 0.2)
    speed = np.clip(np.minimum(time_s - 4.0, 36.0 - time_s), 0.0, 5.0)
    north = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * 0.2)])
    rng = np.random.default_rng(5)
    rows = ["Zeit;Breite;Länge;Geschwindigkeit;Kurs"]
    for t, v, y in zip(time_s, speed, north, strict=True):
        lat = ORIGIN_DEG[0] + (y + 0.05 * rng.standard_normal()) / 110_574.0
        kmh = max(0.0, 3.6 * (v + 0.05 * rng.standard_normal()))
        cells = f"2024-06-09 09:00:{t:06.3f};{lat:.8f};{ORIGIN_DEG[1]:.8f};{kmh:.3f};0"
        rows.append(cells.replace(".", ","))
    place = tmp_path_factory.mktemp("table") / "phone.csv"
    place.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return place


def ended(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as end:
        run(arguments)
    return int(end.value.code or 0)


def test_what_is_asked_can_be_given_back(table: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert ended(["report", str(table)]) == 1
    said = capsys.readouterr().err
    assert "'Geschwindigkeit' has no unit; the times in 'Zeit' have no zone" in said
    answer = said.split('--columns "')[1].split('"')[0]
    assert ended(["report", str(table), "--columns", answer, "--json", "-"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["source"]["format"] == "csv"
    assert result["settings"]["columns"] == answer
    top = result["top_speed"]["best_1s_mps"]
    assert top["low"] < 5.0 < top["high"]


def test_words_that_are_no_columns_are_wrong_use(table: Path) -> None:
    assert ended(["report", str(table), "--columns", "pace=3"]) == 2
    assert ended(["signal", str(table), "--columns", "pace=3"]) == 2


@pytest.mark.parametrize("command", [["trace", "--csv", "-"], ["signal"]])
def test_other_commands_take_it(
    table: Path, command: list[str], capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert ended([command[0], str(table), "--columns", ANSWER, *command[1:]]) == 0
    assert capsysbinary.readouterr().out
    assert ended([command[0], str(table), *command[1:]]) == 1


def test_batch_takes_it_and_passes_over_tables_that_are_no_logs(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "one.csv").write_bytes(table.read_bytes())
    (tmp_path / "logs" / "readings.csv").write_text("time,shown\n1,2\n2,3\n3,4\n")
    out = tmp_path / "table.csv"
    batch = ["batch", str(tmp_path / "logs"), "--out", str(out), "--workers", "1", "--json", "-"]
    assert ended([*batch, "--columns", ANSWER]) == 0
    assert json.loads(capsys.readouterr().out)["measured"] == 1
    assert "readings" not in out.read_text()


def test_the_book_keeps_it_with_the_ride(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = ["--book", str(tmp_path / "book")]
    assert ended(["book", "add", str(table), *book]) == 1
    assert ended(["book", "add", str(table), "--columns", ANSWER, *book]) == 0
    assert ended(["book", "again", "1", *book]) == 0
    assert "0 figures changed" in capsys.readouterr().out
    with Book(tmp_path / "book") as opened:
        assert opened.details.conditions(1) == {COLUMNS: ANSWER}
    assert ended(["book", "export", str(tmp_path / "out"), *book]) == 0
    assert ended(["book", "import", str(tmp_path / "out"), "--book", str(tmp_path / "other")]) == 0
    with Book(tmp_path / "other") as opened:
        assert opened.details.conditions(1) == {COLUMNS: ANSWER}


def verified(result: Path, logs: Path) -> int:
    return ended(["verify", str(result), "--logs", str(logs)])


@pytest.mark.parametrize("command", ["report", "signal"])
def test_a_result_of_such_a_table_is_verified(table: Path, tmp_path: Path, command: str) -> None:
    result = tmp_path / "result.json"
    assert ended([command, str(table), "--columns", ANSWER, "--json", str(result)]) == 0
    document = json.loads(result.read_text(encoding="utf-8"))
    jsonschema.validate(document, schema_of(document["schema"]))
    assert document["settings"]["columns"] == ANSWER
    assert verified(result, table.parent) == 0


def test_a_comparison_of_such_tables_is_verified(table: Path, tmp_path: Path) -> None:
    logs, result = tmp_path / "logs", tmp_path / "compared.json"
    logs.mkdir()
    rows = table.read_text(encoding="utf-8").splitlines(keepends=True)
    (logs / "before.csv").write_text("".join(rows), encoding="utf-8")
    (logs / "after.csv").write_text("".join(rows[:-1]), encoding="utf-8")
    sides = ["--before", str(logs / "before.csv"), "--after", str(logs / "after.csv")]
    assert ended(["compare", *sides, "--columns", ANSWER, "--json", str(result)]) == 0
    assert json.loads(result.read_text(encoding="utf-8"))["settings"]["columns"] == ANSWER
    assert verified(result, logs) == 0


def test_a_signal_that_no_words_were_needed_for_says_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = Path(__file__).parents[2] / "sample_tracks"
    ride = sorted(log.glob("*.gpx"))[0]
    assert ended(["signal", str(ride), "--json", "-"]) == 0
    assert "settings" not in json.loads(capsys.readouterr().out)


def test_the_smoothed_table_says_how_its_log_was_read(
    table: Path, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert ended(["trace", str(table), "--columns", ANSWER, "--csv", "-"]) == 0
    first = capsysbinary.readouterr().out.split(b"\n")[0].decode()
    assert first.endswith(f"; the log was read with --columns {ANSWER}")
    # What needs no such words says nothing of them, and the words are one word for the next run.
    answer = "time=Zeit:UTC,speed=Geschwindigkeit:km/h,course=Kurs"
    assert ended(["trace", str(table), "--columns", answer, "--csv", "-"]) == 0
    first = capsysbinary.readouterr().out.split(b"\n")[0].decode()
    assert shlex.split(first.split("--columns ")[1]) == [answer]


def test_a_display_held_against_such_a_table_says_it(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = tmp_path / "readings.csv"
    rows = [f"{t},{3.6 * min(t - 4.0, 5.0):.0f}" for t in range(6, 30)]
    readings.write_text("\n".join(["time,shown", *rows]) + "\n", encoding="utf-8")
    told = ["display", str(table), str(readings), "--columns", ANSWER, "--json", "-"]
    assert ended(told) == 0
    assert json.loads(capsys.readouterr().out)["settings"] == {"columns": ANSWER}
