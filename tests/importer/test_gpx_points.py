"""Points read by pattern are those read event by event, whatever the document."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_lines import gpx, point, second

from ridelog.core.errors import RideLogError
from ridelog.importer import gpx_points
from ridelog.importer.gpx_events import COLUMN_NAMES
from ridelog.importer.gpx_points import GpxPoints, read_event_by_event, read_points

LOGS = Path(__file__).resolve().parents[3] / "shared" / "real-tracks"


def texts(points: GpxPoints) -> dict[str, list[bytes]]:
    return {
        name: [
            buffer[begin : begin + length].tobytes()
            for begin, length in zip(start.tolist(), lengths.tolist(), strict=True)
        ]
        for name, (buffer, start, lengths) in points.columns.items()
    }


def assert_same(data: bytes) -> bool:
    """Compare both readers; return whether any point was read by pattern."""
    try:
        slow = read_event_by_event("x", data)
    except RideLogError as error:
        with pytest.raises(RideLogError) as caught:
            read_points("x", data)
        assert str(caught.value) == str(error)
        return False
    fast = read_points("x", data)
    assert texts(fast) == texts(slow)
    assert fast.line.tolist() == slow.line.tolist()
    assert fast.segment.tolist() == slow.segment.tolist()
    for name in ("version", "namespace", "own_speed", "way_points", "broken", "broken_line"):
        assert getattr(fast, name) == getattr(slow, name), name
    short, runs = gpx_points._shortened(data)
    return bool(runs) and gpx_points._points("x", short, runs) is not None


REGULAR = [
    gpx("".join(point(second(i), children="<sat>9</sat><hdop>0.9</hdop>") for i in range(4))),
    gpx(point(second(0)), "", point(second(1)) * 3, version="1.0"),
    gpx(point(second(0), children="<extensions><x:speed>1</x:speed></extensions>")),
    gpx(point(second(0), children="<y><x:course>1</x:course><speed>2</speed></y>")),
    gpx(point(second(0), children="<speed>1</speed><speed>2</speed><ele>9</ele>")),
    gpx(point(second(0), children="<speed></speed><speed>2</speed><course/>")),
    gpx(point(second(0), children="<speed>1<b>2</b>3</speed><time>x</time>")),
    gpx(point(second(0), children="<ele  a='1'>7</ele ><speeder>3</speeder><sp>1</sp>")),
    gpx(point() + '<trkpt lat="1"\n lon="2"/>\n<trkpt lat="1" lon="2"></trkpt>'),
    gpx(point(second(0)), before="<!-- a &b --><wpt lat='1' lon='2'/>", after="<extensions/>"),
    gpx(point(second(0)) * 2).replace(b"\n", b"\r\n"),
    gpx(point(second(0)) + "</trkseg><name>x</name></trk><trk><name>y</name><trkseg>" + point()),
    # Other things among points that are alike.
    gpx(point(second(0)), before="<!-- a <trkpt -->"),
    gpx(point(second(0))).replace(b' lat="48.1"', b' xlat="48.1"'),
    gpx(point(second(0))).replace(b' lat="48.1"', b' lat="48.1" id="1"'),
    gpx(point(second(0)) * 3)[:-60],
    gpx('<trkptx lat="1" lon="2"></trkptx>' + point(second(0))),
    gpx(
        point(second(0)),
        after='<!-- </trkpt> --><trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk>',
    ),
]
IRREGULAR = [
    gpx(point(second(0), children="<name>a &lt; b</name>") * 2),
    gpx(point(second(0), children="<name>a > b</name>") * 2),
    gpx(point(second(0), children="<!-- <ele>1</ele> -->") * 2),
    gpx(point(second(0), children="<desc><![CDATA[<ele>1</ele>]]></desc>") * 2),
    gpx(point(second(0), children="<?x <ele>?>") * 2),
    gpx(point(second(0))).replace(b'"48.1"', b"'48.1'"),
    gpx(point(second(0))).replace(b' lat="48.1"', b' lat = "48.1"'),
    gpx(point(second(0))).replace(b"\n", b"\r"),
    gpx(point(second(0), children='<trkpt lat="1" lon="2"></trkpt>')),
    gpx(point(second(0)), before="<!-- ").replace(b"</gpx>", b" --></gpx>"),
    gpx(point(second(0))).replace(b"UTF-8", b"UTF-7"),
    gpx(point(second(0))).replace(b"trkpt", b"g:trkpt"),
]


@pytest.mark.parametrize("data", REGULAR)
def test_regular_documents_are_read_by_pattern(data: bytes) -> None:
    assert assert_same(data)


@pytest.mark.parametrize("data", IRREGULAR)
def test_irregular_documents_are_read_event_by_event(data: bytes) -> None:
    assert not assert_same(data)


@pytest.mark.parametrize("data", REGULAR + IRREGULAR)
def test_what_stands_between_points_does_not_matter(data: bytes) -> None:
    odd = point(second(7), children="<name>a &amp; b</name>")
    for between in (odd, "\n\n  ", "<!-- <trkpt -->", "<trkpt/>", odd + point(second(8)) * 2):
        assert_same(data.replace(b"</trkpt>", b"</trkpt>" + between.encode()))


@pytest.mark.skipif(not LOGS.exists(), reason="the real logs are not beside here")
def test_real_logs_are_equal() -> None:
    taken = [assert_same(path.read_bytes()) for path in sorted(LOGS.glob("*/*.gpx"))]
    assert sum(taken) >= 8


PIECES = st.sampled_from(
    [
        *("<ele>1.5</ele>", "<ele/>", "<ele></ele>", "<time>2026-05-03T09:00:00Z</time>"),
        *("<sat>9</sat>", "<extensions>", "</extensions>", "<speed>2.5</speed>"),
        *("<x:speed>3</x:speed>", "<a:b:course>1</a:b:course>", "<hdop> 1 </hdop>"),
        *("<fix>3d</fix>", '<trkpt lat="1" lon="2">', "</trkpt>", '<trkpt lon="3" lat="4"/>'),
        *("<trkseg>", "</trkseg>", "</trk><trk>", "<name>n</name>", "<wpt lat='1' lon='2'>"),
        *("</wpt>", " ", "\n", "text", ">", "&amp;", "<!-- c -->", "<![CDATA[<ele>]]>"),
        *('<speed a="x>y">1</speed>', "<time>", "</time>", "<trkptx/>", "<speed\n>4</speed\n>"),
    ]
)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.lists(PIECES, max_size=12), st.lists(PIECES, max_size=6))
def test_any_mixture_of_tags_is_equal(inside: list[str], between: list[str]) -> None:
    body = point(second(0), children="".join(inside)) + "".join(between) + point(second(1))
    assert_same(gpx(body))


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.data())
def test_any_damage_is_equal(data: st.DataObject) -> None:
    document = bytearray(REGULAR[data.draw(st.integers(0, len(REGULAR) - 1))])
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(document) - 1))
        document[place] = data.draw(st.sampled_from(b"<>/\"'&=: \nae1\x00\xff!?-"))
    assert_same(bytes(document))


def test_columns_are_all_there() -> None:
    fast = read_points("x", REGULAR[0])
    assert tuple(fast.columns) == COLUMN_NAMES
    assert np.array_equal(fast.columns["sat"][2], [1, 1, 1, 1])


def test_more_kinds_of_points_than_patterns_are_read_too() -> None:
    kinds = (point(second(i), children=f"<name{i % 40}>x</name{i % 40}>") for i in range(200))
    assert assert_same(gpx("".join(kinds)))


def test_a_log_that_holds_the_mark_is_read_event_by_event() -> None:
    assert not assert_same(gpx(point(second(0), children="<name>~text 0</name>") * 3))
