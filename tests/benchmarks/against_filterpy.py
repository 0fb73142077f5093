"""Whole-process times against a gpxpy parse and a filterpy 6-state smoother, in turn, on request.

    python tests/benchmarks/against_filterpy.py [--fixes 36000] [--runs 3] [--record]

Writes simulated hours to a temporary folder: rides there and back, and short ones with about 145
brakings in an hour. "top speed" is reading, learnt noise, variances and the intervals of the top
speed; "report" all that a ride shows as well. Prints seconds by the clock and of processor time
(medians of the runs) with their ratio to the baseline's, and each one's peak memory; on a busy
machine only the ratios of processor time tell. Modules are compiled before, as an installer does.
Then a comparison of the sample rides, three before and three after of four minutes each.
"""

import argparse
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import fields, replace
from functools import partial
from pathlib import Path

import numpy as np
from simulate import Place, gpx_text

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "suites"))
from labelled_rides import RandomRide  # noqa: E402  # found only after the line above
from random_rides import out_and_back  # noqa: E402  # found only after the line above
from receiver_presets import preset  # noqa: E402
from record import ROOT, Record, add_options  # noqa: E402

RIDES: dict[str, Callable[[np.random.Generator], RandomRide]] = {
    "there and back": out_and_back,
    "many brakings": partial(out_and_back, top_mps=5.2, plateau_s=2.0, passes=4),
}

BASELINE = """
import sys, gpxpy, numpy as np
from filterpy.kalman import KalmanFilter
points = [p for t in gpxpy.parse(open(sys.argv[1])).tracks for s in t.segments for p in s.points]
lat, lon = (np.array([getattr(p, n) for p in points]) for n in ("latitude", "longitude"))
stamp = np.array([p.time.timestamp() for p in points])
east = (lon - lon[0]) * 111320 * np.cos(np.radians(lat[0]))
seen = np.stack([east, (lat - lat[0]) * 111320], 1)[:, :, None]
dt = float(np.median(np.diff(stamp)))
f = KalmanFilter(6, 2)
f.x = np.zeros((6, 1))
f.F = np.kron(np.eye(2), [[1, dt, dt * dt / 2], [0, 1, dt], [0, 0, 1]])
f.H = np.zeros((2, 6)); f.H[0, 0] = f.H[1, 3] = 1
f.R *= 0.25
g = [dt**3 / 6, dt**2 / 2, dt]
f.Q = np.kron(np.eye(2), np.outer(g, g)); f.P *= 100
mean, cov, _, _ = f.batch_filter(list(seen))
f.rts_smoother(mean, cov)
"""

TOP_SPEED = """
import sys
from pathlib import Path
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track
print(measure_top_speed(estimate_motion(load_track(Path(sys.argv[1])))).best_1s_mps)
"""


def hour(path: Path, count: int, rate_hz: float = 10.0, ride: str = "there and back") -> None:
    """Write a log of so many fixes: rides one after the other, which come again after an hour."""
    rng = np.random.default_rng(3)
    receiver = preset("clean", rate_hz, rng)
    logs, total = [], 0
    while total < min(count, 3600 * rate_hz):
        logs.append(receiver.observe(RIDES[ride](rng).truth, rng))
        total += len(logs[-1])
    logs *= -(-count // total)
    names = [f.name for f in fields(logs[0]) if isinstance(getattr(logs[0], f.name), np.ndarray)]
    joined = {name: np.concatenate([getattr(log, name) for log in logs])[:count] for name in names}
    for axis in ("east_m", "north_m"):
        ends = np.cumsum([0.0] + [getattr(log, axis)[-1] - getattr(log, axis)[0] for log in logs])
        parts = [getattr(log, axis) - getattr(log, axis)[0] + end
                 for log, end in zip(logs, ends, strict=False)]  # fmt: skip
        joined[axis] = np.concatenate(parts)[:count]
    joined["time_s"] = joined["true_time_s"] = np.arange(float(count)) / rate_hz
    whole = replace(logs[0], **joined)  # type: ignore[arg-type]  # arrays only, by the filter above
    path.write_text(gpx_text(whole, Place()))


def write_apart(
    path: Path, count: int, rate_hz: float = 10.0, ride: str = "there and back"
) -> None:
    """Do the same in a process of its own: what this one holds counts as its children's memory."""
    writer = multiprocessing.get_context("spawn").Process(
        target=hour, args=(path, count, rate_hz, ride)
    )
    writer.start()
    writer.join()
    if writer.exitcode:
        raise SystemExit("no log could be written")


def run(command: list[str], modules: Path) -> tuple[float, float, float]:
    """Return seconds by the clock, of processor time, and peak memory. [s], [s], [MiB]

    ``modules`` is where the process finds and leaves compiled modules.
    """
    around = {key: text for key, text in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    around["PYTHONPYCACHEPREFIX"] = str(modules)
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=around)
    _, status, used = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"failed: {' '.join(command)}")
    taken_s = time.perf_counter() - start
    return taken_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0


def measured(record: Record, ride: str, log: Path, modules: Path, runs: int) -> None:
    """Time the commands on a log in turn and keep the medians."""
    commands = {
        "trace": [sys.executable, "-m", "ridelog", "trace", str(log), "--csv", "-"],
        "top speed": [sys.executable, "-c", TOP_SPEED, str(log)],
        "report": [sys.executable, "-m", "ridelog", "report", str(log), "--json", "-"],
        "baseline": [sys.executable, "-W", "ignore", "-c", BASELINE, str(log)],
    }
    figures: dict[str, list[tuple[float, float, float]]] = {name: [] for name in commands}
    # The first time round only compiles.
    for number in range(runs + 1):
        for name, command in commands.items():
            taken = run(command, modules)
            figures[name] += [taken] if number else []
    medians = {name: np.median(values, axis=0) for name, values in figures.items()}
    for name, (clock_s, used_s, peak_mib) in medians.items():
        of_clock, of_used = medians[name][:2] / medians["baseline"][:2]
        record.add(
            ride=ride, command=name, clock_s=clock_s, clock_of_baseline=of_clock,
            processor_s=used_s, processor_of_baseline=of_used, peak_mib=peak_mib,
        )  # fmt: skip


def compared(record: Record, modules: Path, runs: int) -> None:
    """Time a comparison of the sample rides and keep the median."""
    sides = {
        side: sorted(map(str, (ROOT / "sample_tracks").glob(f"{side}-[0-9].*")))
        for side in ("before", "after")
    }
    command = [
        sys.executable, "-m", "ridelog", "compare", "--before", *sides["before"],
        "--after", *sides["after"], "--json", "-",
    ]  # fmt: skip
    clock_s, used_s, peak_mib = np.median([run(command, modules) for _ in range(runs)], axis=0)
    record.add(
        ride="3 + 3 of 4 minutes", command="compare", clock_s=clock_s, processor_s=used_s,
        peak_mib=peak_mib,
    )  # fmt: skip


def main() -> None:
    """Time them in turn and print the medians."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fixes", type=int, default=36_000)
    parser.add_argument("--runs", type=int, default=3)
    add_options(parser, "speed")
    chosen = parser.parse_args()
    record = Record("against_filterpy", chosen, rides=len(RIDES), folder="benchmarks")
    with tempfile.TemporaryDirectory() as folder:
        log, modules = Path(folder) / "hour.gpx", Path(folder) / "modules"
        for ride in RIDES:
            write_apart(log, chosen.fixes, ride=ride)
            measured(record, ride, log, modules, chosen.runs)
        compared(record, modules, chosen.runs)
    record.save()


if __name__ == "__main__":
    main()
