"""Killed at random instants, does anything get lost? On request.

    python tests/suites/kills.py [--kills 100] [--only import ...] [--seed N] [--record]

For each kind of work (import, add, export, move, migration, measuring, serve) a process that does
it is killed with SIGKILL at a random instant, again and again, each time followed by the same work
done to its end. Then every note, mark, machine, result and original must be there, as after work
that nobody disturbed, and ``book check`` must find nothing amiss. Ends with 1 if anything is lost.
"""

import argparse
import hashlib
import json
import os
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from record import Record, add_options

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "book"), str(ROOT / "tests" / "web")]

from killed_page import kill_the_page, log_bytes  # noqa: E402

import ridelog.analysis.ride  # noqa: E402, F401  (loaded once, before any process is made)
from ridelog.book import versions  # noqa: E402
from ridelog.book.book import DATABASE, Book  # noqa: E402
from ridelog.book.check import check_book  # noqa: E402
from ridelog.book.database import connect  # noqa: E402
from ridelog.book.exchange import export_book, import_book  # noqa: E402
from ridelog.book.records import NewResult  # noqa: E402
from ridelog.cli.main import run  # noqa: E402
from ridelog.core.estimate import Estimate  # noqa: E402
from ridelog.workflow.measuring import TRACE  # noqa: E402

# Rides of a book, and logs that are measured: enough for a kill to strike between two of them.
BOOK, LOGS = 12, 2


@dataclass(frozen=True)
class Case:
    """One kind of work: how it is set up, and what must be there after it."""

    work: Callable[[Path, Path], None]
    begin: Callable[[Path, Path], None]
    told: Callable[[Path, Path], Any]
    renew: bool = True


def fill(folder: Path, count: int, results: bool = True) -> None:
    """Make a book with everything that riders write."""
    with Book(folder) as book, book.all_or_nothing():
        for number in range(count):
            data = b"log %d " % number * 400
            ride, _ = book.rides.add(book.store(data), f"{number}.gpx")
            book.assign(ride.id, f"Thistledrake {number % 3}", f"{50 + number} teeth")
            book.details.add_note(ride.id, f"note {number}", "2024-06-09T10:00:00Z")
            book.details.add_note(ride.id, "second", "2024-06-09T10:00:01Z")
            book.details.add_mark(ride.id, "reverse", number, number + 1.5)
            book.details.set_conditions(ride.id, {"rider": "Edda", "wind": "light"})
            if results:
                figures = {"top": Estimate(9.0, 8.0, 10.0)}
                book.results.put(ride.id, NewResult("0.1.0", {}, {"n": number}, figures))
                book.rides.describe(
                    ride.id, format="gpx-1.1", start_utc="2024-06-09T09:05:00Z", duration_s=9.0
                )


def of_book(folder: Path) -> dict[str, Any]:
    """Return everything in a book, by log: words, figures, bytes; times of adding left out."""
    with Book(folder) as book:
        told: dict[str, Any] = {}
        for place, words in book.words.every():
            words.pop("added_utc", None)
            told[place.stem] = words
        for ride in book.rides.found(most=1000):
            result = book.results.latest(ride.id)
            told[ride.sha256]["state"] = ride.state
            told[ride.sha256]["result"] = result and (result.document, result.settings)
            told[ride.sha256]["figures"] = book.results.figures([ride.id])[ride.id]
            told[ride.sha256]["trace"] = book.results.attachment(ride.id, TRACE)
            told[ride.sha256]["bytes"] = hashlib.sha256(book.original(ride.sha256)).hexdigest()
    return told


