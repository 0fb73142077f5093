"""The whole book as plain files that other programs read: JSON, TOML and the logs themselves."""

import json
import os
import secrets
import shutil
from pathlib import Path
from typing import Any

from ridelog.book.book import Book
from ridelog.book.records import RideEntry
from ridelog.core.errors import BookError

SCHEMA = "ridelog.book/1"
_PACKED = (b"\x1f\x8b", b"PK")
_READ_ME = """A ride book as plain files, written by ridelog.

machines.json          machines and their set-up states; each set-up file also under setups/
rides/NUMBER-DAY-HASH/ one ride each:
  ride.json            file name, SHA-256, machine, set-up, conditions, notes, marked stretches
  original.*           the log, byte for byte as it was given
  result.json          the newest figures, in SI units

The logs hold coordinates: they tell where the rides took place.
`ridelog book import FOLDER` reads all of it back.
"""


def export_book(book: Book, folder: Path) -> int:
    """Write everything in the book as plain files; return the number of rides.

    Parameters
    ----------
    book : Book
        What is written; it stays as it is.
    folder : Path
        A folder that is not there yet; it appears complete or not at all.

    Raises
    ------
    BookError
        If the folder is there already, cannot be written, or a log has changed.
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
    (place / f"original.{_suffix(ride.format, data)}").write_bytes(data)
    result = book.results.latest(ride.id)
    figures = book.results.figures([ride.id])[ride.id]
    _write_json(
        place / "ride.json",
        {
            "schema": SCHEMA,
            "file": ride.file,
            "sha256": ride.sha256,
            "format": ride.format,
            "start_utc": ride.start_utc,
            "duration_s": ride.duration_s,
            "added_utc": ride.added_utc,
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
            "result": None
            if result is None
            else {
                "version": result.version,
                "settings": result.settings,
                "figures": {
                    name: {"value": f.value, "low": f.low, "high": f.high}
                    for name, f in figures.items()
                },
            },
        },
    )
    if result is not None:
        _write_json(place / "result.json", result.document)


def _suffix(format: str, data: bytes) -> str:
    if data[:2] == _PACKED[0]:
        return "gz"
    if data[:2] == _PACKED[1]:
        return "zip"
    return {"gpx": "gpx", "nmea": "nmea"}.get(format.split("-")[0], "log")


def _write_json(path: Path, document: dict[str, Any]) -> None:
    text = json.dumps(document, allow_nan=False, ensure_ascii=False, indent=1)
    path.write_text(text + "\n", encoding="utf-8", errors="replace")
