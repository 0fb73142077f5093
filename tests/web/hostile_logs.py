"""Files that nobody means well with, small enough for the unit tests."""

import gzip
import io
import zipfile
from collections.abc import Iterator

_HEAD = b'<?xml version="1.0"?>\n'
_GPX = b'<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'


def zip_bomb(size_mib: int = 200) -> bytes:
    """A small zip whose only member unpacks to zeros."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("ride.gpx", "w") as member:
            member.write(_HEAD + _GPX)
            for _ in range(size_mib):
                member.write(bytes(1024 * 1024))
    return stream.getvalue()


def gzip_bomb(size_mib: int = 200) -> bytes:
    return gzip.compress(_HEAD + _GPX + bytes(size_mib * 1024 * 1024), 6)


def deep_xml(depth: int = 200_000) -> bytes:
    return _HEAD + _GPX + b"<a>" * depth + b"</a>" * depth + b"</gpx>"


def entity_bomb() -> bytes:
    rows = [b'<!ENTITY a0 "ha">']
    rows += [b'<!ENTITY a%d "%s">' % (k, b"&a%d;" % (k - 1) * 10) for k in range(1, 12)]
    return _HEAD + b"<!DOCTYPE gpx [" + b"".join(rows) + b"]>" + _GPX + b"<name>&a11;</name></gpx>"


def outside_entity() -> bytes:
    return (
        _HEAD + b'<!DOCTYPE gpx [<!ENTITY out SYSTEM "file:///etc/passwd">]>' + _GPX
        + b"<trk><name>&out;</name></trk></gpx>"
    )  # fmt: skip


def many_tracks(count: int = 10_000) -> bytes:
    """A GPX of so many tracks, one point each, a second apart."""
    points = (
        b'<trk><trkseg><trkpt lat="0.0001" lon="%.7f"><time>2024-06-08T%02d:%02d:%02dZ</time>'
        b"</trkpt></trkseg></trk>" % (0.5 + 1e-5 * k, k // 3600, k // 60 % 60, k % 60)
        for k in range(count)
    )
    return _HEAD + _GPX + b"".join(points) + b"</gpx>"


def wrong_types() -> Iterator[tuple[str, bytes]]:
    yield "picture.gpx", b"\x89PNG\r\n\x1a\n" + bytes(2000)
    yield "page.gpx", b"<!doctype html><html><body>ride</body></html>"
    yield "zeros.nmea", bytes(100_000)
    yield "words.nmea", "Grüße aus der Werkstatt\n".encode() * 500
    yield "program.gpx", b"\x7fELF" + bytes(range(256)) * 100
    yield "other.kml", b'<?xml version="1.0"?><kml><Placemark/></kml>'
