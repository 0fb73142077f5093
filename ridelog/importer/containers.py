"""The bytes of one log out of a plain, gzip or zip file."""

import io
import lzma
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import shown, shown_name
from ridelog.importer.kinds import HEAD_BYTES, READ_KINDS, looks_like_log

# A day at 25 Hz as GPX is 450 MB; anything larger is not one test ride. Own choice.
MAX_LOG_BYTES = 512 * 1024 * 1024
# An archive with more members than this is not a ride that someone packed. Own choice.
MAX_MEMBERS = 1000
# More than this out of each byte is no log: of a receiver at rest, whose lines differ in their
# times alone, deflate makes less than a fiftieth. Below the second bound nothing is asked. Own
# choices.
MAX_RATIO, _RATIO_FROM_BYTES = 200, 32 * 1024 * 1024
_CHUNK_BYTES = 1024 * 1024

_GZIP, _ZIP = b"\x1f\x8b\x08", (b"PK\x03\x04", b"PK\x05\x06")
PACK_ADVICE = "unpack it and give ridelog the one log of the ride."


@dataclass(frozen=True)
class Unpacked:
    """The bytes of the log itself, and what was doubtful about its packing."""

    data: bytes
    packing: str
    warnings: tuple[str, ...] = ()


def unpack(name: str, data: bytes, *, limit_bytes: int = MAX_LOG_BYTES) -> Unpacked:
    """Return the log inside a file, unpacked if the content says that it is packed.

    Parameters
    ----------
    name : str
        File name for the messages.
    data : bytes
        The whole file as it was given.
    limit_bytes : int
        Most bytes that may come out.

    Returns
    -------
    Unpacked
        The log's bytes; ``packing`` is "plain", "gzip" or "zip".

    UnreadableLogError if the archive is damaged, locked, too large, or holds no or several logs.

    Source
    ------
    Magic numbers: RFC 1952 (1996), section 2.3.1 for gzip; PKWARE APPNOTE 6.3, section 4.3 for zip.
    """
    if len(data) > limit_bytes:
        raise too_large(name, len(data), limit_bytes)
    if data[:3] == _GZIP:
        return _gunzip(name, data, limit_bytes)
    if data[:4] in _ZIP:
        return _unzip(name, data, limit_bytes)
    return Unpacked(data, "plain")


def is_packed(data: bytes) -> bool:
    """Return whether the bytes begin a gzip or zip file."""
    return data[:3] == _GZIP or data[:4] in _ZIP


def too_large(name: str, seen_bytes: int, limit_bytes: int = MAX_LOG_BYTES) -> UnreadableLogError:
    """Return the error for a log of more bytes than ridelog reads."""
    return UnreadableLogError(
        f"{shown_name(name)}: the log is larger than ridelog reads "
        f"({seen_bytes:,} bytes or more, the limit is {limit_bytes:,}).",
        "cut the log down to the one test ride.",
    )


def _most_from(packed_bytes: int, limit_bytes: int) -> int:
    """Return how many bytes may come out of a packed file."""
    return min(limit_bytes, max(MAX_RATIO * packed_bytes, _RATIO_FROM_BYTES))


def _member(data: bytes, place: int) -> Iterator[tuple[bytes, int]]:
    """Yield what comes out of the gzip member at a place, and where reading goes on.

    The place of the last one is that of the next member, or -1 if the data end before the member.
    It is fed in pieces that grow, so that neither what a long member leaves for later nor what
    stands behind a short one is copied again and again.
    """
    engine = zlib.decompressobj(wbits=zlib.MAX_WBITS | 16)
    size = 256
    while not engine.eof and place < len(data):
        rest = data[place : place + size]
        place += len(rest)
        size = min(2 * size, HEAD_BYTES)
        while rest and not engine.eof:
            part = engine.decompress(rest, _CHUNK_BYTES)
            rest = engine.unconsumed_tail
            yield part, place
    yield b"", place - len(engine.unused_data) if engine.eof else -1


