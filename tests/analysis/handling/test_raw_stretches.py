"""Where fixes are missing: up to three in a row are filled in, more part a stretch."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.handling.band import raw_stretches


def ridden(lost: range, *, rate_hz: float = 10.0, speed_mps: float = 5.0) -> Any:
    """Return a straight ride of a minute to the north-east without some of its fixes."""
    rows = np.setdiff1d(np.arange(round(60 * rate_hz)), np.array(lost, dtype=np.int64))
    count = len(rows)
    course, speed = np.full(count, 0.25 * np.pi), np.full(count, speed_mps)
    track = SimpleNamespace(time_s=rows / rate_hz, speed_mps=speed, course_rad=course)
    return SimpleNamespace(
        track=track, speed_source="reported", rate_hz=rate_hz, known_rows=np.arange(count),
        course_rad=course, speed_mps=speed, flags=np.zeros(count, dtype=np.uint32), settled_s=0.0,
    )  # fmt: skip


@pytest.mark.parametrize("missing", [0, 1, 2, 3])
def test_up_to_three_missing_fixes_are_filled_in(missing: int) -> None:
    (stretch,) = raw_stretches(ridden(range(300, 300 + missing)), 20, ())
    assert len(stretch.time_s) == 600
    assert np.flatnonzero(stretch.filled).tolist() == list(range(300, 300 + missing))
    # 5 m/s to the north-east is 3.54 m/s each way, where a fix was and where none was.
    assert stretch.seen == pytest.approx(np.full((600, 2), 5.0 / np.sqrt(2.0)))


@pytest.mark.parametrize("missing", [5, 30])
def test_more_missing_fixes_part_a_stretch(missing: int) -> None:
    found = raw_stretches(ridden(range(300, 300 + missing)), 20, ())
    assert [len(one.time_s) for one in found] == [300, 300 - missing]
    assert not any(one.filled.any() for one in found)


@pytest.mark.parametrize(("speed_mps", "stretches"), [(0.9, 0), (1.1, 1), (2.1, 1)])
def test_a_crawl_is_no_part(speed_mps: float, stretches: int) -> None:
    found = raw_stretches(ridden(range(0), speed_mps=speed_mps), 20, ())
    assert len(found) == stretches
    # From a metre a second on it is seen, from two on it may count.
    assert any(one.straight.any() for one in found) == (speed_mps > 2.0)
