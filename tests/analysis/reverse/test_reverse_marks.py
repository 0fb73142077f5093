"""Marks in words: every way of writing one, and every way of getting it wrong."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from simulate import RideLayout

from ridelog.analysis.reverse.measure import lay_marks, read_mark
from ridelog.core.errors import RideLogError
from ridelog.core.track import Track


def log_of(start: datetime | None) -> Track:
    """Return a log of 60 s that begins at a given moment."""
    ride = RideLayout()
    ride.stand(60.0)
    rng = np.random.default_rng(1)
    track = to_track(preset("clean", 1.0, rng).observe(ride.build(rng), rng))
    return replace(track, start_utc=start)


NOON = datetime(2024, 6, 8, 12, 3, 0, tzinfo=UTC)
LATE = datetime(2024, 6, 8, 23, 59, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    ("words", "start", "span"),
    [
        ("12:03:10/12:03:25", NOON, (10.0, 25.0)),
        ("12:03:10.5Z/12:03:25,25", NOON, (10.5, 25.25)),
        ("12:03/12:04", NOON, (0.0, 60.0)),
        ("8.5/20", NOON, (8.5, 20.0)),
        (" 8,5s / 20s ", None, (8.5, 20.0)),
        ("23:59:50/00:00:10", LATE, (10.0, 30.0)),
        ("00:00:05/00:00:10", LATE, (25.0, 30.0)),
        ("30/00:00:15", LATE, (30.0, 35.0)),
    ],
)
def test_marks_are_read(words: str, start: datetime, span: tuple[float, float]) -> None:
    (laid,) = lay_marks(log_of(start), [read_mark(words)])
    assert laid == pytest.approx(span)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("12:03:10", 'The mark "12:03:10" is not a start and an end. What to do: write start and'),
        ("1/2/3", 'The mark "1/2/3" is not a start and an end.'),
        ("soon/later", '"soon" in the mark "soon/later" is no time.'),
        ("-3/5", '"-3" in the mark "-3/5" is no time.'),
        ("12:03:10/12:61:00", '"12:61:00" in the mark "12:03:10/12:61:00" is no time of day.'),
        ("24:00:00/24:01:00", '"24:00:00" in the mark "24:00:00/24:01:00" is no time of day.'),
    ],
)
def test_wrong_words_are_refused(words: str, message: str) -> None:
    with pytest.raises(RideLogError) as caught:
        read_mark(words)
    assert message in str(caught.value)
    assert "(12:03:10/12:03:25)" in str(caught.value)


@pytest.mark.parametrize(
    ("words", "start", "message"),
    [
        ("12:03:10/12:03:25", None, "goes by the clock, but the log has no time of day. What to"),
        ("5/3", NOON, "the mark 5/3 does not end after it begins."),
        (
            "11:00:00/11:00:09", NOON,
            "simulated.gpx: the mark 11:00:00/11:00:09 lies outside the log, which goes from 0.0 "
            "to 60.0 s (12:03:00 to 12:04:00 UTC).",
        ),
        ("70/80", None, "the mark 70/80 lies outside the log, which goes from 0.0 to 60.0 s."),
    ],
)  # fmt: skip
def test_marks_that_fit_no_log_are_refused(
    words: str, start: datetime | None, message: str
) -> None:
    with pytest.raises(RideLogError) as caught:
        lay_marks(log_of(start), [read_mark(words)])
    assert message in str(caught.value)
