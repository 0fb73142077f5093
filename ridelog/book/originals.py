"""The logs as they were given, one file each under its SHA-256, never changed afterwards."""

import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from ridelog.core.errors import BookError

# The largest log that is taken in from an export, as for a single one. Own choice.
MOST_LOG_BYTES = 512 * 1024 * 1024
# How the photos begin that lie among the originals too: JPEG (ISO/IEC 10918-1, SOI and the next
# marker) and PNG (ISO/IEC 15948, 5.2).
PHOTO_MAGIC = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")


@dataclass(frozen=True)
class Original:
    """A log that is safely on the disk."""

    sha256: str
    size_bytes: int
    path: Path


class Intake:
    """Takes the bytes of one log as they come; nothing shows until ``finish``.

    Use it in a ``with`` block: what is not finished is thrown away.
    """

    def __init__(self, incoming: Path, originals: Path) -> None:
        self._originals = originals
        # The name owes nothing to the user's file name.
        self._part = incoming / f"{secrets.token_hex(16)}.part"
        self._hash = hashlib.sha256()
        self.size_bytes = 0
        with _told():
            self._stream = self._part.open("xb")
            os.chmod(self._part, 0o600)

    def write(self, data: bytes) -> None:
        """Take the next bytes; BookError if there is no room for them."""
        with _told():
            self._stream.write(data)
        self._hash.update(data)
        self.size_bytes += len(data)

    def so_far(self) -> Path:
        """Return where the bytes lie that came so far, for looking into them only."""
        self._stream.flush()
        return self._part

    def finish(self) -> Original:
        """Put the log into its place for good; when this returns it survives a power cut."""
        sha256 = self._hash.hexdigest()
        place = place_of(self._originals, sha256)
        with _told():
            self._stream.flush()
            os.fsync(self._stream.fileno())
            self._stream.close()
            if not place.parent.is_dir():
                place.parent.mkdir(exist_ok=True, mode=0o700)
                sync_folder(self._originals)
            # The same bytes may be there already; replacing them by themselves also mends a file
            # that a failing disk has spoiled.
            os.chmod(self._part, 0o400)
            os.replace(self._part, place)
            sync_folder(place.parent)
        return Original(sha256, self.size_bytes, place)

    def __enter__(self) -> "Intake":
        return self

    def __exit__(self, *error: object) -> None:
        with suppress(OSError):  # what no longer fits on the disk is thrown away all the same
            self._stream.close()
        with suppress(OSError):
            self._part.unlink(missing_ok=True)


@contextmanager
def _told() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise BookError(
            f"the log cannot be kept ({(error.strerror or type(error).__name__).lower()}).",
            "see that the book's folder is there and has room, then add the log again.",
        ) from error


def is_sha256(text: str) -> bool:
    """Return whether a text is a SHA-256 as the book writes it."""
    return len(text) == 64 and not set(text) - set("0123456789abcdef")


def place_of(originals: Path, sha256: str) -> Path:
    """Return where a log lies; only hexadecimal digits ever become part of a path.

    BookError if the text is no SHA-256.
    """
    if not is_sha256(sha256):
        raise BookError(
            f"{sha256[:20]!r} is no SHA-256 of a log.", "give its 64 hexadecimal digits."
        )
    return originals / sha256[:2] / sha256


def read_original(place: Path, sha256: str) -> bytes:
    """Return the bytes of a log and prove that they are the ones that were given.

    BookError if the log is gone or no longer matches its SHA-256.
    """
    try:
        data = place.read_bytes()
    except OSError as error:
        raise BookError(
            f"the log {sha256[:12]} is not in the book's folder any more ({error.strerror}).",
            "add the log again: the ride keeps everything else.",
        ) from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise BookError(
            f"the log {sha256[:12]} on the disk is not the one that was added: it has changed.",
            "add the log again from the logger: the ride keeps everything else.",
        )
    return data


_SUFFIXES = ("gpx", "nmea", "ubx", "fit", "tcx", "csv")


def suffix_of(format: str, data: bytes) -> str:
    """Return the suffix under which a log of such a format is given out."""
    packed = {b"\x1f\x8b": "gz", b"PK": "zip"}.get(data[:2])
    return packed or {one: one for one in _SUFFIXES}.get(format.split("-")[0], "log")


def sync_folder(folder: Path) -> None:
    """Make a new name in a folder survive a power cut, where the system can."""
    if os.name == "nt":  # Windows opens no folders; its rename is written through
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
