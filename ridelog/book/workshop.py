"""The workshop on its papers: name, contact and logo, kept as files beside the words of a book."""

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ridelog.book.records import checked_text
from ridelog.core.bounded_read import read_at_most
from ridelog.core.errors import BookError

_SCHEMA = "ridelog.workshop/1"
_FILE, _LOGOS = "workshop.json", {"png": "workshop-logo.png", "jpg": "workshop-logo.jpg"}
# A line each on a sheet; own choice. Letters.
_MOST_NAME, _MOST_CONTACT, _MOST_BYTES = 100, 200, 10_000


@dataclass(frozen=True)
class KeptWorkshop:
    """What is kept of the workshop; ``logo`` is where its logo lies, None without one."""

    name: str = ""
    contact: str = ""
    logo: Path | None = None


def kept_workshop(words: Path) -> KeptWorkshop:
    """Return what a folder of words keeps of the workshop, nothing where that cannot be read."""
    try:
        told: Any = json.loads(read_at_most(words / _FILE, _MOST_BYTES))
        name, contact = str(told["name"]), str(told["contact"])
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        name = contact = ""
    logos = [words / file for file in _LOGOS.values() if (words / file).is_file()]
    return KeptWorkshop(name[:_MOST_NAME], contact[:_MOST_CONTACT], logos[0] if logos else None)


def keep_workshop(words: Path, *, name: str, contact: str) -> None:
    """Keep the workshop's name and contact; BookError if that cannot be."""
    told = {
        "schema": _SCHEMA,
        "name": " ".join(checked_text("name of the workshop", name, _MOST_NAME).split()),
        "contact": " ".join(checked_text("contact", contact, _MOST_CONTACT).split()),
    }
    _put(words, _FILE, json.dumps(told, ensure_ascii=False, indent=1).encode() + b"\n")


def keep_logo(words: Path, data: bytes, kind: str) -> None:
    """Keep a logo in the place of the one before, none if it is empty; ``kind`` is png or jpg."""
    if data:
        _put(words, _LOGOS[kind], data)
    for other, file in _LOGOS.items():
        if not data or other != kind:
            (words / file).unlink(missing_ok=True)


def copy_workshop(words: Path, to: Path) -> None:
    """Copy what is kept of the workshop to another folder that has nothing of it; OSError."""
    if not words.is_dir() or kept_workshop(to) != KeptWorkshop():
        return
    for file in (_FILE, *_LOGOS.values()):
        if (words / file).is_file():
            _put(to, file, read_at_most(words / file, 2_000_000))


def _put(folder: Path, file: str, data: bytes) -> None:
    part = folder / f"{file}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        part.write_bytes(data)
        os.chmod(part, 0o600)
        os.replace(part, folder / file)
    except OSError as error:
        raise BookError(
            f"the workshop's words cannot be kept ({(error.strerror or '?').lower()}).",
            "see that the book's folder is there and has room.",
        ) from error
