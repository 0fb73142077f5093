"""TCX, the training logs of watches and handlebar computers: one Track."""

from typing import Final

import numpy as np

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import about_lines, count_words, shown_name
from ridelog.core.track import FixKind, Track
from ridelog.importer.bounds import LONGEST_TEXT, MAX_FIXES, too_many
from ridelog.importer.columns import decimals, joined
from ridelog.importer.fixes import Fixes, LogFile, blank, track_of
from ridelog.importer.gpx_values import first_shown, gpx_times, without_zone
from ridelog.importer.xml_events import BoundedEvents

FORMAT = "tcx"
_COLUMNS: Final = ("Time", "LatitudeDegrees", "LongitudeDegrees", "AltitudeMeters", "Speed")
_PLACES = {name: place for place, name in enumerate(_COLUMNS)}
# No column; own choice of a number that no place has.
_NOTHING = -1


def read_tcx(name: str, data: bytes, sha256: str, size_bytes: int) -> Track:
    """Return the track points of a TCX document that have a position, in file order.

    A speed is one of the extension TPX; distances (of a wheel, maybe) are not read.

    Parameters
    ----------
    name : str
        File name without folders.
    data : bytes
        The document itself, unpacked.
    sha256, size_bytes : str, int
        Of the bytes that the user gave.

    UnreadableLogError if the document holds no track point or must not be trusted (entities).

    Source
    ------
    Training Center Database v2 schema and Activity Extension v2 schema (Garmin): Time in UTC,
    degrees, metres, Speed in m/s.
    """
    stripped = data.lstrip() if data[:1].isspace() else data
    lines_before = data[: len(data) - len(stripped)].count(b"\n")
    points = _Points(name)
    broken, broken_line = points.read(stripped)
    if not points.rows:
        raise _no_points(name, points, broken, broken_line + lines_before)
    count = len(points.rows)
    warnings: list[str] = []
    if broken:
        warnings.append(
            f"The file breaks off or is damaged at line {broken_line + lines_before} ({broken}); "
            f"the {count_words(count, 'whole point')} before it "
            f"{'was' if count == 1 else 'were'} read."
        )
    marks = np.asarray(points.marks, dtype=np.int64)
    line = marks[:, 0] + lines_before
    columns = {}
    for place, one in enumerate(_COLUMNS):
        texts = [row[place].encode("utf-8", "replace") for row in points.rows]
        columns[one] = joined(texts, [np.fromiter(map(len, texts), np.int64, count)])
    stamp_us, usable, malformed = gpx_times(*columns["Time"])
    first = first_shown(columns["Time"], malformed)
    warnings += about_lines(line[malformed], "time stamp", "cannot be read", first=first)
    bare = without_zone(*columns["Time"], usable)
    warnings += about_lines(line[bare], "time stamp", "without a zone", "were read as UTC")
    numbers = {one: decimals(*columns[one]) for one in _COLUMNS[1:]}
    return track_of(
        LogFile(name, sha256, size_bytes, FORMAT),
        Fixes(
            stamp_us=stamp_us,
            has_time=usable,
            latitude_deg=numbers["LatitudeDegrees"],
            longitude_deg=numbers["LongitudeDegrees"],
            height_m=numbers["AltitudeMeters"],
            speed_mps=numbers["Speed"],
            course_deg=blank(count),
            hdop=blank(count),
            satellites=blank(count),
            position_sd_m=blank(count),
            speed_sd_mps=blank(count),
            fix_kind=np.full(count, int(FixKind.UNKNOWN), dtype=np.int64),
            segment=marks[:, 1],
            line=line,
        ),
        f"from {count_words(points.seen, 'track point')}",
        warnings=tuple(warnings),
    )


def _no_points(name: str, points: "_Points", broken: str, line: int) -> UnreadableLogError:
    who = shown_name(name)
    if broken:
        return UnreadableLogError(
            f"{who}, line {line}: the TCX file is damaged before its first whole track point with "
            f"a position ({broken}).",
            "copy the file from the device again.",
        )
    return UnreadableLogError(
        f"{who}: the TCX file holds no position (0 of {count_words(points.seen, 'track point')}).",
        "record the ride outdoors with the device's positioning switched on.",
    )


class _Points(BoundedEvents):
    """Handlers for one document's XML events; the state between two events lives here.

    rows : texts of every track point with a position, in the order of _COLUMNS, "" if not given.
    marks : line of each point's start tag and number of its span. A lap that begins is no break:
        only a second Track in one lap is, where the device was paused.
    seen : track points of any kind.
    """

    def __init__(self, name: str) -> None:
        super().__init__(name, "TCX")
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.rows: list[list[str]] = []
        self.marks: list[tuple[int, int]] = []
        self.seen = 0
        self._span = self._tracks = 0
        self._row: list[str] | None = None
        self._line = self._outside = 0
        self._place = _NOTHING

    def _start(self, name: str, _attributes: dict[str, str]) -> None:
        self.opened(name)
        local = name.rpartition(":")[2]
        if self._row is not None:
            place = _PLACES.get(local, _NOTHING)
            # The first value of a point stands.
            self._place = _NOTHING if place != _NOTHING and self._row[place] else place
        elif local == "Trackpoint":
            self._row = [""] * len(_COLUMNS)
            self._line, self._outside = self.parser.CurrentLineNumber, self.depth
            self._place = _NOTHING
        elif local == "Lap":
            self._tracks = 0
        elif local == "Track":
            self._span += self._tracks > 0
            self._tracks += 1

    def _end(self, _name: str) -> None:
        row = self._row
        if row is not None and self.depth == self._outside:
            self.seen += 1
            self._row = None
            if row[1].strip() and row[2].strip():
                if len(self.rows) == MAX_FIXES:
                    raise too_many(self.file, "track points", MAX_FIXES)
                self.rows.append(row)
                self.marks.append((self._line, self._span))
        self._place = _NOTHING
        self.depth -= 1

    def _text(self, text: str) -> None:
        if self._place != _NOTHING and self._row is not None:
            before = self._row[self._place]
            if len(before) < LONGEST_TEXT:
                self._row[self._place] = (before + text)[:LONGEST_TEXT]
