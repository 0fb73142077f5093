"""How many small changes of the code do the tests catch? On request.

    python tests/suites/mutants.py --gather FOLDER [tests ...]
    python tests/suites/mutants.py --from FOLDER [--count 240] [--seed N] [--record]

The first runs tests once with coverage and notes in FOLDER which lines each runs over, at which
commit, and how long it takes; lines that moved since are followed. The second draws lines at random
(``mutant_choice``), makes one change in each with an operator of cosmic-ray (``pip install
--editable '.[mutants]'``) and runs the tests that run over that line, quickest first, until one
fails. cosmic-ray's own runner starts one command for every mutant, whatever the line; here a
process with the libraries loaded is forked instead, and the changed source takes the module's place
as it is imported, so no file is written. Only tests that passed when they were gathered are taken.
A mutant whose tests do not end in time counts as caught, as one that cannot be imported does. What
failed must pass again without the change, or the run ends. What the smoother gives is kept between
mutants of rooms after it.

``tests/validation/mutants-harmless.csv`` names mutants that change nothing a reader sees, each with
the reason found by reading it; they are told apart and left out of the share.
"""

import argparse
import csv
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from changed_source import first_failure, load_libraries, run_tests
from mutant_choice import PACKAGE, PARTS, ROOT, Mutant, drawn
from mutant_covering import Covering
from record import VALIDATION, Record, add_options
from scipy.stats import binomtest

# Tests of the rooms whose lines are changed, and of what all of them stand on; none in a browser.
GATHERED = (
    "tests/core", "tests/limits", "tests/compare", "tests/machine", "tests/analysis",
    "tests/published", "tests/filtering", "tests/report", "tests/workflow/test_one_figure.py",
    "tests/holds/test_figures_stay.py",
)  # fmt: skip
# The quick ones first; then what is left, as far as time allows. [s] Own choice.
STAGES_S = (4.0, 20.0, 60.0)
# A change may let tests take so much longer, and a start; after this a mutant hangs. Own choice.
SLOWER, START_S = 6.0, 40.0
# Tests that passed without a change in this run, and whether with a smoother that keeps.
_PASSED: set[tuple[str, bool]] = set()
# Rooms whose change changes what the smoother gives.
_BEFORE_MOTION = ("core", "importer", "filtering")
_KEEPING = """
import hashlib as _hashlib, os as _os, pathlib as _pathlib, pickle as _pickle
import cloudpickle as _cloudpickle
_worked_out = estimate_motion
def estimate_motion(track, *, report_progress=None):
    if report_progress is not None:
        return _worked_out(track, report_progress=report_progress)
    place = _pathlib.Path({folder!r}) / _hashlib.sha256(_pickle.dumps(track)).hexdigest()
    if place.exists():
        return _pickle.loads(place.read_bytes())
    motion = _worked_out(track)
    part = place.with_suffix(f".{{_os.getpid()}}")
    part.write_bytes(_cloudpickle.dumps(motion))
    part.replace(place)
    return motion
"""


@dataclass(frozen=True)
class Outcome:
    """What came of a mutant: caught, too long, survived or not run over; by what; in how long.

    ``after`` is the line as it was changed.
    """

    word: str
    by: str
    took_s: float
    after: str


def gather(folder: Path, tests: Sequence[str]) -> None:
    """Run tests once; note in a folder what they run over and how long they take."""
    folder.mkdir(parents=True, exist_ok=True)
    settings = folder / "coverage.ini"
    settings.write_text(
        f"[run]\nsource = ridelog\nrelative_files = True\ndata_file = {folder / 'cov.db'}\n"
    )
    commit = subprocess.run(
        ["git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    (folder / "commit.txt").write_text(commit, encoding="utf-8")
    paths = os.pathsep.join(map(str, (ROOT, ROOT / "tests" / "rides", ROOT / "tests" / "suites")))
    subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "mutant_timing",
         "--timing-to", str(folder / "timing.json"), "--cov", f"--cov-config={settings}",
         "--cov-context=test", "--cov-report=", *tests],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": paths, "OPENBLAS_NUM_THREADS": "1"}, check=False,
    )  # fmt: skip


def outcome_of(
    mutant: Mutant, covering: Covering, folder: Path, stages_s: tuple[float, ...] = STAGES_S
) -> Outcome:
    """Run the tests over a mutant until one fails."""
    begin_s = time.monotonic()
    changed, after = mutant.made()
    kept = {} if mutant.file.split("/")[0] in _BEFORE_MOTION else _keeping(folder)
    sources = {mutant.module: changed} | kept
    log = folder / "log"
    stages = covering.stages(covering.tests(mutant.file, mutant.line), stages_s)
    word, by = "survived" if stages else "not run over", ""
    for tests, takes_s in stages:
        code = run_tests(tests, sources, log, START_S + SLOWER * takes_s)
        if code != 0:
            word, by = ("too long", tests[0]) if code is None else ("caught", first_failure(log))
            _must_pass(by, tests, kept, log, START_S + SLOWER * takes_s)
            break
    return Outcome(word, by, time.monotonic() - begin_s, after)


def _must_pass(
    by: str, tests: Sequence[str], kept: dict[str, str], log: Path, limit_s: float
) -> None:
    """End the run if what failed fails without the change too: then nothing was caught."""
    again = [test for test in tests if test == by or test.startswith(f"{by}::")] or tests[:1]
    if (again[0], bool(kept)) in _PASSED:
        return
    if run_tests(again, kept, log, limit_s) != 0:
        raise SystemExit(f"{again[0]} fails without a change: {first_failure(log)}, see {log}")
    _PASSED.add((again[0], bool(kept)))


