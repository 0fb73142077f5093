"""Short logs of every format that the importers read, and ways to spoil them. Nothing runs here.

``SEEDS`` holds, by format, what makes its seed logs; a format that is added needs one entry, and
files of it in ``sample_tracks`` or in the folder of real logs join by their names' endings.
"""

import gzip
import io
import re
import sys
import zipfile
from collections.abc import Callable, Sequence
from functools import reduce
from operator import xor
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "tests" / "importer"))

# They need the path.
from binary_logs import RECORD, fit, pvt, record, tow_ms, ubx  # noqa: E402
from log_lines import gga, gpx, log, point, rmc, second, sentence  # noqa: E402

# Longest piece of a file that serves as a seed, and pieces taken of each. [bytes]
_PIECE, _PIECES = 1500, 4
_ENDINGS = {
    ".gpx": "gpx", ".nmea": "nmea", ".log": "nmea", ".txt": "nmea", ".ubx": "ubx", ".fit": "fit",
    ".tcx": "tcx", ".csv": "csv",
}  # fmt: skip
_FRAME = re.compile(rb"\xb5\x62")
_SENTENCE = re.compile(rb"\$([^$*\r\n]{0,250})\*[0-9A-Fa-f]{2}")
_LONGEST_FRAME = 400
_NUMBER = re.compile(rb"-?\d+\.?\d*")
_ODD = (
    b"", b" ", b"0", b"-1", b"1e308", b"-1e-308", b"nan", b"inf", b"9" * 19, b"9" * 70, b".", b"-",
    b"65535", b"240000", b"000000.00", b"2400.1", b"8959.9999", b"18000.0", b"99999", b"1e5", b"+1",
    b"\xff", b"\x00", b"T", b"1779526800", b"1,5", b"+99:99", b"25:61:61", b"48N",
    b"48\xc2\xb07'8\"N", b"\xff\xff\xff\x7f", b"\xb5\x62\x01\x07\x5c\x00", b"00/00/0000",
    b"2024-02-30T00:00:00Z", b"9999-12-31T23:59:60Z", b"311299", b"060180",
)  # fmt: skip
_XML = (
    b"<trkseg>", b"</trkseg>", b"</trkpt>", b"<trkpt>", b"<!--", b"-->", b"<![CDATA[", b"]]>",
    b"</Trackpoint>", b"<Lap>", b";", b",", b'"', b"\t", b"(km/h)",
    b"&amp;", b"&#55;", b"<speed>1</speed>", b"<time/>", b"<?xml?>", b"<gpx>", b'"', b"'", b"\r",
)  # fmt: skip


_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)


def _nmea() -> list[bytes]:
    lines = []
    for i in range(6):
        lines += [rmc(86397 + i, date="030526" if i < 3 else "040526", north=4.0 * i)]
        lines += [gga(86397 + i, north=4.0 * i), sentence(f"GPVTG,84.4,T,,M,{i}.0,N,,K,A")]
        lines += [sentence("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1")]
        lines += [sentence("GPGST,235959.00,1.0,,,,0.5,0.6,1.2")]
    other = []
    for i in range(4):
        place = "4807.0380,N,01131.0000,E"
        other += [sentence(f"GNGNS,12000{i}.00,{place},AA,10,0.9,545.4,46.9,,")]
        other += [sentence(f"GNGLL,{place},12000{i}.00,A,A"), sentence("GPZDA,120001,03,05,2026,,")]
    return [log(lines), log(other)]


def _gpx() -> list[bytes]:
    rich = (
        "<fix>3d</fix><sat>9</sat><hdop>1.2</hdop><extensions><x:speed>2.5</x:speed></extensions>"
    )
    one = "".join(point(second(i), lat=f"48.1000{i}", children=rich) for i in range(6))
    old = "".join(point(second(i), children="<speed>2</speed><course>9</course>") for i in range(6))
    return [gpx(one), gpx(old), gpx(one).decode().encode("utf-16"), gpx(point() * 4)]


def _ubx() -> list[bytes]:
    mixed = [pvt(0.2 * i) for i in range(5)]
    mixed.insert(2, log([rmc(32400), gga(32400)]))
    parts = [
        ubx("NAV-POSLLH", iTOW=tow_ms(i), lat=48.1, lon=11.5, hAcc=2000)
        + ubx("NAV-VELNED", iTOW=tow_ms(i), gSpeed=321, heading=90.5, sAcc=21)
        + ubx("NAV-STATUS", iTOW=tow_ms(i), gpsFix=3, gpsFixOk=1)
        + ubx("NAV-DOP", iTOW=tow_ms(i), hDOP=0.9)
        + ubx("NAV-TIMEUTC", iTOW=tow_ms(i), year=2026, month=5, day=3, hour=9, sec=i, validUTC=1)
        for i in range(4)
    ]
    return [b"".join(mixed), b"".join(parts), b"".join(parts[:1] + mixed)]


