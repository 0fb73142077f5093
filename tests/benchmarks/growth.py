"""Whole-process time and peak memory as a log grows, on request.

    python tests/benchmarks/growth.py [--fixes 36000,144000,864000] [--rate 10]
        [--commands trace,report] [--record]

Writes rides to a temporary folder (864,000 fixes at 10 Hz are 24 hours, 208 MB of GPX) and runs
each command on it. Goals: time grows as the fixes do, peak memory stays under 2 GiB.
"""

import argparse
import sys
import tempfile
from pathlib import Path

from against_filterpy import run, write_apart
from record import Record, add_options  # found once the line above has run


def main() -> None:
    """Print a line for each command and size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fixes", default="36000,144000,864000")
    parser.add_argument("--rate", type=float, default=10.0)
    parser.add_argument("--commands", default="trace,report")
    add_options(parser, "growth")
    chosen = parser.parse_args()
    sizes = list(map(int, chosen.fixes.split(",")))
    record = Record("growth", chosen, rides=len(sizes), folder="benchmarks")
    with tempfile.TemporaryDirectory() as folder:
        for fixes in sizes:
            log = Path(folder) / f"{fixes}.gpx"
            write_apart(log, fixes, rate_hz=chosen.rate)
            for command in chosen.commands.split(","):
                option = "--csv" if command == "trace" else "--json"
                words = [sys.executable, "-m", "ridelog", command, str(log), option, "-"]
                _, taken_s, peak_mib = run(words, Path(folder) / "modules")
                record.add(
                    command=command, fixes=fixes, processor_s=taken_s,
                    us_a_fix=1e6 * taken_s / fixes, peak_mib=peak_mib,
                )  # fmt: skip
    record.save()


if __name__ == "__main__":
    main()
