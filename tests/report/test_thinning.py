import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from long_rides import hour_of

from ridelog.analysis.signal.shading import shadings
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.flags import Flag
from ridelog.core.spans import flagged_spans
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.present.thinning import lowest_and_highest, thin_path
from ridelog.report.ride_page import ride_pictures


@given(st.integers(0, 2**32 - 1), st.integers(20, 200))
def test_no_peak_is_lost(seed: int, columns: int) -> None:
    rng = np.random.default_rng(seed)
    m = 6000
    time_s = np.cumsum(rng.uniform(0.05, 0.2, m))
    values = rng.normal(size=m)
    broken = rng.random(m - 1) < 0.002
    chosen = lowest_and_highest(time_s, broken, values, columns)
    assert values[chosen].max() == values.max() and values[chosen].min() == values.min()
    assert len(chosen) <= 4 * (columns + int(broken.sum()) + 1)
    assert (np.diff(chosen) > 0).all()
    ends = np.flatnonzero(broken)
    assert np.isin(ends, chosen).all() and np.isin(ends + 1, chosen).all()


def test_a_thinned_path_stays_where_it_was() -> None:
    way = np.linspace(0.0, 60.0, 20_000)
    east, north = 30.0 * np.sin(way), 12.0 * np.sin(2.0 * way)
    keep = np.zeros(len(way), dtype=bool)
    keep[7000] = True
    chosen = thin_path(east, north, keep, 0.02, 4000)
    assert len(chosen) < 4000 and 7000 in chosen
    assert chosen[0] == 0 and chosen[-1] == len(way) - 1
    shift = np.hypot(
        np.interp(way, way[chosen], east[chosen]) - east,
        np.interp(way, way[chosen], north[chosen]) - north,
    )
    assert shift.max() < 0.5


def test_a_straight_line_needs_two_points() -> None:
    line = np.linspace(0.0, 100.0, 1001)
    chosen = thin_path(line, 2.0 * line, np.zeros(1001, dtype=bool), 0.01, 100)
    assert len(chosen) == 2


def test_stretches_join_across_short_steps_only() -> None:
    time_s = np.array([0.0, 1.0, 2.0, 8.0, np.nan, 9.0, 3.0])
    flags = np.full(7, np.uint32(Flag.JUMP))
    assert flagged_spans(time_s, flags, Flag.JUMP, join_within_s=1.5) == (
        (0.0, 3.0),
        (8.0, 9.0),
    )
    assert flagged_spans(time_s, flags, Flag.GAP, join_within_s=1.5) == ()


def test_shaded_stretches_are_named_and_never_overlap_in_kind(rough_motion: Motion) -> None:
    found = {kind.name: kind for kind in shadings(rough_motion, 224.0)}
    assert {"gap", "settling", "poor geometry"} <= set(found)
    assert len({kind.pattern for kind in found.values()}) == len(found)
    assert found["gap"].stretches == rough_motion.gaps
    settling_ends = found["settling"].stretches[-1][1]
    assert abs(settling_ends - rough_motion.settled_s) < 1.0


def test_an_hour_of_fixes_makes_small_pictures(
    good_motion: Motion, good_result: MeasuredRide
) -> None:
    motion = hour_of(good_motion)
    assert len(motion.track) >= 36_000
    for picture in ride_pictures(good_result, SPEED_UNITS["km/h"]):
        assert len(picture.wide_svg) < 400_000 and len(picture.narrow_svg) < 400_000
