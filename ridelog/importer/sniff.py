"""What a log is, judged from its content and never from its name."""

import codecs
import re
from enum import Enum

from ridelog.core.errors import UnreadableLogError
from ridelog.importer.wording import shown, shown_name

_HEAD_BYTES = 64 * 1024
# A logger may write a long header before the first sentence; 4 MiB of it is no log any more.
_SEARCH_BYTES = 4 * 1024 * 1024
_SENTENCE = re.compile(rb"\$[A-Z][A-Z0-9](?:RMC|GGA|GNS|GLL|VTG|GSA|GST|GSV|ZDA),")
_GPX_ROOT = re.compile(rb"<(?:[\w.-]+:)?gpx[\s/>]")
_ANY_ROOT = re.compile(rb"<(?![?!])((?:[\w.-]+:)?[A-Za-z_][\w.-]*)")
_COMMENT = re.compile(rb"<!--.*?(?:-->|\Z)", re.DOTALL)
_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


class LogKind(Enum):
    """The two families of logs that ridelog reads."""

    GPX = "gpx"
    NMEA = "nmea"


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
    return as_ascii_text(data[: _HEAD_BYTES - _HEAD_BYTES % 2]).lstrip()


def looks_like_log(data: bytes) -> bool:
    """Return whether bytes start a GPX or NMEA log; never raises."""
    return _kind(data) is not None


def _kind(data: bytes) -> LogKind | None:
    head = _head_as_ascii(data)
    if head.startswith(b"<") and _GPX_ROOT.search(_COMMENT.sub(b"", head)):
        return LogKind.GPX
    if _SENTENCE.search(as_ascii_text(data[:_SEARCH_BYTES])):
        return LogKind.NMEA
    return None


def sniff(name: str, data: bytes) -> LogKind:
    """Return the format of a log from its content.

    Raises
    ------
    UnreadableLogError
        If the content is empty or neither GPX nor NMEA 0183.
    """
    who = shown_name(name)
    advice = "export the ride as GPX or as an NMEA 0183 log and give ridelog that file."
    if not data.strip(b"\x00 \t\r\n"):
        raise UnreadableLogError(
            f"{who}: the file is empty ({len(data):,} bytes without content).",
            "copy the log from the logger again.",
        )
    kind = _kind(data)
    if kind is not None:
        return kind
    head = _head_as_ascii(data)
    root = _ANY_ROOT.search(_COMMENT.sub(b"", head)) if head.startswith(b"<") else None
    if root:
        raise UnreadableLogError(
            f"{who}, first element: the file is XML but not GPX (found {shown(root.group(1))}).",
            advice,
        )
    raise UnreadableLogError(
        f"{who}, start of file: the content is neither GPX nor NMEA 0183 "
        f"(it begins {shown(head[:24])}).",
        advice,
    )
