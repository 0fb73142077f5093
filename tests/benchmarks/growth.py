"""Whole-process time and peak memory as a log grows, on request.

    python tests/benchmarks/growth.py [--fixes 45000,180000,720000] [--commands trace,report]

Writes rides at 25 Hz to a temporary folder (720,000 fixes are eight hours, 174 MB of GPX) and runs
each command on it. Goals: time grows as the fixes do, peak memory stays under 1536 MiB.
"""

import argparse
import sys
import tempfile
from pathlib import Path

from against_filterpy import run, write_apart


def main() -> None:
    """Print a line for each command and size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fixes", default="45000,180000,720000")
    parser.add_argument("--commands", default="trace,report")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for fixes in map(int, chosen.fixes.split(",")):
            log = Path(folder) / f"{fixes}.gpx"
            write_apart(log, fixes, rate_hz=25.0)
            for command in chosen.commands.split(","):
                option = "--csv" if command == "trace" else "--json"
                words = [sys.executable, "-m", "ridelog", command, str(log), option, "-"]
                _, taken_s, peak_mib = run(words, Path(folder) / "modules")
                each_us = 1e6 * taken_s / fixes
                print(
                    f"{command} {fixes} fixes: {taken_s:.1f} s of processor time, {each_us:.0f} us "
                    f"a fix, {peak_mib:.0f} MiB",
                    flush=True,
                )


if __name__ == "__main__":
    main()
