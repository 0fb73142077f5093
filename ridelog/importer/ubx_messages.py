"""The UBX messages of a log, found whatever stands between them, as columns of numbers.

How the bytes of a message are laid out is taken from pyubx2's tables. Finding the messages is
ours: a reader that trusts a length in the midst of damage loses all that stands behind it.
"""

import re
from dataclasses import dataclass
from functools import cache
from itertools import islice
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.importer.bounds import MAX_SENTENCES, too_many
from ridelog.importer.columns import ByteArray, padded

# Number of each message in class NAV and lengths of its payload; before protocol 15 NAV-PVT ended
# before headVeh (u-blox 8 / M8 receiver description, UBX-13003221, from memory; as pyubx2 has it).
_NAV: Final = {
    "NAV-PVT": (0x07, (84, 92)),
    "NAV-POSLLH": (0x02, (28,)),
    "NAV-VELNED": (0x12, (36,)),
    "NAV-TIMEUTC": (0x21, (20,)),
    "NAV-STATUS": (0x03, (16,)),
    "NAV-DOP": (0x04, (18,)),
}
# Frame of a message: two letters, class, number, length, payload, checksum (the same source; from
# memory, and as pyubx2 reads them).
_BEGIN = b"\xb5\x62"
_CLASS_NAV = 0x01
_HEAD_BYTES, _CHECK_BYTES = 6, 2
_LENGTHS = sorted({length for _, lengths in _NAV.values() for length in lengths})
_ANY = re.compile(
    re.escape(_BEGIN + bytes([_CLASS_NAV]))
    + b"(?:"
    + b"|".join(
        re.escape(bytes([number, length, 0])) for number, ls in _NAV.values() for length in ls
    )
    + b")"
)
# Whatever else a receiver may send, in messages short enough to be looked at. Own choices.
_OTHER, _MOST_OTHER, _LONGEST_OTHER = re.compile(re.escape(_BEGIN)), 1000, 1024
# So many messages are checked at once: their bytes are held as larger numbers. Own choice.
_AT_ONCE = 10_000


@dataclass(frozen=True)
class Messages:
    """Messages of one kind, in file order.

    at : place of each in the log's bytes, shape (n,).
    record : their payloads, shape (n,), with the fields of ``_layout(kind)``.

    ``messages[name]`` is a field by pyubx2's name, in the unit that its table gives, shape (n,).
    """

    at: IntArray
    kind: str
    record: npt.NDArray[np.void]

    def __len__(self) -> int:
        return int(self.at.shape[0])

    def __getitem__(self, name: str) -> FloatArray:
        _, scales, bits = _layout(self.kind)
        if name in bits:
            of, shift, width = bits[name]
            whole = self.record[of].astype(np.int64) >> shift
            values: FloatArray = (whole & (2**width - 1)).astype(np.float64)
        else:
            values = self.record[name].astype(np.float64) * scales[name]
        return values


@dataclass(frozen=True)
class UbxLog:
    """All messages of the kinds that tell of motion, and where damaged ones stand."""

    kinds: dict[str, Messages]
    wrong_at: IntArray

    def __getitem__(self, kind: str) -> Messages:
        return self.kinds[kind]


def holds_ubx(data: bytes) -> bool:
    """Return whether bytes hold a sound UBX message of any kind; looks at a bounded number."""
    for match in islice(_ANY.finditer(data), _MOST_OTHER):
        if _is_sound(data, match.start()):
            return True
    return any(_is_sound(data, m.start()) for m in islice(_OTHER.finditer(data), _MOST_OTHER))


def holds_motion(data: bytes) -> bool:
    """Return whether bytes hold a sound message that tells of motion."""
    return any(_is_sound(data, m.start()) for m in islice(_ANY.finditer(data), _MOST_OTHER))


def _is_sound(data: bytes, at: int) -> bool:
    length = int.from_bytes(data[at + 4 : at + 6], "little")
    end = at + _HEAD_BYTES + length
    if length > _LONGEST_OTHER or end + _CHECK_BYTES > len(data):
        return False
    first = second = 0
    for byte in data[at + 2 : end]:
        first = (first + byte) & 0xFF
        second = (second + first) & 0xFF
    return data[end : end + _CHECK_BYTES] == bytes([first, second])


