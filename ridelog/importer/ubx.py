"""UBX, the binary protocol of u-blox receivers, alone or mixed with NMEA: one Track."""

import numpy as np

from ridelog.core.errors import NotEnoughDataError, RideLogError, UnreadableLogError
from ridelog.core.text import about_lines, count_words, shown_name
from ridelog.core.track import BoolArray, FixKind, FloatArray, IntArray, Track
from ridelog.importer.bounds import MAX_FIXES, too_many
from ridelog.importer.columns import days_since_1970
from ridelog.importer.fixes import Fixes, LogFile, blank, track_of
from ridelog.importer.kinds import holds_sentence
from ridelog.importer.nmea import read_nmea
from ridelog.importer.timeline import US_PER_S
from ridelog.importer.ubx_messages import Messages, UbxLog, read_messages

FORMAT = "ubx"
# NAV-PVT and NAV-POSLLH write millimetres, NAV-VELNED centimetres a second
# (UBX-13003221, published 2013, class NAV; from memory).
_MM, _CM = 1e-3, 1e-2
# A GPS week; exact by definition (IS-GPS-200).
_WEEK_MS = 7 * 86400 * 1000
# gpsFix and fixType: dead reckoning, 2D, 3D, satellites and dead reckoning. 0 is none, 5 time only
# (as in UBX-13003221; from memory).
_DEAD_RECKONING, _PLACED = 1, (1, 2, 3, 4)
_ADVICE = "set the receiver to send NAV-PVT, and record the ride again."


def read_ubx(name: str, data: bytes, sha256: str, size_bytes: int) -> Track:
    """Return the fixes of a UBX log, a row for each epoch with a position, in file order.

    NAV-PVT makes the fixes; in a log without it NAV-POSLLH, with NAV-VELNED, NAV-STATUS and NAV-DOP
    of the same epoch and NAV-TIMEUTC for the time. Where NMEA in the same log holds more fixes, it
    is read in their place.

    Parameters
    ----------
    name : str
        File name without folders.
    data : bytes
        The log, unpacked; whatever stands between the messages is passed over.
    sha256, size_bytes : str, int
        Of the bytes that the user gave.

    Raises
    ------
    UnreadableLogError
        If no message tells of positions.
    NotEnoughDataError
        If the receiver never had a fix.

    Source
    ------
    u-blox 8 / M8 receiver description, UBX-13003221, class NAV; layouts as pyubx2 has them.
    """
    log = read_messages(name, data)
    nmea = _nmea(name, data, sha256, size_bytes)
    makers = "NAV-PVT" if len(log["NAV-PVT"]) else "NAV-POSLLH"
    if len(log[makers]) > MAX_FIXES:
        raise too_many(name, "fixes", MAX_FIXES)
    fixes, void = _from_pvt(log) if makers == "NAV-PVT" else _from_parts(log)
    if nmea is not None and len(nmea) > len(fixes):
        return nmea
    if not len(fixes):
        raise _no_fixes(name, log, len(log[makers]))
    warnings = about_lines(
        log.wrong_at + 1, "UBX message", "damaged or cut off", "were not read", word="byte"
    )
    if nmea is not None:
        warnings.append(
            f"The log also holds NMEA with {count_words(len(nmea), 'fix', 'fixes')}, which took no "
            f"part: its UBX messages hold {count_words(len(fixes), 'fix', 'fixes')}."
        )
    return track_of(
        LogFile(name, sha256, size_bytes, FORMAT),
        fixes,
        f"from {makers}, {count_words(void, 'epoch')} without a fix",
        warnings=tuple(warnings),
        void_epochs=void,
        word="byte",
    )


def _nmea(name: str, data: bytes, sha256: str, size_bytes: int) -> Track | None:
    """Return what the log's NMEA sentences say, None if they make no fix."""
    if not holds_sentence(data):
        return None
    try:
        return read_nmea(name, data, sha256, size_bytes)
    except RideLogError:
        return None


