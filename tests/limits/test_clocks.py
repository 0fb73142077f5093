"""When a date or a step of the clock cannot belong to a ride, and how much of one must be seen.

Ten years, half a millisecond beyond two, and half of the distance: common practice, no source.
"""

import numpy as np
import pytest

from ridelog.analysis.top_speed import measure
from ridelog.filtering.motion import Motion
from ridelog.importer.timeline import US_PER_S, clock_set_back, far_from_the_rest

YEAR_US = 365.25 * 86400.0 * US_PER_S


@pytest.mark.parametrize(("years", "far"), [(9.9, False), (10.1, True), (-9.9, False)])
def test_a_stamp_ten_years_from_the_rest_is_not_of_the_ride(years: float, far: bool) -> None:
    stamps = np.array([0, 1, 2, 3, years * YEAR_US / US_PER_S]) * US_PER_S
    found = far_from_the_rest(stamps.astype(np.int64), np.ones(5, dtype=bool))
    assert found.tolist() == [False] * 4 + [far]


@pytest.mark.parametrize(("back_s", "set_back"), [(0.002, False), (0.003, True)])
def test_a_clock_is_set_back_by_more_than_two_milliseconds(back_s: float, set_back: bool) -> None:
    one = np.arange(6) * 0.1
    time_s = np.concatenate([one, one[-1] - back_s + one])
    starts, told = clock_set_back(time_s, np.arange(12, dtype=np.int64))
    assert bool(starts[6]) is set_back and bool(told) is set_back


@pytest.mark.parametrize(("seen", "told"), [(0.49, False), (0.51, True)])
def test_half_of_the_distance_must_be_seen(
    seen: float, told: bool, good_motion: Motion, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(measure, "seen_share", lambda motion: seen)
    assert (measure.measure_top_speed(good_motion).best_1s_mps is not None) is told
