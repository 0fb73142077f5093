"""Small faults put in by hand, one at a time, on request: is each caught by the tests named for it?

    python tests/suites/faults.py [--only WORD] [--out tests/validation/faults.csv]

A fault is one change of the code that alters what a reader is told: a limit, a clock, a share, a
hidden part, a guard. Each takes the place of what is right as the module is imported, and one of
its tests, which .ci/run runs with all others, must fail; the table names it. A fault that passes
them ends this with 1. ``tests/test_faults.py`` holds that every fault can still be put in.
"""

import argparse
import csv
import os
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from changed_source import first_failure, load_libraries, run_tests

ROOT = Path(__file__).resolve().parents[2]
# No file of tests takes longer on a busy machine. Own choice. [s]
LONGEST_S = 900.0
CAUTIONS, MISMATCHES, HIDDEN = (
    f"tests/limits/test_{name}.py" for name in ("cautions", "mismatches", "hidden_parts")
)
TOP, SEEN = "tests/analysis/test_top_speed.py", "tests/analysis/test_seen_way.py"
VERDICT, CLOCKS = "tests/compare/test_verdict.py", "tests/limits/test_clocks.py"
GRADES, MACHINES, GEOMETRY = (
    f"tests/limits/test_{name}.py" for name in ("grades", "machine_dangers", "geometry")
)
PAIRING, STOPPING = "tests/importer/test_nmea_pairing.py", "tests/analysis/braking/test_stopping.py"
MATCHING, SUBJECT = "compare/matching.py", "analysis/subject.py"
TOP_MEASURE, TOP_SUBJECT = "analysis/top_speed/measure.py", "analysis/top_speed/subject.py"
WINDOWS, SETTINGS = "analysis/windows.py", "analysis/settings.py"
SIGNAL, RISKS, CHECK = "analysis/signal/measure.py", "machine/risks.py", "machine/setup_check.py"


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
          "_UNSEEN_BRAKE_ON_S = 0.069", "_UNSEEN_BRAKE_ON_S = 0.0", HIDDEN),
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
    Fault("two opposite runs by the faster one", TOP_MEASURE,
          "columns[2:].mean(axis=0)", "columns[2:].max(axis=0)", TOP),
    Fault("a run whose top was lost counts", TOP_MEASURE,
          "if any(_top_is_lost(motion, windows, way) for way in ways):", "if not ways:", SEEN),
    Fault("best second from what was excluded", WINDOWS,
          "for first_s, last_s in excluded:", "for first_s, last_s in ():",
          "tests/analysis/test_left_out.py"),
    Fault("intervals of eight in ten", "core/estimate.py", "LEVEL = 0.90", "LEVEL = 0.80",
          "tests/core/test_interval.py"),
    Fault("a third of the draws may be missing", "core/interval.py",
          "_UNDEFINED_SHARE = 0.1", "_UNDEFINED_SHARE = 0.33", GEOMETRY),
    Fault("good up to 0.2 m/s", SIGNAL, "_GOOD_SD_MPS, _FAIR_SD_MPS = 0.10, 0.35",
          "_GOOD_SD_MPS, _FAIR_SD_MPS = 0.20, 0.35", GRADES),
    Fault("fair up to 0.7 m/s", SIGNAL, "_GOOD_SD_MPS, _FAIR_SD_MPS = 0.10, 0.35",
          "_GOOD_SD_MPS, _FAIR_SD_MPS = 0.10, 0.70", GRADES),
    Fault("good with a fifth of the fixes bad", SIGNAL,
          "_GOOD_SHARE, _FAIR_SHARE = 0.90, 0.50", "_GOOD_SHARE, _FAIR_SHARE = 0.80, 0.50", GRADES),
    Fault("a second is long enough", SIGNAL,
          "length_s < steady_span_s(1.0 / motion.rate_hz)[0]", "length_s < 1.0", GRADES),
    Fault("a ride of 20 s is not short", SIGNAL, "_SHORT_RIDE_S = 30.0", "_SHORT_RIDE_S = 20.0",
          GRADES),
    Fault("a fix every four seconds is enough", SIGNAL,
          "_WEAK_RATE_HZ, _LOST_SHARE = 0.45, 0.2", "_WEAK_RATE_HZ, _LOST_SHARE = 0.25, 0.2",
          GRADES),
    Fault("gaps of a third are nothing", SIGNAL, "_WEAK_RATE_HZ, _LOST_SHARE = 0.45, 0.2",
          "_WEAK_RATE_HZ, _LOST_SHARE = 0.45, 0.33", GRADES),
    Fault("a receiver that never settled counts", SIGNAL,
          "if not np.isfinite(motion.settled_s):", "if False:", GRADES),
    Fault("a fuse carries 90 %", RISKS, "_FUSE_SHARE = 0.75", "_FUSE_SHARE = 0.90", MACHINES),
    Fault("blade fuses break 36 V", RISKS, "_BLADE_FUSE_V = 32.0", "_BLADE_FUSE_V = 36.0",
          MACHINES),
    Fault("a quarter more stopping distance", RISKS, "_LONGER_STOP = 1.10", "_LONGER_STOP = 1.25",
          MACHINES),
    Fault("tipping at the whole factor", RISKS, "_TIP_SHARE = 0.85", "_TIP_SHARE = 1.0", MACHINES),
    Fault("brakes of 3.0 m/s2 will do", RISKS, "_YARDSTICK_MPS2 = 3.5", "_YARDSTICK_MPS2 = 3.0",
          MACHINES),
    Fault("reverse of a faster machine", RISKS, "_SPEED_STEP = 1.02", "_SPEED_STEP = 1.05",
          MACHINES),
    Fault("a volt more is no change", RISKS, "pack.full_v > 1.001 * old.full_v",
          "pack.full_v > 1.03 * old.full_v", MACHINES),
    Fault("tips from 0.3 g on", CHECK, "_LEAST_TIP = 0.4", "_LEAST_TIP = 0.3", MACHINES),
    Fault("no brakes up to 30 km/h", CHECK, "_FAST_KMH = 25.0", "_FAST_KMH = 30.0", MACHINES),
    Fault("75 V is no shock", CHECK, "pack.full_v > 60.0", "pack.full_v > 75.0", MACHINES),
    Fault("any tyre fits", CHECK, "_TYRE_SHARES = (0.86, 1.02)", "_TYRE_SHARES = (0.80, 1.06)",
          MACHINES),
    Fault("slow vehicles up to 30 km/h", "analysis/braking/stopping.py",
          "if top_mps <= 25.0 * MPS_PER_KMH:", "if top_mps <= 30.0 * MPS_PER_KMH:",
          "tests/published/test_braking_tables.py"),
    Fault("three stops are enough", "analysis/braking/stopping.py", "_STOPS_ASKED = 5",
          "_STOPS_ASKED = 3", "tests/published/test_braking_tables.py"),
    Fault("a two-digit year of 70 on is 19xx", "importer/nmea_readings.py", "year >= 80, 1900",
          "year >= 70, 1900", "tests/importer/test_nmea_dates.py"),
    Fault("six rides show a drift", "compare/drift.py", "LEAST_RIDES = 8", "LEAST_RIDES = 6",
          "tests/compare/test_drift.py"),
    Fault("half as many satellites", "filtering/quality.py", "FEW_SATELLITES = 5",
          "FEW_SATELLITES = 4", GEOMETRY),
    Fault("dilution of 8 is good", "filtering/quality.py", "POOR_HDOP = 5.0", "POOR_HDOP = 8.0",
          GEOMETRY),
    Fault("a gap from 5 s on", "filtering/observations.py", "_GAP_S, _GAP_INTERVALS = 2.5, 3.5",
          "_GAP_S, _GAP_INTERVALS = 5.0, 3.5", GEOMETRY),
    Fault("headlines weigh like the others", "analysis/figure.py", "HEADLINE_WEIGHT = 4.0",
          "HEADLINE_WEIGHT = 1.0", VERDICT),
    Fault("wind is not in the interval", "compare/difference.py", "if wind_parts is not None:",
          "if False:", "tests/compare/test_difference.py"),
)  # fmt: skip


