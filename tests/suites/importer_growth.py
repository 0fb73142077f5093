"""How the importers' work grows with a log of one thing repeated, on request.

    python tests/suites/importer_growth.py [--most 10000000] [--record]

Each row is one kind of filling (digits, spaces, commas, quotes, entities, nested tags and others)
at one place of a GPX or NMEA log, bare or packed: processor time at 1 kB, 10 kB and so on, the
largest resident memory, and the power of the size with which the time grows over the last tenfold
step (1 is linear, 2 is quadratic). Every size runs in a process of its own, so that its memory is
its own. Ends with 1 if a power is above 1.4 where the time counts at all, or on a traceback.
"""

import argparse
import gzip
import io
import math
import resource
import sys
import time
import zipfile
from collections.abc import Callable
from functools import partial
from multiprocessing import get_context
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "importer"))

from log_lines import gga, rmc  # noqa: E402  (needs the path above)
from record import Cell, Record, add_options  # noqa: E402

from ridelog.core.errors import RideLogError  # noqa: E402
from ridelog.importer import log_from_bytes  # noqa: E402

# Below this a time is that of starting, not of the log. [s]
_COUNTS_S = 0.2
_MOST_POWER = 1.4
_HEAD = b'<?xml version="1.0"?><gpx version="1.1" creator="x"><trk><trkseg>'
_TAIL = b"</trkseg></trk></gpx>"
_POINT = b'<trkpt lat="1.0" lon="2.0"><time>2024-06-08T09:00:00Z</time></trkpt>'
_UNITS = {
    "digits": b"7",
    "spaces": b" ",
    "commas": b",",
    "quotes": b"'",
    "points": b".",
    "entities": b"&amp;",
    "letters": b"x",
    "comments": b"<!-- -->",
    "line ends": b"\n",
}


