"""Small faults put in by hand, one at a time, on request: is each caught by the tests named for it?

    python tests/suites/faults.py [--only WORD] [--out tests/validation/faults.csv]

A fault is one change of the code that alters what a reader is told: a limit, a clock, a share, a
hidden part, a guard. Each is made in a copy of the project, in which its tests must fail. One that
passes them ends this with 1. ``tests/test_faults.py`` holds that every fault can still be put in.
"""

import argparse
import csv
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CAUTIONS, MISMATCHES, HIDDEN = (
    f"tests/limits/test_{name}.py" for name in ("cautions", "mismatches", "hidden_parts")
)
TOP, SEEN = "tests/analysis/test_top_speed.py", "tests/analysis/test_seen_way.py"
VERDICT, CLOCKS = "tests/compare/test_verdict.py", "tests/limits/test_clocks.py"
PAIRING, STOPPING = "tests/importer/test_nmea_pairing.py", "tests/analysis/braking/test_stopping.py"
MATCHING, SUBJECT = "compare/matching.py", "analysis/subject.py"
TOP_MEASURE, TOP_SUBJECT = "analysis/top_speed/measure.py", "analysis/top_speed/subject.py"
WINDOWS, SETTINGS = "analysis/windows.py", "analysis/settings.py"


@dataclass(frozen=True)
class Fault:
    """One fault: its name, the file of ridelog, the text there and what stands for it, tests."""

    name: str
    file: str
    right: str
    wrong: str
    tests: str


FAULTS = (
    Fault("opposite runs within 40 degrees", TOP_MEASURE,
          "OPPOSITE_WITHIN_RAD = np.radians(20.0)", "OPPOSITE_WITHIN_RAD = np.radians(40.0)", TOP),
    Fault("opposite runs a day apart", TOP_MEASURE,
          "LONGEST_BETWEEN_S = 3600.0", "LONGEST_BETWEEN_S = 86400.0", TOP),
    Fault("class of age at 16 mph", SUBJECT,
          "_AGE_6_MPS = _MPH.to_mps(15.0)", "_AGE_6_MPS = _MPH.to_mps(16.0)", CAUTIONS),
    Fault("class of age at 11 mph", SUBJECT,
          "_AGE_8_TO_12_MPS = _MPH.to_mps(10.0)", "_AGE_8_TO_12_MPS = _MPH.to_mps(11.0)", CAUTIONS),
    Fault("class of age at 32 mph", SUBJECT,
          "_AGE_10_AND_12_MPS = _MPH.to_mps(30.0)", "_AGE_10_AND_12_MPS = _MPH.to_mps(32.0)",
          CAUTIONS),
    Fault("no hidden opening of a start", "filtering/standing_start/paths.py",
          "UNSEEN_START_S = 0.077", "UNSEEN_START_S = 0.0", HIDDEN),
    Fault("no hidden build-up of a brake", "analysis/braking/measure.py",
          "_UNSEEN_BRAKE_ON_S = 0.065", "_UNSEEN_BRAKE_ON_S = 0.0", HIDDEN),
    Fault("no guard against bridged speed", WINDOWS,
          "& (held(bridged) == 0)", "& (held(bridged) >= 0)", HIDDEN),
    Fault("bridged from twice as uncertain", WINDOWS, "_BRIDGED_SD = 5.0", "_BRIDGED_SD = 10.0",
          HIDDEN),
    Fault("no check of a full disk", "web/incoming.py",
          "if shutil.disk_usage(server.folder).free <", "if 1e30 <", "tests/web/test_disk.py"),
    Fault("two headline figures", "report/compare_words.py",
          "if not each.doubt][:3]", "if not each.doubt][:2]", HIDDEN),
    Fault("other place from 3 km on", MATCHING, "_PLACE_APART_M = 300.0",
          "_PLACE_APART_M = 3000.0", MISMATCHES),
    Fault("bias of a maximum kept", "core/interval.py",
          "value = 2.0 * fitted - float(sharp.mean())", "value = fitted", HIDDEN),
    Fault("wind from 0.3 m/s on", MATCHING, "_WIND_MPS = 0.15", "_WIND_MPS = 0.3", MISMATCHES),
    Fault("slope from 2 % on", MATCHING, "_SLOPE_APART = 0.01", "_SLOPE_APART = 0.02", MISMATCHES),
    Fault("rate from twice on", MATCHING, "_RATE_FACTOR = 1.5", "_RATE_FACTOR = 2.0", MISMATCHES),
    Fault("noise from three times on", MATCHING, "_SPEED_SD_FACTOR = 2.0", "_SPEED_SD_FACTOR = 3.0",
          MISMATCHES),
    Fault("one way within 40 degrees", "core/geodesy.py", "SAME_WAY_DEG = 20.0",
          "SAME_WAY_DEG = 40.0", MISMATCHES),
    Fault("walking pace at 7 km/h", SETTINGS, "WALKING_PACE_MPS = _KMH.to_mps(6.0)",
          "WALKING_PACE_MPS = _KMH.to_mps(7.0)", CAUTIONS),
    Fault("danger backwards at 12 km/h", SETTINGS, "FAR_ABOVE_MPS = _KMH.to_mps(10.0)",
          "FAR_ABOVE_MPS = _KMH.to_mps(12.0)", CAUTIONS),
    Fault("half a second of reaction", SETTINGS, "REACTION_S = 1.0", "REACTION_S = 0.5", STOPPING),
    Fault("directions differ from 20 % on", TOP_SUBJECT, "_RUNS_WITHIN = 0.10",
          "_RUNS_WITHIN = 0.20", CAUTIONS),
    Fault("wide from a fifth on", TOP_SUBJECT, "_WIDE_INTERVAL = 0.10", "_WIDE_INTERVAL = 0.20",
          CAUTIONS),
    Fault("a fifth of a ride unseen", WINDOWS, "WELL_SEEN = 0.9", "WELL_SEEN = 0.8", CAUTIONS),
    Fault("a third of a ride seen", WINDOWS, "LEAST_SEEN = 0.5", "LEAST_SEEN = 0.3", CLOCKS),
    Fault("seconds told across 3 s", WINDOWS, "LONGEST_HOLE_S = 2.1", "LONGEST_HOLE_S = 3.1", SEEN),
    Fault("firm up to 60 %", "core/estimate.py", "WIDEST_SHARE = 0.5", "WIDEST_SHARE = 0.6",
          "tests/core/test_estimate.py"),
    Fault("false claims in a fifth", "compare/verdict.py", "FAMILY_LEVEL = 0.10",
          "FAMILY_LEVEL = 0.20", VERDICT),
    Fault("shown half of the time", "compare/verdict.py", "POWER = 0.9", "POWER = 0.5", VERDICT),
    Fault("dilution carried for 10 s", "importer/nmea.py", "CARRY_S = 5.0", "CARRY_S = 10.0",
          PAIRING),
    Fault("a year is another decade", "importer/timeline.py", "_FAR_US = 10 * 366",
          "_FAR_US = 1 * 366", CLOCKS),
    Fault("dates 30 years apart are one ride", "importer/timeline.py", "_FAR_US = 10 * 366",
          "_FAR_US = 30 * 366", CLOCKS),
    Fault("jitter of a millisecond is a step back", "importer/timeline.py", "_JITTER_S = 0.0025",
          "_JITTER_S = 0.0005", CLOCKS),
    Fault("stops from an eighth of the speed", "analysis/braking/stopping.py",
          "_FROM_SPEED = 0.5", "_FROM_SPEED = 0.125", STOPPING),
    Fault("one brake gives a third", "analysis/braking/stopping.py",
          "_ONE_BRAKE_SHARE = 0.44", "_ONE_BRAKE_SHARE = 0.33", STOPPING),
)  # fmt: skip


