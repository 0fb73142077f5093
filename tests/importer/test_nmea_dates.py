"""Dates that are missing, late or wrong; midnight; clocks that step."""

import numpy as np
import pytest
from log_lines import gga, log, rmc, sentence

from ridelog.core.flags import Flag
from ridelog.core.track import Track
from ridelog.importer import log_from_bytes

NOON = 12 * 3600.0
DAY = 86400.0


def read(lines: list[str]) -> Track:
    return log_from_bytes("ride.nmea", log(lines))


def zda(seconds: float, date: str) -> str:
    from log_lines import clock

    return sentence(f"GPZDA,{clock(seconds)},{date},00,00")


def test_no_date_anywhere_is_said_and_none_invented() -> None:
    track = read([gga(NOON + i + 0.56) for i in range(5)])
    assert not track.date_known
    assert track.utc_text(0.0) == "T12:00:00.560Z"
    assert "The log gives no date; its times are times of day (UTC) only." in track.warnings


def test_date_only_in_a_last_zda() -> None:
    lines = [gga(NOON + i) for i in range(5)] + [zda(NOON + 4, "03,05,2026")]
    assert read(lines).utc_text(0.0) == "2026-05-03T12:00:00Z"


def test_date_only_in_a_zda_after_the_last_fix_and_after_midnight() -> None:
    lines = [gga(DAY - 5 + i) for i in range(4)] + [zda(1.0, "04,05,2026")]
    track = read(lines)
    assert track.utc_text(0.0) == "2026-05-03T23:59:55Z"
    assert "The date 2026-05-04 comes from a ZDA sentence outside the fixes." in track.warnings


def test_zda_before_the_first_fix_is_not_believed() -> None:
    lines = [zda(10.0, "06,01,1980"), zda(11.0, "06,01,1980")] + [gga(NOON + i) for i in range(5)]
    assert not read(lines).date_known


def test_empty_date_before_the_fix_and_in_the_first_fixes() -> None:
    lines = [rmc(NOON + i, date="", status="V", mode=",N") for i in range(3)]
    lines += [rmc(NOON + i, date="" if i < 6 else "030526") for i in range(3, 10)]
    track = read(lines)
    assert track.utc_text(0.0) == "2026-05-03T12:00:03Z"
    assert np.diff(track.time_s).tolist() == [1.0] * 6


@pytest.mark.parametrize("wrong", ["060180", "220899", "180906"])
def test_wrong_date_before_the_fix_does_not_matter(wrong: str) -> None:
    lines = [rmc(10.0 + i, date=wrong, status="V", mode=",N") for i in range(5)]
    lines += [rmc(NOON + i) for i in range(5)]
    track = read(lines)
    assert track.utc_text(0.0) == "2026-05-03T12:00:00Z"
    assert track.time_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert track.warnings == ()


@pytest.mark.parametrize("wrong", ["060180", "220899", "170906"])
def test_date_corrected_while_the_clock_ran_on_is_repaired(wrong: str) -> None:
    lines = [rmc(NOON + i, date=wrong if i < 4 else "030526") for i in range(10)]
    track = read(lines)
    assert track.time_s.tolist() == [float(i) for i in range(10)]
    assert track.utc_text(0.0) == "2026-05-03T12:00:00Z"
    (warning,) = track.warnings
    assert warning.startswith("4 fixes carried a date that the running clock contradicts (first ")
    assert warning.endswith("now 2026-05-03); the date was repaired, the time of day kept.")


def test_week_rollover_between_two_parts_is_repaired_across_a_gap() -> None:
    # 17 September 2006 plus 1024 weeks is 3 May 2026.
    lines = [rmc(NOON + i, date="170906") for i in range(5)]
    lines += [rmc(NOON + 600 + i) for i in range(5)]
    track = read(lines)
    assert track.time_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0, 600.0, 601.0, 602.0, 603.0, 604.0]


def test_week_rollover_during_the_ride_is_repaired_forward() -> None:
    # 6 April 2019, 23:59:42 UTC plus leap seconds: the second rollover; the date fell to 1999.
    lines = [rmc(DAY - 3 + i, date="060419") for i in range(3)]
    lines += [rmc(float(i), date="220899") for i in range(30)]
    track = read(lines)
    assert track.utc_text(0.0) == "2019-04-06T23:59:57Z"
    assert np.diff(track.time_s).tolist() == [1.0] * 32


def test_one_slipped_date_is_repaired() -> None:
    lines = [rmc(NOON + i, date="030579" if i in (5, 29) else "030526") for i in range(30)]
    track = read(lines)
    assert np.diff(track.time_s).tolist() == [1.0] * 29
    assert track.utc_text(0.0) == "2026-05-03T12:00:00Z"


def test_decades_apart_with_another_time_of_day_get_no_time() -> None:
    lines = [rmc(10.0 + i, date="060180") for i in range(3)] + [rmc(NOON + i) for i in range(9)]
    track = read(lines)
    assert len(track) == 12
    assert (track.flags[:3] == Flag.NO_TIME).all()
    assert track.utc_text(0.0) == "2026-05-03T12:00:00Z"
    assert track.warnings == (
        "3 fixes dated decades away from the rest (first 1980-01-06) got no time.",
    )


def test_whole_log_in_a_rolled_over_year_is_kept_and_doubted() -> None:
    track = read([rmc(NOON + i, date="220899") for i in range(5)])
    assert track.utc_text(0.0) == "1999-08-22T12:00:00Z"
    assert "The log dates itself 1999-08-22;" in track.warnings[0]


