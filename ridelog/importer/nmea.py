"""NMEA 0183: epochs of sentences become one Track."""

import numpy as np

from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.flags import Flag
from ridelog.core.text import about_lines, count_words, shown_name
from ridelog.core.track import FixKind, FlagArray, FloatArray, IntArray, Source, Track
from ridelog.importer.bounds import MAX_FIXES, too_many
from ridelog.importer.columns import BoolArray
from ridelog.importer.kinds import as_ascii_text
from ridelog.importer.nmea_epochs import Epochs, group
from ridelog.importer.nmea_log import NmeaLog, read_nmea_log
from ridelog.importer.nmea_readings import NO_TIME_OF_DAY, SentenceReadings
from ridelog.importer.timeline import clock_set_back, start_of, time_flags, two_receivers

FORMAT = "nmea-0183"
# GGA may come every fourth second only; its geometry holds that long. common practice, no source
CARRY_S = 5.0
# Not satellites' positions: mode letters E, M and S (gpsd, NMEA field notes).
_GUESSED = (FixKind.ESTIMATED, FixKind.MANUAL, FixKind.SIMULATED)
_NO_SENTENCE_ADVICE = "record NMEA 0183 with RMC and GGA sentences and their checksums."


def read_nmea(name: str, data: bytes, sha256: str, size_bytes: int) -> Track:
    """Return the fixes of an NMEA 0183 log, one row for each distinct UTC epoch, in file order.

    Parameters
    ----------
    name : str
        File name without folders.
    data : bytes
        The log, unpacked; whatever stands between the sentences is passed over.
    sha256, size_bytes : str, int
        Of the bytes that the user gave.

    Raises
    ------
    UnreadableLogError
        If no sentence with a right checksum is found.
    NotEnoughDataError
        If no epoch holds a valid fix with a time.

    Source
    ------
    Layouts: as ``nmea_readings.read_all``. A fix is an epoch with a position in a checksum-valid
    RMC with status A or GGA with quality above 0; in logs without both, in GNS or GLL.
    """
    log = read_nmea_log(name, as_ascii_text(data))
    if len(log) == 0:
        raise _no_sentences(name, log)
    epochs = group(log.readings, len(log))
    if epochs is None:
        raise _no_fixes(name, log)
    if len(epochs) > MAX_FIXES:
        raise too_many(name, "fixes", MAX_FIXES)
    return _track(name, log, epochs, sha256, size_bytes)


def _no_sentences(name: str, log: NmeaLog) -> UnreadableLogError:
    wrong, unchecked = log.wrong_lines, log.unchecked_lines
    if wrong.shape[0] + unchecked.shape[0] == 0:
        return UnreadableLogError(
            f"{shown_name(name)}: the log holds no RMC, GGA, GNS or GLL sentence.",
            _NO_SENTENCE_ADVICE,
        )
    return UnreadableLogError(
        f"{shown_name(name)}, line {int(np.concatenate([wrong, unchecked]).min())} on: no NMEA "
        f"sentence has a right checksum ({wrong.shape[0]:,} wrong, {unchecked.shape[0]:,} cut "
        "short or without one).",
        _NO_SENTENCE_ADVICE,
    )


def _no_fixes(name: str, log: NmeaLog) -> NotEnoughDataError:
    who = f"{shown_name(name)}, line {int(log.line[0])} on"
    main = [log.readings[kind] for kind in ("RMC", "GGA", "GNS", "GLL")]
    untimed = sum(
        int(np.count_nonzero(one.says_fix & one.has_place & (one.tod_us == NO_TIME_OF_DAY)))
        for one in main
    )
    if untimed:
        return NotEnoughDataError(
            f"{who}: the log cannot give a speed because its {count_words(untimed, 'position')} "
            "carry no usable time.",
            "record the ride with RMC or GGA sentences that hold the time.",
        )
    seen = sum(one.which.shape[0] for one in main)
    wrong = log.wrong_lines.shape[0]
    also = f", {count_words(wrong, 'sentence')} with a wrong checksum" if wrong else ""
    return NotEnoughDataError(
        f"{who}: the receiver never had a fix in this log (0 valid of "
        f"{count_words(seen, 'position sentence')}{also}).",
        "wait for a fix under open sky before the ride and record it again.",
    )


