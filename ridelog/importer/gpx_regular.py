"""The same columns as gpx_points, three times faster, for documents where that is provably safe.

expat checks that the document is well formed, without handlers inside the stretch of points. A
stretch without comments, CDATA, entities, processing instructions and with exactly one ">" after
each "<" consists of tags and plain text only (XML 1.0, section 2.4: "<" cannot occur otherwise), so
tags can be found by their brackets alone. Any doubt returns None, and gpx_points reads the file.
"""

from dataclasses import dataclass
from xml.parsers import expat

import numpy as np

from ridelog.core.track import IntArray
from ridelog.importer.columns import BoolArray, ByteArray, padded
from ridelog.importer.gpx_points import COLUMN_NAMES, MOST_DEPTH, GpxPoints, Reader

_TERMINATORS = b">/ \t\r\n"
# Letters that cannot stand in a name, by code.
_ENDS_NAME = np.isin(np.arange(256), np.frombuffer(b" \t\r\n/\"'=", dtype=np.uint8))
# Longest prefix looked at in one sweep; longer ones one by one, so that none is left out.
_LONGEST_PREFIX = 32
_WORD_BYTES = 8
# Each open element must stay below MOST_DEPTH here, or the two readers could disagree.
_MOST_TAGS_AFTER = 100
_MOST_DEPTH_INSIDE = 50
_CHILDREN = ("ele", "time", "fix", "sat", "hdop", "speed", "course")
_ANY_DEPTH = ("speed", "course")
_POINT_END = b"</trkpt>"
# Read at once; tags and their masks take some ten times as much memory.
_STRETCH_BYTES = 1 << 22


@dataclass(frozen=True)
class _Tags:
    """Every tag of one stretch of points: brackets, kind, nesting, first letters."""

    opening: IntArray  # places of "<"
    closing: IntArray  # places of the ">" that belongs to it
    empty: BoolArray  # <x/>
    depth: IntArray  # open elements before the tag, from the first point's level
    depth_after: int  # the same behind the stretch
    word: np.ndarray[tuple[int], np.dtype[np.uint64]]  # eight letters after "<"


@dataclass(frozen=True)
class _Stretch:
    """The points of one stretch: places of their "<", of segments opened, and of their texts."""

    points: IntArray
    opened: IntArray
    columns: dict[str, tuple[IntArray, IntArray]]
    own_speed: bool
    depth_after: int


def read_regular_points(name: str, data: bytes) -> GpxPoints | None:
    """Return exactly what read_points returns, or None if the document is not regular enough."""
    first = data.find(b"<trkpt")
    last = data.rfind(_POINT_END) + len(_POINT_END)
    if first < 0 or last <= first or not _is_plain(data, first, last):
        return None
    buffer = padded(data)
    stretches: list[_Stretch] = []
    depth, begin = 0, first
    while begin < last:
        # Stretch by stretch: the tags of a whole day would take far more memory than its log.
        end = data.find(_POINT_END, min(begin + _STRETCH_BYTES, last - len(_POINT_END)))
        stretch = _read_stretch(data, buffer, begin, end + len(_POINT_END), depth)
        if stretch is None or (begin == first and stretch.points[:1].tolist() != [first]):
            return None  # the first hit may have been only the beginning of a longer name
        stretches.append(stretch)
        depth, begin = stretch.depth_after, end + len(_POINT_END)
    head = _well_formed(name, data, first)
    if head is None:
        return None
    points = np.concatenate([stretch.points for stretch in stretches])
    opened = np.concatenate([stretch.opened for stretch in stretches])
    columns = {
        column: (
            buffer,
            np.concatenate([stretch.columns[column][0] for stretch in stretches]),
            np.concatenate([stretch.columns[column][1] for stretch in stretches]),
        )
        for column in COLUMN_NAMES
    }
    return GpxPoints(
        columns=columns,
        line=_lines_of(buffer, points),
        segment=head.segments + np.searchsorted(opened, points),
        version=head.version,
        namespace=head.namespace,
        own_speed=any(stretch.own_speed for stretch in stretches),
        way_points=head.way_points,
    )


