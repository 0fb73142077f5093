"""Published NMEA 0183 lines, two of them printed with wrong checksums.

Layouts: marnav, gpsd and ``nmea`` crate documentation. The origin of each line stands beside it;
"from memory" lines were confirmed by computing their checksums.
"""

from functools import reduce

import numpy as np
import pytest

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.flags import Flag
from ridelog.core.track import FixKind, Track
from ridelog.core.units import MPS_PER_KNOT
from ridelog.importer import log_from_bytes
from ridelog.importer.nmea_sentences import find_sentences

# A-L1: printed in many public documents and parser tests.
L1 = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"
# A-L2: the same with status V, checksum computed.
L2 = "$GPRMC,123519,V,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*7D"
# A-L3: public parser tests.
L3 = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
# A-L4 to A-L8: from memory, checksums computed.
L4 = "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"
L5 = "$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39"
L6 = "$GPGST,082356.00,1.8,,,,1.7,1.3,2.2*7E"
L7 = "$GPZDA,201530.00,04,07,2002,00,00*60"
L8 = "$GNGNS,014035.00,4332.69262,S,17235.48549,E,RR,13,0.9,25.63,11.24,,*70"
# A-L9: an open parser's comment; course empty at standstill.
L9 = "$GNVTG,,T,,M,0.009,N,0.016,K,D*36"
# Printed so in the ``nmea`` crate documentation, wrong: with talker GP it must be 2B.
A19 = "$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*68"
# A public gist, wrong: it computes 41, and has blanks inside fields.
A20 = "$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703, ,200417, , ,A*64"

RIGHT = [L1, L2, L3, L4, L5, L6, L7, L8, L9]


def read(*lines: str) -> Track:
    return log_from_bytes("published.nmea", "\r\n".join(lines).encode() + b"\r\n")


def checked(body: str) -> str:
    """Return a sentence with the checksum the standard asks for, computed on its own here."""
    return f"${body}*{reduce(lambda total, byte: total ^ byte, body.encode(), 0):02X}"


@pytest.mark.parametrize("line", RIGHT)
def test_right_checksum_is_accepted(line: str) -> None:
    sentences = find_sentences(line.encode())
    assert len(sentences) == 1
    assert sentences.wrong_lines.shape == (0,)


@pytest.mark.parametrize("line", RIGHT)
@pytest.mark.parametrize("place", [1, 8, -4])
def test_any_changed_letter_is_noticed(line: str, place: int) -> None:
    letter = "4" if line[place] != "4" else "7"
    sentences = find_sentences((line[:place] + letter + line[place + 1 :]).encode())
    assert len(sentences) == 0


@pytest.mark.parametrize(("line", "right"), [(A19, "2B"), (A20, "41")])
def test_misprinted_checksum_is_refused_and_the_right_one_accepted(line: str, right: str) -> None:
    with pytest.raises(UnreadableLogError, match="no NMEA sentence has a right checksum"):
        read(line)
    assert len(read(line[:-2] + right)) == 1


def test_a19_checksum_belongs_to_the_older_line() -> None:
    older = "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68"
    assert read(older).utc_text(0.0) == "1994-11-19T22:54:46Z"


def test_blanks_inside_fields_are_missing_values() -> None:
    track = read(A20[:-2] + "41")
    assert np.isnan(track.course_rad[0])
    assert track.utc_text(0.0) == "2017-04-20T17:00:47Z"
    assert track.speed_mps[0] == pytest.approx(2.703 * 1852.0 / 3600.0, rel=1e-15)


def test_l1_is_read_as_published() -> None:
    track = read(L1)
    assert track.latitude_deg[0] == pytest.approx(48.117300, abs=0.5e-6)
    assert track.longitude_deg[0] == pytest.approx(11.516667, abs=0.5e-6)
    assert track.speed_mps[0] == pytest.approx(11.52356, abs=0.5e-5)
    assert np.degrees(track.course_rad[0]) == pytest.approx(84.4)
    # Row "Two-digit year": 80 to 99 are 19xx; a parser that adds 2000 would say 2094.
    assert track.utc_text(0.0) == "1994-03-23T12:35:19Z"
    assert track.source.format == "nmea-0183"


def test_l2_is_rejected_on_its_status() -> None:
    with pytest.raises(NotEnoughDataError, match="never had a fix in this log .0 valid of 1 pos"):
        read(L2)


def test_l1_and_l3_are_one_epoch() -> None:
    track = read(L3, L1)
    assert len(track) == 1
    assert (track.height_m[0], track.hdop[0], track.satellites[0]) == (545.4, 0.9, 8.0)
    assert track.fix_kind[0] == FixKind.AUTONOMOUS


