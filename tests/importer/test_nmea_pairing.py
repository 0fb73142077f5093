"""RMC and GGA that do not pair, talkers that double, sentences that belong to an epoch."""

import numpy as np
import pytest
from log_lines import gga, log, position, rmc, sentence

from ridelog.core.flags import Flag
from ridelog.core.track import FixKind, Track
from ridelog.core.units import MPS_PER_KNOT
from ridelog.importer import log_from_bytes

NOON = 12 * 3600.0


def read(lines: list[str]) -> Track:
    return log_from_bytes("ride.nmea", log(lines))


def test_gga_every_fourth_second_is_carried_between() -> None:
    lines = []
    for i in range(12):
        lines.append(rmc(NOON + i, north=i, mode=""))
        if i % 4 == 0:
            lines.append(gga(NOON + i, hdop=f"{1 + i / 4:.1f}", quality="2", north=i))
    track = read(lines)
    assert len(track) == 12
    assert track.hdop.tolist() == [1.0] * 4 + [2.0] * 4 + [3.0] * 4
    assert (track.fix_kind == FixKind.DIFFERENTIAL).all()
    assert np.isfinite(track.height_m).tolist() == [i % 4 == 0 for i in range(12)]


def test_values_are_not_carried_longer_than_five_seconds() -> None:
    lines = [rmc(NOON, mode=""), gga(NOON)] + [rmc(NOON + i, mode="") for i in range(1, 9)]
    track = read(lines)
    assert np.isfinite(track.hdop).tolist() == [True] * 6 + [False] * 3
    assert (track.fix_kind == FixKind.AUTONOMOUS).tolist() == [True] * 6 + [False] * 3


def test_gga_at_10_hz_with_rmc_at_1_hz() -> None:
    lines = []
    for i in range(30):
        lines.append(gga(NOON + i / 10, north=i))
        if i % 10 == 0:
            lines.append(rmc(NOON + i / 10, north=i))
    track = read(lines)
    assert len(track) == 30
    assert track.time_s.tolist() == [i / 10 for i in range(30)]
    assert np.isfinite(track.speed_mps).tolist() == [i % 10 == 0 for i in range(30)]
    assert track.date_known
    assert not track.flags.any()


def test_two_gga_for_each_rmc() -> None:
    lines = []
    for i in range(10):
        lines += [gga(NOON + i), rmc(NOON + i), gga(NOON + i + 0.5)]
    track = read(lines)
    assert track.time_s.tolist() == [i / 2 for i in range(20)]
    twice = read(
        [line for i in range(10) for line in (gga(NOON + i), gga(NOON + i), rmc(NOON + i))]
    )
    assert len(twice) == 10


def test_no_rmc_at_all_takes_speed_from_vtg() -> None:
    lines = []
    for i in range(5):
        lines += [gga(NOON + i), sentence(f"GPVTG,84.4,T,,M,{i}.0,N,,K,A")]
    track = read(lines)
    assert track.speed_mps == pytest.approx([i * MPS_PER_KNOT for i in range(5)])
    assert not track.date_known


def test_vtg_sent_before_gga_belongs_to_the_epoch_that_follows() -> None:
    lines = []
    for i in range(5):
        lines += [sentence(f"GPVTG,84.4,T,,M,{i}.0,N,,K,A"), gga(NOON + i)]
    assert read(lines).speed_mps == pytest.approx([i * MPS_PER_KNOT for i in range(5)])


def test_vtg_in_km_h_only_and_without_validity() -> None:
    lines = [gga(NOON), sentence("GPVTG,,T,,M,,N,36.0,K,A")]
    lines += [gga(NOON + 1), sentence("GPVTG,,T,,M,,N,36.0,K,N")]
    track = read(lines)
    assert track.speed_mps[0] == pytest.approx(10.0)
    assert np.isnan(track.speed_mps[1])


def test_every_epoch_by_two_talkers_counts_once() -> None:
    lines = []
    for i in range(6):
        for talker in ("GP", "GN"):
            lines += [rmc(NOON + i, talker=talker, north=i), gga(NOON + i, talker=talker, north=i)]
    track = read(lines)
    assert len(track) == 6
    assert track.segment.tolist() == [0] * 6
    assert not track.flags.any()


def test_one_of_two_talkers_without_a_fix_does_no_harm() -> None:
    lines = []
    for i in range(4):
        lines += [rmc(NOON + i, talker="GL", status="V", mode=",N"), rmc(NOON + i, talker="GP")]
    track = read(lines)
    assert len(track) == 4
    assert not track.flags.any()
    assert track.void_epochs == 0


def test_rmc_and_gga_out_of_step_are_paired_by_time() -> None:
    lines = [gga(NOON)]
    for i in range(1, 10):
        lines += [gga(NOON + i, north=i), rmc(NOON + i - 1, north=i - 1)]
    track = read(lines)
    assert track.time_s.tolist() == [float(i) for i in range(10)]
    assert track.segment.tolist() == [0] * 10
    assert np.isfinite(track.speed_mps).sum() == 9


