"""Read an export back into a book; one damaged ride never stops the others."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ridelog.book.book import Book
from ridelog.book.export import SCHEMA
from ridelog.book.records import CONDITIONS, Figure, NewResult
from ridelog.core.errors import BookError, RideLogError

# The largest log that is read, as for a single one; and a JSON file of one ride. Own choice.
_MOST_LOG_BYTES = 512 * 1024 * 1024
_MOST_JSON_BYTES = 64 * 1024 * 1024
_ADVICE = "export the book again; the other rides were read."


@dataclass(frozen=True)
class ImportedRides:
    """What came of reading an export: new rides, rides that were there, and sentences."""

    added: int
    present: int
    problems: tuple[str, ...]


def import_book(book: Book, folder: Path) -> ImportedRides:
    """Add the machines and rides of an export to a book; rides that are there stay as they are.

    Raises
    ------
    BookError
        If the folder is no export of a ride book.
    """
    machines = _read_json(folder / "machines.json")
    if machines.get("schema") != SCHEMA:
        raise BookError(
            f"{folder}: this is no export of a ride book that this ridelog knows "
            f"(schema {str(machines.get('schema'))[:40]!r}, expected {SCHEMA!r}).",
            "give the folder that `ridelog book export` wrote.",
        )
    problems: list[str] = []
    _add_machines(book, machines, problems)
    added = present = 0
    for place in sorted((folder / "rides").glob("*")):
        if not place.is_dir():
            continue
        try:
            new = _add_ride(book, place)
            added, present = added + new, present + (not new)
        except (RideLogError, TypeError, KeyError, ValueError, AttributeError) as error:
            problems.append(
                str(error)
                if isinstance(error, RideLogError)
                else f"{place.name}: ride.json is not as it was exported ({error}). "
                f"What to do: {_ADVICE}"
            )
    return ImportedRides(added, present, tuple(problems))


def _add_machines(book: Book, document: dict[str, Any], problems: list[str]) -> None:
    for entry in document.get("machines", []):
        try:
            machine = book.machines.named(str(entry["name"]))
            if entry.get("note") and not machine.note:
                book.machines.change(machine.id, name=machine.name, note=str(entry["note"]))
            for part in entry.get("setups", []):
                setup = book.machines.setup_named(machine.id, str(part["name"]))
                if not setup.toml:
                    book.machines.change_setup(
                        setup.id, name=setup.name, since_utc=str(part.get("since", "")),
                        toml=str(part.get("toml", "")),
                    )  # fmt: skip
        except (BookError, TypeError, KeyError, AttributeError) as error:
            problems.append(f"machines.json: a machine cannot be read ({error}).")


def _add_ride(book: Book, place: Path) -> bool:
    entry = _read_json(place / "ride.json")
    logs = sorted(place.glob("original.*"))
    if len(logs) != 1:
        raise BookError(f"{place.name}: there are {len(logs)} logs, expected one.", _ADVICE)
    if logs[0].stat().st_size > _MOST_LOG_BYTES:
        raise BookError(f"{place.name}: the log is larger than ridelog reads.", _ADVICE)
    data = logs[0].read_bytes()
    if hashlib.sha256(data).hexdigest() != entry["sha256"]:
        raise BookError(
            f"{place.name}: the log does not match its SHA-256 {str(entry['sha256'])[:12]}.",
            _ADVICE,
        )
    known = book.rides.by_hash(entry["sha256"])
    original = book.store(data)
    if known is not None:
        return False
    ride, _ = book.rides.add(original, str(entry["file"]))
    if entry.get("machine"):
        machine = book.machines.named(str(entry["machine"]))
        setup = book.machines.setup_named(machine.id, entry["setup"]) if entry["setup"] else None
        book.rides.move(ride.id, machine.id, setup.id if setup else None)
    conditions = {k: str(v) for k, v in entry.get("conditions", {}).items() if k in CONDITIONS}
    book.details.set_conditions(ride.id, conditions)
    for note in entry.get("notes", []):
        book.details.add_note(ride.id, str(note["words"]), str(note["written_utc"])[:20])
    for mark in entry.get("marks", []):
        book.details.add_mark(ride.id, mark["kind"], float(mark["start_s"]), float(mark["end_s"]))
    made = entry.get("result")
    if made is not None:
        figures = {
            str(name): Figure(float(f["value"]), float(f["low"]), float(f["high"]))
            for name, f in made["figures"].items()
        }
        document = _read_json(place / "result.json")
        book.results.put(
            ride.id, NewResult(str(made["version"]), dict(made["settings"]), document, figures)
        )
        book.rides.describe(
            ride.id, format=str(entry["format"]), start_utc=str(entry["start_utc"]),
            duration_s=float(entry["duration_s"]),
        )  # fmt: skip
    return True


def _read_json(path: Path) -> dict[str, Any]:
    shown = f"{path.parent.name}/{path.name}"
    try:
        if path.stat().st_size > _MOST_JSON_BYTES:
            raise BookError(f"{shown}: the file is too large to be of an export.", _ADVICE)
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise BookError(
            f"{shown}: the file cannot be read ({reason}).",
            "give the folder that `ridelog book export` wrote.",
        ) from error
    except (ValueError, RecursionError) as error:
        raise BookError(f"{shown}: the file is no JSON ({error}).", _ADVICE) from error
    if not isinstance(document, dict):
        raise BookError(f"{shown}: the file does not hold a JSON object.", _ADVICE)
    return document
