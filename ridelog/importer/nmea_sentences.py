"""NMEA 0183 sentences found anywhere in a log, their checksums verified, all at once."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from ridelog.core.track import IntArray
from ridelog.importer.bounds import LONGEST_SENTENCE
from ridelog.importer.columns import BoolArray, ByteArray, padded

# The sentences that carry something a ride needs, by their three letters.
TYPES: Final = ("RMC", "GGA", "GNS", "GLL", "VTG", "GSA", "GST", "ZDA")
# "$", two letters of talker, three of type, then the first comma (gpsd, NMEA field notes).
_ADDRESS_LETTERS = 6
# The value of each hexadecimal digit, exact; 255 for any other letter.
_HEX = np.full(256, 255, dtype=np.uint8)
for _i, _digit in enumerate(b"0123456789ABCDEF"):
    _HEX[_digit] = _i
    _HEX[ord(chr(_digit).lower())] = _i


@dataclass(frozen=True)
class Sentences:
    """All checksum-valid sentences of the TYPES, in file order, and what else was met.

    buffer : ndarray of uint8
        The log, padded.
    kind : ndarray, shape (n,)
        Place of the sentence's type in TYPES.
    line : ndarray, shape (n,)
        Line in the log, counted from 1.
    first_comma, comma_count : ndarray, shape (n,)
        Where the sentence's commas begin in ``commas``, and how many it has.
    star : ndarray, shape (n,)
        Place of the "*".
    commas : ndarray
        Places of all commas of the log.
    wrong_lines : ndarray
        Lines of standard sentences whose checksum is wrong.
    unchecked_lines : ndarray
        Lines of standard sentences cut short or without a checksum.
    """

    buffer: ByteArray
    kind: IntArray
    line: IntArray
    first_comma: IntArray
    comma_count: IntArray
    star: IntArray
    commas: IntArray
    wrong_lines: IntArray
    unchecked_lines: IntArray

    def __len__(self) -> int:
        return int(self.kind.shape[0])

    def of_type(self, name: str) -> IntArray:
        """Return which sentences are of this type."""
        return np.flatnonzero(self.kind == TYPES.index(name))

    def field(self, which: IntArray, number: int) -> tuple[IntArray, IntArray]:
        """Return starts and lengths of one field, numbered as in the standard from 1.

        A field that the sentence does not have gets length 0.
        """
        at = self.first_comma[which] + number - 1
        present = self.comma_count[which] >= number
        begin = self.commas[np.where(present, at, self.first_comma[which])] + 1
        last = self.comma_count[which] == number
        end = np.where(last, self.star[which], self.commas[np.where(present & ~last, at + 1, 0)])
        return begin, np.where(present, end - begin, 0)


def find_sentences(data: bytes, line_end: bytes = b"\n") -> Sentences:
    """Return the valid sentences among whatever else a log holds.

    Lines are counted by ``line_end``: old systems end them with a carriage return alone.

    A sentence starts at "$" and must reach its "*" and two hexadecimal digits before the line ends,
    the next "$" comes or it is longer than LONGEST_SENTENCE; what stands before or after it (logger
    stamps, binary runs, a second sentence on the same line) does not matter.

    Source
    ------
    Checksum: XOR of all bytes strictly between "$" and "*" (from memory, confirmed on published
    lines: tests/published/test_nmea_lines.py).
    """
    buffer = padded(data)
    size = len(data)
    all_dollars = np.flatnonzero(buffer[:size] == ord("$"))
    dollar = all_dollars[_is_standard(buffer, all_dollars)]
    feeds = np.flatnonzero(buffer[:size] == ord("\n"))
    returns = np.flatnonzero(buffer[:size] == ord("\r"))
    star = _following(np.flatnonzero(buffer[:size] == ord("*")), dollar, size)
    last = np.minimum(_following(feeds, dollar, size), _following(returns, dollar, size))
    whole = (star < last) & (star < _following(all_dollars, dollar + 1, size))
    whole &= star - dollar < LONGEST_SENTENCE - 2
    star = np.where(whole, star, 0)
    high, low = _HEX[buffer[star + 1]], _HEX[buffer[star + 2]]
    whole &= (high < 16) & (low < 16)
    running = np.bitwise_xor.accumulate(buffer)
    right = whole & ((running[star - 1] ^ running[dollar]) == (high << 4 | low))
    lines = feeds if line_end == b"\n" else returns
    line = np.searchsorted(lines, dollar) + 1
    kind = _types(buffer, dollar)
    kept = right & (kind >= 0)
    commas = np.flatnonzero(buffer[:size] == ord(","))
    first_comma = np.searchsorted(commas, dollar[kept])
    return Sentences(
        buffer=buffer,
        kind=kind[kept],
        line=line[kept],
        first_comma=first_comma,
        comma_count=np.searchsorted(commas, star[kept]) - first_comma,
        star=star[kept],
        commas=commas if commas.shape[0] else np.zeros(1, dtype=np.int64),
        wrong_lines=line[whole & ~right],
        unchecked_lines=line[~whole],
    )


def _following(places: IntArray, after: IntArray, none: int) -> IntArray:
    """Return for each position the first place at or after it; ``none`` if there is no more."""
    found: IntArray = np.append(places, none)[np.searchsorted(places, after)]
    return found


def _is_standard(buffer: ByteArray, dollar: IntArray) -> BoolArray:
    """Return which "$" start an address of five capitals or digits that is not proprietary."""
    standard: BoolArray = (buffer[dollar + _ADDRESS_LETTERS] == ord(",")) & (
        buffer[dollar + 1] != ord("P")
    )
    for j in range(1, _ADDRESS_LETTERS):
        letter = buffer[dollar + j]
        standard &= ((letter >= ord("A")) & (letter <= ord("Z"))) | (
            (letter >= ord("0")) & (letter <= ord("9"))
        )
    return standard


def _types(buffer: ByteArray, dollar: IntArray) -> IntArray:
    """Return the place of each sentence's type in TYPES, -1 for any other."""
    kind = np.full(dollar.shape[0], -1, dtype=np.int64)
    last_three = [buffer[dollar + j] for j in (3, 4, 5)]
    for place, name in enumerate(TYPES):
        same = np.ones(dollar.shape[0], dtype=np.bool_)
        for letter, column in zip(name.encode(), last_three, strict=True):
            same &= column == letter
        kind[same] = place
    return kind
