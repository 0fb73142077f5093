"""Build NMEA sentences and GPX documents for the importer's tests; nothing here is tested."""

from collections.abc import Iterable
from functools import reduce


def sentence(body: str, *, wrong: bool = False) -> str:
    """Return a sentence with its checksum: XOR of the bytes between "$" and "*"."""
    checksum = reduce(lambda total, byte: total ^ byte, body.encode(), 0)
    return f"${body}*{checksum ^ 0x55 if wrong else checksum:02X}"


def clock(seconds: float, places: int = 2) -> str:
    """Return hhmmss.ss of a time of day."""
    units = round(seconds * 10**places) % (86400 * 10**places)
    whole, fraction = divmod(units, 10**places)
    text = f"{whole // 3600:02d}{whole // 60 % 60:02d}{whole % 60:02d}"
    return f"{text}.{fraction:0{places}d}" if places else text


def rmc(
    seconds: float,
    *,
    date: str = "030526",
    status: str = "A",
    knots: str = "010.0",
    course: str = "084.4",
    place: str | None = None,
    talker: str = "GP",
    mode: str = ",A",
    wrong: bool = False,
    north: float = 0.0,
) -> str:
    place = position(north) if place is None else place
    return sentence(
        f"{talker}RMC,{clock(seconds)},{status},{place},{knots},{course},{date},,{mode}",
        wrong=wrong,
    )


def gga(
    seconds: float,
    *,
    quality: str = "1",
    hdop: str = "0.9",
    satellites: str = "08",
    place: str | None = None,
    talker: str = "GP",
    north: float = 0.0,
) -> str:
    place = position(north) if place is None else place
    body = f"{talker}GGA,{clock(seconds)},{place},{quality},{satellites},{hdop},545.4,M,46.9,M,,"
    return sentence(body)


def position(north: float = 0.0) -> str:
    """Return 48 degrees north plus so many thousandths of a minute, 11 degrees east."""
    return f"48{7.0 + north / 1000.0:09.6f},N,01131.000000,E"


def log(lines: Iterable[str]) -> bytes:
    return "".join(line + "\r\n" for line in lines).encode("latin-1")


def point(
    time: str | None = None, *, lat: str = "48.1", lon: str = "11.5", children: str = ""
) -> str:
    stamp = "" if time is None else f"<time>{time}</time>"
    return f'<trkpt lat="{lat}" lon="{lon}"><ele>545.4</ele>{stamp}{children}</trkpt>\n'


def second(number: float) -> str:
    """Return a stamp so many seconds after 2026-05-03T09:00:00Z, within that hour."""
    minutes, seconds = divmod(number, 60.0)
    return f"2026-05-03T09:{int(minutes):02d}:{seconds:06.3f}Z"


def gpx(*segments: str, version: str = "1.1", before: str = "", after: str = "") -> bytes:
    place = version.replace(".", "/")
    body = "".join(f"<trkseg>\n{segment}</trkseg>\n" for segment in segments)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="{version}" creator="test" '
        f'xmlns="http://www.topografix.com/GPX/{place}">\n{before}<trk>{body}</trk>{after}</gpx>\n'
    ).encode()
