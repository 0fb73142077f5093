"""Render what the suites recorded: tests/validation/*.json to tests/validation/TABLES.md.

    python tests/suites/tables.py

Nothing in the tables is typed by hand; a test compares them with the JSON.
"""

import json
from pathlib import Path
from textwrap import fill
from typing import Any

from record import DIGITS, VALIDATION

TABLES = VALIDATION / "TABLES.md"
KEYS = ("suite", "command", "seed", "rides", "ridelog_version", "commit", "date", "rows")
# Fewer rides than this say little about a share of 0.9: its standard error is 0.03 at 100.
FEW = 100

_HEAD = """\
# What the suites measured

Written by `python tests/suites/tables.py` from the JSON files beside it; change neither by hand.
Every ride is simulated, so its truth is known. `held` is the share of 90 % intervals that hold the
truth: it should be 0.9 or a little more. `n` is how many figures were given of those `asked`,
`bias` and `rms` are of their errors, `width` is the mean length of an interval; all in SI units,
those of predictions as shares of the truth. Logs: fixes a second, then r with reported speed, p
with positions alone; a number behind p is their noise in metres.

{few}

To run more: take the command of a table, raise its number of rides, leave out `--seed S` for a
fresh one, add `--record`, and render again.
"""

_ERROR = (
    "A share p of n independent figures has a standard error of sqrt(p (1 - p) / n), and figures "
    "of one ride are not independent: a `held` of 0.8 of 10 says almost nothing."
)


def load(folder: Path = VALIDATION) -> dict[str, dict[str, Any]]:
    """Return the content of every file, by its name without ending.

    Raises
    ------
    ValueError
        For a file that lacks one of KEYS or has no rows.
    """
    found: dict[str, dict[str, Any]] = {}
    for path in sorted(folder.glob("*.json")):
        content = json.loads(path.read_text(encoding="utf-8"))
        if tuple(content) != KEYS or not content["rows"]:
            raise ValueError(f"{path}: not a record of a suite; run the suite with --record again")
        found[path.stem] = content
    return found


def render(found: dict[str, dict[str, Any]]) -> str:
    """Return the page of all tables."""
    small = [name for name, content in found.items() if content["rides"] < FEW]
    few = _ERROR + (
        f" These runs are small, fewer than {FEW} rides, pairs or machines a row: "
        f"{', '.join(small)}."
        if small
        else ""
    )
    parts = [_HEAD.format(few=fill(few, 100))]
    for name, content in found.items():
        parts.append(f"## {name}\n")
        parts.append(f"    {content['command']}\n")
        parts.append(
            f"{content['rides']} rides, pairs or machines a row, seed {content['seed']}; ridelog "
            f"{content['ridelog_version']}, commit {content['commit']}, {content['date']}.\n"
        )
        parts.append(_table(content["rows"]))
    return "\n".join(parts)


def _table(rows: list[dict[str, Any]]) -> str:
    columns = list(dict.fromkeys(name for row in rows for name in row))
    lines = [columns, ["---"] * len(columns)]
    lines += [[_cell(row.get(name)) for name in columns] for row in rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


def _cell(value: float | int | str | None) -> str:
    if value is None:
        return ""
    return f"{value:.{DIGITS - 1}g}" if isinstance(value, float) else str(value)


if __name__ == "__main__":
    TABLES.write_text(render(load()), encoding="utf-8")
    print(f"wrote {TABLES.name} from {len(load())} files")