def _keeping(folder: Path) -> dict[str, str]:
    """Return a source of the smoother that keeps what it gave."""
    place = PACKAGE / "filtering" / "smoother.py"
    kept = folder / "motions"
    kept.mkdir(exist_ok=True)
    words = place.read_text(encoding="utf-8") + _KEEPING.format(folder=str(kept))
    return {"ridelog.filtering.smoother": words}


def harmless(place: Path = VALIDATION / "mutants-harmless.csv") -> dict[tuple[str, str, str], str]:
    """Return the mutants that were read and change nothing a reader sees, with the reasons."""
    if not place.exists():
        return {}
    with place.open(encoding="utf-8", newline="") as stream:
        return {
            (row["file"], row["before"], row["after"]): row["reason"]
            for row in csv.DictReader(stream)
        }


def _rows(record: Record, outcomes: dict[Mutant, Outcome], sizes: dict[str, int]) -> None:
    """Add a row for each part and one for all."""
    known = harmless()
    for part in (*PARTS, "all"):
        found = {m: one for m, one in outcomes.items() if part in (m.part, "all")}
        told = Counter(
            "harmless"
            if one.word in ("survived", "not run over") and (m.file, m.before, one.after) in known
            else one.word
            for m, one in found.items()
        )
        decided = len(found) - told["harmless"]
        if decided == 0:
            continue
        caught = told["caught"] + told["too long"]
        bounds = binomtest(caught, decided).proportion_ci(0.95, "exact")
        record.add(
            part=part, lines=sum(sizes.values()) if part == "all" else sizes[part],
            mutants=len(found), caught=told["caught"], too_long=told["too long"],
            survived=told["survived"], not_run_over=told["not run over"],
            harmless=told["harmless"], share=caught / decided, low_95=bounds.low,
            high_95=bounds.high,
        )  # fmt: skip


def _read(place: Path | None) -> dict[tuple[str, ...], Outcome]:
    """Return the outcomes that a table holds, by what names their mutants."""
    if place is None or not place.exists():
        return {}
    with place.open(encoding="utf-8", newline="") as stream:
        return {
            (row["file"], row["operator"], row["occurrence"]): Outcome(
                row["outcome"], row["by"], float(row["took_s"]), row["after"]
            )
            for row in csv.DictReader(stream)
        }


def _write(place: Path, outcomes: dict[Mutant, Outcome]) -> None:
    """Write every mutant with what came of it."""
    part = place.with_suffix(".part")
    with part.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        names = ("part", "file", "line", "operator", "occurrence", "before", "after", "outcome",
                 "by", "took_s")  # fmt: skip
        writer.writerow(names)
        for m, one in outcomes.items():
            writer.writerow(
                (m.part, m.file, m.line, m.operator, m.occurrence, m.before, one.after, one.word,
                 one.by, f"{one.took_s:.0f}")
            )  # fmt: skip
    part.replace(place)


def main() -> None:
    """Gather, or change and run."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("tests", nargs="*", default=GATHERED, help="which tests are gathered")
    parser.add_argument("--gather", type=Path, metavar="FOLDER")
    parser.add_argument("--from", type=Path, dest="source", metavar="FOLDER")
    parser.add_argument("--count", type=int, default=240)
    parser.add_argument("--least", type=int, default=30, help="mutants of a part at least")
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    parser.add_argument("--stages", type=float, nargs="+", default=STAGES_S, metavar="S",
                        help="how long the tests of each stage take by themselves")  # fmt: skip
    parser.add_argument("--minutes", type=float, default=1e9, help="begin none after so long")
    parser.add_argument("--out", type=Path, help="a table of every mutant; what it has is not run")
    add_options(parser, "mutants")
    chosen = parser.parse_args()
    if chosen.gather:
        gather(chosen.gather.resolve(), chosen.tests)
        return
    if not chosen.source:
        parser.error("give --from FOLDER, which --gather FOLDER wrote before")
    mutants, sizes = drawn(chosen.count, chosen.seed, chosen.least)
    os.nice(15)
    done = _read(chosen.out)
    named = {one: (one.file, one.operator, str(one.occurrence)) for one in mutants}
    outcomes = {one: done[name] for one, name in named.items() if name in done}
    left = [one for one in mutants if one not in outcomes]
    with tempfile.TemporaryDirectory(prefix="mutants-") as place:
        left = [one for one in left if one.part in chosen.parts]
        if chosen.minutes > 0.0 and left:
            _try(left, chosen, outcomes, Path(place))
    record = Record("mutants", chosen, rides=len(outcomes))
    _rows(record, outcomes, sizes)
    record.save()


def _try(
    mutants: Sequence[Mutant],
    chosen: argparse.Namespace,
    outcomes: dict[Mutant, Outcome],
    folder: Path,
) -> None:
    """Try mutants, adding what comes of each to ``outcomes`` and the table."""
    load_libraries()
    covering = Covering(chosen.source)
    end_s = time.monotonic() + 60.0 * chosen.minutes
    for mutant in mutants:
        if time.monotonic() > end_s:
            return
        one = outcomes[mutant] = outcome_of(mutant, covering, folder, tuple(chosen.stages))
        if chosen.out:
            _write(chosen.out, outcomes)
        print(
            f"{one.word:12} {one.took_s:4.0f} s  {mutant.file}:{mutant.line}  "
            f"{mutant.before}  ->  {one.after}",
            flush=True,
        )


if __name__ == "__main__":
    main()
