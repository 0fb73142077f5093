"""However a log is filled, each letter is looked at a bounded number of times, and what is told."""

import bz2
import gzip
import io
import lzma
import re
import tracemalloc
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from log_lines import gga, gpx, log, point, rmc, second

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import shown
from ridelog.importer import (
    bounds,
    columns,
    containers,
    gpx_events,
    gpx_values,
    load_track,
    log_from_bytes,
    nmea_log,
)
from ridelog.importer.containers import unpack
from ridelog.importer.gpx_points import read_event_by_event, read_points
from ridelog.importer.nmea import read_nmea

FILLINGS = {
    "digits": "7", "spaces": " ", "commas": ",", "points": ".", "letters": "x",
    "quotes": "&quot;", "signs": "+", "exponents": "1e",
}  # fmt: skip


class CountingPattern:
    """A pattern that counts the letters it is given."""

    def __init__(self, pattern: re.Pattern[bytes]) -> None:
        self._pattern, self.letters = pattern, 0

    def fullmatch(self, text: bytes) -> re.Match[bytes] | None:
        self.letters += len(text)
        return self._pattern.fullmatch(text)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[CountingPattern]:
    patterns = [CountingPattern(columns._NUMBER), CountingPattern(gpx_values._STAMP)]
    monkeypatch.setattr(columns, "_NUMBER", patterns[0])
    monkeypatch.setattr(gpx_values, "_STAMP", patterns[1])
    return patterns


@pytest.mark.parametrize("filling", FILLINGS)
@pytest.mark.parametrize("name", ["ele", "speed", "time", "hdop", "lat"])
def test_a_long_text_of_a_point_is_not_matched(
    filling: str, name: str, counted: list[CountingPattern]
) -> None:
    long = FILLINGS[filling] * 40_000 + "x"
    if name == "lat":
        one = f'<trkpt lat="{long}" lon="11"><time>2024-06-08T09:00:01Z</time></trkpt>'
    else:
        one = f'<trkpt lat="48" lon="11"><{name}>{long}</{name}></trkpt>'
    data = gpx(point(second(0)) + one + point(second(2)))
    track = log_from_bytes("ride.gpx", data)
    assert len(track) == 3
    looked_at = sum(pattern.letters for pattern in counted)
    # Three points of at most ten texts.
    assert looked_at <= 3 * 10 * bounds.LONGEST_VALUE
    assert read_points("a", data).columns[name][2].tolist() == (
        read_event_by_event("a", data).columns[name][2].tolist()
    )
    assert read_points("a", data).columns[name][2].max() <= bounds.LONGEST_TEXT


@pytest.mark.parametrize("filling", FILLINGS)
def test_a_sentence_longer_than_any_is_not_read(
    filling: str, counted: list[CountingPattern]
) -> None:
    long = rmc(43201, knots=FILLINGS[filling] * 40_000 + "x")
    track = log_from_bytes("ride.nmea", log([rmc(43200), long, rmc(43202)]))
    assert track.time_s.tolist() == [0.0, 2.0]
    assert track.warnings == ("1 sentence cut short or without a checksum (line 2) was not read.",)
    assert counted[0].letters <= 2 * 10 * bounds.LONGEST_VALUE


def test_a_number_is_matched_in_one_pass() -> None:
    # A pattern that can split the digits in two ways tries n * n / 2 of them before it gives up;
    # Python's own matcher then needs seconds where it needs a thousandth here.
    assert columns._NUMBER.fullmatch(b"7" * 1_000_000 + b"x") is None
    assert columns._NUMBER.fullmatch(b"7" * 1_000_000)


