"""Build UBX and FIT logs for the importer's tests; nothing here is tested."""

import struct
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

from garmin_fit_sdk import CrcCalculator
from pyubx2 import GET, UBXMessage

START = datetime(2026, 5, 3, 9, 0, 0, tzinfo=UTC)  # a Sunday: a new GPS week began at midnight
_FIT_EPOCH = datetime(1989, 12, 31, tzinfo=UTC)


def tow_ms(seconds: float) -> int:
    """Return GPS time of week so many seconds after START, 18 leap seconds on."""
    return round((9 * 3600 + 18 + seconds) * 1000) % (7 * 86400 * 1000)


def ubx(kind: str, **fields: Any) -> bytes:
    """Return a message of class NAV; fields in pyubx2's names and units."""
    made: bytes = UBXMessage("NAV", kind, GET, **fields).serialize()
    return made


def pvt(seconds: float, **fields: Any) -> bytes:
    """Return NAV-PVT so many seconds after START, 3.21 m/s eastward."""
    moment = START + timedelta(seconds=seconds)
    usual = {
        "iTOW": tow_ms(seconds), "year": moment.year, "month": moment.month, "day": moment.day,
        "hour": moment.hour, "min": moment.minute, "second": moment.second,
        "nano": moment.microsecond * 1000, "validDate": 1, "validTime": 1, "fixType": 3,
        "gnssFixOk": 1, "numSV": 12, "lat": 48.1, "lon": round(11.5 + 4.32e-5 * seconds, 7),
        "hMSL": 545400, "hAcc": 1500, "gSpeed": 3210, "headMot": 90.5, "sAcc": 210,
    }  # fmt: skip
    return ubx("NAV-PVT", **(usual | fields))


def fit(records: Iterable[bytes], *, header: int = 14, size: int | None = None) -> bytes:
    """Return a FIT file of whole records (definitions and data), with its checksums.

    Layout: FIT protocol, "File header" and "CRC".
    """
    body = b"".join(records)
    told = len(body) if size is None else size
    head = struct.pack("<BBHI4s", header, 0x10, 2132, told, b".FIT")
    if header == 14:
        head += struct.pack("<H", CrcCalculator.calculate_crc(head, 0, len(head)))
    data = head + body
    return data + struct.pack("<H", CrcCalculator.calculate_crc(data, 0, len(data)))


# Local message 0: global message 20 (record) with timestamp, latitude, longitude, speed, accuracy.
RECORD = bytes([0x40, 0, 0, 20, 0, 5]) + bytes(
    [253, 4, 0x86, 0, 4, 0x85, 1, 4, 0x85, 6, 2, 0x84, 31, 1, 0x02]
)


def record(seconds: float, latitude: float, longitude: float, speed: float, accuracy: int) -> bytes:
    """Return a data message of RECORD."""
    stamp = int((START - _FIT_EPOCH).total_seconds() + seconds)
    angles = [round(angle * 2**31 / 180.0) for angle in (latitude, longitude)]
    return struct.pack("<BIiiHB", 0x00, stamp, *angles, round(speed * 1000.0), accuracy)
