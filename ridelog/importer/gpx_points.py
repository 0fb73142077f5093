"""The track points of a GPX document as columns of text; points that are alike by pattern.

A logger writes one point like the other. The first of a kind becomes a pattern in which all tags
and all white space are literal and each text is printable ASCII without markup; a point that
matches differs from it in no XML event but the texts (XML 1.0, section 2.4: "<" and "&" occur as
markup only). One point of marks in place of a run of such points then shows that the run stands
where points stand, and not inside a comment; the rest is read event by event.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, islice

import numpy as np

from ridelog.core.errors import UnreadableLogError
from ridelog.core.track import IntArray
from ridelog.importer.bounds import LONGEST_TEXT, MAX_FIXES, too_many
from ridelog.importer.columns import Column, joined
from ridelog.importer.gpx_events import COLUMN_NAMES, Events

_BEGIN, _END = b"<trkpt", b"</trkpt>"
_TAG, _QUOTED = re.compile(rb"(<[^<>]*>)"), re.compile(rb'(?<==")([^"]*)(?=")')
_SPACE = rb"[ \t\r\n]*+"
# Printable ASCII without quotation mark, "&", "<" and ">", as long as a text may be.
_TEXT = rb"[ !#-%%'-;=?-~]{1,%d}+" % LONGEST_TEXT
# What stands for a text; a log that holds this is read event by event.
_MARK = "~text "
# A logger has a few kinds of points, such as with and without a speed; runs are cut so that their
# texts take little memory one by one; where many are odd, patterns gain nothing. Own choices.
_MOST_KINDS, _LONGEST_POINT, _LONGEST_RUN, _MOST_MISSED = 16, 4096, 20_000, 10_000


@dataclass(frozen=True)
class GpxPoints:
    """All track points of one document, in file order, as texts.

    columns : for each of COLUMN_NAMES the texts; length 0 where the point has none.
    line : line of each point's start tag, counted from 1.
    segment : number of trkseg elements opened before the point.
    version, namespace, own_speed, way_points : as ``Events`` says.
    broken : why reading stopped early ("" if it did not), and broken_line where.
    """

    columns: dict[str, Column]
    line: IntArray
    segment: IntArray
    version: str
    namespace: str
    own_speed: bool
    way_points: int
    broken: str = ""
    broken_line: int = 0

    def __len__(self) -> int:
        return int(self.line.shape[0])


@dataclass(frozen=True)
class _Kind:
    """Points with the same tags: patterns of a run of them and of the texts of each.

    The texts are followed by the space after the point; ``marked`` is a point of marks, ``places``
    say which texts make a row.
    """

    run: re.Pattern[bytes]
    each: re.Pattern[bytes]
    marked: bytes
    places: tuple[int, ...]


@dataclass(frozen=True)
class _Block:
    """Neighbouring points: each column's texts as one, their lengths, and each point's line."""

    texts: tuple[bytes, ...]
    lengths: tuple[IntArray, ...]
    line: IntArray


def read_points(name: str, data: bytes) -> GpxPoints:
    """Return the track points of a GPX document.

    Whole points before the place where a document breaks off are kept.

    Parameters
    ----------
    name : str
        File name for the messages.
    data : bytes
        The document, in any encoding that expat reads (UTF-8, UTF-16, 8-bit).

    UnreadableLogError if the document must not be trusted: see ``Events``.
    """
    short, runs = _shortened(data)
    if sum(len(run.line) for run in runs if run is not None) > MAX_FIXES:
        raise too_many(name, "track points", MAX_FIXES)
    points = None
    try:
        points = _points(name, short, runs) if runs else None
    except UnreadableLogError:
        pass  # The document itself says where.
    return read_event_by_event(name, data) if points is None else points


def read_event_by_event(name: str, data: bytes) -> GpxPoints:
    """Return what read_points returns, without patterns."""
    points = _points(name, data, [])
    assert points is not None
    return points


def _points(name: str, data: bytes, runs: list[_Block | None]) -> GpxPoints | None:
    """Return the points of a document with those of its runs, None if a run is not among them.

    ``runs`` holds a block for each point of marks, None where it is not the first of its run.
    """
    events = Events(name)
    broken, broken_line = events.read(data)
    blocks: list[_Block] = []
    segments: list[IntArray] = []
    waiting = runs[::-1]
    rows = zip(events.rows, events.marks, strict=True)
    for marked, group in groupby(rows, key=lambda row: bool(runs) and _is_marked(row[0])):
        while not marked and (some := list(islice(group, _LONGEST_RUN))):
            texts, marks = zip(*some, strict=True)
            line, segment = np.asarray(marks, dtype=np.int64).T
            encoded = [[_encoded(one) for one in row] for row in texts]
            blocks.append(_packed(list(zip(*encoded, strict=True)), line))
            segments.append(segment)
        for _, mark in group if marked else ():
            # A text may look like a mark: then there are too many, or one stands elsewhere.
            if not waiting or (waiting[-1] is not None and waiting[-1].line[0] != mark[0]):
                return None
            run = waiting.pop()
            if run is not None:
                blocks.append(run)
                segments.append(np.full(len(run.line), mark[1]))
    if waiting:
        return None
    none = np.zeros(0, dtype=np.int64)
    return GpxPoints(
        columns={
            column: joined([one.texts[k] for one in blocks], [one.lengths[k] for one in blocks])
            for k, column in enumerate(COLUMN_NAMES)
        },
        line=np.concatenate([none, *(one.line for one in blocks)]),
        segment=np.concatenate([none, *segments]),
        version=events.version,
        namespace=events.namespace,
        own_speed=events.own_speed,
        way_points=events.way_points,
        broken=broken,
        broken_line=broken_line,
    )


def _encoded(text: str | None) -> bytes:
    return (text or "").encode("utf-8", "replace")


def _packed(columns: Sequence[Sequence[bytes]], line: IntArray) -> _Block:
    texts, none = tuple(map(b"".join, columns)), np.zeros(len(line), dtype=np.int64)
    lengths = (
        np.fromiter(map(len, column), np.int64, len(line)) if text else none
        for text, column in zip(texts, columns, strict=True)
    )
    return _Block(texts, tuple(lengths), line)


def _is_marked(texts: list[str | None]) -> bool:
    """Return whether a row is that of a point of marks: by its own attributes, lat and lon."""
    return any(text is not None and text.startswith(_MARK) for text in texts[:2])


def _shortened(data: bytes) -> tuple[bytes, list[_Block | None]]:
    """Return a document with one point of marks for each kind in each run, and the runs.

    The lines of all that is left keep their numbers.
    """
    runs: list[_Block | None] = []
    # expat takes a lone carriage return for the end of a line.
    lone = b"\r" in data and data.count(b"\r") != data.count(b"\r\n")
    if lone or _MARK.encode() in data:
        return data, runs
    kinds: list[_Kind | None] = []
    parts: list[bytes] = []
    copied = place = counted = missed = found_points = 0
    line = 1
    while missed < _MOST_MISSED and (place := data.find(_BEGIN, place)) >= 0:
        if found_points > MAX_FIXES:
            break
        begin, end = place, place + len(_BEGIN)
        columns: list[list[bytes]] = [[] for _ in COLUMN_NAMES]
        lines: list[IntArray] = []
        present: list[_Kind] = []
        while len(columns[0]) < _LONGEST_RUN and (found := _matched(data, place, kinds)):
            kind, stop = found
            if kind not in present:
                present.append(kind)
            *texts, space = zip(*kind.each.findall(data, place, stop), strict=True)
            texts.append((b"",) * len(space))
            for column, number in zip(columns, kind.places, strict=True):
                column += texts[number]
            line += data.count(b"\n", counted, place)
            own = kind.marked.count(b"\n")
            # Few different texts stand between points.
            down = {one: own + one.count(b"\n") for one in set(space)}
            lines.append(line + np.cumsum([0, *(down[one] for one in space[:-1])]))
            counted, end, place = place, data.rfind(b">", place, stop) + 1, stop
        if lines:
            marked = b"".join([kind.marked for kind in present])
            more = data.count(b"\n", begin, end) - marked.count(b"\n")
            parts += [data[copied:begin], marked, b"\n" * more]
            copied = end
            runs += [_packed(columns, np.concatenate(lines)), *[None] * (len(present) - 1)]
            found_points += len(columns[0])
        missed += not lines
        place = end
    return b"".join([*parts, data[copied:]]), runs


def _matched(data: bytes, place: int, kinds: list[_Kind | None]) -> tuple[_Kind, int] | None:
    """Return the kind of the points at a place, maybe a new one, and where they end.

    The space after them counts to them. None if the point there has to be read.
    """
    for kind in kinds:
        match = kind.run.match(data, place) if kind else None
        if kind and match:
            return kind, match.end()
    if len(kinds) == _MOST_KINDS or not data.startswith(_BEGIN, place):
        return None
    stop = data.find(_END, place, place + _LONGEST_POINT)
    kinds.append(_kind_of(data[place : stop + len(_END)]) if stop >= 0 else None)
    kind = kinds[-1]
    match = kind.run.match(data, place) if kind else None
    return (kind, match.end()) if kind and match else None


def _kind_of(point: bytes) -> _Kind | None:
    """Return the kind of a point, None if it holds more than tags and plain texts."""
    pieces = _TAG.split(point)
    if any(sign in point for sign in (b"&", b"<!", b"<?")) or b"'" in pieces[1]:
        return None
    # Literal, text, literal and so on: first what is quoted in the point's own tag.
    parts = _QUOTED.split(pieces[1])
    for text, tag in zip(pieces[2:-1:2], pieces[3::2], strict=True):
        if text.strip():
            parts += [text, tag]
        else:
            parts[-1] += text + tag
    texts = range(len(parts) // 2)
    parts[1::2] = [_TEXT] * len(texts)
    parts[::2], literals = map(re.escape, parts[::2]), parts[::2]
    alike = b"".join(parts)
    if not re.fullmatch(alike, point):
        return None
    parts[1::2] = [b"(" + _TEXT + b")"] * len(texts)
    each = re.compile(b"".join(parts) + b"(" + _SPACE + b")")
    run = re.compile(b"(?:%s%s){1,%d}+" % (alike, _SPACE, _LONGEST_RUN))
    parts[::2], parts[1::2] = literals, [f"{_MARK}{number}".encode() for number in texts]
    marked, events = b"".join(parts), Events("")
    try:
        broken, _ = events.read(b"<gpx>" + marked + b"</gpx>")
    except UnreadableLogError:
        return None
    if broken or len(events.rows) != 1 or not _is_marked(events.rows[0]):
        return None
    row = [_MARK + "-1" if text is None else text for text in events.rows[0]]
    if not all(text.startswith(_MARK) for text in row):
        return None
    return _Kind(run, each, marked, tuple([int(text.removeprefix(_MARK)) for text in row]))