def of_export(folder: Path) -> dict[str, bytes]:
    """Return the files of an export."""
    found = {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    left = list(folder.parent.glob(f".{folder.name}.*.part"))
    assert not left, f"left behind: {left}"
    return found


def _to_import(folder: Path, other: Path) -> None:
    source = other.with_name("source")
    if not other.exists():
        fill(source, BOOK)
        with Book(source) as book:
            export_book(book, other)


def _to_export(folder: Path, other: Path) -> None:
    if not folder.exists():
        fill(folder, BOOK)
    shutil.rmtree(other, ignore_errors=True)


def _to_move(folder: Path, other: Path) -> None:
    fill(folder, BOOK)


def _to_migrate(folder: Path, other: Path) -> None:
    """Make a book of the version before this one."""
    kept = other.with_name("older")
    if not kept.exists():
        steps = versions.STEPS
        versions.STEPS = steps[:1]
        try:
            kept.mkdir()
            (kept / "originals").mkdir()
            connection = connect(kept / DATABASE)
        finally:
            versions.STEPS = steps
        for number in range(10 * BOOK):
            data = b"log %d " % number * 4
            sha256 = hashlib.sha256(data).hexdigest()
            place = kept / "originals" / sha256[:2] / sha256
            place.parent.mkdir(exist_ok=True)
            place.write_bytes(data)
            for statement, values in (
                ("INSERT INTO ride (sha256, size_bytes, file, state, added_utc)"
                 " VALUES (?, ?, ?, 'waiting', '')", (sha256, len(data), f"{number}.gpx")),
                ("INSERT INTO note (ride_id, words, written_utc) VALUES (?, 'wet', '2024')",
                 (number + 1,)),
                ("INSERT INTO result (ride_id, version, settings, document, made_utc)"
                 " VALUES (?, '0.1.0', '{}', ?, '')",
                 (number + 1, json.dumps({"n": number, "text": "x" * 5000}))),
            ):  # fmt: skip
                connection.execute(statement, values)
        connection.close()
    shutil.copytree(kept, folder)


def _to_add(folder: Path, other: Path) -> None:
    if not other.exists():
        other.mkdir()
        for number in range(LOGS):
            (other / f"{number}.nmea").write_bytes(log_bytes(number))


def _to_measure(folder: Path, other: Path) -> None:
    with Book(folder) as book:
        for number in range(LOGS):
            ride, _ = book.rides.add(book.store(log_bytes(number)), f"{number}.nmea")
            book.details.add_note(ride.id, "wet", "2024-06-09T10:00:00Z")
            book.details.add_mark(ride.id, "left_out", 1.0, 2.0)


def _import(folder: Path, other: Path) -> None:
    with Book(folder) as book:
        import_book(book, other)


def _export(folder: Path, other: Path) -> None:
    with Book(folder) as book:
        export_book(book, other)


def _move(folder: Path, other: Path) -> None:
    with Book(folder) as book:
        for number in range(1, BOOK + 1):
            book.assign(number, f"machine {number}", f"{number} teeth")


def _add(folder: Path, other: Path) -> None:
    logs = sorted(str(path) for path in other.iterdir())
    run(["book", "add", *logs, "--book", str(folder), "--machine", "Thistledrake 2"])


def _measure(folder: Path, other: Path) -> None:
    run(["book", "again", "--book", str(folder)])


def _migrate(folder: Path, other: Path) -> None:
    Book(folder).close()


def _book(folder: Path, other: Path) -> Any:
    return of_book(folder)


CASES = {
    "import": Case(_import, _to_import, _book),
    "add": Case(_add, _to_add, _book),
    "export": Case(_export, _to_export, lambda folder, other: of_export(other), renew=False),
    "move": Case(_move, _to_move, _book),
    "migration": Case(_migrate, _to_migrate, _book),
    "measuring": Case(_measure, _to_measure, _book),
}


def work(case: Case, folder: Path, other: Path, after_s: float = 1e9) -> tuple[float, bool]:
    """Do a kind of work in a process; return how long it took, and whether it was killed."""
    child = os.fork()
    if child == 0:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        try:
            case.work(folder, other)
        finally:
            os._exit(0)
    start_s = time.monotonic()
    killed = False
    while os.waitpid(child, os.WNOHANG)[0] == 0:
        if not killed and time.monotonic() - start_s >= after_s:
            os.kill(child, signal.SIGKILL)
            killed = True
        time.sleep(0.0002)
    return time.monotonic() - start_s, killed


def kill(name: str, kills: int, rng: np.random.Generator, place: Path) -> dict[str, int]:
    """Kill one kind of work again and again; return what came of it."""
    case, other = CASES[name], place / "other"
    folder = place / "book"
    case.begin(folder, other)
    with suppress(SystemExit):  # here, so that every process made later has all modules at hand
        case.work(folder, other)
    wanted = case.told(folder, other)
    if case.renew:
        shutil.rmtree(folder)
    case.begin(folder, other)
    lasts_s, _ = work(case, folder, other)
    done = wrong = tries = 0
    while done < kills and tries < 4 * kills:
        tries += 1
        if case.renew:
            shutil.rmtree(folder)
        case.begin(folder, other)
        after_s = float(rng.uniform(0.0, 1.1 * lasts_s))
        took_s, killed = work(case, folder, other, after_s)
        if not killed:  # it was done before
            lasts_s = 0.5 * (lasts_s + took_s)
            continue
        done += 1
        if done % 10 == 0:
            print(f"  {name}: {done} kills, {wrong} with a loss", flush=True)
        if not (name == "export" and other.exists()):
            work(case, folder, other)
        try:
            found = case.told(folder, other)
            faults = [fault.what for fault in check_book(folder).faults]
        except Exception as error:  # whatever stops the look is a loss as well
            found, faults = None, [repr(error)]
        if found != wanted or faults:
            wrong += 1
            print(f"  FAULT: {name}, killed after {after_s:.3f} s: {faults[:3]}", flush=True)
    return {"kills": done, "runs_not_killed": tries - done, "with_a_loss": wrong}


def main() -> None:
    """Kill, do again, compare."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--only", nargs="+", default=[*CASES, "serve"])
    add_options(parser, "kills")
    chosen = parser.parse_args()
    record = Record("kills", chosen, rides=chosen.kills)
    losses = 0
    for name in chosen.only:
        rng = np.random.default_rng([chosen.seed, *name.encode()])
        with tempfile.TemporaryDirectory() as place:
            if name == "serve":
                found = kill_the_page(Path(place), chosen.kills, rng)
            else:
                found = kill(name, chosen.kills, rng, Path(place))
        record.add(work=name, **found)
        losses += found["with_a_loss"]
    record.save()
    sys.exit(1 if losses else 0)


if __name__ == "__main__":
    main()
