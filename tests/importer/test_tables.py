"""CSV tables: cells, encodings, what stands above the head, damage, tables that are no logs."""

import numpy as np
import pytest

from ridelog.core.errors import NotEnoughDataError, RideLogError, UnreadableLogError
from ridelog.core.track import Track
from ridelog.importer import log_from_bytes
from ridelog.importer.kinds import looks_like_log
from ridelog.importer.table_choice import AskedError, parse_columns
from ridelog.importer.table_names import head_of

HEAD = "utc,lat,lon,speed (km/h),height,accuracy (m),speed accuracy (m/s),hdop,satellites\n"
ROW = "2026-05-23T09:00:{s:02d}Z,48.1,-11.5,{kmh},545.4,4.5,0.4,0.9,11\n"


def read(text: str | bytes, columns: str = "") -> Track:
    data = text.encode() if isinstance(text, str) else text
    return log_from_bytes("ride.csv", data, columns=columns)


def rows(count: int) -> str:
    return "".join(ROW.format(s=i, kmh=10 + i) for i in range(count))


def test_every_column_reaches_the_track() -> None:
    track = read(HEAD + rows(3))
    assert track.source.format == "csv"
    assert track.speed_mps == pytest.approx(np.array([10, 11, 12]) / 3.6)
    assert track.height_m.tolist() == [545.4] * 3
    # The radius that holds 68 % of the fixes: 1 - exp(-r^2 / 2) = 0.68 for r axes' deviations.
    inside = 1 - np.exp(-0.5 * (4.5 / track.position_sd_m) ** 2)
    assert inside == pytest.approx([0.68] * 3, abs=1e-4)
    assert track.speed_sd_mps.tolist() == [0.4] * 3
    assert (track.hdop[0], track.satellites[0]) == (0.9, 11.0)
    assert track.source_line.tolist() == [2, 3, 4]
    assert "speed from 'speed (km/h)' in km/h" in track.history[0]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(encoding: str) -> None:
    text = "Zeit UTC;Breite;Länge;Höhe (m)\n2026-05-23 09:00:00;48,1;11,5;545,4\n"
    track = read((text + text.splitlines()[1].replace(":00;", ":01;")).encode(encoding))
    assert track.longitude_deg.tolist() == [11.5, 11.5]
    assert track.height_m.tolist() == [545.4, 545.4]


def test_what_stands_above_the_head_is_passed_over() -> None:
    above = "Logger 3000, version 2\n# sample,data\nsep=,\n\n"
    track = read(above + HEAD + rows(2))
    assert track.source_line.tolist() == [6, 7]


def test_a_table_without_a_head_is_asked_and_read_by_numbers() -> None:
    text = "2026-05-23T09:00:00Z,48.1,11.5,10\n2026-05-23T09:00:01Z,48.1,11.5,11\n"
    with pytest.raises(AskedError, match="without a head nobody tells which is the time"):
        read(text)
    track = read(text, "time=1,lat=2,lon=3,speed=4:kn")
    assert len(track) == 2
    assert track.speed_mps[0] == pytest.approx(10 * 1852 / 3600)


@pytest.mark.parametrize(
    ("lat", "lon", "value"),
    [
        ("48.1 N", "11.5 W", (48.1, -11.5)),
        ("S48.1°", "E 11.5°", (-48.1, 11.5)),
        ("48°06'00.0''N", "11°30'W", (48.1, -11.5)),
        ("48,1", "11,5", (48.1, 11.5)),
    ],
)
def test_places_as_they_are_written(lat: str, lon: str, value: tuple[float, float]) -> None:
    track = read(f"utc;lat;lon\n2026-05-23T09:00:00Z;{lat};{lon}\n")
    assert (track.latitude_deg[0], track.longitude_deg[0]) == pytest.approx(value)


def test_degrees_and_minutes_are_asked() -> None:
    text = "utc,lat,lon\n" + "2026-05-23T09:00:00Z,4806.0000,-01130.0000\n" * 2
    with pytest.raises(AskedError, match="'lat' holds no decimal degrees"):
        read(text)
    track = read(text, "lat=ddmm,lon=ddmm")
    assert (track.latitude_deg[0], track.longitude_deg[0]) == pytest.approx((48.1, -11.5))


def test_units_may_stand_in_the_cells() -> None:
    text = "utc,lat,lon,speed\n" + "2026-05-23T09:00:00Z,48.1,11.5,36 km/h\n"
    assert read(text).speed_mps.tolist() == pytest.approx([10.0])


def test_decimal_commas_that_part_cells_are_told() -> None:
    text = "utc,lat,lon\n" + "2026-05-23T09:00:00Z,48,1,11,5\n" * 3
    with pytest.raises(UnreadableLogError, match="decimal commas may have been taken for separa"):
        read(text)


