"""The ride as it was read: one frozen record of equal-length arrays, checked once."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import IntEnum

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
FlagArray = npt.NDArray[np.uint32]
BoolArray = npt.NDArray[np.bool_]


class FixKind(IntEnum):
    """How the receiver says it found the position; numbers as in NMEA 0183 GGA field 6."""

    UNKNOWN = -1
    NONE = 0
    AUTONOMOUS = 1
    DIFFERENTIAL = 2
    PRECISE = 3
    RTK_FIXED = 4
    RTK_FLOAT = 5
    ESTIMATED = 6
    MANUAL = 7
    SIMULATED = 8


@dataclass(frozen=True)
class Source:
    """Where a track came from, enough to find the very same file again."""

    file: str
    sha256: str
    format: str
    size_bytes: int


@dataclass(frozen=True)
class Track:
    """Every fix of one log, in file order, in SI units, nothing dropped and nothing repaired.

    Arrays are float64 of shape (n,) unless said otherwise and read-only; missing values are NaN.

    source : Source
        File name without folders, SHA-256 of the bytes given, format.
    start_utc : datetime or None
        Aware time of the first fix in file order that has one. With ``date_known`` False only its
        time of day means anything (the date is 1970-01-01). None if no fix has a usable time.
    date_known : bool
        Whether the log gives a date.
    time_s : seconds since ``start_utc``; NaN where the fix has no usable time; need not be
        sorted, and is negative where the clock stepped back past the first fix. [s]
    latitude_deg, longitude_deg : WGS84. [deg]
    height_m : as the log gives it (above mean sea level for NMEA). [m]
    speed_mps : speed over ground that the log itself reports. [m/s]
    course_rad : course that the log itself reports, clockwise from true north. [rad]
    hdop : horizontal dilution of precision, 1.
    satellites : number used, NaN if not given.
    fix_kind : int64, values of FixKind.
    position_sd_m, speed_sd_mps : standard deviations that the receiver itself states, of the
        position per axis (RMS of north and east) and of the speed. [m], [m/s]
    source_line : int64, line of the fix in the file (of FIT the record, of UBX the byte), from 1.
    segment : int64, number of the continuous span: GPX trkseg; in all formats a new one also
        starts where the clock was set back.
    flags : uint32, bits of Flag known from reading alone.
    void_epochs : int
        Epochs in which the receiver said it had no valid fix; they are not rows.
    history, warnings : tuple of str
        What was done, one line a stage; and sentences for results that stand but deserve doubt.
    """

    source: Source
    start_utc: datetime | None
    date_known: bool
    time_s: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    height_m: FloatArray
    speed_mps: FloatArray
    course_rad: FloatArray
    hdop: FloatArray
    satellites: FloatArray
    fix_kind: IntArray
    position_sd_m: FloatArray
    speed_sd_mps: FloatArray
    source_line: IntArray
    segment: IntArray
    flags: FlagArray
    void_epochs: int = 0
    history: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = self.time_s.shape[0]
        for name in _FLOAT_FIELDS:
            _check_array(self, name, np.dtype(np.float64), n)
        for name in ("fix_kind", "source_line", "segment"):
            _check_array(self, name, np.dtype(np.int64), n)
        _check_array(self, "flags", np.dtype(np.uint32), n)

    def __len__(self) -> int:
        return int(self.time_s.shape[0])

    def utc_text(self, time_s: float) -> str:
        """Return a time as ISO 8601 text with milliseconds, ending in Z.

        Without a date in the log the text starts with "T": a time of day, nothing invented.
        """
        if self.start_utc is None or not np.isfinite(time_s):
            return ""
        # Whole milliseconds first, so that .9996 becomes the next second and not .1000.
        moment = self.start_utc + timedelta(milliseconds=round(time_s * 1000.0))
        text = moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
        text = text.replace(".000Z", "Z")
        return text if self.date_known else text[10:]


_FLOAT_FIELDS = (
    "time_s latitude_deg longitude_deg height_m speed_mps course_rad hdop satellites position_sd_m "
    "speed_sd_mps"
).split()


def _check_array(track: Track, name: str, dtype: np.dtype[np.generic], n: int) -> None:
    array = getattr(track, name)
    if array.dtype != dtype or array.shape != (n,):
        raise ValueError(
            f"Track.{name}: expected {dtype} of shape ({n},), got "
            f"{array.dtype} of shape {array.shape}"
        )
    array.flags.writeable = False