def _fit() -> list[bytes]:
    rows = [record(i, 48.1 + 1e-5 * i, 11.5, 2.5, 4) for i in range(6)]
    packed = bytes([0x41, 0, 0, 20, 0, 2, 0, 4, 0x85, 1, 4, 0x85])
    later = [bytes([0xA0 | i]) + rows[i][5:13] for i in range(4)]
    fine = bytes(
        [0x42, 0, 0, 160, 0, 5, 253, 4, 0x86, 0, 2, 0x84, 1, 4, 0x85, 2, 4, 0x85, 4, 4, 0x86]
    )
    finer = [
        b"\x02" + row[1:5] + bytes([0, i]) + row[5:13] + (3200).to_bytes(4, "little")
        for i, row in enumerate(rows)
    ]
    return [
        fit([RECORD, *rows]), fit([RECORD, packed, *rows[:2], *later], header=12),
        fit([RECORD, fine, *rows[:2], *finer]), fit([RECORD, *rows], size=0),
    ]  # fmt: skip


def _tcx() -> list[bytes]:
    points = "".join(
        f"<Trackpoint><Time>{second(i)}</Time><Position><LatitudeDegrees>48.1000{i}"
        "</LatitudeDegrees><LongitudeDegrees>11.5</LongitudeDegrees></Position><AltitudeMeters>5"
        "</AltitudeMeters><Extensions><TPX><Speed>2.5</Speed></TPX></Extensions></Trackpoint>\n"
        for i in range(6)
    )
    whole = (
        "<TrainingCenterDatabase><Activities><Activity><Lap><Track>\n" + points + "</Track><Track>"
        + points[:200] + "</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
    ).encode()  # fmt: skip
    return [whole, whole.decode().encode("utf-16")]


def _csv() -> list[bytes]:
    heads = (
        "utc,lat,lon,speed (km/h),course,hdop,accuracy (m)",
        "Zeit (UTC);Breite;L\u00e4nge;Geschwindigkeit (km/h);Kurs;HDOP;Genauigkeit",
        "timestamp_ms\tlat\tlng\tspeed_mps\tbearing\tsats\taccuracy",
        "date,time utc,lat,lon,speed (mph),alt (ft),speed accuracy (m/s)",
    )
    tables = []
    for number, head in enumerate(heads):
        rows = [head]
        for i in range(6):
            clock = (second(i), second(i), f"{1779526800 + i}000", f"5/23/2026,09:00:0{i}")[number]
            rows.append(f"{clock},48.1000{i},11.5,{10 + i}.5,90.1,0.9,4.5")
        parted = "\n".join(rows)
        if number == 1:
            parted = parted.replace(",", ";").replace(".", ",")
        tables.append((parted.replace(",", "\t") if number == 2 else parted).encode())
    return [*tables, tables[1].decode().encode("cp1252"), tables[0].decode().encode("utf-16")]


def _zipped(data: bytes, method: int) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        archive.writestr("ride.gpx", data)
    return stream.getvalue()


def _packed() -> list[bytes]:
    data = _gpx()[0]
    cut = len(data) // 2
    return [
        gzip.compress(data, mtime=0),
        gzip.compress(data[:cut], mtime=0) + gzip.compress(data[cut:], mtime=0),
        *(_zipped(data, method) for method in _METHODS),
    ]


SEEDS: dict[str, Callable[[], list[bytes]]] = {
    "nmea": _nmea, "gpx": _gpx, "ubx": _ubx, "fit": _fit, "tcx": _tcx, "csv": _csv,
    "packed": _packed,
}  # fmt: skip


def seeds(real: Path | None = None) -> list[tuple[str, bytes]]:
    """Return (format, log) of all seeds: built ones, and pieces of samples and real logs."""
    found = [(name, data) for name, make in SEEDS.items() for data in make()]
    places = [ROOT / "sample_tracks", *([real] if real else [])]
    for path in sorted(path for place in places for path in place.rglob("*")):
        name = _ENDINGS.get(path.suffix)
        if name is None or not path.is_file():
            continue
        data = path.read_bytes()
        for begin in np.linspace(0, max(len(data) - _PIECE, 0), _PIECES).astype(int).tolist():
            piece = data[begin : begin + _PIECE]
            if name == "gpx":
                first, last = piece.find(b"<trkpt"), piece.rfind(b"</trkpt>")
                piece = b"<gpx><trk><trkseg>" + piece[first : last + 8] + b"</trkseg></trk></gpx>"
            found.append((name, piece))
    return found