def test_times_of_day_pass_midnight_and_have_no_date() -> None:
    text = "utc,lat,lon\n" + "".join(
        f"{clock},48.1,11.5\n" for clock in ("23:59:59.5", "00:00:00.0", "0:00:00.5")
    )
    track = read(text)
    assert not track.date_known
    assert track.time_s.tolist() == [0.0, 0.5, 1.0]
    assert track.warnings == ("The times of the table have no date.",)


@pytest.mark.parametrize(
    ("clock", "utc"),
    [
        ("5/23/2026 12:00:01 AM", "2026-05-23T00:00:01Z"),
        ("5/23/2026 12:00:01 pm", "2026-05-23T12:00:01Z"),
        ("2026-05-23T09:00:00,25Z", "2026-05-23T09:00:00.250Z"),
        ("2026/05/23 09:00:00.25+0530", "2026-05-23T03:30:00.250Z"),
        ("2026-05-23_09:00:00:250 UTC", "2026-05-23T09:00:00.250Z"),
        ("1779526800.25", "2026-05-23T09:00:00.250Z"),
        ("1779526800250000", "2026-05-23T09:00:00.250Z"),
    ],
)
def test_times_as_they_are_written(clock: str, utc: str) -> None:
    track = read(f"utc;lat;lon\n{clock};48.1;11.5\n")
    assert track.utc_text(0.0) == utc


def test_seconds_since_the_start_have_neither_date_nor_time_of_day() -> None:
    text = "elapsed (ms),lat,lon\n0,48.1,11.5\n250,48.1,11.5\n"
    track = read(text)
    assert track.time_s.tolist() == [0.0, 0.25] and not track.date_known
    assert "count from its start" in track.warnings[0]


def test_values_that_cannot_be_are_told_and_blank_ones_are_not() -> None:
    text = HEAD + ROW.format(s=0, kmh="fast") + ROW.format(s=1, kmh="") + ROW.format(s=2, kmh="-1")
    track = read(text.replace("00:02Z", "what"))
    assert np.isnan(track.speed_mps).all()
    assert track.warnings == (
        "1 value of speed cannot be read as a number (line 2; first 'fast') and was not used.",
        "1 time stamp cannot be read (line 4).",
        "No time is given in 1 of 3 fixes.",
    )


def test_a_cell_of_any_length_takes_no_more_than_a_sentence() -> None:
    long = HEAD + ROW.format(s=0, kmh=1) + ROW.format(s=1, kmh="9" * 200_000) + rows(1)
    track = read(long)
    assert len(track) == 1
    assert track.warnings[0].startswith("The table is damaged at line 3 (field larger")


def test_tables_that_hold_no_ride_are_refused_in_words() -> None:
    with pytest.raises(NotEnoughDataError, match="holds a head and no row"):
        read("utc,lat,lon\n")
    with pytest.raises(NotEnoughDataError, match=r"holds a position \(0 of 1 row\)"):
        read("utc,lat,lon\n2026-05-23T09:00:00Z,,\n")
    with pytest.raises(AskedError, match="no column is known as the latitude"):
        read("time,shown\n1,2\n2,3\n3,4\n", "time=time:s")


def test_other_texts_are_no_logs() -> None:
    assert looks_like_log((HEAD + rows(1)).encode())
    assert not looks_like_log(b"time,shown\n1,2\n2,3\n")
    assert not looks_like_log(b"Dear lat, dear lon\n")
    for text in (b"hello, world\n", b"a\nb\nc\n", b"\x00\x01,\x02\n" * 9):
        with pytest.raises(UnreadableLogError, match="no log that ridelog reads"):
            read(text)


@pytest.mark.parametrize("words", ["speed", "pace=x", "speed=", "speed=a,speed=b", "=x"])
def test_words_that_name_no_column_are_refused(words: str) -> None:
    with pytest.raises(RideLogError, match="this names no column, or one twice"):
        parse_columns(words)


def test_a_column_that_is_not_there_is_told() -> None:
    with pytest.raises(UnreadableLogError, match="--columns lat=Breite: the table has no such co"):
        read(HEAD + rows(2), "lat=Breite")
    with pytest.raises(UnreadableLogError, match="lat=10: the table has no such"):
        read(HEAD + rows(2), "lat=10")


@pytest.mark.parametrize(
    ("text", "kind", "unit"),
    [
        ("Speed (GPS) [km/h]", "speed", "km/h"),
        ("GPSSpeedKmh", "speed", "km/h"),
        ("velocity_mps", "speed", "m/s"),
        ("Max Speed (km/h)", "", ""),
        ("vertical accuracy (m)", "", ""),
        ("Längengrad (°)", "lon", "deg"),
        ("time zone", "", ""),
        ("Temps (ms)", "time", "ms"),
        ("temperature", "", ""),
    ],
)
def test_heads(text: str, kind: str, unit: str) -> None:
    head = head_of(text)
    assert (head.kind, head.unit) == (kind, unit)