def test_l4_gives_the_speed_where_rmc_is_missing() -> None:
    track = read(L3, L4)
    # Row A-L4: 5.5 kn = 10.186 km/h.
    assert track.speed_mps[0] * 3.6 == pytest.approx(10.186, abs=0.5e-3)
    assert np.degrees(track.course_rad[0]) == pytest.approx(54.7)


def test_l5_gives_hdop_and_satellites_where_gga_is_missing() -> None:
    track = read(L1, L5)
    assert (track.hdop[0], track.satellites[0]) == (1.3, 5.0)


def test_l6_gives_the_position_sd_of_its_epoch() -> None:
    body = "GPGGA,082356.00,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
    track = read(checked(body), L6)
    # Fields 6 and 7 of GST: 1.7 m and 1.3 m (gpsd's processGST comment).
    assert track.position_sd_m[0] == pytest.approx(np.sqrt((1.7**2 + 1.3**2) / 2.0), rel=1e-12)


def test_l7_gives_the_date_of_a_log_without_rmc() -> None:
    body = "GPGGA,201530.00,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
    assert read(checked(body), L7).utc_text(0.0) == "2002-07-04T20:15:30Z"


def test_l8_is_a_fix_of_its_own_in_a_log_of_gns() -> None:
    track = read(L8)
    assert track.latitude_deg[0] == pytest.approx(-(43 + 32.69262 / 60.0), abs=1e-12)
    assert track.longitude_deg[0] == pytest.approx(172 + 35.48549 / 60.0, abs=1e-12)
    assert (track.satellites[0], track.hdop[0], track.height_m[0]) == (13.0, 0.9, 25.63)
    # Row "Mode letters": R is RTK fixed.
    assert track.fix_kind[0] == FixKind.RTK_FIXED
    assert not track.date_known


def test_l9_leaves_the_course_empty_at_standstill() -> None:
    track = read(L3, L9)
    assert track.speed_mps[0] == pytest.approx(0.009 * 1852.0 / 3600.0, rel=1e-12)
    assert np.isnan(track.course_rad[0])


def test_knot_is_exact() -> None:
    # The nautical mile is 1852 m exactly (Monaco 1929; SI brochure, 8th edition, table 8), so a
    # knot is 1852 m in 3600 s, 0.514444... m/s.
    assert pytest.approx(0.514444444444444, abs=0.5e-15) == MPS_PER_KNOT


@pytest.mark.parametrize(
    ("quality", "kind", "flag"),
    # Qualities of GGA field 6 (NMEA 0183 2.3, as the field notes of gpsd have them).
    [
        (1, FixKind.AUTONOMOUS, 0),
        (2, FixKind.DIFFERENTIAL, 0),
        (3, FixKind.PRECISE, 0),
        (4, FixKind.RTK_FIXED, 0),
        (5, FixKind.RTK_FLOAT, 0),
        (6, FixKind.ESTIMATED, Flag.DEAD_RECKONING),
        (7, FixKind.MANUAL, Flag.DEAD_RECKONING),
        (8, FixKind.SIMULATED, Flag.DEAD_RECKONING),
    ],
)
def test_gga_qualities(quality: int, kind: FixKind, flag: int) -> None:
    body = f"GPGGA,123519,4807.038,N,01131.000,E,{quality},08,0.9,545.4,M,46.9,M,,"
    track = read(checked(body))
    assert track.fix_kind[0] == kind
    assert track.flags[0] == flag


@pytest.mark.parametrize(
    ("mode", "kind", "flag"),
    # Mode letters of RMC field 12 and GNS (open parser comments).
    [
        ("A", FixKind.AUTONOMOUS, 0),
        ("D", FixKind.DIFFERENTIAL, 0),
        ("P", FixKind.PRECISE, 0),
        ("R", FixKind.RTK_FIXED, 0),
        ("F", FixKind.RTK_FLOAT, 0),
        ("E", FixKind.ESTIMATED, Flag.DEAD_RECKONING),
        ("M", FixKind.MANUAL, Flag.DEAD_RECKONING),
        ("S", FixKind.SIMULATED, Flag.DEAD_RECKONING),
        ("N", FixKind.NONE, Flag.NO_FIX),
    ],
)
def test_rmc_mode_letters(mode: str, kind: FixKind, flag: int) -> None:
    body = f"GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W,{mode}"
    track = read(checked(body))
    assert track.fix_kind[0] == kind
    assert track.flags[0] == flag