def _gunzip(name: str, data: bytes, limit_bytes: int) -> Unpacked:
    """Return the bytes of all gzip members; a cut-off last member keeps what came out."""
    parts: list[bytes] = []
    total = place = reached = 0
    looked = False
    most = _most_from(len(data), limit_bytes)
    while place >= 0 and data[place : place + 2] == b"\x1f\x8b":
        try:
            for part, after in _member(data, place):
                total, reached = total + len(part), after
                if total > most:
                    raise too_large(name, total, most)
                if part:
                    parts.append(part)
                # A long head without a sign of a log: stop unpacking.
                if not looked and total >= HEAD_BYTES:
                    looked, head = True, b"".join(parts)
                    if not looks_like_log(head):
                        return Unpacked(head, "gzip")
        except zlib.error as error:
            raise UnreadableLogError(
                f"{shown_name(name)}, after {total:,} unpacked bytes: the gzip data are damaged "
                f"({error}).",
                "copy the file from the logger again.",
            ) from error
        place = reached
        if place < 0 and total == 0:
            raise UnreadableLogError(
                f"{shown_name(name)}: the gzip file is cut off before any content "
                f"(after {len(data):,} bytes).",
                "copy the file from the logger again.",
            )
        if place < 0:
            warning = (
                f"The gzip file is cut off; the {total:,} bytes that could be unpacked were read."
            )
            return Unpacked(b"".join(parts), "gzip", (warning,))
    return Unpacked(b"".join(parts), "gzip")


def _unzip(name: str, data: bytes, limit_bytes: int) -> Unpacked:
    """Return the one log inside a zip archive; folders, notes and pictures are passed over."""
    who = shown_name(name)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [item for item in archive.infolist() if is_content(item)]
            if len(members) > MAX_MEMBERS:
                raise UnreadableLogError(
                    f"{who}: the zip file holds {len(members):,} files, more than {MAX_MEMBERS:,}.",
                    PACK_ADVICE,
                )
            locked = [item for item in members if item.flag_bits & 1]
            if locked:
                raise UnreadableLogError(
                    f"{who}, member {shown(locked[0].filename)}: the zip file asks for a password.",
                    PACK_ADVICE,
                )
            logs = [
                item
                for item in members
                if looks_like_log(read_member(archive, item, HEAD_BYTES, name))
            ]
            if len(logs) != 1:
                raise _wrong_number(who, members, logs)
            most = _most_from(len(data), limit_bytes)
            inside = read_member(archive, logs[0], most + 1, name)
            if len(inside) > most:
                raise too_large(name, len(inside), most)
            return Unpacked(inside, "zip")
    except (
        zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, NotImplementedError, OSError,
    ) as error:  # fmt: skip
        raise UnreadableLogError(
            f"{who}: the zip file is damaged or packed in an unknown way ({error}).",
            "copy the file from the logger again, or unpack it first.",
        ) from error
    except (
        ValueError,
        RuntimeError,
        ArithmeticError,
        LookupError,
        struct.error,
        MemoryError,
    ) as error:
        # zipfile raises these on some damaged directories (offsets, names, dates out of range).
        raise UnreadableLogError(
            f"{who}: the directory of the zip file is damaged ({type(error).__name__}).",
            "copy the file from the logger again, or unpack it first.",
        ) from error


def is_content(item: zipfile.ZipInfo) -> bool:
    """Return whether a member is a file that a rider packed, not a folder or a hidden copy."""
    base = item.filename.rsplit("/", 1)[-1]
    hidden = base.startswith(".") or item.filename.startswith("__MACOSX/")
    return not item.is_dir() and not hidden


def read_member(archive: zipfile.ZipFile, item: zipfile.ZipInfo, most: int, name: str) -> bytes:
    """Return at most so many bytes of a member, whatever size its header claims.

    zipfile checks the member's CRC only at its end, so a head can be read of a damaged file.
    """
    parts: list[bytes] = []
    total = 0
    with archive.open(item) as stream:
        while total < most:
            part = stream.read(min(_CHUNK_BYTES, most - total))
            if not part:
                break
            parts.append(part)
            total += len(part)
    return b"".join(parts)


def _wrong_number(
    who: str, members: list[zipfile.ZipInfo], logs: list[zipfile.ZipInfo]
) -> UnreadableLogError:
    if not members:
        return UnreadableLogError(f"{who}: the zip file is empty (0 files).", PACK_ADVICE)
    if not logs:
        names = ", ".join(shown(item.filename) for item in members[:3])
        return UnreadableLogError(
            f"{who}: no file in the zip is a log: {READ_KINDS} (found {names}).", PACK_ADVICE
        )
    names = ", ".join(shown(item.filename) for item in logs[:3])
    return UnreadableLogError(
        f"{who}: the zip holds {len(logs)} logs ({names}), ridelog reads one ride at a time.",
        PACK_ADVICE,
    )
