"""Measurements of motions that are known by formula, without a log in between.

Means, distances and times of straight lines of speed are worked out beside each; so are the edges
from which on a second carries no figure (top_speed's METHOD.md: fixes 2.1 s apart, a third of them
rejected, five times the usual uncertainty, half and nine tenths of the distance seen).
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.braking.measure import measure_brakings
from ridelog.analysis.fitted import along_speed, fitted_paths, usable_between
from ridelog.analysis.phases.measure import divide_ride
from ridelog.analysis.top_speed.measure import _opposite_to, measure_top_speed, raw_peak
from ridelog.analysis.windows import (
    highest_means,
    seen_share,
    stretches_near_the_top,
    window_means,
    windows_of,
)
from ridelog.core.estimate import QUANTILE
from ridelog.core.flags import Flag
from ridelog.filtering.motion import Motion, Piece

# From rest up to 9 m/s, back to rest, and the other way round up to 8 m/s.
OUT_AND_BACK = [(0.0, 0.0), (5.0, 0.0), (11.0, 9.0), (17.0, 9.0), (21.0, 0.0), (30.0, 0.0),
                (36.0, 8.0), (42.0, 8.0), (46.0, 0.0), (50.0, 0.0)]  # fmt: skip
TURNED = [(0.0, 0.0), (22.0, 0.0), (28.0, 180.0), (50.0, 180.0)]


def flagged(motion: Motion, flag: Flag, *rows: int) -> Motion:
    flags = motion.flags.copy()
    flags[list(rows)] |= np.uint32(flag)
    return replace(motion, flags=flags)


@pytest.mark.parametrize("length_s", [1.0, 2.5, 5.0])
@pytest.mark.parametrize("rate_hz", [10.0, 4.0])
def test_means_over_windows_are_those_of_the_line(length_s: float, rate_hz: float) -> None:
    """v = 1 + t / 2 from 0 on: the mean from t on is that of its middle."""
    motion = known_motion([(0.0, 1.0), (20.0, 11.0)], rate_hz=rate_hz)
    found = windows_of(motion, length_s)
    assert found.start_s[0] == 0.0 and found.start_s[-1] == pytest.approx(20.0 - length_s)
    assert found.mean_mps == pytest.approx(1.0 + 0.5 * (found.start_s + 0.5 * length_s))
    assert found.usable.all() and not found.lost.any() and not found.settling.any()
    assert found.course_rad == pytest.approx(0.0) and found.trusted_share == 1.0


def test_windows_end_between_fixes_too() -> None:
    motion = known_motion([(0.0, 1.0), (20.0, 11.0)], rate_hz=4.0)
    found = windows_of(motion, 1.1)
    assert found.mean_mps == pytest.approx(1.0 + 0.5 * (found.start_s + 0.55), abs=4e-3)
    near = windows_of(motion, 1.0, near=(5.0, 9.0))
    assert (near.start_s[0], near.start_s[-1]) == (5.0, 8.0)


def test_windows_lie_within_pieces() -> None:
    motion = known_motion([(0.0, 5.0), (30.0, 5.0)], pieces=[(0.0, 10.0), (15.0, 30.0)])
    starts = windows_of(motion, 1.0).start_s
    assert not ((starts > 9.01) & (starts < 14.99)).any()
    assert starts.max() == pytest.approx(29.0)


@pytest.mark.parametrize(
    ("rate_hz", "hole_s", "seen"),
    [(10.0, 0.3, True), (10.0, 0.5, False), (2.0, 0.5, True), (2.0, 1.0, False),
     (0.5, 2.0, True)],
)  # fmt: skip
def test_a_second_with_a_hole_is_lost(rate_hz: float, hole_s: float, seen: bool) -> None:
    """0.4 s, or one and a half intervals of the log, are bridged."""
    motion = known_motion([(0.0, 5.0), (60.0, 5.0)], rate_hz=rate_hz)
    time_s = motion.track.time_s
    used = (time_s <= 20.0 + 1e-6) | (time_s > 20.0 + hole_s - 1e-3)
    found = windows_of(replace(motion, used=used), 4.0)
    over = (found.start_s < 20.0) & (found.start_s > 17.9)
    assert over.any() and found.usable[over].all() == seen and found.lost[over].all() != seen
    assert found.usable[(found.start_s < 15.9) | (found.start_s > 23.0)].all()


@pytest.mark.parametrize(("bad", "usable"), [(3, True), (4, False)])
def test_a_third_of_the_fixes_of_a_second_may_be_rejected(bad: int, usable: bool) -> None:
    """Of eleven fixes of a second at 10 Hz 0.34 are 3.74; in a row in its middle."""
    motion = known_motion([(0.0, 5.0), (20.0, 5.0)])
    found = windows_of(flagged(motion, Flag.SPEED_JUMP, *range(104, 104 + bad)), 1.0)
    at = int(np.searchsorted(found.start_s, 10.0 - 1e-6))
    assert bool(found.usable[at]) is usable and bool(found.lost[at]) is not usable
    assert found.usable[at + 30] and found.usable[at - 30]


@pytest.mark.parametrize(("source", "usable"), [("reported", True), ("positions", False)])
def test_badly_placed_satellites_spoil_positions_alone(source: str, usable: bool) -> None:
    motion = known_motion([(0.0, 5.0), (20.0, 5.0)], speed_source=source)
    found = windows_of(flagged(motion, Flag.POOR_GEOMETRY, 100), 1.0)
    assert bool(found.usable[95]) is usable and found.usable[89] and found.usable[101]


@pytest.mark.parametrize(("factor", "settling"), [(3.9, True), (4.1, False), (float("nan"), False)])
def test_a_second_before_settling_counts_with_its_noise(factor: float, settling: bool) -> None:
    motion = known_motion([(0.0, 5.0), (20.0, 5.0)], settling_factor=factor)
    found = windows_of(flagged(motion, Flag.SETTLING, *range(50)), 1.0)
    assert not found.usable[:50].any() and found.usable[50:].all()
    assert found.settling[:50].all() == settling and found.settling[:50].any() == settling
    assert found.lost[:50].all() != settling
    assert found.trusted_share == pytest.approx(1.0 if settling else 141 / 191, abs=0.005)


def test_no_second_touches_what_is_left_out() -> None:
    """Windows of 1 s keep half a second from it."""
    found = windows_of(known_motion([(0.0, 5.0), (20.0, 5.0)]), 1.0, excluded=((8.0, 12.0),))
    ends = found.start_s[~found.usable]
    assert (ends.min(), ends.max()) == pytest.approx((6.6, 12.4))
    assert not found.lost.any() and found.trusted_share == 1.0


def test_means_on_a_grid_of_any_length() -> None:
    motion = known_motion([(0.0, 1.0), (20.0, 11.0)])
    paths = motion.paths(2.0, 8.0, draws=2, spacing_s=0.1)
    for length_s in (1.0, 1.04):
        start_s, means = window_means(paths, length_s)
        assert start_s[0] == 2.0 and start_s[-1] == pytest.approx(8.0 - length_s, abs=0.1)
        wanted = 1.0 + 0.5 * (start_s + 0.5 * length_s)
        assert means[:, 0] == pytest.approx(wanted, abs=3e-3)
        # The draws go 0.05 m/s slower and faster.
        assert means[:, 1] == pytest.approx(wanted - 0.05, abs=3e-3)
        assert means[:, 2] == pytest.approx(wanted + 0.05, abs=3e-3)
    start_s, means = window_means(paths, 7.0)
    assert len(start_s) == 0 and means.shape == (0, 5)


def test_stretches_hold_the_windows_near_the_best() -> None:
    motion = known_motion([(0.0, 2.0), (10.0, 8.0), (20.0, 2.0), (30.0, 7.8), (40.0, 2.0)])
    windows = windows_of(motion, 1.0)
    # A second d off the middle at 10 s loses 0.6 d² more: 0.1 m/s at 0.4 s; and an interval of
    # 0.1 s is looked at beyond.
    (only,) = stretches_near_the_top(motion, windows, windows.usable, 0.1, 60.0)
    assert only == pytest.approx((9.0, 11.0), abs=0.01)
    both = stretches_near_the_top(motion, windows, windows.usable, 0.5, 60.0)
    assert [0.5 * sum(one) for one in both] == pytest.approx([10.0, 30.0], abs=0.11)
    # The best come first: 2 s of riding are 20 windows.
    few = stretches_near_the_top(motion, windows, windows.usable, 5.0, 2.0)
    assert sum(b - a for a, b in few) < 6.0 and few[0][0] < 10.0 < few[0][1]
    assert stretches_near_the_top(motion, windows, ~windows.usable & False, 0.1, 60.0) == []
    settled = replace(motion, settled_s=9.4)
    late = windows.usable & (windows.start_s >= 9.4)
    (after,) = stretches_near_the_top(settled, windows, late, 0.1, 60.0)
    assert after[0] == pytest.approx(9.4)
    early = windows.usable & (windows.start_s <= 8.4)
    (before,) = stretches_near_the_top(settled, windows, early, 0.1, 60.0)
    assert before[1] == pytest.approx(9.4)


def test_the_last_second_is_looked_at_though_no_fix_begins_it() -> None:
    """At a fix a second, the last of which comes a hundredth early."""
    motion = known_motion([(0.0, 2.0), (6.0, 9.0)], rate_hz=1.0, pieces=[(0.0, 5.0)])
    time_s = motion.track.time_s.copy()
    time_s[-1] = 4.99
    track = replace(motion.track, time_s=time_s)
    motion = replace(motion, track=track, pieces=(Piece(0.0, 4.99),))
    windows = windows_of(motion, 1.0)
    assert windows.start_s[-1] == 3.0
    (only,) = stretches_near_the_top(motion, windows, windows.usable, 0.1, 60.0)
    assert only[1] == 4.99


def test_the_highest_mean_of_every_draw() -> None:
    motion = known_motion([(0.0, 2.0), (10.0, 8.0), (20.0, 2.0)], error_mps=0.1)
    one, two = windows_of(motion, 1.0), windows_of(motion, 2.0)
    found = highest_means(
        motion, [(one, one.usable), (two, two.usable), (one, one.usable & (one.start_s > 12.0))],
        margin_mps=0.5, longest_s=60.0, draws=4,
    )  # fmt: skip
    # A peak of 0.6 m/s² to either side: less a quarter of a second of it, and half.
    assert found[:2, 0] == pytest.approx([8.0 - 0.15, 8.0 - 0.3], abs=0.01)
    assert found[2, 0] == pytest.approx(8.0 - 0.6 * 2.6, abs=0.07)
    assert found[:, 1] == pytest.approx(found[:, 0] - 0.1, abs=0.01)
    assert found[:, 8] == pytest.approx(found[:, 0] + 0.1, abs=0.01)
    wide = highest_means(motion, [(one, one.usable)], margin_mps=0.5, longest_s=60.0, noisier=3.0,
                         draws=4)  # fmt: skip
    assert wide[0, 8] - wide[0, 0] == pytest.approx(0.3, abs=0.01)
    none = highest_means(motion, [(one, one.usable), (one, one.usable & False)], margin_mps=0.5,
                         longest_s=60.0, draws=4)  # fmt: skip
    assert np.isnan(none[1]).all()


def test_top_speed_of_two_directions() -> None:
    found = measure_top_speed(known_motion(OUT_AND_BACK, turns=TURNED))
    assert found.headline == "two_way_mps" and found.top == found.two_way_mps
    assert found.two_way_mps is not None and found.two_way_mps.value == pytest.approx(8.5)
    # Half of the draws lie 0.05 m/s above, half below: root mean square 0.05 on either side.
    assert found.two_way_mps.high - 8.5 == pytest.approx(QUANTILE * 0.05, rel=0.01)
    assert found.best_1s_mps is not None and found.best_1s_mps.value == pytest.approx(9.0)
    assert found.best_5s_mps is not None and found.best_5s_mps.value == pytest.approx(9.0)
    assert found.raw_peak_mps == pytest.approx(9.0) and found.seen_share == 1.0
    assert 10.9 < found.at_s < 16.1
    first, second = found.two_way_runs
    assert (first.course_deg, second.course_deg) == pytest.approx((0.0, 180.0), abs=0.01)
    assert first.end_s - first.start_s == pytest.approx(1.0)
    assert (first.speed_mps.value, second.speed_mps.value) == pytest.approx((9.0, 8.0))
    assert found.reason == ""


@pytest.mark.parametrize(("off_deg", "both"), [(19.5, True), (-19.5, True), (20.5, False)])
def test_opposite_is_within_twenty_degrees(off_deg: float, both: bool) -> None:
    turns = [(at_s, course and course + off_deg) for at_s, course in TURNED]
    found = measure_top_speed(known_motion(OUT_AND_BACK, turns=turns))
    assert (found.two_way_mps is not None) is both


def test_opposite_runs_lie_within_an_hour() -> None:
    windows: Any = SimpleNamespace(
        course_rad=np.array([0.0, np.pi, np.pi, np.pi]),
        start_s=np.array([4000.0, 7590.0, 7610.0, 390.0]),
    )
    assert _opposite_to(windows, 0).tolist() == [False, True, False, False]


def test_two_directions_are_the_fastest_pair() -> None:
    """10 and 6 m/s north and south, 8 and 8.5 m/s east and west: the mean is 8.25 m/s."""
    knots, turns = [(0.0, 0.0)], [(0.0, 0.0)]
    for at_s, speed, course in ((0.0, 10.0, 0.0), (30.0, 6.0, 180.0), (60.0, 8.0, 90.0),
                                (90.0, 8.5, 270.0)):  # fmt: skip
        knots += [(at_s + 6.0, speed), (at_s + 16.0, speed), (at_s + 22.0, 0.0), (at_s + 30.0, 0.0)]
        turns += [(at_s + 0.1, course), (at_s + 29.0, course)]
    found = measure_top_speed(known_motion(knots, turns=turns))
    assert found.two_way_mps is not None and found.best_1s_mps is not None
    assert found.two_way_mps.value == pytest.approx(8.25, abs=0.01)
    assert found.best_1s_mps.value == pytest.approx(10.0, abs=0.01)
    assert [run.course_deg for run in found.two_way_runs] == pytest.approx([90.0, 270.0])


@pytest.mark.parametrize(("second_mps", "both"), [(4.7, True), (4.3, False)])
def test_a_run_back_at_half_the_speed_is_a_crawl(second_mps: float, both: bool) -> None:
    knots = [(t, v if t < 30.0 or v == 0.0 else second_mps) for t, v in OUT_AND_BACK]
    found = measure_top_speed(known_motion(knots, turns=TURNED))
    assert (found.two_way_mps is not None) is both
    assert both or found.reason == "the ride holds no two fast runs in opposite directions"


def test_short_tops_have_no_five_seconds() -> None:
    found = measure_top_speed(known_motion([(0.0, 0.0), (2.0, 4.0), (4.0, 0.0)]))
    assert found.best_5s_mps is None and found.best_1s_mps is not None
    # 2 m/s² to either side of the peak: a quarter of a second of it is lost.
    assert found.best_1s_mps.value == pytest.approx(3.5, abs=0.01)
    assert found.reason.startswith("no five seconds")


def test_the_largest_reading_of_positions_leaves_long_steps_out() -> None:
    motion = known_motion([(0.0, 2.0), (20.0, 6.0)], speed_source="positions")
    speed, kind = raw_peak(motion)
    assert kind == "positions" and speed == pytest.approx(6.0 - 0.2 * 0.05, abs=0.01)
    assert raw_peak(known_motion([(0.0, 2.0), (20.0, 6.0)])) == pytest.approx((6.0, "reported"))
    # Across four intervals nothing is differenced.
    time_s = motion.track.time_s
    holed = replace(motion, used=(time_s < 19.55) | (time_s > 19.95))
    assert raw_peak(holed)[0] == pytest.approx(2.0 + 0.2 * 19.45, abs=0.02)


@pytest.mark.parametrize(("hole_s", "share"), [(2.0, 1.0), (2.2, 1.0 - 0.11), (10.0, 0.5)])
def test_what_lies_between_far_fixes_is_unseen(hole_s: float, share: float) -> None:
    """5 m/s for 20 s: a hole of h seconds is h / 20 of the distance."""
    motion = known_motion([(0.0, 5.0), (20.0, 5.0)])
    time_s = motion.track.time_s
    used = (time_s <= 5.0 + 1e-6) | (time_s >= 5.0 + hole_s - 1e-6)
    assert seen_share(replace(motion, used=used)) == pytest.approx(share, abs=1e-3)


def test_a_pause_at_a_stand_hides_nothing() -> None:
    """Slower than a crawl of 0.5 m/s on the whole it stood."""
    motion = known_motion(
        [(0.0, 5.0), (9.0, 5.0), (10.0, 0.0), (20.0, 0.0), (21.0, 5.0), (30.0, 5.0)]
    )
    time_s = motion.track.time_s
    used = (time_s < 10.0) | (time_s > 20.0)
    assert seen_share(replace(motion, used=used)) == 1.0
    # Before it settled nothing counts: 5 s of 5 m/s unseen, of 82.5 m after 2 s; or none of it.
    used = (time_s < 3.0) | (time_s > 8.0)
    whole = 5.0 * 7.0 + 2.5 + 2.5 + 45.0
    assert seen_share(replace(motion, used=used, settled_s=2.0)) == pytest.approx(
        1.0 - 25.5 / whole, abs=0.01
    )
    assert seen_share(replace(motion, used=used, settled_s=8.5)) == 1.0


@pytest.mark.parametrize(("decel", "error_mps"), [(1.5, 0.02), (2.5, 0.05), (4.0, 0.05)])
def test_brakings_to_rest(decel: float, error_mps: float) -> None:
    """v² / (2 a), a itself, and the same between 0.8 and 0.1 of the speed."""
    stop_s = 10.0 + 9.0 / decel
    motion = known_motion([(0.0, 9.0), (10.0, 9.0), (stop_s, 0.0), (stop_s + 5.0, 0.0)],
                          error_mps=error_mps)  # fmt: skip
    found = measure_brakings(motion)
    (one,) = found.each
    assert found.hardest is one and found.stops == (one,) and one.is_stop and one.to_mps == 0.0
    assert one.initial_speed_mps.value == pytest.approx(9.0, abs=0.02)
    assert one.start_s == pytest.approx(10.0, abs=0.15)
    assert one.end_s == pytest.approx(stop_s, abs=0.15)
    assert one.distance_m.low < 81.0 / (2.0 * decel) < one.distance_m.high
    assert one.mean_decel_mps2.low < decel < one.mean_decel_mps2.high
    assert one.mean_decel_mps2.value == pytest.approx(decel, rel=0.06)
    assert one.developed_decel_mps2 is not None
    assert one.developed_decel_mps2.value == pytest.approx(decel, rel=0.01)


def test_a_braking_that_rolls_on() -> None:
    motion = known_motion([(0.0, 9.0), (10.0, 9.0), (12.0, 3.0), (20.0, 3.0)])
    (one,) = measure_brakings(motion).each
    assert not one.is_stop and one.to_mps == pytest.approx(3.0, abs=0.05)
    assert one.developed_decel_mps2 is None and one.mean_decel_mps2.low < 3.0
    assert one.distance_m.low < 12.0 < one.distance_m.high
    assert measure_brakings(motion, excluded=((9.0, 13.0),)).each == ()
    held = measure_brakings(known_motion([(0.0, 9.0), (30.0, 9.0)]))
    assert held.each == () and "nowhere does the machine slow down" in held.reason


@pytest.mark.parametrize(("decel", "found"), [(9.0, 1), (11.5, 0)])
def test_no_tyre_brakes_harder_than_gravity(decel: float, found: int) -> None:
    motion = known_motion([(0.0, 9.0), (10.0, 9.0), (10.0 + 9.0 / decel, 0.0), (15.0, 0.0)],
                          error_mps=0.01)  # fmt: skip
    brakings = measure_brakings(motion)
    assert len(brakings.each) == found
    assert found or "the signal does not carry a figure" in brakings.reason


@pytest.mark.parametrize(("crawl_mps", "stops"), [(0.0, True), (0.3, True), (0.45, False)])
def test_slower_than_a_third_of_a_metre_a_second_is_rest(crawl_mps: float, stops: bool) -> None:
    motion = known_motion([(0.0, 8.0), (10.0, 8.0), (14.0, crawl_mps), (20.0, crawl_mps)])
    (one,) = measure_brakings(motion).each
    assert one.is_stop is stops


def test_the_ride_in_phases() -> None:
    """Rest, 2 m/s², 8 m/s, 0.4 m/s² of rolling, 2.5 m/s² of braking, a turn of 30 degrees/s."""
    knots = [(0.0, 0.0), (5.0, 0.0), (9.0, 8.0), (17.0, 8.0), (25.0, 4.8), (29.0, 4.8),
             (35.0, 4.8), (42.0, 4.8), (43.92, 0.0), (50.0, 0.0)]  # fmt: skip
    motion = known_motion(knots, turns=[(0.0, 0.0), (30.0, 0.0), (35.0, 150.0), (50.0, 150.0)])
    found = divide_ride(motion).each
    assert [one.kind for one in found] == [
        "standstill", "launch", "steady", "coasting", "steady", "turning", "steady", "braking",
        "standstill",
    ]  # fmt: skip
    edges = [0.0, 5.0, 9.0, 17.0, 25.0, 30.0, 35.0, 42.0, 43.92]
    assert [one.start_s for one in found] == pytest.approx(edges, abs=0.45)
    assert [one.to_mps for one in found] == pytest.approx(
        [0.0, 8.0, 8.0, 4.8, 4.8, 4.8, 4.8, 0.0, 0.0], abs=0.5
    )


@pytest.mark.parametrize(("rate_hz", "told"), [(0.5, True), (0.45, False)])
def test_fixes_two_seconds_apart_tell_phases(rate_hz: float, told: bool) -> None:
    motion = known_motion([(0.0, 0.0), (20.0, 0.0), (30.0, 8.0), (60.0, 8.0)], rate_hz=rate_hz)
    assert bool(divide_ride(motion).each) is told


def test_measured_starts_and_reverse_lie_over_the_phases() -> None:
    motion = known_motion([(0.0, 0.0), (6.0, 0.0), (10.0, 8.0), (20.0, 8.0)])
    found = divide_ride(motion, launch_starts_s=(5.6,), reverse_spans=((15.0, 18.0),)).each
    assert [one.kind for one in found] == ["standstill", "launch", "steady", "reverse", "steady"]
    assert found[0].end_s == found[1].start_s == 5.6
    assert (found[3].start_s, found[3].end_s) == pytest.approx((15.0, 18.0), abs=0.11)
    # A start that was measured more than a second away is another.
    other = divide_ride(motion, launch_starts_s=(4.6,)).each
    assert other[1].start_s == pytest.approx(6.0, abs=0.3)


def test_the_fitted_path_and_where_it_may_be_used() -> None:
    motion = known_motion([(0.0, 0.0), (4.0, 8.0), (20.0, 8.0)], turns=[(0.0, 0.0), (8.0, 0.0),
                          (12.0, 120.0), (20.0, 120.0)])  # fmt: skip
    (path,) = fitted_paths(flagged(motion, Flag.SPEED_JUMP, *range(60, 66)))
    assert path.accel_mps2[10:30] == pytest.approx(2.0, abs=0.01)
    assert path.yaw_rate_radps[85:115] == pytest.approx(np.radians(30.0), abs=0.01)
    bad = path.time_s[~path.usable]
    # Four of eleven fixes are too many: seconds from 5.3 s on, and those that begin up to 6.2 s.
    assert (bad.min(), bad.max()) == pytest.approx((5.3, 7.2))
    assert usable_between(motion, 5.0, 7.0)
    assert not usable_between(flagged(motion, Flag.SPEED_JUMP, *range(55, 67)), 5.0, 7.0)


def test_the_direction_of_a_crawl_is_held_from_before() -> None:
    """Rolling back after a stop is slower than nothing along the way it came."""
    motion = known_motion([(0.0, 3.0), (4.0, 0.0), (5.0, -0.5), (8.0, -0.5)])
    along = along_speed(motion.paths(0.0, 8.0, draws=0, spacing_s=0.1))[:, 0]
    assert along[:40] == pytest.approx(3.0 - 0.075 * np.arange(40), abs=1e-6)
    assert along[-1] == pytest.approx(-0.5)


def test_a_piece_shorter_than_a_second_has_no_path() -> None:
    motion = known_motion(
        [(0.0, 5.0), (30.0, 5.0)], pieces=[(0.0, 10.0), (15.0, 15.9), (20.0, 30.0)]
    )
    assert [path.time_s[0] for path in fitted_paths(motion)] == [0.0, 20.0]


@pytest.mark.parametrize(("from_mps", "to_mps", "counts"), [
    (3.3, 1.9, 0), (3.9, 1.9, 1), (1.6, 0.0, 0), (2.1, 0.0, 1),
])  # fmt: skip
def test_a_braking_takes_off_a_metre_and_a_half_from_above_a_walk(
    from_mps: float, to_mps: float, counts: int
) -> None:
    braked_s = (from_mps - to_mps) / 2.5
    motion = known_motion([(0.0, from_mps), (10.0, from_mps), (10.0 + braked_s, to_mps),
                           (20.0, to_mps)], error_mps=0.02)  # fmt: skip
    assert len(measure_brakings(motion).each) == counts


@pytest.mark.parametrize(("decel", "counts"), [(0.5, 0), (1.3, 1)])
def test_rolling_freely_is_no_braking(decel: float, counts: int) -> None:
    """0.5 m/s² and 0.0042 / m times the square of 9 m/s, 0.34, and two deviations: METHOD.md."""
    motion = known_motion([(0.0, 9.0), (10.0, 9.0), (10.0 + 6.0 / decel, 3.0), (30.0, 3.0)],
                          error_mps=0.02)  # fmt: skip
    assert len(measure_brakings(motion).each) == counts


@pytest.mark.parametrize(("pause_s", "counts"), [(0.3, 1), (2.5, 2)])
def test_a_short_pause_parts_no_braking(pause_s: float, counts: int) -> None:
    motion = known_motion([(0.0, 9.0), (10.0, 9.0), (11.5, 5.25), (11.5 + pause_s, 5.25),
                           (13.6 + pause_s, 0.0), (20.0, 0.0)], error_mps=0.02)  # fmt: skip
    assert len(measure_brakings(motion).each) == counts
