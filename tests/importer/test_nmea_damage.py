"""What stands around, inside and instead of sentences in real logs; odd field values."""

import codecs

import numpy as np
import pytest
from log_lines import gga, log, rmc, sentence

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.flags import Flag
from ridelog.core.track import FixKind, Track
from ridelog.importer import log_from_bytes, require_times

NOON = 12 * 3600.0
CLEAN = [line for i in range(6) for line in (rmc(NOON + i, north=i), gga(NOON + i, north=i))]


def read(lines: list[str]) -> Track:
    return log_from_bytes("ride.nmea", log(lines))


def same_fixes(one: Track, other: Track) -> bool:
    return all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("time_s", "latitude_deg", "longitude_deg", "speed_mps", "hdop", "flags")
    )


def test_every_rmc_checksum_wrong_while_gga_is_right() -> None:
    lines = []
    for i in range(5):
        lines += [rmc(NOON + i, wrong=True), gga(NOON + i)]
    track = read(lines)
    assert len(track) == 5
    assert np.isnan(track.speed_mps).all()
    # The date stands in the refused sentences only.
    assert not track.date_known
    assert (
        "5 sentences with a wrong checksum (lines 1, 3, 5 and 2 more) were not read."
        in track.warnings
    )


def test_header_lines() -> None:
    track = read(["# Name: a receiver", "# Date: 1999", "#", *CLEAN])
    assert same_fixes(track, read(CLEAN))
    assert track.source_line[0] == 4


def test_prefixes_and_suffixes_of_the_logger() -> None:
    lines = [f"NMEA,{line},16994005775{i:02d}" for i, line in enumerate(CLEAN)]
    assert same_fixes(read(lines), read(CLEAN))
    lines = [f"<13>May  3 12:00:0{i % 10} log[7]: {line} \\r" for i, line in enumerate(CLEAN)]
    assert same_fixes(read(lines), read(CLEAN))


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_with_its_mark(encoding: str) -> None:
    mark = codecs.BOM_UTF16_LE if encoding.endswith("le") else codecs.BOM_UTF16_BE
    data = mark + log(CLEAN).decode("ascii").encode(encoding)
    assert same_fixes(log_from_bytes("ride.txt", data), read(CLEAN))


def test_utf_8_mark_and_other_line_ends() -> None:
    text = log(CLEAN)
    for data in (
        codecs.BOM_UTF8 + text,
        text.replace(b"\r\n", b"\n"),
        text.replace(b"\r\n", b"\r"),
    ):
        track = log_from_bytes("ride.txt", data)
        assert same_fixes(track, read(CLEAN))
        assert track.source_line.tolist() == [1, 3, 5, 7, 9, 11]


def test_binary_runs_between_sentences() -> None:
    noise = bytes(range(256)) * 3 + b"$$*\x00$GP\xb5b\x01\x07$"
    data = noise + noise.join(line.encode() + b"\r\n" for line in CLEAN) + noise
    assert same_fixes(log_from_bytes("ride.nmea", data), read(CLEAN))


def test_two_sentences_fused_on_one_line() -> None:
    fused = ["".join(CLEAN[i : i + 2]) for i in range(0, len(CLEAN), 2)]
    assert same_fixes(read(fused), read(CLEAN))


def test_sentence_overrun_by_the_next_loses_only_itself() -> None:
    broken = [CLEAN[0][:30] + CLEAN[1], *CLEAN[2:]]
    track = read(broken)
    assert len(track) == 6
    assert np.isnan(track.speed_mps[0])
    assert "1 sentence cut short or without a checksum (line 1) was not read." in track.warnings


@pytest.mark.parametrize("length", [7, 20, 40, -3, -2, -1])
def test_line_cut_short_is_not_read(length: int) -> None:
    track = read([*CLEAN, rmc(NOON + 10)[:length]])
    assert len(track) == 6
    assert "1 sentence cut short or without a checksum (line 13) was not read." in track.warnings


def test_lower_case_checksum_and_proprietary_sentences() -> None:
    lines = [line[:-2] + line[-2:].lower() for line in CLEAN]
    proprietary = sentence("PGRME,15.0,M,45.0,M,25.0,M")
    assert same_fixes(read([proprietary, *lines, "$PXYZ,no,checksum"]), read(CLEAN))


def test_log_without_any_checksum_is_refused() -> None:
    lines = [line.partition("*")[0] for line in CLEAN]
    with pytest.raises(UnreadableLogError) as caught:
        read(lines)
    assert str(caught.value) == (
        "ride.nmea, line 1 on: no NMEA sentence has a right checksum (0 wrong, 12 cut short or "
        "without one). What to do: record NMEA 0183 with RMC and GGA sentences and their checksums."
    )


