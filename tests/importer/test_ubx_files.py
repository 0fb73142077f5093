"""UBX logs: against pyubx2, mixed with NMEA, damaged, void, without NAV-PVT."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from binary_logs import START, pvt, tow_ms, ubx
from log_lines import gga, log, rmc, sentence
from pyubx2 import UBXReader

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.flags import Flag
from ridelog.core.track import FixKind, Track
from ridelog.importer import log_from_bytes
from ridelog.importer.ubx_messages import _NAV, _layout

# Printed in the documentation of pyubx2 1.4.0 (README, "Parsing") with what it says: 16:01:48,
# ground speed 15 cm/s, heading 1.28387 degrees, speed accuracy 65 cm/s.
VELNED = (
    b"\xb5b\x01\x12$\x000D\n\x18\xfd\xff\xff\xff\xf1\xff\xff\xff\xfc\xff\xff\xff\x10\x00\x00\x00\x0f"
    b"\x00\x00\x00\x83\xf5\x01\x00A\x00\x00\x00\xf0\xdfz\x00\xd0\xa6"
)
ACK = b"\xb5b\x05\x01\x02\x00\x06\x01\x0f\x38"


def read(*parts: bytes) -> Track:
    return log_from_bytes("ride.ubx", b"".join(parts))


def ride(count: int = 5, step_s: float = 0.1, **fields: object) -> list[bytes]:
    return [pvt(step_s * i, **fields) for i in range(count)]


def test_each_field_is_what_pyubx2_reads() -> None:
    messages = ride(7)
    track = read(*messages)
    assert (track.source.format, len(track)) == ("ubx", 7)
    assert track.start_utc == START
    for i, message in enumerate(messages):
        oracle = UBXReader.parse(message)
        assert track.latitude_deg[i] == pytest.approx(oracle.lat, abs=1e-12)
        assert track.longitude_deg[i] == pytest.approx(oracle.lon, abs=1e-12)
        assert track.speed_mps[i] == pytest.approx(oracle.gSpeed / 1000)
        assert np.degrees(track.course_rad[i]) == pytest.approx(oracle.headMot)
        assert track.height_m[i] == pytest.approx(oracle.hMSL / 1000)
        assert track.satellites[i] == oracle.numSV
        assert track.speed_sd_mps[i] == pytest.approx(oracle.sAcc / 1000)
        # Of both axes together; Track holds one axis.
        assert track.position_sd_m[i] * 2**0.5 == pytest.approx(oracle.hAcc / 1000)
        assert track.time_s[i] == pytest.approx(0.1 * i, abs=1e-6)


@pytest.mark.parametrize("kind", sorted(_NAV))
def test_layouts_have_the_lengths_that_are_searched(kind: str) -> None:
    assert _layout(kind)[0].itemsize == max(_NAV[kind][1])


def test_the_short_form_of_older_receivers_is_read() -> None:
    message = pvt(0.0)
    body = message[2:4] + (84).to_bytes(2, "little") + message[6 : 6 + 84]
    first = second = 0
    for byte in body:
        first = (first + byte) % 256
        second = (second + first) % 256
    track = read(b"\xb5b" + body + bytes([first, second]), pvt(0.1))
    assert track.speed_mps.tolist() == [3.21, 3.21]


def parts(seconds: float, *, clock: bool, itow: int | None = None) -> bytes:
    tow = tow_ms(seconds) if itow is None else itow
    moment = START + timedelta(seconds=seconds)
    made = ubx("NAV-POSLLH", iTOW=tow, lat=48.1, lon=11.5, hMSL=545400, hAcc=2000)
    made += ubx("NAV-VELNED", iTOW=tow, gSpeed=321, heading=90.5, sAcc=21)
    made += ubx("NAV-STATUS", iTOW=tow, gpsFix=3, gpsFixOk=1, diffSoln=1)
    made += ubx("NAV-DOP", iTOW=tow, hDOP=0.9)
    if clock:
        made += ubx(
            "NAV-TIMEUTC", iTOW=tow, year=moment.year, month=moment.month, day=moment.day,
            hour=moment.hour, min=moment.minute, sec=moment.second,
            nano=moment.microsecond * 1000, validUTC=1,
        )  # fmt: skip
    return made


def test_without_pvt_other_messages_of_the_epoch_are_put_together() -> None:
    # The time comes once only, with the third epoch: the receiver's own clock runs on.
    track = read(*(parts(0.2 * i, clock=i == 2) for i in range(5)))
    assert track.time_s == pytest.approx(0.2 * np.arange(5))
    assert track.start_utc == START
    assert track.speed_mps.tolist() == [3.21] * 5
    assert track.speed_sd_mps.tolist() == pytest.approx([0.21] * 5)
    assert track.hdop.tolist() == pytest.approx([0.9] * 5)
    assert set(track.fix_kind) == {FixKind.DIFFERENTIAL}


def test_published_message_is_read_as_printed() -> None:
    oracle = UBXReader.parse(VELNED)
    assert (oracle.gSpeed, oracle.heading, oracle.sAcc) == (15, 1.28387, 65)
    tow = int.from_bytes(VELNED[6:10], "little")
    # 16:01:48 of a Thursday, with 18 leap seconds.
    assert tow == (4 * 86400 + (16 * 60 + 1) * 60 + 48 + 18) * 1000
    place = ubx("NAV-POSLLH", iTOW=tow, lat=48.1, lon=11.5, hAcc=2000)
    time = ubx(
        "NAV-TIMEUTC", iTOW=tow, year=2026, month=5, day=7, hour=16, min=1, sec=48, validUTC=1
    )
    track = read(ACK, place, VELNED, time)
    assert track.speed_mps[0] == pytest.approx(0.15)
    assert np.degrees(track.course_rad[0]) == pytest.approx(1.28387)
    assert track.speed_sd_mps[0] == pytest.approx(0.65)
    assert track.start_utc == datetime(2026, 5, 7, 16, 1, 48, tzinfo=UTC)


def test_a_week_that_ends_in_the_ride_is_no_break() -> None:
    last = 7 * 86400 * 1000
    logged = [parts(0.0, clock=i == 0, itow=(last - 200 + 100 * i) % last) for i in range(5)]
    assert read(*logged).time_s == pytest.approx(0.1 * np.arange(5))


def test_what_stands_between_messages_and_false_lengths_take_nothing_with_them() -> None:
    # A head that claims 60 kB, as damage makes them, must not swallow what follows.
    false = b"\xb5b\x01\x07" + (60_000).to_bytes(2, "little") + b"\xb5b\xb5"
    track = read(b"\x00\xff", pvt(0.0), false, pvt(0.1), ACK, b"junk\n", pvt(0.2))
    assert len(track) == 3
    assert track.source_line.tolist() == [3, 112, 227]


@pytest.mark.parametrize("place", [2, 6, 20, 50, 98, 99])
def test_any_changed_byte_is_noticed(place: int) -> None:
    messages = ride(5)
    broken = bytearray(messages[2])
    broken[place] ^= 0x15
    track = read(*messages[:2], bytes(broken), *messages[3:])
    assert track.time_s == pytest.approx([0.0, 0.1, 0.3, 0.4])


def test_damaged_messages_are_told() -> None:
    broken = bytearray(pvt(0.1))
    broken[30] ^= 1
    track = read(pvt(0.0), bytes(broken), pvt(0.2), pvt(0.3)[:-4])
    assert track.warnings == (
        "2 UBX messages damaged or cut off (bytes 101 and 301) were not read.",
    )


def test_epochs_without_a_fix_are_counted_and_guessed_ones_flagged() -> None:
    track = read(
        pvt(0.0, fixType=0), pvt(0.1, gnssFixOk=0), pvt(0.2), pvt(0.3, fixType=1), pvt(0.4),
        pvt(0.5, fixType=5), pvt(0.6, carrSoln=2, diffSoln=1),
    )  # fmt: skip
    assert track.void_epochs == 3
    assert track.fix_kind.tolist() == [
        FixKind.AUTONOMOUS, FixKind.ESTIMATED, FixKind.AUTONOMOUS, FixKind.RTK_FIXED,
    ]  # fmt: skip
    assert track.flags.tolist() == [0, Flag.DEAD_RECKONING, 0, 0]


def test_a_time_that_the_receiver_does_not_vouch_for_is_none() -> None:
    track = read(pvt(0.0, validTime=0), pvt(0.1, validDate=0), *ride(3))
    assert np.isnan(track.time_s[:2]).all()
    assert track.warnings == ("No time is given in 2 of 5 fixes.",)


def test_unknown_accuracy_is_none() -> None:
    track = read(pvt(0.0, hAcc=0xFFFFFFFF, sAcc=0xFFFFFFFF), pvt(0.1, hAcc=0, sAcc=0))
    assert np.isnan(track.position_sd_m).all()
    track = read(pvt(0.0, sAcc=20000), pvt(0.1))
    assert track.speed_sd_mps.tolist() == [20.0, 0.21]


def nmea(count: int) -> bytes:
    lines = [line for i in range(count) for line in (rmc(32400 + i), gga(32400 + i))]
    return log([*lines, sentence("GPGST,090000.00,1.0,,,,0.5,0.6,1.2")])


def test_mixed_with_nmea_the_richer_one_is_read_and_the_other_told() -> None:
    track = read(nmea(3), *ride(20))
    assert (track.source.format, len(track)) == ("ubx", 20)
    assert track.warnings == (
        "The log also holds NMEA with 3 fixes, which took no part: its UBX messages hold 20 fixes.",
    )
    track = read(nmea(30), *ride(20))
    assert (track.source.format, len(track)) == ("nmea-0183", 30)


def test_messages_without_positions_are_refused_in_words() -> None:
    with pytest.raises(UnreadableLogError, match="UBX messages, but no sound NAV-PVT or NAV-POSL"):
        read(ACK, VELNED)
    with pytest.raises(NotEnoughDataError, match=r"never had a fix .* \(0 valid of 4 UBX epochs"):
        read(*ride(4, fixType=0))
