"""A simulated log as UBX, FIT, TCX or CSV: by the libraries of these formats, or as text.

Where a format has no place for something, it is left out.
"""

from datetime import datetime, timedelta

import numpy as np
from garmin_fit_sdk import Encoder, Profile
from pyubx2 import GET, UBXMessage

from ridelog.core.track import FixKind
from ridelog.core.units import MPS_PER_KMH
from simulate.receiver import Observation
from simulate.write_log import Place

# GPS time is ahead of UTC by so many leap seconds since 2017 (IERS Bulletin C 52).
_LEAP_S = 18
_TCX_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2" '
    'xmlns:x="http://www.garmin.com/xmlschemas/ActivityExtension/v2"><Activities>'
    '<Activity Sport="Other"><Id>{id}</Id><Lap StartTime="{id}"><Track>\n'
)
_TCX_TAIL = "</Track></Lap></Activity></Activities></TrainingCenterDatabase>\n"


def ubx_bytes(observation: Observation, place: Place | None = None) -> bytes:
    """Return a log as one NAV-PVT and one NAV-DOP an epoch: 1e-7 degree, 1 mm/s."""
    place = place or Place()
    latitude, longitude = place.coordinates(observation)
    parts: list[bytes] = []
    for i, moment in enumerate(_moments(observation, place)):
        of_week_s = (moment.isoweekday() % 7 * 24 + moment.hour) * 3600 + moment.minute * 60
        tow_ms = round((of_week_s + moment.second + _LEAP_S) * 1000 + moment.microsecond / 1000)
        course = float(np.degrees(np.nan_to_num(observation.course_rad[i])))
        claims = observation.position_sd_m[i] * 2**0.5, observation.speed_sd_mps[i]
        position_mm, speed_mm = (
            0xFFFFFFFF if np.isnan(one) else round(one * 1000.0) for one in claims
        )
        pvt = UBXMessage(
            "NAV", "NAV-PVT", GET, iTOW=tow_ms, year=moment.year, month=moment.month,
            day=moment.day, hour=moment.hour, min=moment.minute, second=moment.second,
            nano=moment.microsecond * 1000, validDate=1, validTime=1, fixType=3, gnssFixOk=1,
            diffSoln=int(observation.fix_kind[i] == FixKind.DIFFERENTIAL),
            numSV=int(observation.satellites[i]), lat=round(float(latitude[i]), 7),
            lon=round(float(longitude[i]), 7),
            hMSL=round((observation.height_m[i] + place.height_m) * 1000.0),
            hAcc=position_mm, sAcc=speed_mm,
            gSpeed=round(float(np.nan_to_num(observation.speed_mps[i])) * 1000.0),
            headMot=round(course, 5),
        )  # fmt: skip
        dop = UBXMessage(
            "NAV", "NAV-DOP", GET, iTOW=tow_ms, hDOP=round(float(observation.hdop[i]), 2)
        )
        parts += [pvt.serialize(), dop.serialize()]
    return b"".join(parts)


def fit_bytes(observation: Observation, place: Place | None = None) -> bytes:
    """Return a log as FIT records: whole seconds, 1 mm/s, accuracy in metres, no course."""
    place = place or Place()
    latitude, longitude = place.coordinates(observation)
    encoder = Encoder()
    kinds = Profile["mesg_num"]
    encoder.write_mesg(
        {"mesg_num": kinds["FILE_ID"], "type": "activity", "time_created": place.start_utc}
    )
    for i, moment in enumerate(_moments(observation, place)):
        fields = {
            "mesg_num": kinds["RECORD"],
            "timestamp": moment,
            "position_lat": round(float(latitude[i]) * 2**31 / 180.0),
            "position_long": round(float(longitude[i]) * 2**31 / 180.0),
            "enhanced_altitude": float(observation.height_m[i]) + place.height_m,
        }
        if np.isfinite(observation.speed_mps[i]):
            fields["enhanced_speed"] = float(observation.speed_mps[i])
        if np.isfinite(observation.position_sd_m[i]):
            fields["gps_accuracy"] = max(1, round(float(observation.position_sd_m[i]) * 2**0.5))
        encoder.write_mesg(fields)
    return bytes(encoder.close())


def tcx_text(observation: Observation, place: Place | None = None) -> str:
    """Return a log as TCX with the speed of the activity extension, no course and accuracy."""
    place = place or Place()
    latitude, longitude = place.coordinates(observation)
    points = []
    for i, moment in enumerate(_moments(observation, place)):
        speed = observation.speed_mps[i]
        tpx = f"<x:TPX><x:Speed>{speed:.3f}</x:Speed></x:TPX>" if np.isfinite(speed) else ""
        points.append(
            f"<Trackpoint><Time>{_stamp(moment)}</Time><Position>"
            f"<LatitudeDegrees>{latitude[i]:.8f}</LatitudeDegrees>"
            f"<LongitudeDegrees>{longitude[i]:.8f}</LongitudeDegrees></Position>"
            f"<AltitudeMeters>{observation.height_m[i] + place.height_m:.2f}</AltitudeMeters>"
            f"<Extensions>{tpx}</Extensions></Trackpoint>\n"
        )
    return _TCX_HEAD.format(id=_stamp(place.start_utc)) + "".join(points) + _TCX_TAIL


def csv_text(observation: Observation, place: Place | None = None) -> str:
    """Return a log as a table with semicolons and decimal commas, speeds in km/h."""
    place = place or Place()
    latitude, longitude = place.coordinates(observation)
    rows = [
        "Zeit (UTC);Breite;Länge;Höhe (m);Geschwindigkeit (km/h);Kurs;HDOP;Satelliten;"
        "Genauigkeit (m);Geschwindigkeitsgenauigkeit (m/s)\n"
    ]
    for i, moment in enumerate(_moments(observation, place)):
        cells = (
            f"{latitude[i]:.8f}", f"{longitude[i]:.8f}",
            f"{observation.height_m[i] + place.height_m:.2f}",
            _cell(observation.speed_mps[i] / MPS_PER_KMH, 4),
            _cell(float(np.degrees(observation.course_rad[i])), 3),
            f"{observation.hdop[i]:.2f}", f"{observation.satellites[i]:.0f}",
            _cell(observation.position_sd_m[i] * 1.5096, 3), _cell(observation.speed_sd_mps[i], 3),
        )  # fmt: skip
        stamp = moment.strftime("%d.%m.%Y %H:%M:%S.%f")[:-3]
        rows.append(f"{stamp};" + ";".join(cells).replace(".", ",") + "\n")
    return "".join(rows)


def _moments(observation: Observation, place: Place) -> list[datetime]:
    milliseconds = np.round(observation.time_s * 1000.0).astype(np.int64)
    return [place.start_utc + timedelta(milliseconds=int(one)) for one in milliseconds]


def _stamp(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"


def _cell(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else ""
