"""Several logs packed in one zip: each of them is a ride."""

import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import shown_name
from ridelog.importer.containers import (
    MAX_MEMBERS,
    PACK_ADVICE,
    is_content,
    read_member,
)
from ridelog.importer.kinds import HEAD_BYTES, looks_like_log


def several_logs(name: str, path: Path, *, limit_bytes: int) -> Iterator[tuple[str, bytes]]:
    """Yield name and bytes of every log in a zip that holds more than one; else nothing.

    Whatever is no such zip (another file, one log, a password, damage) is left to the reader of
    single logs, which says what is wrong with it. UnreadableLogError if more than ``limit_bytes``
    would come out.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = [item for item in archive.infolist() if is_content(item)]
            if len(members) > MAX_MEMBERS or any(item.flag_bits & 1 for item in members):
                return
            heads = ((item, read_member(archive, item, HEAD_BYTES, name)) for item in members)
            logs = [item for item, head in heads if looks_like_log(head)]
            if len(logs) < 2:
                return
            # zipfile lets no more out of a member than its directory declares (then its CRC fails).
            if sum(item.file_size for item in members) > limit_bytes:
                raise UnreadableLogError(
                    f"{shown_name(name)}: the {len(logs)} logs in the zip are larger together than "
                    f"is unpacked at once ({limit_bytes:,} bytes).",
                    PACK_ADVICE,
                )
            # Proven whole before the first is kept: a damaged zip must not come in by halves.
            if archive.testzip() is not None:
                return
            for item in logs:
                base = item.filename.rsplit("/", 1)[-1]
                yield base, read_member(archive, item, item.file_size, name)
    except (
        zipfile.BadZipFile, zlib.error, struct.error, OSError, EOFError, ValueError, RuntimeError,
        LookupError,
    ):  # fmt: skip
        return  # as zipfile raises on what is no zip or a damaged one
