"""Heads of tables as people write them, in three languages: read right, or asked.

The layouts are those of telephones' and home-made loggers' exports in general (common practice, no
source); quotes and line ends as RFC 4180 prints them.
"""

from datetime import UTC, datetime

import numpy as np
import pytest

from ridelog.core.track import Track
from ridelog.importer import log_from_bytes
from ridelog.importer.table_choice import AskedError

START = datetime(2026, 5, 23, 9, 0, 0, tzinfo=UTC)
EPOCH_S = 1_779_526_800
# One second apart: 12.6 km/h, 3.5 m/s, 7.83 mph or 6.80 kn northward.
KMH, MPS, MPH, KN = (12.6, 13.5), (3.5, 3.75), (7.829, 8.389), (6.803, 7.289)
LAT, LON = (48.1, 48.10003), (11.5, 11.50001)


def table(head: str, row: str, *, comma: bool = False, encoding: str = "utf-8") -> bytes:
    rows = []
    for i in range(2):
        moment = f"{i:02d}"
        values = {
            "lat": f"{LAT[i]:.6f}", "lon": f"{LON[i]:.6f}", "kmh": f"{KMH[i]}", "mps": f"{MPS[i]}",
            "mph": f"{MPH[i]}", "kn": f"{KN[i]}", "s": moment, "epoch": f"{EPOCH_S + i}",
            "ms": f"{EPOCH_S + i}000", "ns": f"{EPOCH_S + i}000000000", "e": f"{i}.0",
            "laty": f"{LAT[i] * 1e7:.0f}", "lony": f"{LON[i] * 1e7:.0f}",
        }  # fmt: skip
        if comma:
            values = {name: value.replace(".", ",") for name, value in values.items()}
        rows.append(row.format(**values))
    return ("\n".join([head, *rows]) + "\n").encode(encoding)


def read(data: bytes, columns: str = "") -> Track:
    return log_from_bytes("ride.csv", data, columns=columns)


def check(track: Track, *, speed: bool = True, dated: bool = True) -> None:
    assert track.latitude_deg == pytest.approx(LAT, abs=1e-6)
    assert track.longitude_deg == pytest.approx(LON, abs=1e-6)
    assert np.diff(track.time_s) == pytest.approx([1.0])
    if speed:
        assert track.speed_mps == pytest.approx(MPS, abs=2e-3)
    else:
        assert np.isnan(track.speed_mps).all()
    assert track.date_known == dated
    if dated:
        assert track.start_utc == START


RIGHT = [
    ("time,lat,lon,speed (m/s)", "2026-05-23T09:00:{s}Z,{lat},{lon},{mps}", False),
    ("Timestamp,Latitude,Longitude,Speed [km/h]", "2026-05-23 09:00:{s}+00:00,{lat},{lon},{kmh}",
     False),
    ("Time (UTC),Latitude (deg),Longitude (deg),Ground speed (knots)",
     "2026-05-23 09:00:{s},{lat},{lon},{kn}", False),
    ("unix time;latitude;longitude;speed_mph", "{epoch};{lat};{lon};{mph}", False),
    ("timestamp_ms,gps_lat,gps_lng,gps_speed_kmh", "{ms},{lat},{lon},{kmh}", False),
    ("time,seconds_elapsed,speedAccuracy,speed (m/s),longitude,latitude,horizontalAccuracy",
     "{ns},{e},0.3,{mps},{lon},{lat},3.9", False),
    ("locationTimestamp_since1970(s),locationLatitude(WGS84),locationLongitude(WGS84),"
     "locationSpeed(m/s)", "{epoch},{lat},{lon},{mps}", None),
    ("Date,Time UTC,Lat,Long,Velocity (mph)", "23/05/2026,09:00:{s},{lat},{lon},{mph}", False),
    ("DateTime (UTC)\tLat\tLon\tAlt (ft)\tSOG (kn)",
     "05/23/2026 09:00:{s} AM\t{lat}\t{lon}\t40\t{kn}", False),
    ("utc,latE7,lonE7,speed m/s", "2026-05-23T09:00:{s}.000Z,{laty},{lony},{mps}", False),
    ("Zeit (UTC);Breite;Länge;Geschwindigkeit (km/h)",
     "23.05.2026 09:00:{s};{lat};{lon};{kmh}", True),
    ("Zeitstempel;Breitengrad;Längengrad;Höhe in m;Geschwindigkeit in m/s",
     "2026-05-23T11:00:{s}+02:00;{lat};{lon};545,4;{mps}", True),
    ("Datum;Uhrzeit UTC;geogr. Breite [°];geogr. Länge [°];v [km/h]",
     "23.05.2026;09:00:{s},0;{lat};{lon};{kmh}", True),
    ("UTC-Zeit;Laenge;Breite;Tempo (km/std)", "2026-05-23 09:00:{s};{lon};{lat};{kmh}", True),
    ("Unix Time;Breite (Grad);Länge (Grad);Geschwindigkeit / Knoten",
     "{epoch};{lat};{lon};{kn}", True),
    ("Zeit GMT\tBreitengrad\tLängengrad\tSatelliten\tHDOP\tGeschw. (km/h)",
     "2026-05-23 09:00:{s}\t{lat}\t{lon}\t9\t0,9\t{kmh}", True),
    ("heure UTC;latitude;longitude;vitesse (km/h)", "23/05/2026 09:00:{s};{lat};{lon};{kmh}", True),
    ("Horodatage (UTC);Latitude (degrés);Longitude (degrés);Altitude (m);Vitesse (m/s)",
     "2026-05-23 09:00:{s};{lat};{lon};545,4;{mps}", True),
    ("date;heure UTC;lat;lon;cap;vitesse (nœuds)", "23/05/2026;09:00:{s};{lat};{lon};12;{kn}",
     True),
    ('"time (utc)","lat","lon","speed, km/h"', '"2026-05-23 09:00:{s}","{lat}","{lon}","{kmh}"',
     True),
]  # fmt: skip


