"""CPU time of writing the table of an hour at 10 Hz, on request.

    python tests/benchmarks/table_of_an_hour.py [--runs 5]

Goal: under 0.5 s, a small part of the whole ``trace``.
"""

import argparse
import sys
import time
from pathlib import Path

import numpy as np

from ridelog.filtering.smoother import estimate_motion
from ridelog.report.trace import trace_csv
from ridelog.simulate import preset, to_track
from ridelog.simulate.rides import out_and_back

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "report"))
from long_rides import hour_of  # noqa: E402  # found only after the line above


def main() -> None:
    """Time the table and print the seconds of each run."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5)
    chosen = parser.parse_args()
    rng = np.random.default_rng(3)
    log = preset("clean", 10.0, rng).observe(out_and_back(rng).truth, rng)
    hour = hour_of(estimate_motion(to_track(log)))
    for _ in range(chosen.runs):
        start = time.process_time()
        table = trace_csv(hour, ())
        taken = time.process_time() - start
        print(f"{len(hour.track)} rows, {len(table)} bytes: {taken:.3f} s of CPU time")


if __name__ == "__main__":
    main()
