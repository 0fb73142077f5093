"""How fast a batch is: two workers against one process, and as the logs grow in number, on request.

    python tests/benchmarks/fleet_rate.py [--blocks 6] [--logs 50] [--record]
    python tests/benchmarks/fleet_rate.py --growth 50,500,5000 [--record fleet_growth]

First the same blocks of logs are measured in turn by a loop in this process ("alone"), by one
worker and by two; all are warm, and the order changes from block to block. A share is a rate over
as many times that of the loop as there are workers: 1 is ideal. By the clock it tells only on a
machine that does nothing else; by processor time (of workers and parent together) it tells what
the two cost more, whoever else works here. Then, with --growth, the whole command on ever more logs
that end after some seconds, its start, table and all: time a log, and the parent's memory.
"""

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

# One thread of linear algebra in every process, as in those that a batch starts.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "suites"))
import fleet_logs  # noqa: E402  # found only after the line above
from record import ROOT, Record, add_options  # noqa: E402

from ridelog.workflow.batch import Batch, Engine, OneByOne, Processes, logs_of  # noqa: E402
from ridelog.workflow.batch_table import GrowingTable, frame_of  # noqa: E402

_TICK_S = 1.0 / os.sysconf("SC_CLK_TCK")


def spent_s(engine: Engine) -> float:
    """Return the processor time of this process and of an engine's workers until now. [s]"""
    total = time.process_time()
    if isinstance(engine, Processes):
        for worker in engine._pool._processes:
            words = Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()
            total += _TICK_S * (int(words[11]) + int(words[12]))
    return total


def measured(engine: Engine, logs: list[tuple[str, Path]]) -> tuple[float, float]:
    """Measure logs; return the seconds by the clock and of processor time that a log took."""
    clock, before = time.monotonic(), spent_s(engine)
    table = GrowingTable(frame_of([]))
    Batch(table.known, table.add).run(logs, engine)
    count = len(table.frame())
    return (time.monotonic() - clock) / count, (spent_s(engine) - before) / count


def blocks_of(folder: Path, count: int, size: int) -> Iterator[list[tuple[str, Path]]]:
    """Yield blocks of the logs in a folder, each as mixed as the whole."""
    found = list(logs_of([folder]))
    for block in range(count):
        yield found[block::count][:size]


def compare(asked: argparse.Namespace, record: Record, folder: Path) -> None:
    """Measure blocks in turn by each engine; record the time a log and the shares."""
    fleet_logs.write(folder, range(asked.blocks * asked.logs), asked.seed, real=asked.real)
    engines: dict[str, tuple[Engine, int]] = {
        "alone": (OneByOne(), 1), "one worker": (Processes(1), 1), "two workers": (Processes(2), 2),
    }  # fmt: skip
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in engines}
    try:
        for engine, _ in engines.values():
            measured(engine, list(logs_of([folder]))[:12])
        for number, block in enumerate(blocks_of(folder, asked.blocks, asked.logs)):
            names = list(engines)
            for name in names[number % 3 :] + names[: number % 3]:
                taken[name].append(measured(engines[name][0], block))
            record.show(
                block=number, **{f"{name}_s": round(taken[name][-1][0], 4) for name in names}
            )
    finally:
        for engine, _ in engines.values():
            engine.close()
    for name, (_, workers) in engines.items():
        pairs = list(zip(taken["alone"], taken[name], strict=True))
        record.add(
            engine=name,
            logs=asked.blocks * asked.logs,
            clock_s_a_log=statistics.mean(clock for clock, _ in taken[name]),
            processor_s_a_log=statistics.mean(spent for _, spent in taken[name]),
            share_by_clock=statistics.median(a[0] / b[0] / workers for a, b in pairs),
            share_by_processor=statistics.median(a[1] / b[1] for a, b in pairs),
        )


def grow(asked: argparse.Namespace, record: Record, place: Path) -> None:
    """Run the command on ever more short logs; record the time a log and the parent's memory."""
    begin = 0
    for count in map(int, asked.growth.split(",")):
        folder = place / str(count)
        numbers = range(begin, begin + count)
        fleet_logs.write(folder, numbers, asked.seed, real=Path("none"), longest_s=asked.ends)
        begin += count
        words = [sys.executable, "-m", "ridelog", "batch", str(folder), "--workers", "2",
                 "--out", str(place / f"{count}.csv")]  # fmt: skip
        before, clock = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
        process = subprocess.Popen(
            words, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, stderr=subprocess.DEVNULL
        )
        peak_mib = 0.0
        while process.poll() is None:
            peak_mib = max(peak_mib, peak_of(process.pid))
            time.sleep(0.05)
        if process.returncode:
            raise SystemExit(f"the run of {count} logs failed")
        after, clock_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic() - clock
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        record.add(
            engine="command, two workers", logs=count, clock_s_a_log=clock_s / count,
            processor_s_a_log=spent / count, processor_s=spent, parent_mib=peak_mib,
        )  # fmt: skip


def peak_of(process: int) -> float:
    """Return the most memory in which a process has lain, 0 if it is gone. [MiB]"""
    try:
        status = Path(f"/proc/{process}/status").read_text()
    except OSError:
        return 0.0
    lines = (line.split() for line in status.splitlines() if line.startswith("VmHWM"))
    return next((int(words[1]) / 1024.0 for words in lines), 0.0)


def main() -> None:
    """Print a line for each engine, or for each number of logs."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--blocks", type=int, default=6)
    words.add_argument("--logs", type=int, default=50, help="in a block")
    words.add_argument("--growth", metavar="N,N,...", help="numbers of logs")
    words.add_argument("--ends", type=float, default=6.0, metavar="SECONDS")
    words.add_argument("--real", type=Path, default=fleet_logs.REAL)
    add_options(words, "fleet_rate")
    asked = words.parse_args()
    most = max(map(int, asked.growth.split(","))) if asked.growth else asked.blocks * asked.logs
    record = Record("fleet_rate", asked, rides=most, folder="benchmarks")
    with tempfile.TemporaryDirectory() as place:
        (grow if asked.growth else compare)(asked, record, Path(place))
    record.save()


if __name__ == "__main__":
    main()