def _track(name: str, log: NmeaLog, epochs: Epochs, sha256: str, size_bytes: int) -> Track:
    readings, dated = log.readings, epochs.dated
    start_utc, time_s = start_of(dated.stamp_us, dated.usable)
    latitude_deg, longitude_deg = _positions(readings, epochs)
    speed_mps, course_deg = _motion(readings, epochs)
    kind = _fix_kind(readings, epochs, time_s)
    line = log.line[epochs.first_sentence]
    set_back, doubt = clock_set_back(time_s, line)
    warnings = [*_sentence_warnings(log), *dated.warnings, *doubt]
    if epochs.repeated:
        warnings.append(
            f"{count_words(epochs.repeated, 'epoch')} came again with another position; "
            "the first of each was read."
        )
    warnings += two_receivers(epochs.places_apart(readings), len(epochs))
    if np.isin(kind, (FixKind.MANUAL, FixKind.SIMULATED)).any():
        warnings.append("The receiver marks positions as typed in by hand or simulated.")
    if epochs.makers[0] == "GNS":
        warnings.append("The log has neither RMC nor GGA; its fixes were read from GNS and GLL.")
    history = (
        f"Read {shown_name(name)} as {FORMAT}: {count_words(len(epochs), 'fix', 'fixes')} from "
        f"{count_words(len(log), 'sentence')}, "
        f"{count_words(epochs.void_epochs, 'epoch')} without a fix."
    )
    hdop = _geometry(readings, epochs, time_s, "hdop")
    return Track(
        source=Source(shown_name(name), sha256, FORMAT, size_bytes),
        start_utc=start_utc,
        date_known=dated.date_known,
        time_s=time_s,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        height_m=_first(
            *(epochs.first_values(readings, one, "height_m") for one in ("GGA", "GNS"))
        ),
        speed_mps=speed_mps,
        course_rad=np.radians(course_deg),
        hdop=np.where(hdop < 0.0, np.nan, hdop),
        satellites=_geometry(readings, epochs, time_s, "satellites"),
        fix_kind=kind,
        position_sd_m=epochs.first_values(readings, "GST", "position_sd_m"),
        speed_sd_mps=np.full(len(epochs), np.nan),
        source_line=line,
        segment=epochs.span + np.cumsum(set_back),
        flags=time_flags(time_s) | _flags(readings, epochs, kind),
        void_epochs=epochs.void_epochs,
        history=(history,),
        warnings=tuple(warnings),
    )


def _sentence_warnings(log: NmeaLog) -> list[str]:
    wrong, short = log.wrong_lines, log.unchecked_lines
    return [
        *about_lines(wrong, "sentence", "with a wrong checksum", "were not read"),
        *about_lines(short, "sentence", "cut short or without a checksum", "were not read"),
    ]


def _first(*columns: FloatArray) -> FloatArray:
    """Return for each row the first value that is known."""
    result = columns[0]
    for column in columns[1:]:
        result = np.where(np.isnan(result), column, result)
    return result


def _positions(
    readings: dict[str, SentenceReadings], epochs: Epochs
) -> tuple[FloatArray, FloatArray]:
    """Return latitude and longitude, from one type of sentence as far as it goes.

    Two types may be written with different resolution, and a mixture would jump. The one with more
    fixes leads; if as many, the one with more letters in its latitude.
    """

    def weight(kind: str) -> tuple[int, float]:
        good = readings[kind].is_fix
        width = readings[kind].letters_of_place[good]
        return int(epochs.any_of(kind, good).sum()), float(np.median(width)) if width.size else 0.0

    kinds = sorted(epochs.makers, key=weight, reverse=True)
    columns = []
    for name in ("latitude_deg", "longitude_deg"):
        parts = [
            epochs.spread(kind, readings[kind].column(name), readings[kind].is_fix)
            for kind in kinds
        ]
        columns.append(_first(*parts))
    return columns[0], columns[1]


