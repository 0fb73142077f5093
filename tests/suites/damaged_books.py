"""Damaged books and damaged exports: what is named, and what comes back? On request.

    python tests/suites/damaged_books.py [--books 60] [--exports 5000] [--seed N] [--record]

Each book is damaged in one way: a page of its database zeroed, cut off, its first bytes changed, an
index emptied, the database missing, or another file in its place. ``check`` must name it, and
``rebuild`` must bring back every original and all words. Each export has one file damaged (words,
figures, machines or a log): bytes changed, cut off, missing, a number made infinite, a value put in
another's place. All other rides must come in whole, what did not come in must be said, and a later
export must work, all without a traceback. Ends with 1 if not.
"""

import argparse
import json
import os
import re
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
from kills import fill, of_book
from record import Record, add_options

from ridelog.book.book import DATABASE, Book
from ridelog.book.check import check_book
from ridelog.book.exchange import export_book, import_book
from ridelog.book.rebuild import rebuild

PAGE = 4096
RIDES = 12
# Memory, where the system has it as a folder: nothing here asks whether a disk keeps its word.
MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
# What makes up a ride apart from what is measured anew.
_WORDS = ("file", "machine", "setup", "conditions", "notes", "marks", "bytes")
_PIECES = (b"Infinity", b"-Infinity", b"NaN", b"1e999", b"null", b"[]", b"{}", b'""', b"7", b"-1",
           b'"\\ud800"', b"1" * 5000, b'"' + b"x" * 300 + b'"', b"[" * 3000, b"true")  # fmt: skip


