"""The track points of a GPX document as rows of text, read as a stream of XML events."""

from typing import Final

from ridelog.importer.bounds import LONGEST_TEXT, MAX_FIXES, too_many
from ridelog.importer.xml_events import BoundedEvents

COLUMN_NAMES: Final = ("lat", "lon", "ele", "time", "fix", "sat", "hdop", "speed", "course")
# Places in a point's row. The first two are attributes (GPX 1.1), the others children of the point.
_ROW: Final[list[str | None]] = [None] * len(COLUMN_NAMES)
_CHILDREN = {name: place for place, name in enumerate(COLUMN_NAMES) if place >= 2}
# GPX 1.1 has no speed, so it sits somewhere in extensions, under any prefix.
_ANY_DEPTH = {name: _CHILDREN[name] for name in ("speed", "course")}
_NOTHING = -1


def _cut(text: str | None) -> str | None:
    return text if text is None else text[:LONGEST_TEXT]


class Events(BoundedEvents):
    """Handlers for one document's XML events; the state between two events lives here.

    rows : texts of every track point, in the order of COLUMN_NAMES, None where it has none.
    marks : line of each point's start tag, counted from 1, and number of segments opened before it.
    version, namespace : of the root element, empty if not given.
    own_speed : whether a point has speed or course as its own element (GPX 1.0).
    way_points : number of wpt elements.

    UnreadableLogError if the document declares entities or attributes, nests more than MOST_DEPTH
    deep, or holds more elements or points than ridelog reads.

    Source
    ------
    GPX 1.1 schema (topografix.com/GPX/1/1/gpx.xsd); GPX 1.0 adds speed and course to a point.
    """

    def __init__(self, name: str) -> None:
        super().__init__(name, "GPX")
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.version = ""
        self.namespace = ""
        self._segments = 0
        self.way_points = 0
        self.own_speed = False
        self.rows: list[list[str | None]] = []
        self.marks: list[tuple[int, int]] = []
        self._row: list[str | None] | None = None
        self._mark = (0, 0)
        self._prefix = ""
        self._outside = 0
        self._place = _NOTHING

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self.opened(name)
        row = self._row
        if row is None:
            self._start_outside(name, attributes)
            return
        if self.depth == self._outside + 1 and name.startswith(self._prefix):
            place = _CHILDREN.get(name[len(self._prefix) :], _NOTHING)
        else:
            place = _NOTHING
        if place == _NOTHING:
            place = _ANY_DEPTH.get(name.rpartition(":")[2], _NOTHING)
        if place != _NOTHING and row[place] is not None:
            place = _NOTHING  # the first value of a point stands
        self._place = place

    def _start_outside(self, name: str, attributes: dict[str, str]) -> None:
        local = name.rpartition(":")[2]
        if local == "trkpt":
            row = _ROW.copy()
            row[0] = _cut(attributes.get("lat"))
            row[1] = _cut(attributes.get("lon"))
            self._row = row
            self._outside = self.depth
            self._prefix = name[: -len(local)]
            self._place = _NOTHING
            self._mark = (self.parser.CurrentLineNumber, self._segments)
        elif local == "trkseg":
            self._segments += 1
        elif local == "wpt":
            self.way_points += 1
        elif self.depth == 1:
            self.version = attributes.get("version", "").strip()
            key = f"xmlns:{name[: -len(local) - 1]}" if local != name else "xmlns"
            self.namespace = attributes.get(key, "")

    def _end(self, name: str) -> None:
        row = self._row
        if row is not None and self.depth == self._outside:
            if len(self.rows) == MAX_FIXES:
                raise too_many(self.file, "track points", MAX_FIXES)
            self.rows.append(row)
            self.marks.append(self._mark)
            self._row = None
        self._place = _NOTHING
        self.depth -= 1

    def _text(self, text: str) -> None:
        place = self._place
        row = self._row
        if place == _NOTHING or row is None:
            return
        before = row[place] or ""
        # What is appended to without a bound is copied without one.
        if len(before) < LONGEST_TEXT:
            row[place] = _cut(before + text)
        if place in (7, 8) and self.depth == self._outside + 1:
            self.own_speed = True