@pytest.mark.parametrize(
    ("text", "value"),
    [("12", 12.0), ("12.", 12.0), (".5", 0.5), ("+1.5e2", 150.0), ("-0.25", -0.25), ("1.2.3", None),
     (".", None), ("1e", None), ("0" * 60 + "12.5", 12.5), ("0" * 63 + "12", None)],
)  # fmt: skip
def test_numbers_are_what_float_makes_of_them(text: str, value: float | None) -> None:
    column = columns.joined([text.encode()], [np.array([len(text)])])
    found = columns.decimals(*column)[0]
    assert found == value if value is not None else np.isnan(found)


def test_text_that_comes_in_many_pieces_is_not_copied_again_and_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    copied = 0

    def counting(text: str | None) -> str | None:
        nonlocal copied
        copied += len(text or "")
        return text if text is None else text[: bounds.LONGEST_TEXT]

    monkeypatch.setattr(gpx_events, "_cut", counting)
    # Each reference to a character ends a piece; expat hands on at most 64 kB at once.
    data = gpx(f'<trkpt lat="1" lon="2"><ele>{"&#55;" * 200_000}</ele></trkpt>')
    read_event_by_event("a", data)
    assert copied < len(data)


def test_a_text_that_looks_like_a_mark_is_a_text() -> None:
    # The first spells the mark with a character reference, the second stands in UTF-16.
    odd = point(second(1)).replace('lat="', 'lat="&#126;text 0', 1)
    for text in (gpx(odd), gpx(point(second(0)) * 3 + odd)):
        track = log_from_bytes("ride.gpx", text)
        assert np.isnan(track.latitude_deg[-1])
    plain = gpx(point(second(1)).replace('lat="', 'lat="~text 0', 1)).decode()
    wide = plain.replace("utf-8", "utf-16").replace("UTF-8", "UTF-16").encode("utf-16")
    assert len(log_from_bytes("ride.gpx", wide)) == 1


def test_attributes_declared_for_every_element_are_refused() -> None:
    data = b'<!DOCTYPE gpx [<!ATTLIST trkpt a CDATA "x">]>' + gpx(point(second(0)))[39:]
    data = data[: data.find(b"<gpx")] + gpx(point(second(0)))[gpx("").find(b"<gpx") :]
    with pytest.raises(UnreadableLogError) as caught:
        log_from_bytes("ride.gpx", data)
    assert str(caught.value) == (
        "ride.gpx, line 1: the file declares attributes, which no ride log needs ('trkpt'). "
        "What to do: export the ride again as plain GPX."
    )