def _zeroed(folder: Path, rng: np.random.Generator) -> None:
    data = bytearray((folder / DATABASE).read_bytes())
    while True:
        at = int(rng.integers(1, len(data) // PAGE)) * PAGE
        if any(data[at : at + PAGE]):
            break
    data[at : at + PAGE] = bytes(PAGE)
    (folder / DATABASE).write_bytes(data)


def _cut(folder: Path, rng: np.random.Generator) -> None:
    data = (folder / DATABASE).read_bytes()
    (folder / DATABASE).write_bytes(data[: int(rng.integers(1, len(data)))])


def _header(folder: Path, rng: np.random.Generator) -> None:
    """Change the first bytes, of which SQLite needs the first 24 to read anything."""
    data = bytearray((folder / DATABASE).read_bytes())
    count = int(rng.integers(24, 101))
    data[:count] = rng.bytes(count)
    (folder / DATABASE).write_bytes(data)


def _index(folder: Path, rng: np.random.Generator) -> None:
    """Take an entry out of an index, which then no longer tells what its table has."""
    path = folder / DATABASE
    with closing(sqlite3.connect(path)) as seen:
        roots = seen.execute(
            "SELECT rootpage FROM sqlite_schema WHERE type = 'index' AND rootpage > 0"
        ).fetchall()
    data = bytearray(path.read_bytes())
    full = []
    for (root,) in roots:  # file format: bytes 3 and 4 of a page tell how many cells it has
        at = (root - 1) * PAGE
        if int.from_bytes(data[at + 3 : at + 5], "big") > 1:
            full.append(at)
    at = full[int(rng.integers(len(full)))]
    cells = int.from_bytes(data[at + 3 : at + 5], "big")
    data[at + 3 : at + 5] = (cells - 1).to_bytes(2, "big")
    path.write_bytes(data)


def _missing(folder: Path, rng: np.random.Generator) -> None:
    (folder / DATABASE).unlink()


def _foreign(folder: Path, rng: np.random.Generator) -> None:
    path = folder / DATABASE
    path.unlink()
    kind = int(rng.integers(4))
    if kind == 0:
        path.write_bytes(rng.bytes(50_000))
    elif kind == 1:
        path.write_bytes(b"")
    elif kind == 2:
        with closing(sqlite3.connect(path)) as other:
            other.execute("CREATE TABLE songs (name TEXT)")
    else:
        with tempfile.TemporaryDirectory() as place:
            fill(Path(place) / "book", 3)
            shutil.copyfile(Path(place) / "book" / DATABASE, path)


DAMAGE: dict[str, Callable[[Path, np.random.Generator], None]] = {
    "page zeroed": _zeroed,
    "cut off": _cut,
    "first bytes": _header,
    "index": _index,
    "missing": _missing,
    "foreign file": _foreign,
}


def damage_books(count: int, rng: np.random.Generator, place: Path) -> list[dict[str, Any]]:
    """Damage books one after the other; return a row for each kind of damage."""
    source = place / "source"
    fill(source, RIDES)
    with Book(source) as book, book.all_or_nothing():  # several pages to a table
        for ride in book.rides.found():
            book.details.add_note(ride.id, "long " * 1500, "2024-06-09T11:00:00Z")
    with sqlite3.connect(source / DATABASE) as seen:
        seen.execute("VACUUM")
    seen.close()
    wanted = _words(of_book(source))
    rows: dict[str, dict[str, Any]] = {
        name: dict(damage=name, books=0, named=0, brought_back=0) for name in DAMAGE
    }
    for number in range(count):
        name = list(DAMAGE)[number % len(DAMAGE)]
        row = rows[name]
        folder = place / "book"
        shutil.copytree(source, folder)
        DAMAGE[name](folder, rng)
        row["books"] += 1
        try:
            row["named"] += bool(check_book(folder).faults)
            rebuild(folder)
            row["brought_back"] += (
                _words(of_book(folder)) == wanted and not check_book(folder).faults
            )
        except Exception as error:  # a traceback is a fault of its own
            print(f"  FAULT: book {number}, {name}: {error!r}", flush=True)
        shutil.rmtree(folder)
    return list(rows.values())


def _words(told: dict[str, Any]) -> dict[str, Any]:
    machines = told.pop("machines")
    return {"machines": machines} | {
        sha256: {name: ride[name] for name in _WORDS} for sha256, ride in told.items()
    }


def damage_file(path: Path, rng: np.random.Generator) -> str:
    """Damage one file in a way that chance chooses; return the way."""
    data = path.read_bytes()
    kind = int(rng.integers(6))
    if kind == 0:
        changed = bytearray(data)
        for at in rng.integers(0, len(data), int(rng.integers(1, 9))):
            changed[at] = int(rng.integers(256))
        path.write_bytes(changed)
        return "bytes changed"
    if kind == 1:
        path.write_bytes(data[: int(rng.integers(len(data)))])
        return "cut off"
    if kind == 2:
        path.unlink()
        return "missing"
    values = [found.span() for found in re.finditer(rb"-?\d[\d.]*|\"[^\"]*\"|null", data)]
    if kind == 3 or not values:
        at, end = sorted(int(k) for k in rng.integers(0, len(data) + 1, 2))
        path.write_bytes(data[:at] + data[end:])
        return "a part missing"
    start, end = values[int(rng.integers(len(values)))]
    if kind == 4:
        piece = _PIECES[int(rng.integers(len(_PIECES)))]
        path.write_bytes(data[:start] + piece + data[end:])
        return "a value replaced"
    other = values[int(rng.integers(len(values)))]
    path.write_bytes(data[:start] + data[other[0] : other[1]] + data[end:])
    return "a value in another's place"


def damage_exports(count: int, rng: np.random.Generator, place: Path) -> list[dict[str, Any]]:
    """Damage a file of an export again and again; return a row for each kind of file and way."""
    source, export = place / "first", place / "export"
    fill(source, 4)
    with Book(source) as book:
        export_book(book, export)
    wanted = of_book(source)
    files = [one for one in sorted(export.rglob("*")) if one.is_file() and one.name != "README.txt"]
    names = [one.relative_to(export) for one in files if one.parent.name != "setups"]
    # Whose words or log a file holds; machines.json holds none of a ride.
    owners = {
        name: json.loads((export / name.parent / "ride.json").read_bytes())["sha256"]
        for name in names
        if name.name != "machines.json"
    }
    rows: dict[tuple[str, str], dict[str, Any]] = {}
    for number in range(count):
        name = names[int(rng.integers(len(names)))]
        kept = (export / name).read_bytes()
        way = damage_file(export / name, rng)
        kind = "a log" if name.stem == "original" else name.name
        row = rows.setdefault(
            (kind, way),
            dict(file=kind, damage=way, exports=0, others_whole=0, said=0, exported_again=0),
        )
        row["exports"] += 1
        folder, again = place / "second", place / "again"
        try:
            with Book(folder) as book:
                found = import_book(book, export)
                export_book(book, again)
            told = of_book(folder)
            missed = [one for one in wanted if told.get(one) != wanted[one]]
            row["others_whole"] += all(one in (owners.get(name), "machines") for one in missed)
            # What did not come in is said, unless it can be seen by nobody: a changed word is one.
            said = bool(found.problems or found.differing)
            gone = any(one not in told or told[one]["result"] is None for one in owners.values())
            row["said"] += said or not gone
            row["exported_again"] += again.is_dir()
        except Exception as error:  # a traceback is a fault of its own
            print(f"  FAULT: export {number}, {name}, {way}: {error!r}", flush=True)
        shutil.rmtree(folder, ignore_errors=True)
        shutil.rmtree(again, ignore_errors=True)
        (export / name).write_bytes(kept)
    return [rows[key] for key in sorted(rows)]


def main() -> None:
    """Damage, look, mend, compare."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--books", type=int, default=60)
    parser.add_argument("--exports", type=int, default=5000)
    add_options(parser, "damaged_books")
    chosen = parser.parse_args()
    record = Record("damaged_books", chosen, rides=chosen.exports)
    bad = 0
    os.sync = lambda: None  # of the whole machine, which others write to
    with tempfile.TemporaryDirectory(dir=MEMORY) as place:
        rng = np.random.default_rng([chosen.seed, 1])
        for row in damage_books(chosen.books, rng, Path(place)):
            record.add(**row)
            bad += 2 * row["books"] - row["named"] - row["brought_back"]
    with tempfile.TemporaryDirectory(dir=MEMORY) as place:
        rng = np.random.default_rng([chosen.seed, 2])
        for row in damage_exports(chosen.exports, rng, Path(place)):
            record.add(**row)
            bad += 3 * row["exports"] - row["others_whole"] - row["said"] - row["exported_again"]
    record.save()
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
