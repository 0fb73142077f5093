"""GPX as real exporters write it: versions, encodings, odd times, damage, hostile documents."""

import codecs

import numpy as np
import pytest
from log_lines import gpx, point, second

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.flags import Flag
from ridelog.core.track import Track
from ridelog.importer import log_from_bytes, require_times

FIVE = "".join(point(second(i), lat=f"48.10000{i}") for i in range(5))
NO_TIMES = "record or export the ride with a time in every point."


def read(data: bytes) -> Track:
    return log_from_bytes("ride.gpx", data)


def test_no_namespace_and_no_version_is_read_by_content() -> None:
    plain = read(f"<gpx><trk><trkseg>{FIVE}</trkseg></trk></gpx>".encode())
    assert plain.source.format == "gpx-1.1"
    (warning,) = plain.warnings
    assert warning == "The file states no GPX version; it was read as gpx-1.1 from its content."
    body = point(second(0), children="<speed>1.5</speed>")
    own = read(f"<gpx version='2.7'><trk><trkseg>{body}</trkseg></trk></gpx>".encode())
    assert own.source.format == "gpx-1.0"
    assert "The file states GPX version '2.7'; it was read as gpx-1.0 from its content." in (
        own.warnings
    )


def test_namespace_tells_the_version_where_the_attribute_is_missing() -> None:
    for version in ("1.0", "1.1"):
        data = gpx(FIVE, version=version).replace(
            f' version="{version}" creator'.encode(), b" creator"
        )
        track = read(data)
        assert track.source.format == f"gpx-{version}"
        assert track.warnings == ()


def test_prefixed_namespace() -> None:
    text = gpx(FIVE).decode().replace("xmlns=", "xmlns:g=")
    for name in ("gpx", "trkseg", "trkpt", "trk", "ele", "time"):
        for end in (" ", ">", "\n"):
            text = text.replace(f"<{name}{end}", f"<g:{name}{end}")
        text = text.replace(f"</{name}>", f"</g:{name}>")
    track = read(text.encode())
    assert track.source.format == "gpx-1.1"
    assert track.time_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert (track.height_m == 545.4).all()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be", "iso-8859-1", "cp1252"])
def test_encodings(encoding: str) -> None:
    text = gpx(FIVE, before="<metadata><name>Stra\u00dfe</name></metadata>\n").decode()
    declared = {"utf-8-sig": "UTF-8", "utf-16-be": "UTF-16", "cp1252": "windows-1252"}
    text = text.replace('encoding="UTF-8"', f'encoding="{declared.get(encoding, encoding)}"')
    data = text.encode(encoding)
    if encoding == "utf-16-be":
        data = codecs.BOM_UTF16_BE + data
    track = read(data)
    assert track.time_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert track.source_line[0] == 5


def test_white_space_before_the_declaration() -> None:
    track = read(b"\n\n  " + gpx(FIVE))
    assert len(track) == 5
    assert track.source_line[0] == 6


def test_way_points_and_routes_beside_the_track_are_not_its_points() -> None:
    other = '<wpt lat="1" lon="2"><time>2020-01-01T00:00:00Z</time><ele>9</ele></wpt>'
    route = '<rte><rtept lat="1" lon="2"><time>2020-01-01T00:00:00Z</time></rtept></rte>'
    for before, after in ((other + route, ""), ("", other + route)):
        track = read(gpx(FIVE, before=before, after=after))
        assert len(track) == 5
        assert track.utc_text(0.0) == "2026-05-03T09:00:00Z"


def test_several_tracks_and_empty_segments() -> None:
    data = gpx(
        "", FIVE, "", point(second(100)), after=f"<trk><trkseg>{point(second(200))}</trkseg></trk>"
    )
    track = read(data)
    assert len(track) == 7
    assert track.segment.tolist() == [0] * 5 + [2, 3]
    assert track.history == (
        "Read ride.gpx as gpx-1.1: 7 track points in 3 segments, 7 with a usable time.",
    )


def test_points_without_time_stay_rows() -> None:
    track = read(gpx(point() + FIVE + point() + point(" ")))
    assert len(track) == 8
    assert track.flags.tolist() == [Flag.NO_TIME, 0, 0, 0, 0, 0, Flag.NO_TIME, Flag.NO_TIME]
    assert track.utc_text(0.0) == "2026-05-03T09:00:00Z"
    assert "No time is given in 2 of 8 points." in track.warnings


def test_no_times_at_all() -> None:
    data = gpx(point() * 3)
    assert len(read(data)) == 3
    with pytest.raises(NotEnoughDataError) as caught:
        require_times(log_from_bytes("ride.gpx", data))
    assert str(caught.value) == (
        "ride.gpx, line 4 on: the log cannot give a speed, for it holds 3 fixes with no usable "
        f"time. What to do: {NO_TIMES}"
    )