def read_messages(name: str, data: bytes) -> UbxLog:
    """Return the sound messages of a log.

    UnreadableLogError if it holds more than MAX_SENTENCES.

    Source
    ------
    Frame and checksum (8-bit Fletcher, RFC 1145, over class to payload): u-blox 8 / M8 receiver
    description, UBX-13003221, "UBX frame structure" and "UBX checksum".
    """
    found = [match.start() for match in islice(_ANY.finditer(data), MAX_SENTENCES + 1)]
    if len(found) > MAX_SENTENCES:
        raise too_many(name, "UBX messages", MAX_SENTENCES)
    at = np.asarray(found, dtype=np.int64)
    buffer = padded(data + bytes(_HEAD_BYTES + _LENGTHS[-1] + _CHECK_BYTES))
    number = buffer[at + 3]
    length = buffer[at + 4].astype(np.int64)
    sound = np.zeros(len(at), dtype=np.bool_)
    for one in _LENGTHS:
        rows = np.flatnonzero((length == one) & (at + _HEAD_BYTES + one + 2 <= len(data)))
        for begin in range(0, len(rows), _AT_ONCE):
            part = rows[begin : begin + _AT_ONCE]
            sound[part] = _checked(buffer, at[part], one)
    kinds: dict[str, Messages] = {}
    for kind, (own, _) in _NAV.items():
        rows = np.flatnonzero(sound & (number == own))
        kinds[kind] = Messages(at[rows], kind, _payloads(kind, buffer, at[rows], length[rows]))
    return UbxLog(kinds, at[~sound])


def _checked(buffer: ByteArray, at: IntArray, length: int) -> BoolArray:
    """Return which messages of one length have the right checksum."""
    count = length + _HEAD_BYTES - 2
    body = buffer[at[:, None] + 2 + np.arange(count)].astype(np.int64)
    first = body.sum(axis=1) & 0xFF
    second = (body * np.arange(count, 0, -1)).sum(axis=1) & 0xFF
    right: BoolArray = (first == buffer[at + 2 + count]) & (second == buffer[at + 3 + count])
    return right


def _payloads(kind: str, buffer: ByteArray, at: IntArray, length: IntArray) -> npt.NDArray[np.void]:
    """Return the payloads of messages of one kind; fields that a short form lacks read 0."""
    dtype = _layout(kind)[0]
    place = np.arange(dtype.itemsize)
    record = np.zeros(len(at), dtype=dtype)
    for begin in range(0, len(at), _AT_ONCE):
        part = slice(begin, begin + _AT_ONCE)
        payload = buffer[at[part, None] + _HEAD_BYTES + place]
        payload[place[None, :] >= length[part, None]] = 0
        record[part] = payload.view(dtype)[:, 0]
    return record


@cache
def _layout(
    kind: str,
) -> tuple[np.dtype[Any], dict[str, float], dict[str, tuple[str, int, int]]]:
    """Return a payload's layout as pyubx2 has it: fields, their scales, and bits inside them."""
    # Loads slowly, and only a UBX log needs it.
    from pyubx2 import UBX_PAYLOADS_GET

    parts: list[tuple[str, str]] = []
    scales: dict[str, float] = {}
    bits: dict[str, tuple[str, int, int]] = {}
    for name, form in UBX_PAYLOADS_GET[kind].items():
        code, more = form if isinstance(form, (tuple, list)) else (form, 1.0)
        letter = {"U": "u", "X": "u", "I": "i"}[code[0]]
        parts.append((name, f"<{letter}{int(code[1:])}"))
        scales[name] = 1.0
        if isinstance(more, dict):
            shift = 0
            for bit, width in more.items():
                bits[bit] = (name, shift, int(width[1:]))
                shift += int(width[1:])
        else:
            scales[name] = float(more)
    return np.dtype(parts), scales, bits
