"""Many logs: do all arrive in the table, once each, however often the run is killed?

    python tests/suites/fleet.py [--logs 5000] [--kills 5] [--checked 150] [--record]
    python tests/suites/fleet.py --scheduler [--logs 300] [--record fleet_cluster]

The logs are those of a drawn fleet (fleet_logs.py). A run is killed with all its processes when as
many rows are kept as was drawn, and started again; then every log must have its row, no log a
second line in the journal, and the workers' own books (fleet_counted.py) say what was measured
twice. Rows drawn at random are compared in full with ``ridelog.load`` of their log. With
``--scheduler`` a real scheduler and two workers are started, one worker is killed midway, and the
table must be that of two processes.
"""

import argparse
import hashlib
import json
import math
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import fleet_logs
import pandas as pd
from fleet_counted import BEGUN, DONE, Entry, entries
from record import ROOT, Record, add_options

import ridelog
from ridelog.workflow.batch_table import Journal, read_table

RIDES_A_YEAR = 100_000
_MANY_LOGS = 200
_SCHEDULER = "tcp://127.0.0.1:18786"


def environment(book: Path) -> dict[str, str]:
    """Return what the processes of a run must know."""
    paths = f"{ROOT}{os.pathsep}{ROOT / 'tests' / 'suites'}"
    return {**os.environ, "PYTHONPATH": paths, "FLEET_BOOK": str(book)}


