"""A drive that fails at each step of a day's work: a sentence, then the same day to its end?

    python tests/suites/drive.py [--rounds 3] [--only full ...] [--seed N] [--record]

Logs are added, an export is read, rides are measured, the book is checked, the page is opened, gets
a log and a note, compares, and is closed; rides are compared and reported by command, the book is
exported, its database is spoilt and made anew. At each step the drive with the book and everything
that is written is full, full but for a little, read-only, forbidden to read or to write, gone, or
the clock is set back. What was asked then must come to its end or be refused in words, and come to
its end once the drive is well; in the end everything must be there as on a day without faults. Ends
with 1 if not. Needs Linux with unshare, mount, setpriv and a C compiler.
"""

import argparse
import hashlib
import http.client
import json
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import numpy as np
from faulty_drive import Drive, enter_mounts_of_its_own
from killed_page import ask, come_in
from kills import of_book
from record import Record, add_options

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "web")]

from visitor import short_log  # noqa: E402  (needs the path above)

from ridelog.book.book import DATABASE, Book  # noqa: E402
from ridelog.book.exchange import export_book  # noqa: E402

LONGEST_S = 300.0
DAY_S, YEARS_S = 86_400, 10 * 365 * 86_400
# Words of a mistake of ridelog's own, which no fault of a drive may bring forth.
_MISTAKES = ("Traceback", "made a mistake here", "could not finish its calculation")


@dataclass(frozen=True)
class Outcome:
    """What came of a step: whether it came to its end, and what was said."""

    done: bool
    said: str

    @property
    def in_words(self) -> bool:
        """Whether a step that did not come to its end says why, and calls it no mistake."""
        words = self.done or re.search(r"[a-z]{3,} [a-z]{2,}.*\.", self.said) is not None
        return words and not any(one in self.said for one in _MISTAKES)


