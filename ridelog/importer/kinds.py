"""What kind of log some bytes are: their content decides, never a name."""

import codecs
import re
from enum import Enum

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import shown, shown_name
from ridelog.importer.table_head import is_log_table, is_table
from ridelog.importer.ubx_messages import holds_motion, holds_ubx

# So much of a file shows of what kind it is. Own choice.
HEAD_BYTES = 64 * 1024
# A logger may write a long header before the first sentence; 4 MiB of it is no log any more. Own
# choice.
SEARCH_BYTES = 4 * 1024 * 1024
READ_KINDS = "GPX, NMEA, UBX, FIT, TCX, or a CSV table with a head"
_SENTENCE = re.compile(rb"\$[A-Z][A-Z0-9](?:RMC|GGA|GNS|GLL|VTG|GSA|GST|GSV|ZDA),")
_ROOTS = {
    kind: re.compile(rb"<(?:[\w.-]+:)?%s[\s/>]" % name)
    for kind, name in (("gpx", b"gpx"), ("tcx", b"TrainingCenterDatabase"))
}
_ANY_ROOT = re.compile(rb"<(?![?!])((?:[\w.-]+:)?[A-Za-z_][\w.-]*)")
_COMMENT = re.compile(rb"<!--.*?(?:-->|\Z)", re.DOTALL)
_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# Sizes of a FIT file's header, and what it holds from byte 8 on (Garmin's FIT protocol,
# "File header"; from memory).
_FIT_HEADS, _FIT_MARK = (12, 14), b".FIT"


class LogKind(Enum):
    """The families of logs that ridelog reads."""

    GPX = "gpx"
    NMEA = "nmea"
    UBX = "ubx"
    FIT = "fit"
    TCX = "tcx"
    CSV = "csv"


def as_ascii_text(data: bytes) -> bytes:
    """Return the log with one byte a letter, without a byte order mark.

    UTF-16 (with its mark) becomes UTF-8; everything else is given back as it is, so that binary
    runs inside a log survive.
    """
    if data[:2] in _UTF16_MARKS:
        return data.decode("utf-16", "replace").encode("utf-8", "replace")
    return data.removeprefix(codecs.BOM_UTF8)


def _head_as_ascii(data: bytes) -> bytes:
    """Return the start of a log as ASCII-like bytes, even when the cut splits a letter."""
    return as_ascii_text(data[: HEAD_BYTES - HEAD_BYTES % 2]).lstrip()


def looks_like_log(data: bytes) -> bool:
    """Return whether bytes start a log of a kind that ridelog reads; never raises."""
    return _kind(data) is not None


def _kind(data: bytes) -> LogKind | None:
    if data[:1] and data[0] in _FIT_HEADS and data[8:12] == _FIT_MARK:
        return LogKind.FIT
    head = _head_as_ascii(data)
    if head.startswith(b"<"):
        bare = _COMMENT.sub(b"", head)
        for kind, root in _ROOTS.items():
            if root.search(bare):
                return LogKind(kind)
    searched = data[:SEARCH_BYTES]
    if holds_motion(searched):
        return LogKind.UBX
    if _SENTENCE.search(as_ascii_text(searched)):
        return LogKind.NMEA
    if holds_ubx(searched):
        return LogKind.UBX
    return LogKind.CSV if is_log_table(data[:HEAD_BYTES]) else None


def holds_sentence(data: bytes) -> bool:
    """Return whether bytes hold what begins like an NMEA sentence of a kind that is read."""
    return _SENTENCE.search(data) is not None


def sniff(name: str, data: bytes, *, told: bool = False) -> LogKind:
    """Return the format of a log from its content.

    ``told`` is whether the user says which column of a table is which: then any table will do.
    UnreadableLogError if the content is empty or no log that ridelog reads.
    """
    who = shown_name(name)
    advice = f"export the ride as one of these and give ridelog that file: {READ_KINDS}."
    if not data.strip(b"\x00 \t\r\n"):
        raise UnreadableLogError(
            f"{who}: the file is empty ({len(data):,} bytes without content).",
            "copy the log from the logger again.",
        )
    kind = _kind(data)
    if kind is None and is_table(data[:HEAD_BYTES], told=told):
        kind = LogKind.CSV
    if kind is not None:
        return kind
    head = _head_as_ascii(data)
    root = _ANY_ROOT.search(_COMMENT.sub(b"", head)) if head.startswith(b"<") else None
    if root:
        raise UnreadableLogError(
            f"{who}, first element: the file is XML but neither GPX nor TCX "
            f"(found {shown(root.group(1))}).",
            advice,
        )
    raise UnreadableLogError(
        f"{who}, start of file: the content is no log that ridelog reads ({_begins(data)}).",
        advice,
    )


def _begins(data: bytes) -> str:
    """Return how a content begins, in words where it is no text."""
    head = data[:24]
    text = head.decode("utf-8", "replace")
    seen = sum(letter.isprintable() and letter != "\N{REPLACEMENT CHARACTER}" for letter in text)
    # A program, a picture or an archive has such bytes at once; a text has a line end or two.
    return f"it begins {shown(head)}" if seen >= 0.8 * len(text) else "it is no text"