def _read_stretch(
    data: bytes, buffer: ByteArray, begin: int, end: int, depth: int
) -> _Stretch | None:
    """Return the points between two places, the second right behind the end of a point."""
    tags = _find_tags(buffer, begin, end, depth)
    if tags is None:
        return None
    named_point = _named(tags, b"trkpt")
    points = np.flatnonzero(named_point)
    if points.shape[0] == 0:
        return None
    ends = _point_ends(tags, points)
    attributes = _attributes(buffer, tags, points)
    if ends is None or attributes is None:
        return None
    n = points.shape[0]
    # -1, the last point, for tags before the first one: they are not inside it.
    point_of_tag = np.cumsum(named_point) - 1
    number = np.arange(tags.opening.shape[0])
    inside = (number > points[point_of_tag]) & (number < ends[point_of_tag]) & ~tags.empty
    direct = inside & (tags.depth == tags.depth[points][point_of_tag] + 1)
    columns = dict(attributes)
    own_speed = False
    for child in _CHILDREN:
        named = _named(tags, child.encode())
        found = named & (inside if child in _ANY_DEPTH else direct)
        if child in _ANY_DEPTH:
            found |= _prefixed(data, buffer, tags, child.encode(), begin, end) & inside
        which = np.flatnonzero(found)
        start = tags.closing[which] + 1
        length = tags.opening[which + 1] - start
        which, start, length = which[length > 0], start[length > 0], length[length > 0]
        column_start = np.zeros(n, dtype=np.int64)
        column_length = np.zeros(n, dtype=np.int64)
        # Backwards, so that the first value of a point is the one that stays.
        column_start[point_of_tag[which[::-1]]] = start[::-1]
        column_length[point_of_tag[which[::-1]]] = length[::-1]
        columns[child] = (column_start, column_length)
        if child in _ANY_DEPTH:
            kept = column_start[point_of_tag[which]] == start
            own_speed |= bool((direct[which] & kept).any())
    opened = tags.opening[_named(tags, b"trkseg") & ~inside]
    return _Stretch(tags.opening[points], opened, columns, own_speed, tags.depth_after)


def _lines_of(buffer: ByteArray, places: IntArray) -> IntArray:
    """Return the line, from 1, of each of some rising places."""
    line = np.empty(places.shape[0], dtype=np.int64)
    done, before = 0, 0
    for begin in range(0, int(places[-1]) + 1, _STRETCH_BYTES):
        breaks = np.flatnonzero(buffer[begin : begin + _STRETCH_BYTES] == ord("\n")) + begin
        upto = int(np.searchsorted(places, begin + _STRETCH_BYTES))
        line[done:upto] = before + np.searchsorted(breaks, places[done:upto]) + 1
        done, before = upto, before + breaks.shape[0]
    return line


def _is_plain(data: bytes, first: int, last: int) -> bool:
    """Return whether the points' stretch holds tags and text only, in a superset of ASCII."""
    declaration = data[: data.find(b">") + 1].lower() if data.lstrip()[:2] == b"<?" else b""
    if b"encoding" in declaration and b"utf-8" not in declaration:
        return False
    if data.count(b"<", last) > _MOST_TAGS_AFTER or data.find(b"<trkpt", last) >= 0:
        return False
    if data.count(b"\r") != data.count(b"\r\n") or data.find(b":trk") >= 0:
        return False
    return all(data.find(mark, first, last) < 0 for mark in (b"<!", b"<?", b"&", b"<wpt"))


def _find_tags(buffer: ByteArray, first: int, last: int, depth_before: int) -> _Tags | None:
    stretch = buffer[first:last]
    opening = np.flatnonzero(stretch == ord("<")) + first
    closing = np.flatnonzero(stretch == ord(">")) + first
    if opening.shape != closing.shape or not (
        np.all(opening < closing) and np.all(closing[:-1] < opening[1:])
    ):
        return None  # a ">" inside a text or an attribute
    is_end = buffer[opening + 1] == ord("/")
    empty = (buffer[closing - 1] == ord("/")) & ~is_end
    change = np.where(is_end, -1, np.where(empty, 0, 1))
    depth = depth_before + np.cumsum(change) - change
    if depth.max() > _MOST_DEPTH_INSIDE:
        return None
    windows = np.ndarray(
        (buffer.shape[0] - _WORD_BYTES,), dtype="<u8", buffer=buffer.data, strides=(1,)
    )
    depth_after = int(depth[-1] + change[-1])
    return _Tags(opening, closing, empty, depth, depth_after, windows[opening + 1])


def _named(tags: _Tags, name: bytes) -> BoolArray:
    """Return which tags have exactly this name (at most seven letters, no prefix)."""
    bits = 8 * len(name)
    same: BoolArray = (tags.word & np.uint64((1 << bits) - 1)) == np.uint64(
        int.from_bytes(name, "little")
    )
    after = ((tags.word[same] >> np.uint64(bits)) & np.uint64(255)).astype(np.uint8)
    same[same] = np.isin(after, np.frombuffer(_TERMINATORS, dtype=np.uint8))
    return same


