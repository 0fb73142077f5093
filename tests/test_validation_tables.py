"""What the suites measured: files that can be read, and tables that say what the files say."""

import argparse
import ast
import json
import math
from pathlib import Path

import pytest
import tables
from record import ROOT, VALIDATION, Record, add_options

SUITES = ROOT / "tests" / "suites"
# These end in right or wrong, in differences or in files, and measure no shares.
WITHOUT = {"constants", "faults", "fleet_logs", "hostile"}


def run_of(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    add_options(parser, "intervals")
    return parser.parse_args(words)


def test_the_tables_are_what_the_files_say() -> None:
    """On failure: python tests/suites/tables.py"""
    assert tables.TABLES.read_text(encoding="utf-8") == tables.render(tables.load())


@pytest.mark.parametrize("path", sorted(VALIDATION.glob("*.json")), ids=lambda path: path.stem)
def test_a_record_can_be_read_and_repeated(path: Path) -> None:
    content = tables.load()[path.stem]
    folder = "suites" if (SUITES / f"{content['suite']}.py").is_file() else "benchmarks"
    assert (ROOT / "tests" / folder / f"{content['suite']}.py").is_file()
    assert content["command"].startswith(f"python tests/{folder}/{content['suite']}.py ")
    assert f"--seed {content['seed']}" in content["command"]
    assert content["rides"] > 0
    for row in content["rows"]:
        for value in row.values():
            assert value is None or isinstance(value, str) or math.isfinite(value)
        assert 0.0 <= (row.get("held") or 0.0) <= 1.0


def suites_with_a_main() -> set[str]:
    found = set()
    for path in SUITES.glob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if any(isinstance(node, ast.FunctionDef) and node.name == "main" for node in tree.body):
            found.add(path.stem)
    return found


def test_every_suite_that_measures_shares_is_on_record() -> None:
    measuring = suites_with_a_main() - WITHOUT
    assert len(measuring) >= 8
    # A benchmark may leave a record, and need not: its times are those of one machine.
    timing = {path.stem for path in (ROOT / "tests" / "benchmarks").glob("*.py")}
    assert {content["suite"] for content in tables.load().values()} - timing == measuring


def test_a_run_leaves_its_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    words = ["intervals.py", "--rides", "3", "--record", "small", "--seed", "5", "--logs=1p"]
    monkeypatch.setattr("sys.argv", words)
    record = Record("intervals", run_of("--record", "small", "--seed", "5"), rides=3)
    record.add(log="1p", figure="best second", n=3, bias=1.0 / 3.0, held=float("nan"))
    record.show(log="1p", figure="not final")
    path = record.save(tmp_path)
    assert path == tmp_path / "small.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    assert tuple(content) == tables.KEYS
    assert content["command"] == "python tests/suites/intervals.py --rides 3 --logs=1p --seed 5"
    assert content["rows"] == [
        {"log": "1p", "figure": "best second", "n": 3, "bias": 0.3333, "held": None}
    ]
    page = tables.render(tables.load(tmp_path))
    assert "| 1p | best second | 3 | 0.333 |  |" in page
    assert "fewer than 100 rides, pairs or machines a row: small." in " ".join(page.split())


def test_nothing_is_written_unasked(tmp_path: Path) -> None:
    record = Record("intervals", run_of("--seed", "5"), rides=3)
    record.add(n=1)
    assert record.save(tmp_path) is None
    assert not list(tmp_path.iterdir())


def test_a_file_that_is_no_record_is_named(tmp_path: Path) -> None:
    (tmp_path / "other.json").write_text("{}")
    with pytest.raises(ValueError, match="other.json: not a record of a suite"):
        tables.load(tmp_path)
