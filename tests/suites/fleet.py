"""Many logs: do all arrive in the table, once each, however often the run is killed?

    python tests/suites/fleet.py --logs 300 --kills 5
    python tests/suites/fleet.py --logs 60 --scheduler

Logs are short simulated rides and copies of the samples with other times; one in fifty is broken.
A killed run is started again until it ends by itself; then every log must have its row and no log
a second line in the journal. With ``--scheduler`` a real scheduler and two workers are started, one
worker is killed midway, and the table must be that of two processes.
"""

import argparse
import json
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def write_logs(folder: Path, count: int, seed: int) -> None:
    """Write logs of 40 s each, cut out of a sample at random; every fiftieth is broken."""
    folder.mkdir()
    choose = random.Random(seed)
    whole = (ROOT / "sample_tracks" / "before-2.nmea").read_text().splitlines(keepends=True)
    for number in range(count):
        begin = choose.randrange(0, len(whole) - 600) // 3 * 3
        text = "".join(whole[begin : begin + 600])
        if number % 50 == 49:
            text = re.sub(r"\*..", "*ZZ", text)
        # A sentence that no reader asks for makes each log another one.
        (folder / f"{number:05d}.nmea").write_text(f"log {number}\n{text}")


def batch(*words: str) -> "subprocess.Popen[bytes]":
    """Start a run."""
    return subprocess.Popen(
        [sys.executable, "-m", "ridelog", "batch", *words], cwd=ROOT, start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, stderr=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip


def finish(words: list[str]) -> dict[str, int]:
    """Run to the end and return its counts."""
    process = batch(*words, "--json", "-")
    out, err = process.communicate()
    if process.returncode:
        raise SystemExit(err.decode())
    counts: dict[str, int] = json.loads(out)
    return counts


def killed(folder: Path, table: Path, workers: str, kills: int, seed: int) -> dict[str, float]:
    """Kill runs at random instants, then finish; return what was found."""
    choose = random.Random(seed)
    journal = table.with_name(f"{table.name}.part.jsonl")
    lines = 0
    for _ in range(kills):
        process = batch(str(folder), "--out", str(table), "--workers", workers)
        time.sleep(choose.uniform(2.0, 12.0))
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        if journal.exists():
            rows = [line for line in journal.read_text().splitlines() if line.endswith("}")]
            hashes = [json.loads(line)["sha256"] for line in rows]
            assert len(set(hashes)) == len(hashes), "a log was measured twice"
            assert len(hashes) >= lines, "a row was lost"
            lines = len(hashes)
    counts = finish([str(folder), "--out", str(table), "--workers", workers])
    files = len(list(folder.iterdir()))
    assert counts["rows"] == files, (counts, files)
    assert counts["skipped"] == lines, (counts, lines)
    return {"logs": files, "kills": kills, "rows": counts["rows"], "before_the_last_run": lines}


def on_a_cluster(folder: Path, table: Path) -> dict[str, float]:
    """Measure by a real scheduler, one of its two workers killed midway."""
    start = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", "18786",
             "--no-dashboard", "--host", "127.0.0.1"]  # fmt: skip
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", "tcp://127.0.0.1:18786",
              "--nthreads", "1", "--no-dashboard"]  # fmt: skip
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    quiet = subprocess.DEVNULL
    with tempfile.TemporaryDirectory() as place:
        processes = [subprocess.Popen(start, cwd=place, env=env, stdout=quiet, stderr=quiet)]
        time.sleep(8.0)
        for _ in range(2):
            processes.append(
                subprocess.Popen(
                    worker, cwd=place, env=env, stdout=quiet, stderr=quiet, start_new_session=True
                )  # fmt: skip
            )
        time.sleep(15.0)
        try:
            run = batch(str(folder), "--out", str(table), "--scheduler", "tcp://127.0.0.1:18786",
                        "--send", "--json", "-")  # fmt: skip
            time.sleep(20.0)
            os.killpg(processes[1].pid, signal.SIGKILL)
            out, err = run.communicate()
            if run.returncode:
                raise SystemExit(err.decode())
        finally:
            for process in processes:
                process.kill()
    counts = json.loads(out)
    other = table.with_name("processes.csv")
    finish([str(folder), "--out", str(other), "--workers", "2"])
    same = table.read_bytes() == other.read_bytes()
    assert same, f"{table} and {other} differ"
    return {"logs": counts["rows"], "same_table": same}


def main() -> None:
    """Run what the command line asks for."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--logs", type=int, default=300)
    words.add_argument("--kills", type=int, default=5)
    words.add_argument("--workers", default="2")
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--scheduler", action="store_true")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "logs"
        write_logs(folder, asked.logs, asked.seed)
        begun = time.monotonic()
        if asked.scheduler:
            found = on_a_cluster(folder, Path(place) / "t.csv")
        else:
            found = killed(folder, Path(place) / "t.csv", asked.workers, asked.kills, asked.seed)
        found["seconds"] = round(time.monotonic() - begun, 1)
    print(found)


if __name__ == "__main__":
    main()
