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

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / part) for part in ("report", "suites")]
from log_in_memory import to_track  # noqa: E402  # found only after the line above
from long_rides import hour_of  # noqa: E402
from random_rides import out_and_back  # noqa: E402
from receiver_presets import preset  # noqa: E402


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