def test_log_without_position_sentences_is_refused() -> None:
    with pytest.raises(UnreadableLogError, match="holds no RMC, GGA, GNS or GLL sentence"):
        read([sentence("GPGSV,1,1,01,01,40,083,46")])


def test_status_a_with_hdop_150_keeps_its_value() -> None:
    track = read([rmc(NOON), gga(NOON, hdop="150.0"), rmc(NOON + 1), gga(NOON + 1, hdop="99.99")])
    assert track.hdop.tolist() == [150.0, 99.99]
    assert not track.flags.any()


@pytest.mark.parametrize("value", ["655.3", "655.30", "655.34", "655.35"])
def test_over_range_speed_and_course_are_missing(value: str) -> None:
    track = read(
        [rmc(NOON, knots=value, course=value), rmc(NOON + 1, knots="654.0", course="360.0")]
    )
    assert np.isnan([track.speed_mps[0], track.course_rad[0]]).all()
    assert track.speed_mps[1] == pytest.approx(654.0 * 1852 / 3600)
    assert track.course_rad[1] == 0.0


def test_quality_6_beside_status_a_is_dead_reckoning() -> None:
    lines = [rmc(NOON), gga(NOON), rmc(NOON + 1), gga(NOON + 1, quality="6"), rmc(NOON + 2)]
    track = read([*lines, gga(NOON + 2), rmc(NOON + 3, mode=",E"), gga(NOON + 3)])
    dead = int(Flag.DEAD_RECKONING)
    assert track.flags.tolist() == [0, dead, 0, dead]
    assert track.fix_kind[1] == FixKind.ESTIMATED


def test_simulated_positions_are_said() -> None:
    track = read([gga(NOON + i, quality="8") for i in range(3)])
    assert "The receiver marks positions as typed in by hand or simulated." in track.warnings


def test_blank_fields_are_missing_values() -> None:
    blank = sentence("GPRMC,120001.00,A,4807.000,N,01131.000,E,,,030526,,,A")
    track = read([rmc(NOON), blank, sentence("GPGGA,120001.00,,,,,1,,,,M,,M,,"), rmc(NOON + 2)])
    assert len(track) == 3
    assert np.isnan([track.speed_mps[1], track.course_rad[1], track.height_m[1]]).all()


@pytest.mark.parametrize(
    "place",
    ["4860.000,N,01131.000,E", "9100.000,N,01131.000,E", "4807.038,,01131.000,E", "x,N,1,E", ",,,"],
)
def test_impossible_position_is_no_fix(place: str) -> None:
    track = read([rmc(NOON), rmc(NOON + 1, place=place), rmc(NOON + 2)])
    assert track.time_s.tolist() == [0.0, 2.0]
    assert track.void_epochs == 1


def test_no_fix_points_that_repeat_the_last_position_are_no_rows() -> None:
    lines = [*CLEAN]
    for i in range(6, 12):
        lines += [
            rmc(NOON + i, north=5, status="V", knots="0.0"),
            gga(NOON + i, quality="0", north=5),
        ]
    track = read(lines)
    assert (len(track), track.void_epochs) == (6, 6)


def test_positions_without_time_cannot_give_speed() -> None:
    lines = [sentence(f"GPGGA,,4807.{i:03d},N,01131.000,E,1,08,0.9,5,M,4,M,,") for i in range(5)]
    with pytest.raises(NotEnoughDataError) as caught:
        read(lines)
    assert str(caught.value) == (
        "ride.nmea, line 1 on: the log cannot give a speed because its 5 positions carry no usable "
        "time. What to do: record the ride with RMC or GGA sentences that hold the time."
    )


@pytest.mark.parametrize("time", ["246000", "12005", "126000", "120061", "120000:5", "-12000"])
def test_impossible_times_are_no_times(time: str) -> None:
    lines = [sentence(f"GPGGA,{time},4807.038,N,01131.000,E,1,08,0.9,5,M,4,M,,")]
    with pytest.raises(NotEnoughDataError, match="carry no usable time"):
        read(lines)


def test_single_epoch_cannot_give_speed() -> None:
    with pytest.raises(NotEnoughDataError) as caught:
        require_times(log_from_bytes("ride.nmea", log([rmc(NOON), gga(NOON)])))
    assert str(caught.value) == (
        "ride.nmea, line 1 on: the log cannot give a speed, for it holds 1 fix with one time only, "
        "2026-05-03T12:00:00Z. What to do: record or export the ride with a time in every point."
    )
