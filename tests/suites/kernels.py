"""Is a figure the same on every processor? Results under several kernels, on request.

    python tests/suites/kernels.py [--kernels Haswell,Zen,Prescott,Nehalem] [--record]

OpenBLAS takes the kernel of the processor it runs on; OPENBLAS_CORETYPE, read when a process
begins, names another. Every sample ride, the comparison of the samples, the same with both set-ups
(which holds what was predicted), a prediction and the options beside each other are made under each
kernel, in a process of its own, and each result is held against those of every other kernel as
``ridelog verify`` does. A row a result and kernel, the worst of the others: values that differ, the
largest difference of a value or bound in half widths of its interval, and how many values `verify`
would not confirm. A kernel that this processor cannot run is named with a row of nothing.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from record import ROOT, Record, add_options

from ridelog.workflow.verify import disagreements

SAMPLES = ROOT / "sample_tracks"
RIDES = (
    "before-1.gpx",
    "before-2.nmea",
    "before-3.gpx",
    "after-1.gpx",
    "after-2.nmea",
    "after-3.gpx",
)
# The machine after the changes of the sample rides' story: a smaller chain wheel.
_BEFORE, _AFTER = "teeth = 64", "teeth = 56"
# Prints the kernel that numpy's library has taken.
_TAKEN = (
    "import numpy; from threadpoolctl import threadpool_info; "
    "print(threadpool_info()[0]['architecture'])"
)


def _run(kernel: str, *arguments: str) -> str | None:
    """Return what a Python process prints under a kernel, None if it cannot run there."""
    done = subprocess.run(
        [sys.executable, *arguments],
        env={**os.environ, "OPENBLAS_CORETYPE": kernel, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        print(f"{kernel}: status {done.returncode} {done.stderr.strip()[-200:]}", flush=True)
    return None if done.returncode else done.stdout


def _results(kernel: str, folder: Path) -> dict[str, Any]:
    """Return every result made under one kernel, by name."""
    after = folder / "after.toml"
    setup = SAMPLES / "thistledrake-before.toml"
    after.write_text(setup.read_text().replace(_BEFORE, _AFTER))
    before_logs = [str(SAMPLES / name) for name in RIDES if name.startswith("before")]
    after_logs = [str(SAMPLES / name) for name in RIDES if name.startswith("after")]
    compare = ["compare", "--before", *before_logs, "--after", *after_logs]
    asked = {name: ["report", str(SAMPLES / name)] for name in RIDES}
    asked["comparison"] = compare
    asked["comparison with set-ups"] = [
        *compare, "--setup-before", str(setup), "--setup-after", str(after),
    ]  # fmt: skip
    on_rides = ["--ride", *before_logs]
    changed = ["--change", "rear_" + _AFTER.replace(" ", "")]
    asked["prediction"] = ["predict", str(setup), *on_rides, *changed]
    options = SAMPLES / "thistledrake-options.toml"
    asked["options"] = ["options", str(setup), str(options), *on_rides]
    found = {}
    for name, arguments in asked.items():
        printed = _run(kernel, "-m", "ridelog", *arguments, "--json", "-")
        if printed is not None:
            found[name] = json.loads(printed)
    return found


def _furthest(one: Any, other: Any) -> float:
    """Return the largest difference of a value or bound, in half widths of its interval."""
    if isinstance(one, dict) and isinstance(other, dict):
        apart = [_furthest(one[key], other[key]) for key in one if key in other]
        ends = [record.get("low") for record in (one, other)] + [one.get("high")]
        if all(isinstance(end, float) for end in ends) and one["high"] > one["low"]:
            half = 0.5 * (one["high"] - one["low"])
            names = ("value", "low", "high")
            apart += [abs(one[name] - other[name]) / half for name in names]
        return max(apart, default=0.0)
    if isinstance(one, list) and isinstance(other, list):
        return max((_furthest(*pair) for pair in zip(one, other, strict=False)), default=0.0)
    return 0.0


def main() -> None:
    """Make all results and hold them against each other."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--kernels", default="Haswell,SkylakeX,Zen,Prescott,Nehalem")
    add_options(parser, "kernels")
    chosen = parser.parse_args()
    record = Record("kernels", chosen, rides=len(RIDES))
    made: dict[str, dict[str, Any]] = {}
    runs_as: dict[str, str] = {}
    with tempfile.TemporaryDirectory() as folder:
        for kernel in chosen.kernels.split(","):
            taken = _run(kernel, "-c", _TAKEN)
            if taken is None:
                record.add(kernel=kernel, runs_as="cannot run here")
                continue
            runs_as[kernel] = taken.strip()
            made[kernel] = _results(kernel, Path(folder))
    if len(made) < 2:
        raise SystemExit("fewer than two of these kernels run here: nothing to compare")
    for kernel, results in made.items():
        for name, result in results.items():
            others = [made[other][name] for other in made if other != kernel if name in made[other]]
            pairs = [
                (
                    len(disagreements(result, other, leeway=0.0)),
                    _furthest(result, other),
                    len(disagreements(result, other, leeway=1.0)),
                )
                for other in others
            ]
            digits, furthest, unconfirmed = (max(each) for each in zip(*pairs, strict=True))
            record.add(
                kernel=kernel,
                runs_as=runs_as[kernel],
                result=name,
                digits_differ=digits,
                half_widths=furthest,
                not_confirmed=unconfirmed,
            )
    record.save()


if __name__ == "__main__":
    main()