def test_position_comes_from_one_type_where_both_have_it() -> None:
    # RMC with 1e-3 minute, GGA with 1e-6: a mixture would jump by up to 0.9 m.
    lines = []
    for i in range(8):
        lines.append(rmc(NOON + i, place="4807.038,N,01131.000,E"))
        lines.append(gga(NOON + i, place="4807.038400,N,01131.000400,E"))
    track = read(lines)
    assert track.latitude_deg == pytest.approx([48 + 7.0384 / 60] * 8, abs=1e-12)


def test_gsa_of_several_constellations_add_up() -> None:
    gsa = [
        sentence(f"GNGSA,A,3,{ids},,,,,,,,,1.5,0.8,1.2") for ids in ("01,02,03,04", "65,66,67,68")
    ]
    track = read([rmc(NOON), *gsa, rmc(NOON + 1), *gsa])
    assert track.satellites.tolist() == [8.0, 8.0]
    assert track.hdop.tolist() == [0.8, 0.8]


def test_gst_of_the_same_time_gives_the_sd() -> None:
    lines = []
    for i in range(3):
        lines += [rmc(NOON + i), sentence(f"GPGST,{1200:04d}0{i}.00,1.8,,,,0.3,0.4,2.2")]
    lines.append(sentence("GPGST,130000.00,1.8,,,,9.0,9.0,2.2"))
    assert read(lines).position_sd_m == pytest.approx([np.sqrt(0.125)] * 3)


def test_gll_only_log_is_read_and_said() -> None:
    lines = [sentence(f"GPGLL,{position(i)},1200{i:02d}.00,A,A") for i in range(5)]
    track = read(lines)
    assert len(track) == 5
    assert (
        "The log has neither RMC nor GGA; its fixes were read from GNS and GLL." in track.warnings
    )


def test_gns_counts_as_fix_only_without_rmc_and_gga() -> None:
    lines = [
        sentence(f"GNGNS,1200{i:02d}.00,{position(i)},AA,09,0.9,545.4,46.9,,") for i in range(6)
    ]
    assert len(read(lines)) == 6
    with_gga = [gga(NOON + 2), gga(NOON + 3), *lines]
    assert len(read(with_gga)) == 2


def test_void_epochs_are_counted_and_are_no_rows() -> None:
    lines = []
    for i in range(4):
        lines += [rmc(NOON + i, status="V", mode=",N"), gga(NOON + i, quality="0")]
    lines += [sentence("GPRMC,,V,,,,,,,,,,N"), sentence("GPGGA,,,,,,0,00,,,M,,M,,")]
    lines += [rmc(NOON + 10), gga(NOON + 10), rmc(NOON + 11), gga(NOON + 11)]
    track = read(lines)
    assert len(track) == 2
    assert track.void_epochs == 5


def test_rmc_void_beside_a_valid_gga_is_a_flagged_row() -> None:
    lines = [rmc(NOON, status="V"), gga(NOON), rmc(NOON + 1), gga(NOON + 1)]
    track = read(lines)
    assert track.flags.tolist() == [Flag.NO_FIX, 0]
    assert np.isnan(track.speed_mps[0])


def test_gga_quality_0_beside_status_a_is_a_flagged_row() -> None:
    lines = [rmc(NOON), gga(NOON, quality="0"), rmc(NOON + 1), gga(NOON + 1)]
    assert read(lines).flags.tolist() == [Flag.NO_FIX, 0]


def test_two_receivers_in_one_log_are_named() -> None:
    lines = []
    for i in range(20):
        lines += [rmc(43200 + i, north=i), gga(43200 + i, north=i)]
        lines += [rmc(43200 + i, north=i + 20.0, talker="GN")]
    track = log_from_bytes("ride.nmea", log(lines))
    assert track.warnings[-1] == (
        "20 times of 20 come with two places, usually 37 m apart: two receivers seem to have "
        "written this log. The first of each was read; give each receiver its own log."
    )
    alone = [line for line in lines if "GNRMC" not in line]
    assert not any("two receivers" in one for one in log_from_bytes("a", log(alone)).warnings)


def test_two_receivers_one_after_the_other_are_named() -> None:
    lines = [rmc(43200 + i, north=i) for i in range(20)]
    lines += [rmc(43200 + i, north=i + 20.0) for i in range(20)]
    assert "20 epochs came again with another position; the first of each was read." in (
        log_from_bytes("a", log(lines)).warnings
    )


def test_coarse_and_fine_places_of_one_receiver_are_one_receiver() -> None:
    lines = []
    for i in range(20):
        lines += [rmc(43200 + i, place=f"48{7.0 + i / 1000.0:05.2f},N,01131.00,E")]
        lines += [gga(43200 + i, north=float(i))]
    track = log_from_bytes("ride.nmea", log(lines))
    assert not any("two receivers" in one for one in track.warnings)
