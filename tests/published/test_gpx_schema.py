"""Facts of the GPX schemas.

Source: GPX 1.1 schema, http://www.topografix.com/GPX/1/1/gpx.xsd; GPX 1.0's
speed and course as described in open notes on GPX (second hand).
"""

import numpy as np
import pytest

from ridelog.core.flags import Flag
from ridelog.core.track import FixKind, Track
from ridelog.importer import log_from_bytes


def read(body: str, version: str = "1.1") -> Track:
    place = version.replace(".", "/")
    text = (
        f'<gpx version="{version}" creator="test" '
        f'xmlns="http://www.topografix.com/GPX/{place}"><trk>{body}</trk></gpx>'
    )
    return log_from_bytes("schema.gpx", text.encode())


def one(attributes: str = 'lat="48.1" lon="11.5"', children: str = "") -> str:
    return f"<trkseg><trkpt {attributes}>{children}</trkpt></trkseg>"


def test_a1_every_child_in_the_order_of_the_schema() -> None:
    track = read(
        one(
            children="<ele>12.5</ele><time>2026-05-03T09:00:00Z</time><magvar>2.5</magvar>"
            "<geoidheight>46.9</geoidheight><name>n</name><cmt>c</cmt><desc>d</desc><src>s</src>"
            '<link href="https://example.org"><text>t</text><type>y</type></link><sym>s</sym>'
            "<type>y</type><fix>3d</fix><sat>9</sat><hdop>0.9</hdop><vdop>1.2</vdop>"
            "<pdop>1.5</pdop><ageofdgpsdata>3</ageofdgpsdata><dgpsid>7</dgpsid>"
            '<extensions><x xmlns="urn:example">1</x></extensions>'
        )
    )
    assert (track.height_m[0], track.satellites[0], track.hdop[0]) == (12.5, 9.0, 0.9)
    assert track.utc_text(0.0) == "2026-05-03T09:00:00Z"
    assert np.isnan(track.speed_mps[0])


@pytest.mark.parametrize(
    ("lat", "good"),
    [("-90.0", True), ("90.0", True), ("90.0000001", False), ("-90.0000001", False), ("x", False)],
)
def test_a2_latitude_includes_both_poles(lat: str, good: bool) -> None:
    track = read(one(f'lat="{lat}" lon="11.5"'))
    assert bool(np.isfinite(track.latitude_deg[0])) is good
    assert bool(track.flags[0] & Flag.NO_POSITION) is not good


@pytest.mark.parametrize(
    ("lon", "good"), [("-180.0", True), ("179.9999999", True), ("180.0000001", False)]
)
def test_a3_longitude_range(lon: str, good: bool) -> None:
    track = read(one(f'lat="48.1" lon="{lon}"'))
    assert bool(np.isfinite(track.longitude_deg[0])) is good


def test_a3_longitude_plus_180_is_invalid_and_said() -> None:
    track = read(one('lat="48.1" lon="180.0"'))
    assert track.longitude_deg[0] == -180.0
    assert "Longitude +180 (line 1) is outside GPX; it was read as -180." in track.warnings


def test_a4_magnetic_variation_is_no_course() -> None:
    assert np.isnan(read(one(children="<magvar>90.0</magvar>")).course_rad[0])


@pytest.mark.parametrize(
    ("word", "kind", "flag"),
    [
        ("none", FixKind.NONE, Flag.NO_FIX),
        ("2d", FixKind.AUTONOMOUS, 0),
        ("3d", FixKind.AUTONOMOUS, 0),
        ("dgps", FixKind.DIFFERENTIAL, 0),
        ("pps", FixKind.PRECISE, 0),
        # "unknown = leave the element out"
        ("", FixKind.UNKNOWN, 0),
        ("4d", FixKind.UNKNOWN, 0),
    ],
)
def test_a5_words_of_fix(word: str, kind: FixKind, flag: int) -> None:
    track = read(one(children=f"<time>2026-05-03T09:00:00Z</time><fix>{word}</fix>"))
    assert track.fix_kind[0] == kind
    assert track.flags[0] == flag


def test_a6_times_are_utc_with_fractions() -> None:
    track = read(
        "<trkseg>"
        + "".join(
            f'<trkpt lat="48.1" lon="11.5"><time>{stamp}</time></trkpt>'
            for stamp in (
                "2026-05-03T09:00:00Z",
                "2026-05-03T09:00:00.25Z",
                "2026-05-03T09:00:00.500001Z",
                # xsd:dateTime allows a zone; the moment is what counts.
                "2026-05-03T11:00:01+02:00",
                "2026-05-03T05:30:02.5-03:30",
                # No zone: the schema says UTC.
                "2026-05-03T09:00:03",
            )
        )
        + "</trkseg>"
    )
    assert track.time_s.tolist() == [0.0, 0.25, 0.500001, 1.0, 2.5, 3.0]
    assert not track.flags.any()


def test_a7_values_are_metric_and_taken_as_they_are() -> None:
    track = read(one(children="<ele>545.4</ele><hdop>1.1</hdop>"))
    assert (track.latitude_deg[0], track.longitude_deg[0]) == (48.1, 11.5)
    assert track.height_m[0] == 545.4


def test_a8_every_segment_is_a_span_of_its_own() -> None:
    track = read(one() + one() + "</trk><trk>" + one())
    assert track.segment.tolist() == [0, 1, 2]


@pytest.mark.parametrize(
    "extensions",
    [
        "<speed>3.2</speed>",
        '<e:speed xmlns:e="urn:example">3.2</e:speed>',
        '<e:more xmlns:e="urn:example"><e:deep><e:speed>3.2</e:speed></e:deep></e:more>',
        '<Box xmlns="urn:example"><speed> 3.2 </speed></Box>',
    ],
)
def test_a9_speed_in_extensions_by_its_local_name(extensions: str) -> None:
    track = read(one(children=f"<extensions>{extensions}</extensions>"))
    assert track.speed_mps[0] == 3.2


def test_a9_extensions_elsewhere_are_not_the_points() -> None:
    track = read(
        "<extensions><speed>9</speed></extensions><trkseg>"
        '<trkpt lat="48.1" lon="11.5"><extensions><ele>1</ele><sat>2</sat></extensions></trkpt>'
        "<extensions><speed>8</speed></extensions></trkseg>"
    )
    assert np.isnan([track.speed_mps[0], track.height_m[0], track.satellites[0]]).all()


def test_a10_speed_and_course_are_elements_of_gpx_1_0() -> None:
    track = read(
        one(children="<time>2026-05-03T09:00:00Z</time><course>84.4</course><speed>3.2</speed>"),
        version="1.0",
    )
    assert track.source.format == "gpx-1.0"
    assert track.speed_mps[0] == 3.2
    assert np.degrees(track.course_rad[0]) == pytest.approx(84.4)
