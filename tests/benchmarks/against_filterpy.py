"""Whole-process times against a gpxpy parse and a filterpy 6-state smoother, in turn, on request.

    python tests/benchmarks/against_filterpy.py [--fixes 36000] [--runs 3]

Writes a simulated hour to a temporary folder; prints seconds (median of the runs) and peak memory.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import fields, replace
from pathlib import Path

import numpy as np

from ridelog.simulate import Place, gpx_text, preset
from ridelog.simulate.rides import out_and_back

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


def hour(path: Path, count: int, rate_hz: float = 10.0) -> None:
    """Write a log of so many fixes: rides there and back, one after the other."""
    rng = np.random.default_rng(3)
    receiver = preset("clean", rate_hz, rng)
    logs, total = [], 0
    while total < count:
        logs.append(receiver.observe(out_and_back(rng).truth, rng))
        total += len(logs[-1])
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


def main() -> None:
    """Time the two in turn and print the medians."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fixes", type=int, default=36_000)
    parser.add_argument("--runs", type=int, default=3)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "hour.gpx"
        hour(log, chosen.fixes)
        trace = [sys.executable, "-m", "ridelog", "trace", str(log), "--csv", "-"]
        report = [sys.executable, "-m", "ridelog", "report", str(log), "--json", "-"]
        other = [sys.executable, "-W", "ignore", "-c", BASELINE, str(log)]
        seconds: dict[str, list[float]] = {"trace": [], "report": [], "baseline": []}
        for _ in range(chosen.runs):
            for name, command in (("trace", trace), ("report", report), ("baseline", other)):
                start = time.perf_counter()
                subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
                seconds[name].append(time.perf_counter() - start)
        for name, values in seconds.items():
            print(f"{name}: median {np.median(values):.2f} s of {chosen.runs} runs")
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"largest process: {peak:.0f} MiB")


if __name__ == "__main__":
    main()