@pytest.mark.parametrize(("head", "row", "comma"), RIGHT, ids=[head for head, *_ in RIGHT])
def test_a_head_that_says_all_is_read_right(head: str, row: str, comma: bool | None) -> None:
    if comma is None:
        # "since1970" is no word of any head: the column of times is asked.
        with pytest.raises(AskedError, match="no column is known as the time"):
            read(table(head, row))
        check(read(table(head, row), "time=locationTimestamp_since1970(s)"))
        return
    check(read(table(head, row, comma=comma)))


ASKED = [
    ("time,lat,lon,speed", "2026-05-23T09:00:{s}Z,{lat},{lon},{kmh}", "'speed' has no unit",
     "speed=km/h"),
    ("Time,Latitude,Longitude,Speed (km/h)", "2026-05-23 09:00:{s},{lat},{lon},{kmh}",
     "the times in 'Time' have no zone", "time=Time:UTC"),
    ("local time,lat,lon,speed (km/h)", "2026-05-23 11:00:{s},{lat},{lon},{kmh}",
     r"have no zone \(it says local\)", "time=local time:Europe/Berlin"),
    ("date time (UTC),lat,lon,speed (km/h)", "05/06/2026 09:00:{s},{lat},{lon},{kmh}",
     "may begin with the day or with the month", "time=date time (UTC):d/m/y"),
    ("t;Breite;Länge;v (km/h)", "{e};{lat};{lon};{kmh}", "'t' may be seconds, milliseconds",
     "time=t:s"),
    ("Ortszeit;Breite;Länge;Geschwindigkeit", "23.05.2026 11:00:{s};{lat};{lon};{kmh}",
     "'Geschwindigkeit' has no unit; the times in 'Ortszeit' have no zone",
     "speed=km/h,time=Ortszeit:+02:00"),
    ("Zeit UTC;Latitude;Longitude;GPS-Geschwindigkeit (km/h);Ground Speed (m/s)",
     "2026-05-23 09:00:{s};{lat};{lon};{kmh};{mps}", "may each be the speed",
     "speed=GPS-Geschwindigkeit (km/h)"),
    ("heure locale;latitude;longitude;vitesse (km/h)", "23/05/2026 11:00:{s};{lat};{lon};{kmh}",
     "have no zone", "time=heure locale:Europe/Paris"),
    ("quand;où (lat);où (lon);vite", "2026-05-23T09:00:{s}Z;{lat};{lon};{kmh}",
     "no column is known as the time", "time=quand,lat=2,lon=où (lon),speed=vite:km/h"),
    ("time,y,x,speed (km/h)", "2026-05-23T09:00:{s}Z,{lat},{lon},{kmh}",
     "no column is known as the latitude", "lat=y,lon=x"),
    ("utc,lat,lon,speed (furlongs)", "2026-05-23T09:00:{s}Z,{lat},{lon},{kmh}",
     "the unit of 'speed .furlongs.' is none", "speed=km/h"),
    ("Zeit UTC;Breite;Länge;Tempo", "09:00:{s};{lat};{lon};{kmh}", "'Tempo' has no unit",
     "speed=km/h"),
]  # fmt: skip


@pytest.mark.parametrize(("head", "row", "asked", "answer"), ASKED, ids=[one[0] for one in ASKED])
def test_what_a_head_leaves_open_is_asked_and_the_answer_read(
    head: str, row: str, asked: str, answer: str
) -> None:
    comma = ";" in head
    with pytest.raises(AskedError, match=asked) as error:
        read(table(head, row, comma=comma))
    assert "--columns" in error.value.advice and "\n" not in str(error.value)
    track = read(table(head, row, comma=comma), answer)
    assert track.latitude_deg == pytest.approx(LAT, abs=1e-6)
    assert track.speed_mps == pytest.approx(MPS, abs=2e-3)
    assert np.diff(track.time_s) == pytest.approx([1.0])
    if track.date_known and "05/06" not in row:
        assert track.start_utc == START


@pytest.mark.parametrize(
    ("head", "row", "columns"),
    [
        ("utc,lat,lon,speed", "2026-05-23T09:00:{s}Z,{lat},{lon},{kmh}", "speed=none"),
        ("utc,lat,lon,max speed (km/h)", "2026-05-23T09:00:{s}Z,{lat},{lon},{kmh}", ""),
    ],
)
def test_a_table_without_a_speed_is_read_without(head: str, row: str, columns: str) -> None:
    check(read(table(head, row), columns), speed=False)


def test_the_answer_that_an_error_shows_is_read_as_it_stands() -> None:
    data = table("Zeit;Breite;Länge;Geschwindigkeit", "2026-05-23 09:00:{s};{lat};{lon};{kmh}")
    with pytest.raises(AskedError) as error:
        read(data)
    check(read(data, error.value.advice.split('"')[1]))


def test_a_compass_is_not_taken_for_a_course() -> None:
    data = table("utc,lat,lon,heading", "2026-05-23T09:00:{s}Z,{lat},{lon},12")
    track = read(data)
    assert np.isnan(track.course_rad).all()
    assert track.warnings[0].startswith("'heading' may be a compass's heading or the course")
    assert np.degrees(read(data, "course=heading").course_rad) == pytest.approx([12.0, 12.0])
