"""Where a start begins and ends, on motions known by formula, on both sides of each edge.

A stand of 0.6 s, walking pace and a little (2 m/s; Regulation (EU) 168/2013 Art. 2 (2) (a) leaves
6 km/h out), a fall by a seventh, a crawl of 1.5 s: the words of acceleration's METHOD.md, common
practice, no source.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.acceleration.runs import _dwell, draw_runs, find_runs
from ridelog.core.flags import Flag
from ridelog.filtering.motion import Motion


def start(stand_s: float = 5.0, top_mps: float = 8.0, **changes: Any) -> Motion:
    """Return 4 m/s that is left, a stand, and a pull of 2 m/s² to a top that is held."""
    pull_s = top_mps / 2.0
    return known_motion(
        [(0.0, 4.0), (3.0, 4.0), (5.0, 0.0), (5.0 + stand_s, 0.0),
         (5.0 + stand_s + pull_s, top_mps), (12.0 + stand_s + pull_s, top_mps)], **changes
    )  # fmt: skip


def test_a_start_from_rest() -> None:
    (run,) = find_runs(start())
    assert run.standing and run.low_mps == 0.0
    # It surely stood from 3 s before it moved, and surely moves at 2 m/s, a second after.
    assert run.earliest_s == pytest.approx(10.1 - 3.0, abs=0.11)
    assert run.latest_s == pytest.approx(11.0, abs=0.11)
    assert run.top_mps == pytest.approx(8.0) and run.top_s == pytest.approx(14.0, abs=0.11)
    assert run.end_s == pytest.approx(21.0, abs=0.11)
    assert run.course_rad == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("stand_s", "begins"), [(0.6, 4.8 + 0.3 * 0.9), (2.0, 4.8 + 0.3), (0.3, None)]
)
def test_a_stop_is_a_stand_from_six_tenths_on(stand_s: float, begins: float | None) -> None:
    """From 0.4 m/s down at 4.8 s to 0.25 m/s up, 0.1 s after; a third is left out for a jolt."""
    runs = [run for run in find_runs(start(stand_s, rate_hz=20.0)) if run.top_mps > 5.0]
    if begins is None:
        assert not any(run.standing for run in runs)
        return
    (run,) = runs
    assert run.standing and run.earliest_s == pytest.approx(begins, abs=0.06)


@pytest.mark.parametrize(("top_mps", "found"), [(1.95, 0), (2.05, 1)])
def test_what_gets_no_faster_than_walking_was_moved(top_mps: float, found: int) -> None:
    motion = known_motion([(0.0, 0.0), (4.0, 0.0), (6.0, top_mps), (9.0, top_mps)])
    assert len(find_runs(motion)) == found


@pytest.mark.parametrize(
    ("top_mps", "down_mps", "ends"),
    [(8.0, 6.9, False), (8.0, 6.7, True), (2.5, 2.12, False), (2.5, 2.08, True)],
)
def test_a_run_ends_when_a_seventh_is_lost(top_mps: float, down_mps: float, ends: bool) -> None:
    """0.15 of 8 m/s are 1.2 m/s, of 2.5 m/s less than the 0.4 m/s it takes at least."""
    dip = [(0.0, 0.0), (4.0, 0.0), (4.0 + top_mps / 2.0, top_mps)]
    at_s = dip[-1][0]
    knots = [*dip, (at_s + 2.0, top_mps), (at_s + 3.0, down_mps), (at_s + 4.0, down_mps),
             (at_s + 6.0, top_mps + 1.2), (at_s + 8.0, top_mps + 1.2)]  # fmt: skip
    (run,) = find_runs(known_motion(knots))
    lost_s = at_s + 2.0 + max(0.15 * top_mps, 0.4) / (top_mps - down_mps)
    assert run.end_s == pytest.approx(lost_s if ends else knots[-1][0], abs=0.11)
    assert run.top_mps == pytest.approx(top_mps if ends else top_mps + 1.2)


@pytest.mark.parametrize(
    ("crawl_s", "at_mps", "split"),
    [(2.2, 3.5, True), (0.9, 3.5, False), (2.2, 4.5, False), (4.0, 3.5, True)],
)
def test_a_crawl_on_the_way_up_parts_a_start(crawl_s: float, at_mps: float, split: bool) -> None:
    """At 3.5 m/s, less than half of 8, for more than 1.5 s; what follows is a run of its own."""
    up = 4.0 + at_mps / 2.0
    motion = known_motion(
        [(0.0, 0.0), (4.0, 0.0), (up, at_mps), (up + crawl_s, at_mps),
         (up + crawl_s + (8.0 - at_mps) / 2.0, 8.0), (up + crawl_s + 8.0, 8.0)]
    )  # fmt: skip
    found = find_runs(motion)
    assert [run.standing for run in found] == [True, False][: 1 + split]
    if split:
        assert found[0].top_mps == pytest.approx(at_mps, abs=0.8)
        assert found[0].end_s == found[0].top_s == pytest.approx(up, abs=0.45)
        assert found[1].low_mps == pytest.approx(at_mps, abs=0.05)
        assert found[1].earliest_s == found[1].latest_s
        assert found[1].top_mps == pytest.approx(8.0)


def test_slow_logs_need_a_longer_crawl() -> None:
    """At a fix a second two intervals count: 1.5 s of a crawl are two fixes alike."""
    for crawl_s, parts in ((1.0, 1), (4.0, 2)):
        up = 6.0
        knots = [(0.0, 0.0), (4.0, 0.0), (up, 3.0), (up + crawl_s, 3.0),
                 (up + crawl_s + 4.0, 9.0), (up + crawl_s + 9.0, 9.0)]  # fmt: skip
        assert len(find_runs(known_motion(knots, rate_hz=1.0))) == parts


def test_a_long_run_is_looked_through_to_its_end() -> None:
    """60 s at 20 Hz are more than two of the spans that are looked through at first."""
    knots = [(0.0, 0.0), (4.0, 0.0), (54.0, 10.0), (64.0, 10.0), (66.0, 6.0), (70.0, 6.0)]
    (run,) = find_runs(known_motion(knots, rate_hz=20.0))
    assert run.top_mps == pytest.approx(10.0) and run.end_s == pytest.approx(64.8, abs=0.06)


@pytest.mark.parametrize(("flag", "source", "share", "kept"), [
    (Flag.JUMP, "reported", 0.30, True), (Flag.JUMP, "reported", 0.38, False),
    (Flag.SPEED_JUMP, "reported", 0.38, False), (Flag.POOR_GEOMETRY, "reported", 0.9, True),
    (Flag.POOR_GEOMETRY, "positions", 0.30, True), (Flag.POOR_GEOMETRY, "positions", 0.38, False),
])  # fmt: skip
def test_a_run_is_believed_up_to_a_third_of_bad_fixes(
    flag: Flag, source: str, share: float, kept: bool
) -> None:
    """Of the fixes on the way up, faster than a stand: those from 10.2 to 14 s."""
    motion = start(speed_source=source)
    rows = np.flatnonzero((motion.track.time_s > 10.15) & (motion.track.time_s < 14.05))
    flags = motion.flags.copy()
    flags[rows[: round(share * len(rows))]] |= np.uint32(flag)
    # Of the stand it says nothing.
    flags[motion.track.time_s < 9.0] |= np.uint32(Flag.JUMP)
    assert bool(find_runs(replace(motion, flags=flags))) is kept


@pytest.mark.parametrize(("share", "kept"), [(0.15, True), (0.25, False)])
def test_a_fifth_of_it_may_be_settling(share: float, kept: bool) -> None:
    motion = start()
    rows = motion.known_between(
        *[getattr(find_runs(motion)[0], k) for k in ("earliest_s", "top_s")]
    )
    flags = motion.flags.copy()
    flags[rows[: round(share * len(rows))]] |= np.uint32(Flag.SETTLING)
    assert bool(find_runs(replace(motion, flags=flags))) is kept


def test_a_run_must_end_its_beginning_after_the_receiver_settled() -> None:
    assert find_runs(start(settled_s=10.9)) and not find_runs(start(settled_s=11.2))


def test_excluded_stretches_hold_no_run() -> None:
    motion = start()
    (run,) = find_runs(motion)
    assert find_runs(motion, excluded=((0.0, run.earliest_s),)) == (run,)
    assert find_runs(motion, excluded=((run.end_s, 99.0),)) == (run,)
    assert not find_runs(motion, excluded=((0.0, run.earliest_s + 0.1),))
    assert not find_runs(motion, excluded=((run.end_s - 0.1, 99.0),))


@pytest.mark.parametrize(("moved_m", "stood"), [(1.2, True), (1.7, False)])
def test_a_place_that_changed_was_no_stand(moved_m: float, stood: bool) -> None:
    """Over 5.2 s 0.2 m/s, twice a noise of 0.1 m and 0.3 m: 1.54 m; the last 3 s alone 1.1 m."""
    motion = start()
    time_s = motion.track.time_s
    # All of it in the last second: the last three seconds moved as much.
    slid = moved_m * np.clip(time_s - 9.0, 0.0, 1.0)
    found = find_runs(replace(motion, east_m=motion.east_m + slid))
    assert any(run.standing for run in found) is stood


@pytest.mark.parametrize(("sd_mps", "crawl_mps", "stands"), [
    (0.02, 0.24, True), (0.02, 0.27, False), (0.2, 0.38, True), (0.2, 0.42, False),
    (0.4, 0.48, True), (0.4, 0.52, False),
])  # fmt: skip
def test_how_slow_is_standing_goes_with_what_is_known(
    sd_mps: float, crawl_mps: float, stands: bool
) -> None:
    """0.25 m/s, or two deviations of the speed, 0.5 m/s at the most."""
    motion = known_motion(
        [(0.0, crawl_mps), (4.0, crawl_mps), (7.9, 8.0), (12.0, 8.0)], sd_mps=sd_mps
    )
    # What the smoother tells of the speed; it stayed where it was.
    still = replace(motion, north_m=np.where(motion.track.time_s < 4.05, 0.0, motion.north_m))
    assert any(run.standing for run in find_runs(still)) is stands


def test_of_many_rolling_runs_sixteen_are_drawn_as_far_as_they_are_used() -> None:
    knots = [(0.0, 2.0)]
    for number in range(20):
        at_s = 12.0 * number
        knots += [(at_s + 3.0, 2.0), (at_s + 6.0, 8.0), (at_s + 9.0, 8.0), (at_s + 12.0, 2.0)]
    motion = known_motion(knots)
    assert len(find_runs(motion)) == 20
    drawn = draw_runs(motion)
    assert len(drawn) == 16
    first = drawn[0]
    assert (drawn[0].run, drawn[-1].run) == (find_runs(motion)[0], find_runs(motion)[-1])
    # To 0.95 of 8 m/s at 5.8 s, and 1.5 s beyond.
    assert first.time_s[-1] == pytest.approx(5.8 + 1.5, abs=0.15)
    assert first.time_s[1] - first.time_s[0] == pytest.approx(0.05)
    assert first.passes(np.array([5.0]))[0, 0] == pytest.approx(4.5, abs=0.01)
    assert first.covers(0.0, first.gone_m())[0] == first.run.earliest_s
    # At 2 m/s until 3 s, then 5 m at 2 m/s²: v² = 4 + 2 x 2 x 5.
    steady_m = 2.0 * (3.0 - first.run.earliest_s)
    gone = first.speed_at(first.covers(steady_m + 5.0, first.gone_m()))[0]
    assert gone == pytest.approx(np.sqrt(24.0), abs=0.05)


def paused(speed_mps: float, *, lasts_s: float = 3.0, gain_mps2: float = 0.0) -> Any:
    """Return a run to 8 m/s at 1.5 m/s² that goes over into a crawl on its way; then it brakes."""
    begins_s = speed_mps / 1.5
    goes_on_s = begins_s + lasts_s
    rest_mps = 8.0 - speed_mps - gain_mps2 * lasts_s
    ends_s = goes_on_s + rest_mps / 1.5
    time_s = 0.1 * np.arange(round(10.0 * ends_s) + 20)
    knots = [(0.0, 0.0), (begins_s, speed_mps), (goes_on_s, 8.0 - rest_mps), (ends_s, 8.0),
             (ends_s + 0.8, 0.0)]  # fmt: skip
    speed = np.interp(time_s, *np.array(knots).T)
    return SimpleNamespace(time_s=time_s, speed=speed, limit=np.full(len(time_s), 0.1),
                           begins_s=begins_s, goes_on_s=goes_on_s)  # fmt: skip


@pytest.mark.parametrize(("run", "found"), [
    # Below half of the highest speed, for a second and a half, with a quarter of the best gain.
    (paused(3.9), True), (paused(4.1), False), (paused(2.0), True),
    (paused(3.0, lasts_s=1.7), True), (paused(3.0, lasts_s=0.9), False),
    (paused(2.0, gain_mps2=0.3), True), (paused(2.0, gain_mps2=0.45), False),
    # Where the speed lingers near zero it is the start itself.
    (paused(0.15), False),
])  # fmt: skip
def test_a_run_goes_over_into_a_crawl_and_pulls_on(run: Any, found: bool) -> None:
    top = int(run.speed.argmax())
    dwell = _dwell(run, 0, top, 10.0)
    assert (dwell is not None) is found
    if dwell is not None:
        first, last = (run.time_s[k] for k in dwell)
        # Windows of 1.5 s a quarter of which is still the run, at either end.
        assert run.begins_s - 0.4 <= first <= run.begins_s + 0.1
        assert first <= last <= run.goes_on_s