def _motion(readings: dict[str, SentenceReadings], epochs: Epochs) -> tuple[FloatArray, FloatArray]:
    """Return speed and course as the receiver reports them: RMC with status A, else VTG."""
    parts: dict[str, list[FloatArray]] = {"speed_mps": [], "course_deg": []}
    for kind in ("RMC", "VTG"):
        reading = readings[kind]
        for name, columns in parts.items():
            values = reading.column(name)
            columns.append(epochs.spread(kind, values, reading.says_fix & np.isfinite(values)))
    return _first(*parts["speed_mps"]), _first(*parts["course_deg"])


def _carried(values: FloatArray, time_s: FloatArray) -> FloatArray:
    """Return a column whose gaps are filled with the last value up to CARRY_S old."""
    known = np.isfinite(values)
    last = np.maximum.accumulate(np.where(known, np.arange(values.shape[0]), -1))
    age_s = time_s - time_s[np.maximum(last, 0)]
    # A clock set back is no reason to trust a value longer: the age counts both ways.
    fresh = (last >= 0) & (np.abs(age_s) <= CARRY_S)
    return np.where(known, values, np.where(fresh, values[np.maximum(last, 0)], np.nan))


def _geometry(
    readings: dict[str, SentenceReadings], epochs: Epochs, time_s: FloatArray, name: str
) -> FloatArray:
    """Return HDOP or satellites: GGA, GNS, then GSA of the epoch, then the last one's."""
    own = [epochs.first_values(readings, kind, name) for kind in ("GGA", "GNS")]
    gsa = readings["GSA"]
    values = gsa.column(name)
    if name == "satellites":
        # Each constellation sends its own GSA.
        rows = epochs.row_of["GSA"]
        used = (rows >= 0) & gsa.says_fix
        total = np.bincount(rows[used], values[used], minlength=len(epochs)).astype(np.float64)
        own.append(np.where(total > 0.0, total, np.nan))
    else:
        own.append(epochs.spread("GSA", values, gsa.says_fix & np.isfinite(values)))
    return _carried(_first(*own), time_s)


def _fix_kind(
    readings: dict[str, SentenceReadings], epochs: Epochs, time_s: FloatArray
) -> IntArray:
    """Return how each position was found: GGA, GNS or RMC of the epoch, else the last GGA's."""
    valid, void = [], []
    for kind in ("GGA", "GNS", "RMC", "GLL"):
        reading = readings[kind]
        values = reading.fix_kind.astype(np.float64)
        known = values != FixKind.UNKNOWN
        valid.append(epochs.spread(kind, values, known & reading.says_fix))
        void.append(epochs.spread(kind, values, known & ~reading.says_fix))
    kinds = _first(*valid, *void, _carried(valid[0], time_s))
    return np.nan_to_num(kinds, nan=float(FixKind.UNKNOWN)).astype(np.int64)


def _flags(readings: dict[str, SentenceReadings], epochs: Epochs, kind: IntArray) -> FlagArray:
    """Return NO_FIX and DEAD_RECKONING as the sentences of each epoch say."""
    flags = np.zeros(len(epochs), dtype=np.uint32)
    no_fix: BoolArray = kind == FixKind.NONE
    guessed: BoolArray = np.zeros(len(epochs), dtype=np.bool_)
    for one in epochs.makers:
        reading = readings[one]
        present = epochs.any_of(one, np.ones(reading.which.shape[0], dtype=np.bool_))
        no_fix = no_fix | (present & ~epochs.any_of(one, reading.says_fix))
    for one in ("RMC", "GGA", "GNS", "GLL"):
        reading = readings[one]
        guessed |= epochs.any_of(one, reading.says_fix & np.isin(reading.fix_kind, _GUESSED))
        no_fix |= epochs.any_of(one, reading.says_fix & (reading.fix_kind == FixKind.NONE))
    flags[no_fix] |= np.uint32(Flag.NO_FIX)
    flags[guessed] |= np.uint32(Flag.DEAD_RECKONING)
    return flags