def _filled(unit: bytes, size: int) -> bytes:
    return (unit * (size // len(unit) + 1))[: size - size % len(unit)]


def _in_gpx(begin: bytes, end: bytes) -> Callable[[bytes], bytes]:
    return lambda filling: _HEAD + _POINT + begin + filling + end + _POINT + _TAIL


_PLACES: dict[str, Callable[[bytes], bytes]] = {
    "gpx latitude": _in_gpx(b'<trkpt lat="', b'x" lon="2.0"></trkpt>'),
    "gpx speed": _in_gpx(b'<trkpt lat="1" lon="2"><speed>', b"x</speed></trkpt>"),
    "gpx time": _in_gpx(b'<trkpt lat="1" lon="2"><time>', b"x</time></trkpt>"),
    "gpx time, fraction": _in_gpx(
        b'<trkpt lat="1" lon="2"><time>2024-06-08T09:00:00.', b"x</time></trkpt>"
    ),
    "gpx between points": _in_gpx(b"", b""),
    "gpx version": lambda f: b'<gpx version="' + f + b'"><trk><trkseg>' + _POINT * 2 + _TAIL,
    "gpx before the root": lambda f: b"<!--" + f + b"-->" + _HEAD + _POINT + _TAIL,
    "nmea field": lambda f: (
        rmc(43200) + "$GPRMC,120001.00,A,0012.0,N,00021.0,W,"
    ).encode() + f + b"x,12.0,080624,,*00\r\n" + gga(43202).encode(),
    "nmea between": lambda f: rmc(43200).encode() + b"\r\n" + f + b"\r\n" + gga(43201).encode(),
}  # fmt: skip


def _placed(put: Callable[[bytes], bytes], unit: bytes, size: int) -> bytes:
    return put(_filled(unit, size))


def _repeated(
    unit: Callable[[int], bytes], begin: bytes = b"", end: bytes = b""
) -> Callable[[int], bytes]:
    def make(size: int) -> bytes:
        number = size // len(unit(0)) + 1
        return begin + b"".join(unit(k) for k in range(number)) + end

    return make


def _zip_of(data: bytes, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        archive.writestr("ride.gpx", data)
    return stream.getvalue()


_OTHERS: dict[str, Callable[[int], bytes]] = {
    "nested tags": lambda size: _HEAD + b"<a>" * (size // 3),
    "nested tags in a point": lambda size: _HEAD + b"<trkpt>" + b"<a>" * (size // 3),
    "tags": lambda size: _HEAD + b"<a/>" * (size // 4) + _POINT + _TAIL,
    "attributes": _repeated(lambda k: b' a%07d=""' % k, _HEAD + b"<a", b"/>" + _POINT + _TAIL),
    "declared attributes": _repeated(
        lambda k: b'<!ATTLIST a a%07d CDATA "">' % k, b"<!DOCTYPE gpx [",
        b"]>" + _HEAD + b"<a/>" * 1000 + _TAIL,
    ),
    "empty points": lambda size: _HEAD + b"<trkpt/>" * (size // 8) + _TAIL,
    "points": lambda size: _HEAD + _POINT * (size // len(_POINT)) + _TAIL,
    "point kinds": _repeated(
        lambda k: b'<trkpt lat="1.0" lon="2.0"><a%07d>1</a%07d></trkpt>' % (k, k), _HEAD, _TAIL
    ),
    "open points": lambda size: _HEAD + b'<trkpt lat="' * (size // 12),
    "dollars": lambda size: b"$" * size,
    "sentences": _repeated(lambda k: rmc(43200 + k % 40000).encode() + b"\r\n"),
    "sentences of commas": lambda size: b"$GPRMC,,,,,,,,,,,,,*67\r\n" * (size // 24),
    "dates that change": _repeated(
        lambda k: rmc(k * 7919 % 86400, date=f"{1 + k % 28:02d}0{1 + k % 9}24").encode() + b"\r\n"
    ),
    "times in reverse": _repeated(lambda k: rmc(86399 - k % 86400).encode() + b"\r\n"),
    "gzip of digits": lambda size: gzip.compress(_PLACES["gpx speed"](b"7" * size)),
    "gzip members": lambda size: gzip.compress(rmc(43200).encode() + b"\r\n") * (size // 80),
    "zip of digits": lambda size: _zip_of(_PLACES["gpx speed"](b"7" * size)),
}  # fmt: skip


def _work(name: str, data: bytes) -> tuple[float, int, str]:
    """Return processor time, memory above what was there before, and how reading ended."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.process_time()
    try:
        log_from_bytes(name, data)
        end = "read"
    except RideLogError as error:
        assert error.problem
        end = "refused"
    spent = time.process_time() - start
    return spent, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before, end


def _row(kind: str, make: Callable[[int], bytes], sizes: list[int]) -> dict[str, Cell]:
    times: list[float] = []
    row: dict[str, Cell] = {"filling": kind}
    for size in sizes:
        data = make(size)
        with get_context("fork").Pool(1) as pool:
            spent, memory, end = pool.apply(_work, ("log", data))
        times.append(spent)
        row |= {f"{size:,} B [s]": spent, "MiB": memory / 1024, "end": end, "bytes": len(data)}
    counts = times[-1] > _COUNTS_S
    power = math.log10(times[-1] / max(times[-2], 0.01 * times[-1])) if counts else None
    return {**row, "power": power}


def main() -> None:
    """Measure every filling and every place."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=10_000_000, help="largest size [bytes]")
    add_options(parser, "importer_growth")
    chosen = parser.parse_args()
    sizes = [10**k for k in range(3, int(math.log10(chosen.most) + 1e-9) + 1)]
    record = Record("importer_growth", chosen, rides=1)
    makers = {
        f"{filling} in {place}": partial(_placed, put, unit)
        for place, put in _PLACES.items()
        for filling, unit in _UNITS.items()
    } | _OTHERS
    steep = []
    for kind, make in makers.items():
        row = _row(kind, make, sizes)
        record.add(**row)
        if isinstance(row["power"], float) and row["power"] > _MOST_POWER:
            steep.append(kind)
    record.save()
    print(f"{len(steep)} grow faster than in step: {', '.join(steep)}")
    sys.exit(1 if steep else 0)


if __name__ == "__main__":
    main()
