"""The whole book as plain files that other programs read, and such files read back into a book.

JSON, TOML and the logs themselves; one damaged ride never stops the others.
"""

import hashlib
import json
import os
import secrets
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ridelog.book.book import Book
from ridelog.book.originals import suffix_of
from ridelog.book.records import CONDITIONS, NewResult, RideEntry
from ridelog.core.errors import BookError, RideLogError
from ridelog.core.estimate import Estimate

SCHEMA = "ridelog.book/1"
_OF_A_RIDE = ("file", "sha256", "format", "start_utc", "duration_s", "added_utc")
_READ_ME = """A ride book as plain files, written by ridelog.

machines.json          machines and their set-up states; each set-up file also under setups/
rides/NUMBER-DAY-HASH/ one ride each:
  ride.json            file name, SHA-256, machine, set-up, conditions, notes, marked stretches
  original.*           the log, byte for byte as it was given
  result.json          the newest figures, in SI units

The logs hold coordinates: they tell where the rides took place.
`ridelog book import FOLDER` reads all of it back.
"""
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


def export_book(book: Book, folder: Path) -> int:
    """Write everything in the book as plain files; return the number of rides.

    The folder appears complete or not at all. BookError if it is there already, cannot be written,
    or a log has changed.
    """
    if folder.exists():
        raise BookError(
            f"{folder}: this is there already and is left as it was.", "choose another name."
        )
    if not folder.absolute().parent.is_dir():
        raise BookError(
            f"{folder}: there is no folder {folder.absolute().parent}.", "make it first."
        )
    part = folder.with_name(f".{folder.name[:100]}.{secrets.token_hex(4)}.part")
    try:
        part.mkdir()
        (part / "README.txt").write_text(_READ_ME, encoding="utf-8")
        _write_json(part / "machines.json", _machines(book, part / "setups"))
        count = 0
        while rides := book.rides.found(most=100, skip=count):
            for ride in rides:
                _write_ride(book, ride, part / "rides")
            count += len(rides)
        os.rename(part, folder)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise BookError(
            f"{folder}: the export cannot be written ({reason}).",
            "check the folder's rights and free space, or choose another place.",
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return count


def import_book(book: Book, folder: Path) -> ImportedRides:
    """Add the machines and rides of an export to a book; rides that are there stay as they are.

    BookError if the folder is no export of a ride book.
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
        except RideLogError as error:
            problems.append(str(error))
        except (TypeError, KeyError, ValueError, AttributeError) as error:
            words = f"{place.name}: ride.json is not as it was exported ({error})."
            problems.append(str(BookError(words, _ADVICE)))
    return ImportedRides(added, present, tuple(problems))


def _machines(book: Book, place: Path) -> dict[str, Any]:
    machines = []
    for machine in book.machines.all():
        setups = []
        for setup in book.machines.setups(machine.id):
            setups.append({"name": setup.name, "since": setup.since_utc, "toml": setup.toml})
            if setup.toml:
                place.mkdir(exist_ok=True)
                name = f"machine-{machine.id}-setup-{setup.id}.toml"
                (place / name).write_text(setup.toml + "\n", encoding="utf-8")
        machines.append({"name": machine.name, "note": machine.note, "setups": setups})
    return {"schema": SCHEMA, "machines": machines}


def _write_ride(book: Book, ride: RideEntry, rides: Path) -> None:
    data = book.original(ride.sha256)
    day = ride.start_utc[:10] if ride.start_utc[:1].isdigit() else "no-date"
    place = rides / f"{ride.id:05d}-{day}-{ride.sha256[:12]}"
    place.mkdir(parents=True)
    (place / f"original.{suffix_of(ride.format, data)}").write_bytes(data)
    result = book.results.latest(ride.id)
    made = None
    if result is not None:
        figures = {
            name: {"value": f.value, "low": f.low, "high": f.high}
            for name, f in book.results.figures([ride.id])[ride.id].items()
        }
        made = {"version": result.version, "settings": result.settings, "figures": figures}
        _write_json(place / "result.json", result.document)
    _write_json(
        place / "ride.json",
        {
            "schema": SCHEMA,
            **{name: getattr(ride, name) for name in _OF_A_RIDE},
            "machine": ride.machine or None,
            "setup": ride.setup or None,
            "conditions": book.details.conditions(ride.id),
            "notes": [
                {"written_utc": note.written_utc, "words": note.words}
                for note in book.details.notes(ride.id)
            ],
            "marks": [
                {"kind": mark.kind, "start_s": mark.start_s, "end_s": mark.end_s}
                for mark in book.details.marks(ride.id)
            ],
            "result": made,
        },
    )


def _write_json(path: Path, document: dict[str, Any]) -> None:
    text = json.dumps(document, allow_nan=False, ensure_ascii=False, indent=1)
    path.write_text(text + "\n", encoding="utf-8", errors="replace")


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
        book.assign(ride.id, str(entry["machine"]), str(entry["setup"] or ""))
    conditions = {k: str(v) for k, v in entry.get("conditions", {}).items() if k in CONDITIONS}
    book.details.set_conditions(ride.id, conditions)
    for note in entry.get("notes", []):
        book.details.add_note(ride.id, str(note["words"]), str(note["written_utc"])[:20])
    for mark in entry.get("marks", []):
        book.details.add_mark(ride.id, mark["kind"], float(mark["start_s"]), float(mark["end_s"]))
    made = entry.get("result")
    if made is not None:
        figures = {
            str(name): Estimate(float(f["value"]), float(f["low"]), float(f["high"]))
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
