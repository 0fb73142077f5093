"""Values of GPX points that cannot be used: each is left out, and said with line and value."""

import numpy as np
import pytest
from log_lines import gpx, point, second

from ridelog.core.flags import Flag
from ridelog.core.track import FixKind, Track
from ridelog.importer import gpx_points, log_from_bytes


def read(data: bytes) -> Track:
    return log_from_bytes("ride.gpx", data)


def moving(children: str) -> str:
    return f"<extensions>{children}</extensions>"


@pytest.mark.parametrize(
    ("children", "name", "attribute", "text"),
    [
        ("<sat>many</sat>", "sat", "satellites", "many"),
        ("<hdop>1,2</hdop>", "hdop", "hdop", "1,2"),
        (moving("<speed>fast</speed>"), "speed", "speed_mps", "fast"),
        (moving("<course>NE</course>"), "course", "course_rad", "NE"),
    ],
)
def test_a_value_that_is_no_number_is_left_out_and_said(
    children: str, name: str, attribute: str, text: str
) -> None:
    track = read(gpx(point(second(0)) + point(second(1), children=children)))
    assert np.isnan(getattr(track, attribute)).all()
    assert track.warnings == (
        f"1 value of {name} cannot be read as a number (line 5; first '{text}') and was not used.",
    )


def test_a_height_that_is_no_number_leaves_the_other_heights() -> None:
    body = "".join(point(second(i)) for i in range(6)).replace("545.4", "high", 5)
    track = read(gpx(body))
    assert np.isnan(track.height_m).tolist() == [True] * 5 + [False]
    assert track.warnings == (
        "5 values of ele cannot be read as a number (lines 4, 5, 6 and 2 more; first 'high') and "
        "were not used.",
    )


@pytest.mark.parametrize("blank", ["<hdop></hdop>", "<hdop/>", "<hdop> \n </hdop>"])
def test_a_blank_value_is_not_given_and_needs_no_warning(blank: str) -> None:
    track = read(gpx(point(second(0), children=blank)))
    assert np.isnan(track.hdop).all()
    assert track.warnings == ()


def test_reported_speed_no_machine_reaches_is_left_out_and_said() -> None:
    speeds = ["149.9", "150", "150.1", "655.35"]
    track = read(
        gpx(
            "".join(
                point(second(i), children=moving(f"<speed>{text}</speed>"))
                for i, text in enumerate(speeds)
            )
        )
    )
    assert track.speed_mps[:2].tolist() == [149.9, 150.0]
    assert np.isnan(track.speed_mps[2:]).all()
    assert track.warnings == (
        "2 reported speeds above 150 m/s (lines 6 and 7; first '150.1') were not used.",
    )


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("0", 0.0), ("359.9", 359.9), ("360", 0.0), ("360.1", None), ("-0.1", None)],
)
def test_course_outside_the_circle_is_left_out(text: str, degrees: float | None) -> None:
    course = read(gpx(point(second(0), children=moving(f"<course>{text}</course>")))).course_rad
    if degrees is None:
        assert np.isnan(course[0])
    else:
        assert np.degrees(course[0]) == pytest.approx(degrees, abs=1e-12)


def test_no_satellite_means_no_fix_where_the_log_counts_them() -> None:
    stuck = "<sat>0</sat>" + moving("<speed>0</speed>")
    track = read(gpx(point(second(0), children="<sat>8</sat>") + point(second(1), children=stuck)))
    assert track.flags.tolist() == [0, Flag.NO_FIX]
    # The log does not name the kind of fix, so neither does the track.
    assert track.fix_kind.tolist() == [FixKind.UNKNOWN, FixKind.UNKNOWN]


def test_a_logger_that_always_writes_no_satellite_does_not_count_them() -> None:
    track = read(gpx("".join(point(second(i), children="<sat>0</sat>") for i in range(3))))
    assert track.flags.tolist() == [0, 0, 0]


def test_a_stated_fix_outweighs_the_count_of_satellites() -> None:
    first = point(second(0), children="<fix>3d</fix><sat>8</sat>")
    then = point(second(1), children="<fix>3d</fix><sat>0</sat>")
    assert read(gpx(first + then)).flags.tolist() == [0, 0]


@pytest.mark.parametrize("word", ["unknown", "3d-and-a-very-long-tail", " ", "3"])
def test_other_words_of_fix_say_nothing(word: str) -> None:
    track = read(gpx(point(second(0), children=f"<fix>{word}</fix>") + point(second(1))))
    assert track.fix_kind.tolist() == [FixKind.UNKNOWN, FixKind.UNKNOWN]


def test_stamps_without_a_zone_are_utc_and_said() -> None:
    stamps = [
        "2026-05-03T09:00:00",
        "2026-05-03T09:00:01.500",
        "2026-05-03T11:00:02+02:00",
        "2026-05-03T09:00:03z",
        "2026-05-03T05:30:04-0330",
        " 2026-05-03T09:00:05Z ",
    ]
    track = read(gpx("".join(point(stamp) for stamp in stamps)))
    assert track.time_s.tolist() == [0.0, 1.5, 2.0, 3.0, 4.0, 5.0]
    assert track.warnings == ("2 time stamps without a zone (lines 4 and 5) were read as UTC.",)


def test_an_hour_at_10_hz_is_read_by_pattern() -> None:
    children = (
        "<fix>3d</fix><sat>9</sat><hdop>0.9</hdop>"
        + moving("<r:speed>2.5</r:speed><r:course>84.4</r:course>")
    )  # fmt: skip
    data = gpx("".join(point(second(i / 10.0), children=children) for i in range(36000)))
    data = data.replace(b"<gpx ", b'<gpx xmlns:r="urn:example:ride" ')
    assert sum(len(run.line) for run in gpx_points._shortened(data)[1] if run) == 36000
    # How long that takes: tests/benchmarks/against_filterpy.py times the whole of it.
    track = read(data)
    assert len(track) == 36000
    assert (track.speed_mps == 2.5).all()
    assert (track.fix_kind == FixKind.AUTONOMOUS).all()