def batch(book: Path, *words: str) -> "subprocess.Popen[bytes]":
    """Start a run whose workers keep their books."""
    start = [sys.executable, "-c", "import fleet_counted as f; f.run()", "batch", *words]
    return subprocess.Popen(
        start, cwd=ROOT, start_new_session=True, env=environment(book),
        stderr=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip


def wait_for(process: "subprocess.Popen[bytes]", journal: Journal, rows: int) -> None:
    """Wait until a run has kept so many rows, or ends."""
    while process.poll() is None and lines_of(journal) < rows:
        time.sleep(1.0)


def lines_of(journal: Journal) -> int:
    """Return how many rows a journal holds."""
    if not journal.path.exists():
        return 0
    return sum(line.endswith(b"}\n") for line in journal.path.open("rb"))


def outcome(process: "subprocess.Popen[bytes]") -> dict[str, int]:
    """Return the counts of a run that ended by itself."""
    out, err = process.communicate()
    if process.returncode:
        raise SystemExit(err.decode())
    counts: dict[str, int] = json.loads(out)
    return counts


def killed(asked: argparse.Namespace, record: Record, place: Path) -> None:
    """Kill runs at random instants, finish, and record what is in table, journal and books."""
    choose = random.Random(asked.seed)
    folder, table, book = place / "logs", place / "fleet.csv", place / "book"
    book.mkdir(exist_ok=True)
    journal, done_file = Journal(table), place / "kills.json"
    words = [str(folder), "--out", str(table), "--workers", "2", "--json", "-",
             "--machine-from", "{machine}/{setup}/*"]  # fmt: skip
    done: list[list[int]] = json.loads(done_file.read_text()) if done_file.exists() else []
    kept: set[str] = set()
    for at in sorted(choose.sample(range(1, int(0.9 * asked.logs)), asked.kills))[len(done) :]:
        run = batch(book, *words)
        wait_for(run, journal, at)
        time.sleep(random.uniform(0.0, 1.0))
        os.killpg(run.pid, signal.SIGKILL)
        run.communicate()
        hashes = [row["sha256"] for row in journal.rows()]
        assert len(set(hashes)) == len(hashes), "a log has two lines"
        assert kept <= set(hashes), "a row was lost"
        kept = set(hashes)
        done.append([at, len(kept)])
        done_file.write_text(json.dumps(done))
    run = batch(book, *words)
    counts = outcome(run)
    assert counts["skipped"] >= len(kept), (counts, len(kept))
    found = read_table(table)
    copies = check_presence(folder, found)
    for at, rows in done:
        record.add(figure="killed", drawn_row=at, rows_kept=rows)
    lines = list(entries(book))
    record.add(figure="logs", n=asked.logs, copies_of_others=copies, rows=counts["rows"])
    for status, count in sorted(Counter(found["status"]).items()):
        record.add(figure=f"rows {status}", n=count)
    begun, ended = (Counter(e.sha256 for e in lines if e.what == w) for w in (BEGUN, DONE))
    record.add(
        figure="kills", n=len(done), rows_lost=0, rows_twice=0,
        begun_twice=sum(n > 1 for n in begun.values()),
        finished_twice=sum(n > 1 for n in ended.values()),
        finished_by_workers=len(ended),
    )  # fmt: skip
    checked = check_rows(folder, found, asked.checked, asked.seed)
    record.add(figure="rows equal to the ride's own figures", n=checked, of=asked.checked)
    tell_memory(lines, found, record)
    tell_cost(lines, record)


def check_presence(folder: Path, found: pd.DataFrame) -> int:
    """Raise unless every log has one row by its hash; return how many logs are copies of others."""
    hashes = Counter(found["sha256"])
    expected = [hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*.*")]
    assert set(hashes) == set(expected), "rows are missing or invented"
    assert set(hashes.values()) == {1}, "a log has two rows"
    return len(expected) - len(hashes)


def check_rows(folder: Path, found: pd.DataFrame, count: int, seed: int) -> int:
    """Compare drawn rows with what the ride says by itself; return how many were the same."""
    chosen = found.sample(min(count, len(found)), random_state=seed).to_dict("records")
    same = 0
    for row in chosen:
        wrong = differences(folder / str(row["file"]), {str(k): v for k, v in row.items()})
        same += not wrong
        if wrong:
            print(row["file"], wrong)
    return same


def differences(log: Path, row: dict[str, object]) -> list[str]:
    """Return the names in which a row is not as ``ridelog.load`` has the ride."""
    try:
        ride = ridelog.load(log)
    except ridelog.RideLogError as error:
        # The message names the log by its path, a row by its name in the folder.
        said = str(error).replace(str(log), str(row["file"])).replace(log.name, "")
        told = str(row["reason"]).replace(log.name, "")
        same = told.split(":")[1:] == said.split(":")[1:]
        return [] if row["status"] != "measured" and same else ["reason"]
    expected: dict[str, float] = {}
    for figure in ride.figures.values():
        if figure.firm:
            for part in ("value", "low", "high"):
                expected[f"{figure.name}_{part}"] = getattr(figure.firm, part)
    wrong = [] if (row["status"], row["grade"]) == ("measured", ride["signal"].grade) else ["grade"]
    for name, value in row.items():
        if name.endswith(("_value", "_low", "_high")):
            alone = expected.pop(name, math.nan)
            if not (value == alone or (math.isnan(float(value)) and math.isnan(alone))):  # type: ignore[arg-type]  # a float
                wrong.append(name)
    return wrong + list(expected)


def tell_memory(lines: list[Entry], found: pd.DataFrame, record: Record) -> None:
    """Record the most memory of each worker of many logs over its life, by kind of logs.

    Logs come in the order of their folders, so the real ones, some of them longer, come last.
    """
    names = dict(zip(found["sha256"], found["file"], strict=True))
    done = [entry for entry in lines if entry.what == DONE]
    for worker, count in sorted(Counter(entry.worker for entry in done).items()):
        for kind in ("kart", "real") if count >= _MANY_LOGS else ():
            mib = [e.memory_mib for e in done
                   if e.worker == worker and names[e.sha256].startswith(kind)]  # fmt: skip
            part = max(1, len(mib) // 4)
            quarters = [max(mib[k * part : (k + 1) * part], default=math.nan) for k in range(4)]
            record.add(
                figure=f"memory of worker {worker}, {kind}", n=len(mib),
                **{f"quarter_{k + 1}_mib": most for k, most in enumerate(quarters)},
            )  # fmt: skip


def tell_cost(lines: list[Entry], record: Record) -> None:
    """Record the processor time of a log, starts of workers apart, and what a year's would need."""
    begun: dict[tuple[int, str], Entry] = {}
    spent: list[float] = []
    for entry in lines:
        key = (entry.worker, entry.sha256)
        if entry.what == BEGUN:
            begun[key] = entry
        elif key in begun:
            spent.append(entry.processor_s - begun[key].processor_s)
    mean_s = sum(spent) / len(spent)
    record.add(figure="processor time of a log", n=len(spent), mean_s=mean_s, longest_s=max(spent))
    record.add(figure="a year of rides like these", n=RIDES_A_YEAR,
               processor_h=mean_s * RIDES_A_YEAR / 3600.0,
               two_workers_h=mean_s * RIDES_A_YEAR / 7200.0)  # fmt: skip


def on_a_cluster(asked: argparse.Namespace, record: Record, place: Path) -> None:
    """Measure by a real scheduler, one of two workers killed when half the rows are there."""
    folder, table, book = place / "logs", place / "cluster.csv", place / "book"
    book.mkdir()
    start = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", "18786",
             "--no-dashboard", "--host", "127.0.0.1"]  # fmt: skip
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", _SCHEDULER, "--nthreads", "1",
              "--no-dashboard", "--no-nanny"]  # fmt: skip
    began = [start, worker, worker]
    processes = []
    try:
        for number, words in enumerate(began):
            (place / f"dask-{number}").mkdir()
            with (place / f"dask-{number}" / "said.txt").open("wb") as said:
                processes.append(
                    subprocess.Popen(
                        words, cwd=place / f"dask-{number}", env=environment(book),
                        stdout=said, stderr=said,
                    )
                )  # fmt: skip
            time.sleep(10.0)
        run = batch(book, str(folder), "--out", str(table), "--scheduler", _SCHEDULER, "--send",
                    "--json", "-")  # fmt: skip
        wait_for(run, Journal(table), asked.logs // 2)
        at = lines_of(Journal(table))
        processes[1].send_signal(signal.SIGKILL)
        counts = outcome(run)
    finally:
        for process in processes:
            process.kill()
            process.wait()
    check_presence(folder, read_table(table))
    done = Counter(e.worker for e in entries(book) if e.what == DONE)
    other = place / "processes.csv"
    outcome(batch(book, str(folder), "--out", str(other), "--workers", "2", "--json", "-"))
    same = table.read_bytes() == other.read_bytes()
    record.add(
        figure="scheduler, two workers, one killed", n=counts["rows"], killed_at=at,
        same_table_as_two_processes=str(same), logs_of_the_killed=done[processes[1].pid],
        logs_of_the_other=done[processes[2].pid],
    )  # fmt: skip
    assert same, f"{table} and {other} differ"


def main() -> None:
    """Run what the command line asks for."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--logs", type=int, default=5000)
    words.add_argument("--kills", type=int, default=5)
    words.add_argument("--checked", type=int, default=150)
    words.add_argument("--scheduler", action="store_true")
    words.add_argument(
        "--state", type=Path, metavar="FOLDER", help="keep all here; goes on if it was ended"
    )
    words.add_argument("--real", type=Path, default=fleet_logs.REAL)
    add_options(words, "fleet")
    asked = words.parse_args()
    record = Record("fleet", asked, rides=asked.logs)
    with tempfile.TemporaryDirectory() as temporary:
        place = asked.state or Path(temporary)
        if not (place / "logs").exists():
            fleet_logs.write(place / "logs", range(asked.logs), asked.seed, real=asked.real)
        begun = time.monotonic()
        (on_a_cluster if asked.scheduler else killed)(asked, record, place)
        record.show(seconds=time.monotonic() - begun)
    record.save()


if __name__ == "__main__":
    main()