def test_all_times_equal() -> None:
    data = gpx(point(second(7)) * 3)
    track = read(data)
    duplicate = int(Flag.DUPLICATE_TIME)
    assert track.flags.tolist() == [0, duplicate, duplicate]
    with pytest.raises(NotEnoughDataError) as caught:
        require_times(log_from_bytes("ride.gpx", data))
    assert "it holds 3 fixes with one time only, 2026-05-03T09:00:07Z." in caught.value.problem


def test_all_times_of_1901() -> None:
    data = gpx("".join(point(f"1901-12-13T20:45:5{i}Z") for i in range(3)))
    track = read(data)
    assert (track.flags == Flag.NO_TIME).all()
    assert track.start_utc is None
    assert track.warnings == (
        "3 time stamps cannot belong to this ride (lines 4, 5 and 6; first "
        "'1901-12-13T20:45:50Z') and were not used.",
    )
    with pytest.raises(NotEnoughDataError, match="3 fixes with no usable time"):
        require_times(log_from_bytes("ride.gpx", data))


def test_stamps_decades_off_are_not_used() -> None:
    early = "".join(point(f"1980-01-06T00:00:1{i}Z") for i in range(2))
    track = read(gpx(early + FIVE))
    assert track.flags.tolist() == [Flag.NO_TIME] * 2 + [0] * 5
    assert track.utc_text(0.0) == "2026-05-03T09:00:00Z"


@pytest.mark.parametrize(
    "stamp",
    ["2026-02-30T09:00:00Z", "2026-13-01T09:00:00Z", "2026-05-03T25:00:00Z", "2026-05-03", "noon",
     "2026-05-03T09:00:00+15:00", "20260503T090000Z", "2026-05-03T09:60:00Z"],
)  # fmt: skip
def test_impossible_stamps_are_said_and_not_used(stamp: str) -> None:
    track = read(gpx(FIVE + point(stamp)))
    assert track.flags[5] == Flag.NO_TIME
    assert f"1 time stamp cannot be read (line 9; first '{stamp}')." in track.warnings


def test_duplicate_and_backward_stamps() -> None:
    seconds = [0, 1, 1, 2, 3, 2.5, 4, 5]
    track = read(gpx("".join(point(second(s)) for s in seconds)))
    assert track.time_s.tolist() == seconds
    assert track.flags.tolist() == [
        0, 0, Flag.DUPLICATE_TIME, 0, 0, Flag.BACKWARD_TIME, 0, 0,
    ]  # fmt: skip
    assert track.segment.tolist() == [0] * 8


def test_clock_set_back_starts_a_segment() -> None:
    seconds = [1000 + i for i in range(5)] + [600.25 + i for i in range(5)]
    track = read(gpx("".join(point(second(s)) for s in seconds)))
    assert track.segment.tolist() == [0] * 5 + [1] * 5
    assert "The clock is set back 1 time (line 9); a new stretch starts there." in track.warnings
    assert track.time_s[5] == -399.75


def test_negative_speed_course_and_satellites_mean_unknown() -> None:
    children = (
        "<sat>-1</sat><hdop>-1</hdop><extensions><speed>-1</speed><course>-1</course></extensions>"
    )
    track = read(gpx(point(second(0), children=children)))
    values = (track.speed_mps, track.course_rad, track.satellites, track.hdop)
    assert all(np.isnan(value[0]) for value in values)


def test_no_fix_point_that_repeats_the_last_position_is_flagged() -> None:
    stuck = point(
        second(5),
        lat="48.100004",
        children="<fix>none</fix><extensions><speed>0</speed></extensions>",
    )
    track = read(gpx(FIVE + stuck))
    assert track.flags.tolist() == [0] * 5 + [Flag.NO_FIX]


def test_points_without_a_position_are_flagged_and_said() -> None:
    data = gpx(FIVE + point(second(5), lat="95.0") + point(second(6), lon="east"))
    track = read(data)
    assert track.flags.tolist() == [0] * 5 + [Flag.NO_POSITION] * 2
    assert (
        "2 points without a usable position (lines 9 and 10; first lat '95.0' lon '11.5') took no "
        "part." in track.warnings
    )
    nowhere = read(gpx(FIVE.replace(' lat="48.100003" lon="11.5"', "")))
    assert nowhere.flags.tolist() == [0, 0, 0, Flag.NO_POSITION, 0]


