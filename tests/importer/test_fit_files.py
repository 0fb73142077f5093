"""FIT files: against Garmin's own decoder, by bytes as the protocol says, damaged, unfinished."""

import struct
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from binary_logs import RECORD, START, fit, record
from garmin_fit_sdk import Decoder, Encoder, Profile, Stream

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.track import Track
from ridelog.importer import log_from_bytes


def read(data: bytes) -> Track:
    return log_from_bytes("ride.fit", data)


def encoded(*messages: dict[str, Any]) -> bytes:
    encoder = Encoder()
    for message in ({"kind": "FILE_ID", "type": "activity", "time_created": START}, *messages):
        encoder.write_mesg({"mesg_num": Profile["mesg_num"][message["kind"]]} | message)
    return bytes(encoder.close())


def point(i: int, **fields: Any) -> dict[str, Any]:
    return {
        "kind": "RECORD", "timestamp": START + timedelta(seconds=i),
        "position_lat": 573_850_000 + 300 * i, "position_long": 137_200_000,
        "enhanced_altitude": 545.4, "enhanced_speed": 3.217, "gps_accuracy": 3,
    } | fields  # fmt: skip


def test_each_field_is_what_garmins_decoder_reads() -> None:
    data = encoded(*(point(i) for i in range(5)))
    messages, errors = Decoder(Stream.from_byte_array(bytearray(data))).read()
    assert errors == []
    track = read(data)
    assert (track.source.format, len(track)) == ("fit", 5)
    for i, oracle in enumerate(messages["record_mesgs"]):
        moment = track.start_utc
        assert moment is not None
        assert moment + timedelta(seconds=float(track.time_s[i])) == oracle["timestamp"]
        assert track.latitude_deg[i] == pytest.approx(oracle["position_lat"] * 180 / 2**31)
        assert track.longitude_deg[i] == pytest.approx(oracle["position_long"] * 180 / 2**31)
        assert track.height_m[i] == pytest.approx(oracle["enhanced_altitude"])
        assert track.speed_mps[i] == pytest.approx(oracle["enhanced_speed"])
        assert track.position_sd_m[i] * 2**0.5 == pytest.approx(oracle["gps_accuracy"])


@pytest.mark.parametrize("header", [12, 14])
def test_bytes_laid_out_as_the_protocol_says_are_read(header: int) -> None:
    # FIT protocol: file header, definition message, data message, CRC; semicircles in the profile.
    data = fit([RECORD, *(record(i, 48.1, -11.5, 2.5, 4) for i in range(3))], header=header)
    assert Decoder(Stream.from_byte_array(bytearray(data))).check_integrity()
    track = read(data)
    assert track.latitude_deg == pytest.approx([48.1] * 3, abs=1e-7)
    assert track.longitude_deg == pytest.approx([-11.5] * 3, abs=1e-7)
    assert track.speed_mps.tolist() == [2.5] * 3
    assert track.start_utc == START
    assert track.warnings == ()


def test_compressed_time_stamps_roll_over_as_the_protocol_prints() -> None:
    # FIT protocol, "Compressed timestamp header", example: after 0x3B the offsets 0x1B, 0x1D, 0x02,
    # 0x05, 0x01 and 0x12 are 0x3B, 0x3D, 0x42, 0x45, 0x61 and 0x72 (from memory).
    base = 0x41000000
    definition = bytes([0x41, 0, 0, 20, 0, 2, 0, 4, 0x85, 1, 4, 0x85])
    first = struct.pack("<BIiiHB", 0, base + 0x3B, 573_850_000, 137_200_000, 2500, 3)
    later = [
        bytes([0x80 | 1 << 5 | offset]) + struct.pack("<ii", 573_850_000, 137_200_000)
        for offset in (0x1B, 0x1D, 0x02, 0x05, 0x01, 0x12)
    ]
    track = read(fit([RECORD, definition, first, *later]))
    epoch = datetime(1989, 12, 31, tzinfo=UTC)
    assert track.start_utc == epoch + timedelta(seconds=base + 0x3B)
    assert (track.time_s + 0x3B).tolist() == [0x3B, 0x3B, 0x3D, 0x42, 0x45, 0x61, 0x72]


def test_finer_messages_of_the_receiver_are_preferred() -> None:
    fine = [
        {
            "kind": "GPS_METADATA", "timestamp": START + timedelta(seconds=i // 10),
            "timestamp_ms": i % 10 * 100, "position_lat": 573_850_000 + i,
            "position_long": 137_200_000, "enhanced_altitude": 545.4, "enhanced_speed": 3.2,
            "heading": 93.5,
        }
        for i in range(20)
    ]  # fmt: skip
    track = read(encoded(*(point(i) for i in range(3)), *fine))
    assert track.time_s == pytest.approx(0.1 * np.arange(20))
    assert np.degrees(track.course_rad) == pytest.approx(93.5)
    assert "from messages gps_metadata" in track.history[0]


def test_records_without_a_position_are_no_fixes() -> None:
    blank = {"kind": "RECORD", "timestamp": START, "enhanced_speed": 1.0}
    track = read(encoded(blank, point(1), blank, point(2)))
    assert len(track) == 2
    with pytest.raises(NotEnoughDataError, match=r"holds no position \(0 of 2 records\)"):
        read(encoded(blank))


def test_what_stands_before_the_damage_is_kept() -> None:
    data = fit([RECORD, *(record(i, 48.1, 11.5, 2.5, 4) for i in range(9))])
    cut = read(data[:-25])
    assert len(cut) == 7
    assert cut.warnings[0].startswith("The file breaks off or is damaged after record 7 (it ends")
    wrong = bytearray(data)
    wrong[-1] ^= 0xFF
    assert read(bytes(wrong)).warnings == (
        "The checksum at the file's end is wrong: some of it may be damaged.",
    )


def test_a_file_that_the_device_never_finished_is_read() -> None:
    whole = fit([RECORD, *(record(i, 48.1, 11.5, 2.5, 4) for i in range(4))], size=0)
    track = read(whole[:-2])
    assert len(track) == 4
    assert track.warnings[0].startswith("The file was never finished by the device")


def test_damage_before_the_first_position_is_refused_in_words() -> None:
    data = fit([RECORD, record(0, 48.1, 11.5, 2.5, 4)])
    with pytest.raises(UnreadableLogError, match="record 1: the FIT file is damaged before its f"):
        read(data[:30])


def test_times_that_count_from_the_device_are_none() -> None:
    body = struct.pack("<BIiiHB", 0, 5000, 573_850_000, 137_200_000, 2500, 3)
    assert np.isnan(read(fit([RECORD, body])).time_s).all()
