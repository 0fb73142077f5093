"""Spoilt logs through the importers, a million if asked, on request.

    python tests/suites/fuzz_importers.py [--rides 1000000] [--seed S] [--jobs J] [--guided RUNS]
                                          [--formats ubx fit] [--minutes M] [--findings DIR]
                                          [--record]

Each input is a short log of one format (log_mutations.py: built ones, pieces of the samples and of
real receivers' logs) with one to six things wrong. It must be read, or refused with a sentence of
one line, within a second of processor time. ``--guided`` adds runs of atheris, which keeps what
reaches new code (pip install atheris; for Linux with Python up to 3.13). A row for each format.
Inputs that break a rule are kept in the folder of findings; ends with 1 if there is one.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from hashlib import sha256
from pathlib import Path

import numpy as np
from log_mutations import ROOT, SEEDS, mended, repacked, seeds, spoilt
from record import Record, add_options

from ridelog.core.errors import RideLogError
from ridelog.importer import log_from_bytes, require_times

REAL = ROOT.parent / "shared" / "real-tracks"
_SLOW_S = 1.0
_PART = 2000


def outcome(data: bytes) -> str:
    """Return "read", "refused", or what went wrong in one line."""
    start = time.process_time()
    try:
        require_times(log_from_bytes("ride.log", data))
        end = "read"
    except RideLogError as error:
        end = "refused"
        if "\n" in str(error) or not error.problem or not error.advice:
            return f"a refusal that is no sentence: {str(error)[:200]!r}"
    except Exception as error:  # that is what is sought
        last = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {error} ({Path(last.filename).name}:{last.lineno})"
    spent = time.process_time() - start
    return end if spent < _SLOW_S else f"took {spent:.1f} s"


def keep(folder: Path, data: bytes, trouble: str) -> None:
    """Keep an input that breaks a rule, under its hash, with what it did beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    name = sha256(data).hexdigest()[:16]
    (folder / f"{name}.log").write_bytes(data)
    (folder / f"{name}.txt").write_text(trouble + "\n", encoding="utf-8")


def some(
    real: Path, findings: Path, seed: int, names: list[str], part: int
) -> Counter[tuple[str, str]]:
    """Try the inputs of one part; return how many of each format ended how."""
    rng = np.random.default_rng([seed, part])
    known = seeds(real)
    by_format = {name: [data for kind, data in known if kind == name] for name in SEEDS}
    everything = [data for _, data in known]
    counts: Counter[tuple[str, str]] = Counter()
    for number in range(_PART):
        name = names[number % len(names)]
        own = by_format[name]
        if name == "packed" and rng.random() < 0.5:
            inside = everything[int(rng.integers(len(everything)))]
            data = repacked(rng, spoilt(rng, inside, everything))
        else:
            data = spoilt(rng, own[int(rng.integers(len(own)))], everything)
        end = outcome(data)
        if end not in ("read", "refused"):
            keep(findings, data, end)
            print(f"FINDING {end}", flush=True)
            end = "broke a rule"
        counts[name, end] += 1
    return counts


def guided(runs: int, real: Path, findings: Path, seed: int) -> Counter[tuple[str, str]]:
    """Let atheris choose inputs in a process of its own, which it ends itself."""
    with tempfile.TemporaryDirectory() as place:
        corpus, told = Path(place) / "corpus", Path(place) / "told.json"
        corpus.mkdir()
        for number, (_, data) in enumerate(seeds(real)):
            (corpus / f"{number:04d}").write_bytes(b"\1" + data)
        subprocess.run(
            [sys.executable, __file__, "--within", str(told), "--findings", str(findings),
             f"-runs={runs}", f"-seed={seed % 2**31}", "-max_len=4000", "-timeout=60",
             "-print_final_stats=0", str(corpus)],
            check=False, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        ends = json.loads(told.read_text()) if told.exists() else {}
    return Counter({("chosen by coverage", end): count for end, count in ends.items()})


def within(told: Path, findings: Path, arguments: list[str]) -> None:
    """Be the process that atheris runs in."""
    import atheris

    # The modules are loaded already: their functions are instrumented where they are.
    atheris.instrument_all()
    ends: Counter[str] = Counter()

    def one(data: bytes) -> None:
        # The first letter says whether the checksums are made right.
        log = mended(data[1:]) if data[:1] == b"\1" else data[1:]
        end = outcome(log)
        if end not in ("read", "refused"):
            keep(findings, log, end)
            end = "broke a rule"
        ends[end] += 1
        if ends.total() % 500 == 0:
            told.write_text(json.dumps(ends))

    atheris.Setup([sys.argv[0], *arguments], one)
    atheris.Fuzz()


def main() -> None:
    """Try all inputs and count how they end."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=20_000, help="inputs, of all formats together")
    parser.add_argument("--minutes", type=float, default=1e9, help="begin nothing after so long")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--formats", nargs="+", choices=sorted(SEEDS), default=sorted(SEEDS))
    parser.add_argument("--guided", type=int, default=0, metavar="RUNS", help="runs of atheris")
    parser.add_argument("--real", type=Path, default=REAL, help="folder of real logs")
    parser.add_argument("--findings", type=Path, default=Path(tempfile.gettempdir()) / "findings")
    parser.add_argument("--within", type=Path, help=argparse.SUPPRESS)
    add_options(parser, "fuzz_importers")
    chosen, rest = parser.parse_known_args()
    if chosen.within:
        within(chosen.within, chosen.findings, rest)
        return
    if rest:
        parser.error(f"unknown arguments: {' '.join(rest)}")
    record = Record("fuzz_importers", chosen, rides=chosen.rides)
    start = time.monotonic()
    counts: Counter[tuple[str, str]] = Counter()
    try_some = partial(some, chosen.real, chosen.findings, chosen.seed, chosen.formats)
    with ProcessPoolExecutor(chosen.jobs) as pool:
        run = pool.map if chosen.jobs > 1 else map
        parts = range(-(-chosen.rides // _PART))
        for batch in (parts[k : k + chosen.jobs] for k in range(0, len(parts), chosen.jobs)):
            if time.monotonic() - start > 60.0 * chosen.minutes:
                break
            for one in run(try_some, batch):
                counts += one
            number = batch[-1]
            if number % 10 == 9:
                print(f"{counts.total():,} inputs, {time.monotonic() - start:.0f} s", flush=True)
    if chosen.guided:
        counts += guided(chosen.guided, chosen.real, chosen.findings, chosen.seed)
    for name in sorted({name for name, _ in counts}):
        ends = {end: counts[name, end] for end in ("read", "refused", "broke a rule")}
        record.add(format=name, inputs=sum(ends.values()), **ends)
    record.save()
    bad = sum(count for (_, end), count in counts.items() if end == "broke a rule")
    print(f"{bad} of {counts.total():,} inputs broke a rule")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