@pytest.mark.parametrize("cut", ["<trkpt", 'lat="48.100004', "<ele>54", "</time", "</trkpt"])
def test_file_cut_off_mid_point_keeps_whole_points(cut: str) -> None:
    data = gpx(FIVE)
    place = data.rfind(cut.encode() if cut != "<ele>54" else b"<ele>545")
    track = read(data[: place + len(cut)])
    assert len(track) == 4
    assert track.warnings[0].startswith("The file breaks off or is damaged at line 8 (")
    assert track.warnings[0].endswith("); the 4 whole points before it were read.")


def test_file_damaged_in_the_middle_keeps_what_stands_before() -> None:
    data = gpx(FIVE)
    third = data.find(b"48.100002")
    track = read(data[:third] + b"\x00\x00\x00\x00" + data[third:])
    assert len(track) == 2
    assert "2 whole points" in track.warnings[0]


def test_file_damaged_before_the_first_point() -> None:
    with pytest.raises(UnreadableLogError) as caught:
        read(gpx(FIVE).partition(b"48.1")[0])
    assert caught.value.problem == (
        "ride.gpx, line 4: the GPX file is damaged before its first whole track point "
        "(unclosed token)."
    )


def test_way_point_file() -> None:
    with pytest.raises(UnreadableLogError) as caught:
        read(b'\xef\xbb\xbf<?xml version="1.0"?><gpx><wpt lat="43.3" lon="3.5"/></gpx>')
    assert str(caught.value) == (
        "ride.gpx: the GPX file holds no track points (0 trkpt, 1 way-point). What to do: export "
        "the recorded track of the ride, not its way-points or a planned route."
    )


BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "0123456789"><!ENTITY b "&a;&a;&a;&a;">'
    b'<!ENTITY c "&b;&b;&b;&b;">]><gpx><trk><trkseg><trkpt lat="1" lon="2"><ele>&c;</ele></trkpt>'
    b"</trkseg></trk></gpx>"
)


@pytest.mark.parametrize(
    "declaration",
    [b'<!ENTITY a "1">', b'<!ENTITY a SYSTEM "file:///etc/hostname">', b'<!ENTITY % a "1">'],
)
def test_any_entity_declaration_is_refused(declaration: bytes) -> None:
    data = b"<!DOCTYPE gpx [" + declaration + b"]>" + gpx(FIVE).partition(b"?>")[2].lstrip()
    with pytest.raises(UnreadableLogError) as caught:
        read(data)
    assert str(caught.value) == (
        "ride.gpx, line 1: the file declares an XML entity, which no ride log needs ('a'). What to "
        "do: export the ride again as plain GPX."
    )


def test_entity_bomb_is_refused_unexpanded() -> None:
    with pytest.raises(UnreadableLogError, match="declares an XML entity"):
        read(BOMB)


def test_entity_from_an_outside_definition_is_refused() -> None:
    body = gpx(FIVE.replace("545.4", "5&x;4", 1)).partition(b"?>")[2].lstrip()
    with pytest.raises(UnreadableLogError, match="uses an XML entity that it does not hold"):
        read(b'<!DOCTYPE gpx SYSTEM "gpx.dtd">' + body)


def test_standard_entities_and_cdata_are_read() -> None:
    children = "<name>a &amp; b</name><desc><![CDATA[<ele>9</ele>]]></desc>"
    track = read(gpx(point("2026-05-03T09:00:0&#48;Z", children=children) + point(second(1))))
    assert track.time_s.tolist() == [0.0, 1.0]
    assert track.height_m.tolist() == [545.4, 545.4]


@pytest.mark.parametrize("where", ["before", "inside", "after"])
def test_deep_nesting_is_refused(where: str) -> None:
    deep = "<a>" * 5000 + "</a>" * 5000
    inside = f"<extensions>{deep}</extensions>" if where == "inside" else ""
    data = gpx(
        FIVE + point(second(9), children=inside),
        before=deep if where == "before" else "",
        after=deep if where == "after" else "",
    )
    with pytest.raises(UnreadableLogError) as caught:
        read(data)
    assert "elements are nested too deeply (201 levels at 'a')." in caught.value.problem


def test_same_bytes_same_hash_and_name() -> None:
    data = gpx(FIVE)
    track = read(data)
    assert track.source.size_bytes == len(data)
    assert track.source.file == "ride.gpx"
    assert len(track.source.sha256) == 64


def test_two_receivers_in_one_log_are_named() -> None:
    pairs = [point(second(i), lat=lat) for i in range(10) for lat in ("48.1", "48.1001")]
    track = read(gpx("".join(pairs)))
    assert track.warnings == (
        "10 times of 10 come with two places, usually 11.1 m apart: two receivers seem to have "
        "written this log. The first of each was read; give each receiver its own log.",
    )
    twice = [point(second(i), lat=f"48.{1000 + i}") for i in range(10) for _ in range(2)]
    assert not read(gpx("".join(twice))).warnings