def caught(fault: Fault) -> bool:
    """Return whether the tests of a fault fail in a copy of the project that has it."""
    with tempfile.TemporaryDirectory(prefix="fault-") as folder:
        copy = Path(folder) / "project"
        left = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache")
        shutil.copytree(ROOT, copy, ignore=left)
        place = copy / "ridelog" / fault.file
        place.write_text(place.read_text("utf-8").replace(fault.right, fault.wrong), "utf-8")
        paths = os.pathsep.join(map(str, (copy, copy / "tests" / "rides")))
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", fault.tests],
            cwd=copy, env={**os.environ, "PYTHONPATH": paths}, capture_output=True, check=False,
        )  # fmt: skip
    # 1 is "tests failed"; anything else is a fault of this list.
    if done.returncode not in (0, 1):
        raise RuntimeError(f"{fault.name}: {done.stdout.decode()[-2000:]}")
    return done.returncode == 1


def main() -> int:
    """Put every fault in; return 1 if one was not caught."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="faults whose name holds this")
    parser.add_argument("--out", type=Path, help="where the table of outcomes goes")
    words = parser.parse_args()
    rows = []
    for fault in FAULTS:
        if words.only in fault.name:
            found = caught(fault)
            rows.append((fault.name, fault.file, fault.tests, "caught" if found else "passed"))
            print(f"{rows[-1][3]:7} {fault.name}", flush=True)
    if words.out:
        with words.out.open("w", newline="", encoding="utf-8") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(("fault", "file", "tests", "outcome"))
            writer.writerows(rows)
    return int(any(outcome != "caught" for *_, outcome in rows))


if __name__ == "__main__":
    sys.exit(main())