def spoilt(rng: np.random.Generator, data: bytes, others: Sequence[bytes]) -> bytes:
    """Return a log with one to six things wrong, its checksums mostly made right again."""
    document = bytearray(data)
    for _ in range(int(rng.integers(1, 7))):
        if not document:
            break
        _HOW[int(rng.integers(len(_HOW)))](rng, document, others)
    spoilt_log = bytes(document)
    return mended(spoilt_log) if rng.random() < 0.8 else spoilt_log


def mended(data: bytes) -> bytes:
    """Return a log whose sentences and UBX messages have the checksums of what they hold now."""

    def right(match: re.Match[bytes]) -> bytes:
        return b"$%s*%02X" % (match[1], reduce(xor, match[1], 0))

    document = bytearray(_SENTENCE.sub(right, data))
    for match in _FRAME.finditer(bytes(document)):
        begin = match.start() + 2
        end = begin + 4 + int.from_bytes(document[begin + 2 : begin + 4], "little")
        if end + 2 <= len(document) and end - begin < _LONGEST_FRAME:
            first = second_ = 0
            for byte in document[begin:end]:
                first = (first + byte) & 0xFF
                second_ = (second_ + first) & 0xFF
            document[end : end + 2] = bytes([first, second_])
    return bytes(document)


def repacked(rng: np.random.Generator, data: bytes) -> bytes:
    """Return a log in a container of any kind, so that what is wrong inside is reached."""
    if rng.random() < 0.4:
        return gzip.compress(data, mtime=0)
    return _zipped(data, _METHODS[int(rng.integers(len(_METHODS)))])


def _flip(rng: np.random.Generator, document: bytearray, _: Sequence[bytes]) -> None:
    document[int(rng.integers(len(document)))] = int(rng.integers(256))


def _cut(rng: np.random.Generator, document: bytearray, _: Sequence[bytes]) -> None:
    place = int(rng.integers(len(document)))
    del document[place : place + int(rng.integers(1, 120))]


def _repeat(rng: np.random.Generator, document: bytearray, _: Sequence[bytes]) -> None:
    place, other = rng.integers(len(document), size=2).tolist()
    document[other:other] = document[place : place + int(rng.integers(1, 200))]


def _end(rng: np.random.Generator, document: bytearray, _: Sequence[bytes]) -> None:
    del document[int(rng.integers(len(document))) :]


def _lines(rng: np.random.Generator, document: bytearray, _: Sequence[bytes]) -> None:
    """Swap, drop or double lines: epochs out of order, a clock that jumps."""
    lines = bytes(document).split(b"\n")
    first, second_ = rng.integers(len(lines), size=2).tolist()
    way = int(rng.integers(3))
    if way == 0:
        lines[first], lines[second_] = lines[second_], lines[first]
    elif way == 1:
        del lines[first]
    else:
        lines.insert(second_, lines[first])
    document[:] = b"\n".join(lines)


def _number(rng: np.random.Generator, document: bytearray, _: Sequence[bytes]) -> None:
    """Put another number, or what is none, in a number's place."""
    places = list(_NUMBER.finditer(bytes(document)))
    if not places:
        return
    match = places[int(rng.integers(len(places)))]
    if rng.random() < 0.5:
        text = _ODD[int(rng.integers(len(_ODD)))]
    else:
        digits = bytearray(match[0])
        digits[int(rng.integers(len(digits)))] = int(rng.integers(48, 58))
        text = bytes(digits)
    document[match.start() : match.end()] = text


def _markup(rng: np.random.Generator, document: bytearray, _: Sequence[bytes]) -> None:
    place = int(rng.integers(len(document)))
    document[place:place] = _XML[int(rng.integers(len(_XML)))]


def _graft(rng: np.random.Generator, document: bytearray, others: Sequence[bytes]) -> None:
    other = others[int(rng.integers(len(others)))]
    begin = int(rng.integers(max(len(other), 1)))
    place = int(rng.integers(len(document)))
    document[place:place] = other[begin : begin + int(rng.integers(1, 300))]


_HOW = (_flip, _flip, _cut, _repeat, _end, _lines, _lines, _number, _number, _markup, _graft)