def caught(fault: Fault, log: Path) -> str:
    """Return the test of a fault that fails first where it is put in, empty if none does."""
    text = (ROOT / "ridelog" / fault.file).read_text("utf-8")
    module = "ridelog." + fault.file.removesuffix(".py").replace("/", ".")
    wrong = {module: text.replace(fault.right, fault.wrong)}
    code = run_tests([fault.tests], wrong, log, LONGEST_S)
    # 1 is "tests failed"; anything else is a fault of this list.
    if code not in (0, 1):
        raise RuntimeError(f"{fault.name}: {log.read_text('utf-8')[-2000:]}")
    return first_failure(log) if code else ""


def _write(place: Path, rows: list[tuple[str, ...]]) -> None:
    """Write the outcomes in the order of the faults, those that a table has kept for the others."""
    kept: dict[str, tuple[str, ...]] = {}
    if place.exists():
        with place.open(encoding="utf-8", newline="") as stream:
            kept = {row[0]: tuple(row) for row in list(csv.reader(stream))[1:]}
    kept |= {row[0]: row for row in rows}
    with place.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("fault", "file", "caught by", "outcome"))
        writer.writerows(kept[fault.name] for fault in FAULTS if fault.name in kept)


def main() -> int:
    """Put every fault in; return 1 if one was not caught."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--only", default=[""], nargs="*", help="faults whose names hold one of these"
    )
    parser.add_argument("--out", type=Path, help="the table of outcomes; its other rows stay")
    words = parser.parse_args()
    rows: list[tuple[str, ...]] = []
    os.nice(15)
    load_libraries()
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        for fault in FAULTS:
            if any(word in fault.name for word in words.only):
                by = caught(fault, Path(folder) / "log")
                rows.append((fault.name, fault.file, by, "caught" if by else "passed"))
                print(f"{rows[-1][3]:7} {fault.name}: {by}", flush=True)
        # A test that fails without the fault as well has caught nothing.
        names = sorted({by for *_, by, outcome in rows if outcome == "caught"})
        code = run_tests(names, {}, Path(folder) / "log", LONGEST_S)
        if code != 0:
            raise RuntimeError(f"without any fault: {(Path(folder) / 'log').read_text('utf-8')}")
    if words.out:
        _write(words.out, rows)
    return int(any(outcome != "caught" for *_, outcome in rows))


if __name__ == "__main__":
    sys.exit(main())
