"""Plain, gzip and zip: what is inside decides; nothing unpacks without a bound."""

import gzip
import hashlib
import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
from log_lines import gga, gpx, log, point, rmc, second

from ridelog.core.errors import UnreadableLogError
from ridelog.importer import containers, load_track, log_from_bytes
from ridelog.importer.containers import unpack

GPX = gpx("".join(point(second(i)) for i in range(5)))
NMEA = log([line for i in range(5) for line in (rmc(43200 + i), gga(43200 + i))])


def zipped(**members: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("__dot__", ".").replace("__slash__", "/"), data)
    return stream.getvalue()


@pytest.mark.parametrize("plain", [GPX, NMEA])
def test_packed_logs_read_like_plain_ones(plain: bytes, tmp_path: Path) -> None:
    for name, data in (
        ("ride.txt", plain),
        ("ride.gpx", gzip.compress(plain)),
        ("ride.log", zipped(folder__slash__ride__dot__dat=plain)),
    ):
        (tmp_path / name).write_bytes(data)
        track = load_track(tmp_path / name)
        assert track.time_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        assert track.source.sha256 == hashlib.sha256(data).hexdigest()
        assert track.source.size_bytes == len(data)
        assert track.source.file == name


def test_several_gzip_members_are_one_log() -> None:
    half = len(NMEA) // 2
    data = gzip.compress(NMEA[:half]) + gzip.compress(NMEA[half:])
    assert len(log_from_bytes("ride.gz", data)) == 5


def test_cut_off_gzip_keeps_what_comes_out() -> None:
    lines = [gga(43200 + i, north=i * 17 % 89) for i in range(2000)]
    data = gzip.compress(log(lines))
    track = log_from_bytes("ride.gz", data[: len(data) // 2])
    assert 500 < len(track) < 1500
    assert track.warnings[0].startswith("The gzip file is cut off; the ")
    assert track.warnings[0].endswith(" bytes that could be unpacked were read.")


def test_damaged_gzip_is_refused() -> None:
    data = bytearray(gzip.compress(GPX))
    data[-8] ^= 255
    with pytest.raises(UnreadableLogError) as caught:
        unpack("ride.gz", bytes(data))
    assert caught.value.problem == (
        "ride.gz, after 0 unpacked bytes: the gzip data are damaged (Error -3 while decompressing "
        "data: incorrect data check)."
    )
    assert caught.value.advice == "copy the file from the logger again."


def test_notes_and_hidden_files_beside_the_log_are_passed_over() -> None:
    data = zipped(
        ride__dot__gpx=GPX,
        notes__dot__txt=b"tyres 0.4 bar",
        __MACOSX__slash__ride__dot__gpx=GPX,
        __dot__ride__dot__gpx=GPX,
    )
    assert len(log_from_bytes("ride.zip", data)) == 5


def test_two_logs_in_a_zip_are_refused_with_their_names() -> None:
    with pytest.raises(UnreadableLogError) as caught:
        log_from_bytes("ride.zip", zipped(a__dot__gpx=GPX, b__dot__nmea=NMEA))
    assert str(caught.value) == (
        "ride.zip: the zip holds 2 logs ('a.gpx', 'b.nmea'), ridelog reads one ride at a time. "
        "What to do: unpack it and give ridelog the one log of the ride."
    )


def test_zip_without_a_log_and_empty_zip() -> None:
    with pytest.raises(UnreadableLogError, match=r"no file in the zip is .* \(found 'a.txt'\)\."):
        log_from_bytes("ride.zip", zipped(a__dot__txt=b"nothing"))
    with pytest.raises(UnreadableLogError, match=r"the zip file is empty \(0 files\)\."):
        log_from_bytes("ride.zip", zipped())


def test_locked_zip_is_refused() -> None:
    data = bytearray(zipped(a__dot__gpx=GPX))
    data[data.find(b"PK\x01\x02") + 8] |= 1
    with pytest.raises(UnreadableLogError, match=r"member 'a.gpx': the zip file asks for a pass"):
        log_from_bytes("ride.zip", bytes(data))


def test_too_many_members(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "MAX_MEMBERS", 1)
    with pytest.raises(UnreadableLogError, match="the zip file holds 2 files, more than 1"):
        log_from_bytes("ride.zip", zipped(a__dot__gpx=GPX, b=b""))


@pytest.mark.parametrize("cut", [4, 30, -30])
def test_damaged_zip_is_refused(cut: int) -> None:
    with pytest.raises(UnreadableLogError, match="ride.zip: .*zip"):
        log_from_bytes("ride.zip", zipped(a__dot__gpx=GPX)[:cut])


def test_zip_bomb_stops_at_the_limit() -> None:
    bomb = GPX[:200] + bytes(60_000_000)
    for data in (zipped(a__dot__gpx=bomb), gzip.compress(bomb, 1)):
        assert len(data) < 600_000
        with pytest.raises(UnreadableLogError) as caught:
            unpack("bomb", data, limit_bytes=5_000_000)
        assert "the log is larger than ridelog reads (5," in caught.value.problem
        assert caught.value.problem.endswith("the limit is 5,000,000).")


def test_gzip_bomb_without_a_log_stops_at_once() -> None:
    data = gzip.compress(bytes(50_000_000), 1)
    assert len(unpack("bomb", data).data) <= 1024 * 1024
    with pytest.raises(UnreadableLogError, match="the file is empty"):
        log_from_bytes("bomb", data)


def test_size_claimed_in_a_zip_header_is_not_believed() -> None:
    data = bytearray(zipped(a__dot__gpx=GPX[:200] + bytes(3_000_000)))
    place = data.find(b"PK\x01\x02") + 24
    data[place : place + 4] = (1000).to_bytes(4, "little")
    with pytest.raises(UnreadableLogError):
        log_from_bytes("ride.zip", bytes(data))


def test_limit_holds_for_plain_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ridelog.importer.MAX_LOG_BYTES", 100)
    (tmp_path / "ride.gpx").write_bytes(GPX)
    with pytest.raises(UnreadableLogError, match="the log is larger than ridelog reads"):
        load_track(tmp_path / "ride.gpx")


def test_unknown_compression_is_said() -> None:
    data = bytearray(zipped(a__dot__gpx=GPX))
    for mark, offset in ((b"PK\x03\x04", 8), (b"PK\x01\x02", 10)):
        data[data.find(mark) + offset] = 99
    with pytest.raises(UnreadableLogError, match="damaged or packed in an unknown way"):
        log_from_bytes("ride.zip", bytes(data))


def test_log_inside_keeps_every_value() -> None:
    plain, packed = log_from_bytes("a", NMEA), log_from_bytes("a", zipped(a=NMEA))
    assert np.array_equal(plain.latitude_deg, packed.latitude_deg)
