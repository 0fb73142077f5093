"""The figures of a suite as data: a line for each as they come, and a file if asked for.

With ``--record`` a suite leaves tests/validation/NAME.json, which tables.py renders.
"""

import argparse
import json
import math
import secrets
import shlex
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import ridelog

ROOT = Path(__file__).resolve().parents[2]
VALIDATION = ROOT / "tests" / "validation"
# What the suites tell is not known to more significant digits than these.
DIGITS = 4
Cell = float | int | str | None


class Record:
    """Rows of one run of a suite; the columns may differ from row to row."""

    def __init__(
        self, suite: str, chosen: argparse.Namespace, *, rides: int, folder: str = "suites"
    ) -> None:
        self.suite, self.rides, self._folder = suite, rides, folder
        self.seed: int = chosen.seed
        self._name: str | None = chosen.record
        self.rows: list[dict[str, Cell]] = []
        print(f"{suite}: seed {self.seed}, {rides} rides, pairs or machines a row", flush=True)

    def add(self, **row: Cell) -> None:
        """Keep a row and print it; a number without a value becomes None."""
        self.rows.append(self.show(**row))

    def show(self, **row: Cell) -> dict[str, Cell]:
        """Print a row that is not final; return it as it would be kept."""
        kept = {name: _plain(value) for name, value in row.items()}
        print("  ".join(f"{name} {_word(value)}" for name, value in kept.items()), flush=True)
        return kept

    def save(self, folder: Path = VALIDATION) -> Path | None:
        """Write what was added if the command asked for it; return the file."""
        if self._name is None:
            return None
        path = folder / f"{self._name}.json"
        folder.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part")
        part.write_text(json.dumps(self.content(), indent=1) + "\n", encoding="utf-8")
        part.replace(path)
        print(f"wrote {path.relative_to(ROOT) if path.is_relative_to(ROOT) else path}")
        return path

    def content(self) -> dict[str, object]:
        """Return what the file holds."""
        return {
            "suite": self.suite,
            "command": _command(f"tests/{self._folder}/{self.suite}.py", self.seed),
            "seed": self.seed,
            "rides": self.rides,
            "ridelog_version": ridelog.__version__,
            "commit": _commit(),
            "date": datetime.now(UTC).date().isoformat(),
            "rows": self.rows,
        }


def add_options(parser: argparse.ArgumentParser, suite: str) -> None:
    """Add what every suite has: its seed, and whether its rows are kept."""
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**9))
    parser.add_argument(
        "--record",
        nargs="?",
        const=suite,
        metavar="NAME",
        help=f"write tests/validation/NAME.json ({suite} if no name is given)",
    )


def _plain(value: Cell) -> Cell:
    if value is None or isinstance(value, str):
        return value
    # NumPy's numbers are no JSON; a count stays one.
    number = float(value)
    if not math.isfinite(number):
        return None
    return int(number) if isinstance(value, int) else float(f"{number:.{DIGITS}g}")


def _word(value: Cell) -> str:
    return "-" if value is None else str(value)


def _command(script: str, seed: int) -> str:
    """Return the command that gives these rows again, with its seed and without --record."""
    words, left = [], sys.argv[1:]
    while left:
        word, *left = left
        if word in ("--seed", "--record"):
            if left and not left[0].startswith("--"):
                left = left[1:]
        elif not word.startswith(("--seed=", "--record=")):
            words.append(word)
    return shlex.join(["python", script, *words, "--seed", str(seed)])


def _commit() -> str:
    """Return the short name of the commit, with a word if what ran is not what it holds."""
    try:
        name = _git("rev-parse", "--short", "HEAD")
        changed = _git("status", "--porcelain", "--", "ridelog", "tests/suites")
    except (OSError, subprocess.CalledProcessError):
        return "unknown"
    return f"{name} and changes" if changed else name


def _git(*words: str) -> str:
    done = subprocess.run(["git", *words], cwd=ROOT, check=True, capture_output=True, text=True)
    return done.stdout.strip()
