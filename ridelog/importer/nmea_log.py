"""The sentences of a whole NMEA log, read part by part so that memory stays in step with them."""

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from ridelog.core.track import IntArray
from ridelog.importer.bounds import LONGEST_SENTENCE, MAX_SENTENCES, too_many
from ridelog.importer.nmea_readings import SentenceReadings, read_all
from ridelog.importer.nmea_sentences import find_sentences

# Finding sentences takes some twenty bytes of memory for each byte looked at. Own choice.
_PART_BYTES = 4 * 1024 * 1024


@dataclass(frozen=True)
class NmeaLog:
    """What a log's checksum-valid sentences say, in file order, and what else was met.

    Attributes
    ----------
    line : ndarray, shape (n,)
        Line of each valid sentence, counted from 1.
    readings : dict of SentenceReadings
        By sentence type.
    wrong_lines, unchecked_lines : ndarray
        As ``Sentences`` has them.
    """

    line: IntArray
    readings: dict[str, SentenceReadings]
    wrong_lines: IntArray
    unchecked_lines: IntArray

    def __len__(self) -> int:
        return int(self.line.shape[0])


def read_nmea_log(name: str, data: bytes) -> NmeaLog:
    """Return what the sentences of a log say.

    Raises
    ------
    UnreadableLogError
        If the log holds more than MAX_SENTENCES sentences, right or wrong.
    """
    line_end = b"\n" if b"\n" in data else b"\r"
    lines: list[IntArray] = []
    wrong: list[IntArray] = []
    unchecked: list[IntArray] = []
    readings: list[dict[str, SentenceReadings]] = []
    lines_before = counted = met = 0
    for part in _parts(data):
        sentences = find_sentences(part, line_end)
        found = read_all(sentences)
        readings.append({kind: one.after(counted) for kind, one in found.items()})
        lines.append(sentences.line + lines_before)
        wrong.append(sentences.wrong_lines + lines_before)
        unchecked.append(sentences.unchecked_lines + lines_before)
        counted += len(sentences)
        met += len(sentences) + len(wrong[-1]) + len(unchecked[-1])
        lines_before += part.count(line_end)
        if met > MAX_SENTENCES:
            raise too_many(name, "sentences", MAX_SENTENCES)
    return NmeaLog(
        line=np.concatenate(lines),
        readings={kind: _joined([one[kind] for one in readings]) for kind in readings[0]},
        wrong_lines=np.concatenate(wrong),
        unchecked_lines=np.concatenate(unchecked),
    )


def _parts(data: bytes) -> Iterator[bytes]:
    """Yield the log in parts that split no sentence; one empty part of an empty log."""
    begin = 0
    while True:
        end = begin + _PART_BYTES
        if end >= len(data):
            yield data[begin:]
            return
        # A "$" begins whatever may be a sentence, and none is longer than a sentence may be.
        start = data.rfind(b"$", max(begin + 1, end - LONGEST_SENTENCE), end)
        end = start if start > 0 else end
        yield data[begin:end]
        begin = end


def _joined(parts: list[SentenceReadings]) -> SentenceReadings:
    if len(parts) == 1:
        return parts[0]
    arrays = {
        item.name: np.concatenate([getattr(part, item.name) for part in parts])
        for item in fields(SentenceReadings)
        if item.name != "columns"
    }
    columns = {
        name: np.concatenate([part.columns[name] for part in parts]) for name in parts[0].columns
    }
    return SentenceReadings(**arrays, columns=columns)
