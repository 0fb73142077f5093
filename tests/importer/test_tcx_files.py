"""TCX documents: laps, pauses, speeds of the extension, damage, what must not be trusted."""

import numpy as np
import pytest
from log_lines import second

from ridelog.core.errors import UnreadableLogError
from ridelog.core.track import Track
from ridelog.importer import log_from_bytes

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<TrainingCenterDatabase '
    'xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2" '
    'xmlns:x="http://www.garmin.com/xmlschemas/ActivityExtension/v2"><Activities>'
    '<Activity Sport="Biking"><Id>2026-05-03T09:00:00Z</Id>\n'
)
TAIL = "</Activity></Activities></TrainingCenterDatabase>\n"
# The layout of a track point as the schema's documentation and public examples print it
# (TrainingCenterDatabasev2.xsd with ActivityExtensionv2.xsd, element TPX; from memory).
POINT = """<Trackpoint><Time>{time}</Time><Position><LatitudeDegrees>{lat}</LatitudeDegrees>
<LongitudeDegrees>-11.5</LongitudeDegrees></Position><AltitudeMeters>545.4</AltitudeMeters>
<DistanceMeters>17.0</DistanceMeters><HeartRateBpm><Value>92</Value></HeartRateBpm>
<Extensions><x:TPX><x:Speed>3.25</x:Speed><x:Watts>10</x:Watts></x:TPX></Extensions></Trackpoint>
"""


def point(number: float, lat: str = "48.1") -> str:
    return POINT.format(time=second(number), lat=lat)


def lap(*tracks: str) -> str:
    inside = "".join(f"<Track>{track}</Track>" for track in tracks)
    return f'<Lap StartTime="2026-05-03T09:00:00Z"><MaximumSpeed>9</MaximumSpeed>{inside}</Lap>'


def read(*laps: str) -> Track:
    return log_from_bytes("ride.tcx", (HEAD + "".join(laps) + TAIL).encode())


def test_a_point_is_read_as_the_schema_says() -> None:
    track = read(lap(point(0) + point(1)))
    assert track.source.format == "tcx"
    assert track.utc_text(float(track.time_s[1])) == "2026-05-03T09:00:01Z"
    assert (track.latitude_deg[0], track.longitude_deg[0]) == (48.1, -11.5)
    assert (track.speed_mps[0], track.height_m[0]) == (3.25, 545.4)
    assert np.isnan(track.course_rad).all()
    assert track.source_line.tolist() == [3, 7]
    assert track.warnings == ()


def test_a_new_lap_is_no_break_and_a_pause_is_one() -> None:
    track = read(lap(point(0), point(9)), lap(point(10)))
    assert track.segment.tolist() == [0, 1, 1]


def test_points_without_a_position_are_no_fixes() -> None:
    bare = f"<Trackpoint><Time>{second(0)}</Time></Trackpoint>"
    assert len(read(lap(bare + point(1) + bare))) == 1
    with pytest.raises(UnreadableLogError, match=r"holds no position \(0 of 2 track points\)"):
        read(lap(bare + bare))


def test_what_stands_before_the_damage_is_kept() -> None:
    text = HEAD + lap(point(0) + point(1) + point(2))
    cut = log_from_bytes("ride.tcx", text[: text.rindex("<x:Speed>")].encode())
    assert len(cut) == 2
    assert cut.warnings[0].startswith("The file breaks off or is damaged at line 14 (")
    with pytest.raises(UnreadableLogError, match="line 3: the TCX file is damaged before its fir"):
        log_from_bytes("ride.tcx", (HEAD + "<Lap><Track><Trackpoint>").encode())


def test_values_that_cannot_be_are_told() -> None:
    track = read(lap(point(0) + point(1, "948.1") + point(2).replace(">3.25<", ">325<")))
    assert track.warnings == (
        "1 fix without a usable position (line 7) took no part.",
        "1 reported speed above 150 m/s (line 11) was not used.",
    )
    assert np.isnan(track.latitude_deg[1]) and np.isnan(track.speed_mps[2])


def test_times_are_read_or_told() -> None:
    bad = point(1).replace(second(1), "yesterday")
    bare = point(2).replace(second(2), second(2)[:-1])
    track = read(lap(point(0) + bad + bare))
    assert np.isnan(track.time_s[1]) and track.time_s[2] == 2.0
    assert track.warnings == (
        "1 time stamp cannot be read (line 7; first 'yesterday').",
        "1 time stamp without a zone (line 11) was read as UTC.",
        "No time is given in 1 of 3 fixes.",
    )


@pytest.mark.parametrize(
    ("declared", "words"),
    [
        ('<!DOCTYPE x [<!ENTITY a "b">]>', "declares an XML entity"),
        ('<!DOCTYPE x [<!ATTLIST Lap a CDATA "b">]>', "declares attributes"),
        ('<!DOCTYPE x SYSTEM "y">', None),
    ],
)
def test_entities_and_attributes_are_refused(declared: str, words: str | None) -> None:
    head = HEAD.replace("?>\n", f"?>\n{declared}", 1)
    data = (head + lap(point(0)) + TAIL).encode()
    if words is None:
        assert len(log_from_bytes("ride.tcx", data)) == 1
        return
    with pytest.raises(UnreadableLogError, match=words):
        log_from_bytes("ride.tcx", data)


def test_other_xml_is_named() -> None:
    with pytest.raises(UnreadableLogError, match=r"neither GPX nor TCX \(found 'kml'\)"):
        log_from_bytes("ride.kml", b"<kml><Track/></kml>")


def test_deep_nesting_is_refused() -> None:
    with pytest.raises(UnreadableLogError, match="elements are nested too deeply"):
        log_from_bytes("ride.tcx", (HEAD + "<a>" * 300).encode())