def _no_fixes(name: str, log: UbxLog, epochs: int) -> RideLogError:
    if epochs == 0:
        damaged = len(log.wrong_at)
        also = f" ({count_words(damaged, 'one')} damaged)" if damaged else ""
        return UnreadableLogError(
            f"{shown_name(name)}: the log holds UBX messages, but no sound NAV-PVT or "
            f"NAV-POSLLH{also}.",
            _ADVICE,
        )
    return NotEnoughDataError(
        f"{shown_name(name)}: the receiver never had a fix in this log (0 valid of "
        f"{count_words(epochs, 'UBX epoch')}).",
        "wait for a fix under open sky before the ride and record it again.",
    )


def _from_pvt(log: UbxLog) -> tuple[Fixes, int]:
    """Return the fixes that NAV-PVT makes, and the epochs without one."""
    pvt = log["NAV-PVT"]
    stamp_us, real = _stamps(pvt, "second")
    has_time = real & (pvt["validDate"] > 0) & (pvt["validTime"] > 0)
    placed = np.isin(pvt["fixType"], _PLACED) & (pvt["gnssFixOk"] > 0) & (pvt["invalidLlh"] == 0)
    tow, others = _times_of_week(pvt, log["NAV-DOP"])
    fixes = Fixes(
        stamp_us=stamp_us,
        has_time=has_time,
        latitude_deg=pvt["lat"],
        longitude_deg=pvt["lon"],
        height_m=pvt["hMSL"] * _MM,
        speed_mps=pvt["gSpeed"] * _MM,
        course_deg=pvt["headMot"] % 360.0,
        hdop=_matched(tow, others[0], log["NAV-DOP"], "hDOP"),
        satellites=pvt["numSV"],
        position_sd_m=_per_axis_m(pvt["hAcc"]),
        speed_sd_mps=pvt["sAcc"] * _MM,
        fix_kind=_kinds(pvt["fixType"], pvt["diffSoln"], pvt["carrSoln"]),
        segment=np.zeros(len(pvt), dtype=np.int64),
        line=pvt.at + 1,
    )
    return _chosen(fixes, placed)


def _from_parts(log: UbxLog) -> tuple[Fixes, int]:
    """Return the fixes that NAV-POSLLH makes with other messages of its epochs."""
    place, velocity, clock = log["NAV-POSLLH"], log["NAV-VELNED"], log["NAV-TIMEUTC"]
    status, dop = log["NAV-STATUS"], log["NAV-DOP"]
    tow, (tow_v, tow_t, tow_s, tow_d) = _times_of_week(place, velocity, clock, status, dop)
    stamp_us = np.zeros(len(place), dtype=np.int64)
    has_time = np.zeros(len(place), dtype=np.bool_)
    utc_us, real = _stamps(clock, "sec")
    known = np.flatnonzero(real & (clock["validUTC"] > 0))
    if len(known):
        # Sent with each epoch or once in a while: the receiver's own clock runs on between.
        known = known[np.argsort(tow_t[known], kind="stable")]
        nearest = known[_nearest(tow_t[known], tow)]
        stamp_us = utc_us[nearest] + (tow - tow_t[nearest]) * 1000
        has_time[:] = True
    fix = _matched(tow, tow_s, status, "gpsFix")
    fine = _matched(tow, tow_s, status, "gpsFixOk")
    placed = np.isnan(fix) | (np.isin(fix, _PLACED) & (fine > 0))
    fix = np.where(np.isnan(fix), 3.0, fix)
    fixes = Fixes(
        stamp_us=stamp_us,
        has_time=has_time,
        latitude_deg=place["lat"],
        longitude_deg=place["lon"],
        height_m=place["hMSL"] * _MM,
        speed_mps=_matched(tow, tow_v, velocity, "gSpeed") * _CM,
        course_deg=_matched(tow, tow_v, velocity, "heading") % 360.0,
        hdop=_matched(tow, tow_d, dop, "hDOP"),
        satellites=blank(len(place)),
        position_sd_m=_per_axis_m(place["hAcc"]),
        speed_sd_mps=_matched(tow, tow_v, velocity, "sAcc") * _CM,
        fix_kind=_kinds(fix, _matched(tow, tow_s, status, "diffSoln"), np.zeros(len(place))),
        segment=np.zeros(len(place), dtype=np.int64),
        line=place.at + 1,
    )
    return _chosen(fixes, placed)