def test_more_of_anything_than_a_day_holds_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    many = gpx("".join(point(second(i)) for i in range(12)))
    odd = many.replace(b"<trkpt", b"<trkpt a='1'")
    lines = log([rmc(43200 + i) for i in range(12)])
    for module, limit, data, noun in (
        ("gpx_points", "MAX_FIXES", many, "track points"),
        ("gpx_events", "MAX_FIXES", odd, "track points"),
        ("xml_events", "MAX_ELEMENTS", odd, "elements"),
        ("nmea", "MAX_FIXES", lines, "fixes"),
        ("nmea_log", "MAX_SENTENCES", lines, "sentences"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(f"ridelog.importer.{module}.{limit}", 10)
            with pytest.raises(UnreadableLogError) as caught:
                log_from_bytes("ride.log", data)
        assert str(caught.value) == (
            f"ride.log: the log holds more than 10 {noun}, more than ridelog reads. "
            "What to do: cut the log down to the one test ride."
        )
        assert len(log_from_bytes("ride.log", data)) == 12


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", ""])
def test_a_log_read_in_parts_is_the_log(end: str, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = []
    for i in range(60):
        lines += [rmc(43200 + i, wrong=i % 7 == 3), gga(43200 + i, north=i), "noise", "$GPRMC,cut"]
    data = end.join(lines).encode()
    whole = read_nmea("a", data, "", 0)
    for size in (200, 257, 1000):
        monkeypatch.setattr(nmea_log, "_PART_BYTES", size)
        parts = read_nmea("a", data, "", 0)
        assert parts.warnings == whole.warnings
        for name in ("time_s", "latitude_deg", "speed_mps", "source_line", "flags"):
            np.testing.assert_array_equal(getattr(parts, name), getattr(whole, name))


def test_memory_for_sentences_stays_in_step_with_the_log() -> None:
    # All commas, no sentence: eight bytes of memory were taken for each.
    data = b"$GPRMC," + b"," * 40_000_000
    tracemalloc.start()
    try:
        with pytest.raises(UnreadableLogError, match="no NMEA sentence has a right checksum"):
            read_nmea("a", data, "", 0)
        assert tracemalloc.get_traced_memory()[1] < 3.0 * len(data)
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("method", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2, zipfile.ZIP_DEFLATED])
def test_a_damaged_member_of_any_method_is_told(method: int) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        archive.writestr("ride.gpx", gpx("".join(point(second(i)) for i in range(500))))
    whole = stream.getvalue()
    assert len(log_from_bytes("ride.zip", whole)) == 500
    for place in range(38, 200, 9):
        data = bytearray(whole)
        data[place : place + 8] = bytes(8 - (place % 2)) + b"\xff" * (place % 2)
        try:
            log_from_bytes("ride.zip", bytes(data))
        except UnreadableLogError as error:
            assert error.problem.startswith("ride.zip: the ")


def test_more_out_of_a_byte_than_any_log_gives_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(containers, "_RATIO_FROM_BYTES", 100_000)
    bomb = gpx(point(second(0))) + b" " * 3_000_000
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("ride.gpx", bomb)
    for data in (gzip.compress(bomb), stream.getvalue()):
        most = max(200 * len(data), 100_000)
        with pytest.raises(UnreadableLogError, match=f"the limit is {most:,}\\)"):
            unpack("bomb", data)


def test_what_is_left_of_a_gzip_file_is_not_copied_for_each_member() -> None:
    class CountedBytes(bytes):
        copied = 0

        def __getitem__(self, key: Any) -> Any:
            found = super().__getitem__(key)
            if isinstance(key, slice):
                CountedBytes.copied += len(found)
            return found

    line = (rmc(43200) + "\r\n").encode()
    for data in (gzip.compress(line) * 3000, gzip.compress(line * 200_000, 0)):
        CountedBytes.copied = 0
        assert unpack("ride.gz", CountedBytes(data)).packing == "gzip"
        assert CountedBytes.copied < 4 * len(data)


def test_a_device_without_an_end_is_refused(tmp_path: Path) -> None:
    if not Path("/dev/zero").exists():
        pytest.skip("no such device on this system")
    with pytest.raises(UnreadableLogError, match="zero: the file is empty"):
        load_track("/dev/zero")


def test_a_file_that_grows_beyond_the_bound_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A pipe or a device has no size to ask for: what is read decides.
    monkeypatch.setattr("ridelog.importer.SEARCH_BYTES", 100)
    whole = gpx("".join(point(second(i)) for i in range(5)))
    (tmp_path / "ride.gpx").write_bytes(whole)
    assert len(load_track(tmp_path / "ride.gpx")) == 5
    monkeypatch.setattr("ridelog.importer.read_at_most", lambda path, most: whole[: most + 1])
    monkeypatch.setattr("ridelog.importer.MAX_LOG_BYTES", len(whole) - 1)
    monkeypatch.setattr(Path, "stat", lambda path, **kw: type("Size", (), {"st_size": 0}))
    with pytest.raises(UnreadableLogError, match="the log is larger than ridelog reads"):
        load_track(tmp_path / "ride.gpx")


def test_a_long_value_is_shown_short_without_reading_it_all() -> None:
    assert shown("x" * 10_000_000) == f"'{'x' * 40}...'"


def test_damage_of_other_decoders_is_no_traceback() -> None:
    for data in (lzma.compress(b"x"), bz2.compress(b"x")):
        with pytest.raises(UnreadableLogError, match="no log that ridelog reads"):
            log_from_bytes("ride.xz", data)