@dataclass
class Day:
    """One book on one drive, and the steps of a day's work with it."""

    place: Path
    drive: Drive
    port: int = 0
    page: subprocess.Popen[str] | None = None
    faults: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.book, self.out = self.drive.path / "book", self.drive.path / "out"
        self.out.mkdir()
        self.logs = [self.place / f"{name}.nmea" for name in ("before", "after", "dropped")]
        for path, (name, fixes) in zip(
            self.logs,
            (("before-2.nmea", 200), ("after-2.nmea", 200), ("after-2.nmea", 160)),
            strict=True,
        ):
            path.write_bytes(short_log(name, fixes))
        self.given = self.place / "given"
        if not self.given.exists():
            with Book(self.place / "other") as other:
                ride, _ = other.rides.add(other.store(short_log("after-2.nmea", 150)), "given.nmea")
                other.assign(ride.id, "Gorsehopper", "11 teeth")
                other.details.add_note(ride.id, "from elsewhere", "2024-06-09T10:00:00Z")
                export_book(other, self.given)

    def steps(self) -> Iterator[tuple[str, Callable[[], Outcome]]]:
        """Yield each step by its name."""
        before, after, _ = map(str, self.logs)
        in_book = ("--book", str(self.book))
        told = partial(self.command, "book")
        machine = ("--machine", "Thistledrake 2", "--setup", "64 teeth")
        yield "add", partial(told, "add", before, after, *in_book, *machine)
        yield "import", partial(told, "import", str(self.given), *in_book)
        yield "measure", partial(told, "again", *in_book)
        yield "check", partial(told, "check", *in_book)
        yield "serve", self.serve
        yield "page: drop", self.drop
        yield "page: measure", self.measure_again
        yield "page: note", self.note
        yield "page: compare", self.compare
        self.close()
        sides = ("--before", before, "--after", after)
        yield "compare", partial(self.command, "compare", *sides, "--out", str(self.out / "sheet"))
        yield "report", partial(self.command, "report", before, "--out", str(self.out / "report"))
        yield "export", partial(told, "export", str(self.out / "export"), *in_book)
        self.spoil()
        yield "rebuild", partial(told, "rebuild", *in_book)
        yield "serve again", self.serve
        self.close()

    def command(self, *words: str) -> Outcome:
        """Run a command to its end."""
        try:
            done = subprocess.run(
                self.drive.command(*words), env=self.drive.environment, cwd=ROOT, text=True,
                capture_output=True, timeout=LONGEST_S, stdin=subprocess.DEVNULL,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return Outcome(False, f"Traceback: nothing for {LONGEST_S} s")
        return Outcome(done.returncode == 0, (done.stderr if done.returncode else "").strip())

    def serve(self) -> Outcome:
        """Open the page."""
        errors = self.place / "errors.txt"
        with errors.open("w") as stream:
            self.page = subprocess.Popen(
                self.drive.command("serve", "--book", str(self.book), "--port", "0"), cwd=ROOT,
                env=self.drive.environment, stdout=subprocess.PIPE, stderr=stream, text=True,
            )  # fmt: skip
        assert self.page.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:(\d+)", self.page.stdout.readline())
        if not found:
            self.page.wait(timeout=LONGEST_S)
            self.page.stdout.close()
            self.page = None
            return Outcome(False, errors.read_text().strip())
        self.port = int(found[1])
        with Book(self.drive.inside / "book") as book:
            hashes = [hashlib.sha256(log.read_bytes()).hexdigest() for log in self.logs[:2]]
            self._numbers = [ride.id for ride in map(book.rides.by_hash, hashes) if ride]
        try:
            self._ours, self._token = come_in(self._host)
        except AssertionError:  # the first page is a sentence
            said = ask(self._host, "GET", "/", b"", {})[1].decode()
            self.close()
            return Outcome(False, _bare(said))
        return Outcome(True, "")

    def close(self) -> None:
        """Close the page as Ctrl-C does, and look at what it wrote."""
        if self.page is None:
            return
        self.page.terminate()
        self.page.wait(timeout=60)
        assert self.page.stdout is not None
        self.page.stdout.close()
        self.page = None
        said = (self.place / "errors.txt").read_text()
        if any(word in said for word in _MISTAKES):
            self.faults.append(said[-2000:])

    @property
    def _host(self) -> str:
        return f"127.0.0.1:{self.port}"

    def drop(self) -> Outcome:
        """Drop a log on the page and wait for its figures."""
        place = f"/logs?{urlencode({'name': 'dropped.nmea', 'machine_name': 'Thistledrake 2'})}"
        headers = {**self._ours, "x-ridelog-token": self._token}
        answered = self._asked("PUT", place, self.logs[2].read_bytes(), headers)
        return self._measured() if answered.done else answered

    def measure_again(self) -> Outcome:
        """Have a ride measured anew by the page."""
        answered = self._form(f"/rides/{self.ride(0)}/again")
        return self._measured() if answered.done else answered

    def note(self) -> Outcome:
        """Write a note on a ride."""
        fields = {"note": "pulled left", "machine": "Thistledrake 2", "setup": "64 teeth"}
        return self._form(f"/rides/{self.ride(0)}/details", **fields)

    def compare(self) -> Outcome:
        """Compare two rides on the page."""
        asked = f"/compare?before={self.ride(0)}&after={self.ride(1)}"
        found = self._asked("GET", asked, b"", self._ours)
        return Outcome(found.done and "What the change did" in found.said, found.said)

    def ride(self, log: int) -> int:
        """Return the number of the ride of a log, which was asked for while all was well."""
        return self._numbers[log]

    def _form(self, place: str, **fields: str) -> Outcome:
        headers = {**self._ours, "Content-Type": "application/x-www-form-urlencoded"}
        form = urlencode({"token": self._token, **fields}).encode()
        return self._asked("POST", place, form, headers)

    def _asked(self, method: str, place: str, data: bytes, headers: dict[str, str]) -> Outcome:
        try:
            status, body = ask(self._host, method, place, data, headers)
        except (OSError, http.client.HTTPException) as error:
            return Outcome(False, f"Traceback: no answer ({error!r})")
        words = _bare(body.decode("utf-8", "replace"))
        return Outcome(status < 400, words)

    def _measured(self) -> Outcome:
        end = time.monotonic() + LONGEST_S
        while time.monotonic() < end:
            tasks = json.loads(ask(self._host, "GET", "/tasks", b"", self._ours)[1])
            if all(task["state"] in ("done", "failed") for task in tasks):
                failed = [task for task in tasks if task["state"] == "failed"]
                for task in failed:
                    self._form("/tasks/dismiss", task=str(task["number"]))
                return Outcome(not failed, " ".join(task["problem"] for task in failed))
            time.sleep(0.1)
        return Outcome(False, f"Traceback: not measured in {LONGEST_S} s")

    def spoil(self) -> None:
        """Spoil the first bytes of the database, and keep what was in it."""
        self.whole = _without_times(of_book(self.book))
        with (self.book / DATABASE).open("r+b") as stream:
            stream.write(b"spoilt" * 16)

    def told(self) -> dict[str, Any]:
        """Return everything that is there at the end of the day, but for times of writing."""
        found = _without_times(of_book(self.book))
        for ride in found.values():  # what a database made anew measures when it is asked to
            for name in ("state", "result", "figures", "trace"):
                ride.pop(name, None)
        # The number of a ride, and so of its folder, follows from when it came in.
        files = sorted({re.sub(r"/0\d+-", "/", str(one.relative_to(self.out)))
                        for one in self.out.rglob("*")})  # fmt: skip
        exported = {
            json.loads(one.read_text())["sha256"]: json.loads(one.read_text())["result"]
            for one in self.out.glob("export/rides/*/ride.json")
        }
        return {"whole": self.whole, "book": found, "files": files, "exported": exported}


def _without_times(told: dict[str, Any]) -> dict[str, Any]:
    """Take out when notes were written, which no two days have in common."""
    for ride in told.values():
        for note in ride.get("notes", ()):
            note.pop("written_utc")
    return told


def _bare(page: str) -> str:
    main = page.partition("<main")[2] or page
    return " ".join(re.sub(r"<[^>]*>", " ", main).split())


FAULTS = (
    "full", "nearly full", "read-only", "no right to read", "no right to write", "gone",
    "clock back a day", "clock back ten years",
)  # fmt: skip


def faults_of(drive: Drive, rng: np.random.Generator) -> dict[str, Callable[[], Any]]:
    """Return what can befall the drive, by name."""
    return {
        "full": drive.full,
        # From less than a page of SQLite to more than any single step of this day writes.
        "nearly full": lambda: drive.full(int(2.0 ** rng.uniform(11.0, 19.0))),
        "read-only": drive.read_only,
        "no right to read": drive.forbidden,
        "no right to write": lambda: drive.forbidden(0o555),
        "gone": drive.gone,
        "clock back a day": lambda: drive.clock_back(DAY_S),
        "clock back ten years": lambda: drive.clock_back(YEARS_S),
    }


def live(fault: str, rng: np.random.Generator) -> tuple[list[dict[str, Any]], Any, list[str]]:
    """Live one day; return a row a step, what is there in the end, and what went wrong."""
    rows, wrong = [], []
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as place:
        drive = Drive(Path(place))
        day = Day(Path(place), drive)
        make = faults_of(drive, rng).get(fault, nullcontext)
        try:
            for step, act in day.steps():
                with make():
                    under = act()
                    if opened := step.startswith("serve") and under.done:
                        day.close()
                then = act() if opened or not under.done else under
                if not under.in_words:
                    wrong.append(f"{step}: {under.said[-600:]}")
                if not then.done:
                    wrong.append(f"{step}, with the drive well again: {then.said[-600:]}")
                said = under.said.partition(" What to do")[0].replace(str(drive.path), "DRIVE")
                rows.append({
                    "fault": fault, "step": step, "done": under.done, "in_words": under.in_words,
                    "then": then.done, "said": "" if under.done else said[-160:],
                })  # fmt: skip
            told = day.told()
        finally:
            if day.page is not None:
                day.page.kill()
            drive.end()
    return rows, told, wrong + day.faults


def main() -> None:
    """Live a day without faults, then days with each of them, and compare."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3, help="days on a drive that is nearly full")
    parser.add_argument("--only", nargs="+", default=[])
    add_options(parser, "drive")
    chosen = parser.parse_args()
    enter_mounts_of_its_own()
    record = Record("drive", chosen, rides=chosen.rounds)
    rng = np.random.default_rng(chosen.seed)
    _, wanted, wrong = live("none", rng)
    assert not wrong, wrong
    bad = 0
    for fault in FAULTS:
        if chosen.only and fault not in chosen.only:
            continue
        days = chosen.rounds if fault == "nearly full" else 1
        kept: dict[str, dict[str, Any]] = {}
        same = 0
        for _ in range(days):
            rows, told, wrong = live(fault, rng)
            same += told == wanted
            if told != wanted:
                print(f"  FAULT: {fault}: {_differences(told, wanted)}", flush=True)
            for words in wrong:
                print(f"  FAULT: {fault}: {words}", flush=True)
            bad += len(wrong) + (told != wanted)
            for row in rows:
                seen = kept.setdefault(
                    row["step"],
                    dict(fault=fault, step=row["step"], days=0, done_at_once=0, refused_in_words=0,
                         then_done=0, said=""),
                )  # fmt: skip
                seen["days"] += 1
                seen["done_at_once"] += row["done"]
                seen["refused_in_words"] += not row["done"] and row["in_words"]
                seen["then_done"] += row["then"]
                seen["said"] = row["said"] or seen["said"]
        for row in kept.values():
            record.add(**row)
        record.add(fault=fault, step="the day's end as without faults", days=days, then_done=same)
    record.save()
    print(f"{bad} faults")
    sys.exit(1 if bad else 0)


def _differences(found: Any, wanted: Any, where: str = "") -> str:
    if isinstance(found, dict) and isinstance(wanted, dict):
        parts = [
            _differences(found.get(key), wanted.get(key), f"{where}/{str(key)[:12]}")
            for key in {*found, *wanted}
            if found.get(key) != wanted.get(key)
        ]
        return "; ".join(parts)[:1500]
    return f"{where}: {str(found)[:150]} instead of {str(wanted)[:150]}"


if __name__ == "__main__":
    main()