def _prefixed(
    data: bytes, buffer: ByteArray, tags: _Tags, name: bytes, first: int, last: int
) -> BoolArray:
    """Return which start tags between two places have this local name behind a prefix."""
    found = np.zeros(tags.opening.shape[0], dtype=np.bool_)
    sought = b":" + name
    if data.find(sought, first, last) < 0:
        return found
    colons = np.flatnonzero(buffer[first:last] == ord(":")) + first
    for j, letter in enumerate(name, start=1):
        colons = colons[buffer[colons + j] == letter]
    after = buffer[colons + len(sought)]
    colons = colons[np.isin(after, np.frombuffer(_TERMINATORS, dtype=np.uint8))]
    tag = np.searchsorted(tags.opening, colons) - 1
    in_tag = (tag >= 0) & (colons < tags.closing[tag])
    colons, tag = colons[in_tag], tag[in_tag]
    # A name has no white space before its colon; an end tag starts with "/".
    begin = tags.opening[tag] + 1
    prefix_length = colons - begin
    is_prefix = prefix_length <= _LONGEST_PREFIX
    for j in range(int(prefix_length[is_prefix].max(initial=0))):
        is_prefix &= (j >= prefix_length) | ~_ENDS_NAME[buffer[begin + j]]
    for i in np.flatnonzero(prefix_length > _LONGEST_PREFIX):
        is_prefix[i] = not _ENDS_NAME[buffer[begin[i] : colons[i]]].any()
    found[tag[is_prefix]] = True
    return found


def _point_ends(tags: _Tags, points: IntArray) -> IntArray | None:
    """Return the end tag of each point (itself if empty), None if points are nested."""
    end_tags = np.flatnonzero(_named(tags, b"/trkpt"))
    ends = points.copy()
    full = ~tags.empty[points]
    if end_tags.shape[0] != np.count_nonzero(full):
        return None
    ends[full] = end_tags
    well_ordered = bool(np.all(ends >= points) and np.all(ends[:-1] < points[1:]))
    return ends if well_ordered else None


def _attributes(
    buffer: ByteArray, tags: _Tags, points: IntArray
) -> dict[str, tuple[IntArray, IntArray]] | None:
    """Return lat and lon of every point if all are written lat="..." lon="..." or the reverse."""
    begin, end = tags.opening[points], tags.closing[points]
    quotes = np.flatnonzero(buffer[begin[0] : end[-1]] == ord('"')) + begin[0]
    apostrophes = np.flatnonzero(buffer[begin[0] : end[-1]] == ord("'")) + begin[0]
    at = np.searchsorted(quotes, begin)
    if not np.all(np.searchsorted(quotes, end) - at == 4):
        return None
    if not np.all(np.searchsorted(apostrophes, begin) == np.searchsorted(apostrophes, end)):
        return None
    columns: dict[str, tuple[IntArray, IntArray]] = {}
    for first_quote in (0, 2):
        opened, closed = quotes[at + first_quote], quotes[at + first_quote + 1]
        if not np.all(np.isin(buffer[opened - 5], np.frombuffer(b" \t\r\n", dtype=np.uint8))):
            return None
        names = {buffer[place - 4 : place].tobytes() for place in opened[:1]}
        name = names.pop()
        for j, letter in enumerate(name):
            if not np.all(buffer[opened - 4 + j] == letter):
                return None
        columns[name[:3].decode("ascii", "replace")] = (opened + 1, closed - opened - 1)
        if name not in (b"lat=", b"lon="):
            return None
    return columns if len(columns) == 2 else None


def _well_formed(name: str, data: bytes, first: int) -> Reader | None:
    """Return what stands before the first point, None if the document breaks anywhere."""
    reader = Reader(name)
    parser = reader.parser
    reached: list[int] = []

    def start(element: str, attributes: dict[str, str]) -> None:
        if parser.CurrentByteIndex < first:
            reader.start_element(element, attributes)
            return
        # From here on expat only checks; the first thing at this place must be the point itself.
        if parser.CurrentByteIndex == first and element == "trkpt":
            reached.append(reader.depth)
        parser.StartElementHandler = None
        parser.EndElementHandler = None
        parser.CharacterDataHandler = None

    parser.StartElementHandler = start
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError, UnicodeError, ValueError):
        return None
    room = MOST_DEPTH - _MOST_DEPTH_INSIDE - _MOST_TAGS_AFTER
    return reader if reached and reached[0] <= room and not reader.rows else None