def test_dates_of_two_days_with_a_pause_are_kept() -> None:
    lines = [rmc(NOON + i) for i in range(5)] + [
        rmc(NOON + 60 + i, date="050526") for i in range(5)
    ]
    track = read(lines)
    assert track.time_s[5] - track.time_s[0] == 2 * DAY + 60
    assert track.warnings == ()


def test_pause_longer_than_half_a_day() -> None:
    lines = [line for i in range(5) for line in (gga(NOON + i), rmc(NOON + i))]
    for i in range(5):
        lines += [gga(NOON + 50000 + i), rmc(NOON + 50000 + i, date="040526")]
    track = read(lines)
    assert track.time_s[5] == 50000.0


def test_midnight_with_dates() -> None:
    lines = []
    for i in range(10):
        seconds = (DAY - 5 + i) % DAY
        lines += [gga(seconds), rmc(seconds, date="030526" if i < 5 else "040526")]
    track = read(lines)
    assert track.time_s.tolist() == [float(i) for i in range(10)]
    assert track.utc_text(9.0) == "2026-05-04T00:00:04Z"


def test_midnight_without_dates_counts_the_day_up() -> None:
    track = read([gga((DAY - 5 + i) % DAY) for i in range(10)])
    assert track.time_s.tolist() == [float(i) for i in range(10)]


def test_date_that_changes_one_fix_late_at_midnight() -> None:
    dates = ["030526"] * 6 + ["040526"] * 4
    track = read([rmc((DAY - 5 + i) % DAY, date=dates[i]) for i in range(10)])
    assert np.diff(track.time_s).tolist() == [1.0] * 9


@pytest.mark.parametrize("back", [0.3, 5.3, 600.5, 3599.5])
def test_time_stepping_back_starts_a_new_stretch(back: float) -> None:
    times = [NOON + 7200 + i for i in range(10)]
    times += [NOON + 7200 + 9 - back + i for i in range(10)]
    track = read([rmc(t, north=i) for i, t in enumerate(times)])
    assert len(track) == 20
    assert track.segment.tolist() == [0] * 10 + [1] * 10
    flagged = (track.flags & Flag.BACKWARD_TIME) != 0
    assert flagged.any()
    assert not flagged.all()
    assert (np.diff(track.time_s[~flagged]) > 0).all()
    assert "The clock is set back 1 time (line 11); a new stretch starts there." in track.warnings


def test_time_stepping_back_over_the_same_seconds_keeps_the_first() -> None:
    times = [NOON + i for i in range(20)] + [NOON + i for i in range(10, 30)]
    track = read([rmc(t, north=i * 10) for i, t in enumerate(times)])
    assert track.time_s.tolist() == [float(i) for i in range(30)]
    assert track.segment[19] < track.segment[20]
    assert "10 epochs came again with another position; the first of each was read." in (
        track.warnings
    )


def test_same_sentences_sent_twice_count_once() -> None:
    lines = [line for i in range(10) for line in (rmc(NOON + i, north=i), rmc(NOON + i, north=i))]
    lines += [rmc(NOON + 9, north=9), rmc(NOON + 8, north=8)]
    track = read(lines)
    assert len(track) == 10
    assert track.segment.tolist() == [0] * 10
    assert track.warnings == ()


def test_epochs_out_of_order_stay_rows_in_file_order() -> None:
    order = [0, 1, 2, 4, 3, 5, 6, 7]
    track = read([rmc(NOON + i, north=i) for i in order])
    assert track.time_s.tolist() == [float(i) for i in order]
    assert track.flags.tolist() == [0, 0, 0, 0, Flag.BACKWARD_TIME, 0, 0, 0]
    assert track.segment.tolist() == [0] * 8


def test_one_stamp_far_ahead_does_not_condemn_the_rest() -> None:
    seconds = [0, 1, 2, 3000, 4, 5, 6, 7]
    track = read([rmc(NOON + i) for i in seconds])
    assert track.flags.tolist() == [0, 0, 0, Flag.BACKWARD_TIME, 0, 0, 0, 0]


def test_jitter_of_a_millisecond_is_kept() -> None:
    from log_lines import clock, position

    times = [NOON + 0.999, NOON + 1.998, NOON + 3.0, NOON + 3.999]
    lines = [
        sentence(f"GPRMC,{clock(t, 3)},A,{position(i)},010.0,084.4,030526,,,A")
        for i, t in enumerate(times)
    ]
    track = read(lines)
    assert track.time_s.tolist() == [0.0, 0.999, 2.001, 3.0]
    assert not track.flags.any()


def test_leap_second_is_the_next_minute() -> None:
    lines = [rmc(NOON + i) for i in range(3)]
    lines.append(sentence("GPRMC,120060.00,A,4807.038,N,01131.000,E,010.0,084.4,030526,,,A"))
    assert read(lines).time_s[-1] == 60.0


@pytest.mark.parametrize(
    ("date", "year"),
    [("010180", "1980"), ("311279", "2079"), ("010170", "2070"), ("010100", "2000")],
)
def test_two_digits_of_a_year_begin_with_the_system(date: str, year: str) -> None:
    """GPS time begins on 6 January 1980 (IS-GPS-200): 80 to 99 are 19xx, 00 to 79 20xx."""
    track = read([rmc(NOON + i, date=date) for i in range(5)])
    assert track.utc_text(0.0).startswith(f"{year}-")