def _chosen(fixes: Fixes, placed: BoolArray) -> tuple[Fixes, int]:
    """Return the epochs with a position, and how many have none."""
    kept = {name: column[placed] for name, column in vars(fixes).items()}
    return Fixes(**kept), int(np.count_nonzero(~placed))


def _per_axis_m(accuracy_mm: FloatArray) -> FloatArray:
    """Return a horizontal accuracy as a standard deviation an axis. [m]

    u-blox does not say which share of fixes lies within it: taken as the distance root mean square
    of both axes (from memory). The filter learns the scale anew for each ride.
    """
    per_axis: FloatArray = accuracy_mm * (_MM / 2.0**0.5)
    return per_axis


def _stamps(message: Messages, second: str) -> tuple[IntArray, BoolArray]:
    """Return UTC of messages that tell it, and where it is a real moment. [microseconds]"""
    year, month, day, hour, minute, seconds = (
        message[name].astype(np.int64) for name in ("year", "month", "day", "hour", "min", second)
    )
    days, real = days_since_1970(year, month, day)
    real &= (hour < 24) & (minute < 60) & (seconds <= 60) & (np.abs(message["nano"]) <= 1e9)
    whole = days * 86400 + hour * 3600 + minute * 60 + seconds
    return whole * US_PER_S + np.round(message["nano"] * _MM).astype(np.int64), real


def _times_of_week(main: Messages, *others: Messages) -> tuple[IntArray, list[IntArray]]:
    """Return GPS time of week of all messages, running on where a week ends. [ms]"""
    every = (main, *others)
    at = np.concatenate([one.at for one in every])
    tow = np.concatenate([one["iTOW"] for one in every]).astype(np.int64)
    order = np.argsort(at, kind="stable")
    steps = np.diff(tow[order], prepend=tow[order][:1])
    weeks = np.cumsum((steps < -_WEEK_MS // 2).astype(np.int64) - (steps > _WEEK_MS // 2))
    tow[order] += weeks * _WEEK_MS
    parts = np.split(tow, np.cumsum([len(one) for one in every])[:-1])
    return parts[0], parts[1:]


def _nearest(ordered: IntArray, wanted: IntArray) -> IntArray:
    """Return the place of the nearest of some ordered numbers."""
    after = np.clip(np.searchsorted(ordered, wanted), 0, len(ordered) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(ordered[before] - wanted) <= np.abs(ordered[after] - wanted)
    return np.where(nearer, before, after)


def _matched(tow: IntArray, own: IntArray, message: Messages, name: str) -> FloatArray:
    """Return a field of another kind of message for each epoch, NaN where none was sent."""
    if not len(message):
        return blank(len(tow))
    order = np.argsort(own, kind="stable")
    place = np.clip(np.searchsorted(own[order], tow), 0, len(own) - 1)
    row = order[place]
    return np.where(own[row] == tow, message[name][row], np.nan)


def _kinds(fix: FloatArray, differential: FloatArray, carrier: FloatArray) -> IntArray:
    kind = np.full(len(fix), int(FixKind.AUTONOMOUS), dtype=np.int64)
    kind[differential > 0] = int(FixKind.DIFFERENTIAL)
    kind[carrier == 1] = int(FixKind.RTK_FLOAT)
    kind[carrier == 2] = int(FixKind.RTK_FIXED)
    kind[fix == _DEAD_RECKONING] = int(FixKind.ESTIMATED)
    return kind
