"""How far bare positions wander, as even riding shows it."""

from pathlib import Path

import numpy as np
import pytest
from log_in_memory import to_track
from random_rides import out_and_back
from simulate.tracking import TrackingReceiver, Tuning

from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.track import FloatArray
from ridelog.filtering.receiver.wander import (
    _bend_in_motion,
    position_wander,
    wander_at_slow_pace,
    wander_of_few,
)
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

WALKING = Path("../shared/real-tracks/truth-walkpace-2hz5/walkpace-2hz5-a.gpx")


def _ridden(walk_m: float, white_m: float, interval_s: float, *, seed: int = 1) -> FloatArray:
    """Return a steady ride with a bend now and then, and errors of known size."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, 600.0, interval_s)
    speed = 6.0 + 2.0 * np.sin(time_s / 4.0) * (np.sin(time_s / 40.0) > 0.3)
    way = np.cumsum(speed) * interval_s
    position = np.stack([way, 0.1 * way], axis=1) + white_m * rng.standard_normal((len(way), 2))
    fresh = walk_m * interval_s**0.5 * rng.standard_normal((len(way), 2))
    walked: FloatArray = position + np.cumsum(fresh, axis=0)
    return walked


@pytest.mark.parametrize("interval_s", [0.1, 0.2, 0.4])
@pytest.mark.parametrize("walk_m", [0.1, 0.4])
def test_a_known_walk_is_found(walk_m: float, interval_s: float) -> None:
    position = _ridden(walk_m, 0.02, interval_s)
    found = position_wander(position, np.zeros(len(position) - 1, dtype=bool), interval_s, 0.0)
    assert found == pytest.approx(walk_m, rel=0.15)


@pytest.mark.parametrize("interval_s", [0.1, 0.2, 0.4])
def test_white_errors_show_none(interval_s: float) -> None:
    position = _ridden(0.0, 0.012, interval_s)
    breaks = np.zeros(len(position) - 1, dtype=bool)
    assert position_wander(position, breaks, interval_s, 0.0) == 0.0


@pytest.mark.parametrize("interval_s", [0.1, 0.2, 0.4])
@pytest.mark.parametrize("walk_m", [0.0, 0.06])
def test_large_white_errors_hide_a_wander(walk_m: float, interval_s: float) -> None:
    position = _ridden(walk_m, 0.3, interval_s)
    breaks = np.zeros(len(position) - 1, dtype=bool)
    assert np.isnan(position_wander(position, breaks, interval_s, 0.0))


@pytest.mark.parametrize("interval_s", [0.1, 0.2])
def test_a_short_log_shows_its_walk_roughly(interval_s: float) -> None:
    """Pieces of 5 s, the wander of one known only to its size: their mean square is that walk's."""
    position = _ridden(0.4, 0.02, interval_s)
    many = round(5.0 / interval_s)
    breaks = np.zeros(many - 1, dtype=bool)
    pieces = position[: len(position) // many * many].reshape(-1, many, 2)
    found = [wander_of_few(piece, breaks, interval_s, 0.0) for piece in pieces]
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(0.4, rel=0.35)
    assert all(np.isnan(position_wander(piece, breaks, interval_s, 0.0)) for piece in pieces)


def test_only_a_short_log_is_told_by_a_few_stretches() -> None:
    position, breaks = _ridden(0.4, 0.02, 0.1), np.zeros(5999, dtype=bool)
    assert wander_of_few(position, breaks, 0.1, 0.0) == 0.0
    # Three differences of four intervals each: five stretches take 17 fixes.
    assert wander_of_few(position[:17], breaks[:16], 0.1, 0.0) > 0.0
    assert wander_of_few(position[:16], breaks[:15], 0.1, 0.0) == 0.0
    assert wander_of_few(position[:60], breaks[:59], 0.5, 0.0) == 0.0


def test_the_seventh_digit_hides_a_wander() -> None:
    """Six decimals of a degree are steps of 0.11 m, by which a ride of 0.1 s a fix is rounded."""
    position = np.round(_ridden(0.05, 0.01, 0.1) / 0.11) * 0.11
    breaks = np.zeros(len(position) - 1, dtype=bool)
    assert np.isnan(position_wander(position, breaks, 0.1, 0.11))


@pytest.mark.parametrize(
    ("interval_s", "step_m", "count"), [(1.0, 0.0, 600), (0.1, 1.1, 600), (0.1, 0.0, 60)]
)
def test_a_log_that_cannot_tell(interval_s: float, step_m: float, count: int) -> None:
    position = _ridden(0.2, 0.02, interval_s)[:count]
    breaks = np.zeros(len(position) - 1, dtype=bool)
    assert np.isnan(position_wander(position, breaks, interval_s, step_m))


def test_bare_positions_once_a_second_are_not_good() -> None:
    rng = np.random.default_rng(3)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=8.0, passes=2)
    receiver = TrackingReceiver(1.0, 10.0, Tuning(), reports_speed=False)
    signal = judge_signal(estimate_motion(to_track(receiver.observe(ride.truth, rng))))
    assert signal.grade == "fair"
    assert "nothing in the log tells how far they wander" in signal.verdict


def _walked(
    walk_m: float, white_m: float, interval_s: float, *, pace_mps: float, seed: int = 5
) -> FloatArray:
    """Return a straight ride with a hand that steers about it, and errors of known size."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, 300.0, interval_s)
    # A heading that sways by two degrees every three seconds.
    aside = pace_mps * 0.035 * 2.0**0.5 * 3.0 / (2.0 * np.pi) * np.sin(2.0 * np.pi * time_s / 3.0)
    position = np.stack([pace_mps * time_s, aside], axis=1)
    position = position + white_m * rng.standard_normal(position.shape)
    fresh = walk_m * interval_s**0.5 * rng.standard_normal(position.shape)
    walked: FloatArray = position + np.cumsum(fresh, axis=0)
    return walked


@pytest.mark.parametrize("interval_s", [0.1, 0.4, 0.8])
@pytest.mark.parametrize("walk_m", [0.3, 0.6])
def test_a_known_walk_is_found_at_a_slow_pace(walk_m: float, interval_s: float) -> None:
    # Read low: what a hand may steer is taken off, and the lesser of two directions is taken.
    found = []
    for seed in range(11):
        position = _walked(walk_m, 0.05, interval_s, pace_mps=1.0, seed=seed)
        breaks = np.zeros(len(position) - 1, dtype=bool)
        found.append(wander_at_slow_pace(position, breaks, interval_s, 0.0))
    assert 0.7 * walk_m < np.median(found) < 1.1 * walk_m


@pytest.mark.parametrize(("white_m", "pace_mps"), [(0.05, 1.0), (0.05, 1.4), (0.02, 1.0)])
def test_a_hand_that_steers_is_no_wander(white_m: float, pace_mps: float) -> None:
    position = _walked(0.0, white_m, 0.4, pace_mps=pace_mps)
    breaks = np.zeros(len(position) - 1, dtype=bool)
    assert wander_at_slow_pace(position, breaks, 0.4, 0.0) == 0.0


@pytest.mark.parametrize(
    ("pace_mps", "step_m", "seconds", "interval_s"),
    [
        (4.0, 0.0, 300.0, 0.4),  # faster than a walk
        (1.0, 1.1, 300.0, 0.4),  # written in metres
        (1.0, 0.0, 60.0, 0.4),  # too short
        (1.0, 0.0, 300.0, 2.5),  # fixes too far apart
    ],
)
def test_what_tells_nothing_of_a_wander_at_a_slow_pace(
    pace_mps: float, step_m: float, seconds: float, interval_s: float
) -> None:
    position = _walked(0.6, 0.05, interval_s, pace_mps=pace_mps)[: round(seconds / interval_s)]
    breaks = np.zeros(len(position) - 1, dtype=bool)
    assert wander_at_slow_pace(position, breaks, interval_s, step_m) == 0.0


@pytest.mark.parametrize(
    ("interval_s", "step_m", "count", "tells"),
    [
        (0.42, 0.0, 600, True), (0.43, 0.0, 600, False),
        (0.1, 0.12, 600, True), (0.1, 0.121, 600, False),
        # A hundred stretches of three times 0.4 s.
        (0.1, 0.0, 112, True), (0.1, 0.0, 111, False),
    ],
)  # fmt: skip
def test_how_often_how_finely_and_how_long_a_wander_shows(
    interval_s: float, step_m: float, count: int, tells: bool
) -> None:
    position = _ridden(1.0, 0.001, interval_s)[:count]
    found = position_wander(position, np.zeros(count - 1, dtype=bool), interval_s, step_m)
    assert np.isfinite(found) is np.bool_(tells)


@pytest.mark.parametrize(("white_m", "hides"), [(0.017, False), (0.0235, True)])
def test_what_white_errors_may_hide(white_m: float, hides: bool) -> None:
    """A third difference has 20 variances; 0.3 of them over 1.2 s are 0.045 m in 0.0201 m."""
    found = []
    for seed in range(5):
        position = _ridden(0.0, white_m, 0.1, seed=seed)
        found.append(position_wander(position, np.zeros(len(position) - 1, dtype=bool), 0.1, 0.0))
    assert [bool(np.isnan(each)) for each in found] == [hides] * 5


@pytest.mark.parametrize(
    ("changes", "tells"),
    [
        # Eight stretches side by side of three times 3.2 s.
        ({"count": 216}, True), ({"count": 215}, False),
        ({"pace_mps": 1.6}, True), ({"pace_mps": 1.8}, False),
        ({"pace_mps": 0.36}, True), ({"pace_mps": 0.25}, False),
        # Half of the travel at least, the rest at 4 m/s.
        ({"fast": 0.4}, True), ({"fast": 0.6}, False),
        # 60 degrees from the first third to the last.
        ({"turn_rad": 0.06}, True), ({"turn_rad": 0.07}, False),
    ],
)  # fmt: skip
def test_slow_straight_and_long_riding_tells_of_a_wander(
    changes: dict[str, float], tells: bool
) -> None:
    chosen = {"count": 600.0, "pace_mps": 1.0, "fast": 0.0, "turn_rad": 0.0} | changes
    place = np.arange(int(chosen["count"]))
    pace = np.where(place < chosen["fast"] * len(place), 4.0, chosen["pace_mps"])
    course = chosen["turn_rad"] * place
    step = 0.4 * pace[:, None] * np.stack([np.sin(course), np.cos(course)], axis=1)
    walked = 0.03 * np.random.default_rng(2).standard_normal((len(place), 2))
    position = np.cumsum(step + walked, axis=0)
    found = _bend_in_motion(position, np.ones(len(place) - 1, dtype=bool), 8, 0.4)
    assert np.isfinite(found).all() is np.bool_(tells)
    if tells and chosen["turn_rad"] == 0.0:
        # The third difference of a walk over 3.2 s: 1 + 4 + 1 of its increments' variances.
        assert found[0] == pytest.approx(6.0 * 8.0 * 0.03**2, rel=0.6)
        assert found[1] == pytest.approx(chosen["pace_mps"], rel=0.15)


@pytest.mark.parametrize(
    ("interval_s", "step_m", "tells"),
    [(2.1, 0.0, True), (2.15, 0.0, False), (0.4, 0.12, True), (0.4, 0.121, False)],
)
def test_how_often_and_how_finely_slow_riding_is_seen(
    interval_s: float, step_m: float, tells: bool
) -> None:
    position = _walked(0.4, 0.02, interval_s, pace_mps=1.0)
    breaks = np.zeros(len(position) - 1, dtype=bool)
    assert (wander_at_slow_pace(position, breaks, interval_s, step_m) > 0.0) == tells


@pytest.mark.skipif(not WALKING.exists(), reason="the real logs are not beside here")
def test_a_walking_pace_seen_by_an_older_receiver_is_not_graded_good() -> None:
    """Wheels of 1.005 m/s at most; without care the positions read 1.8 in a narrow interval."""
    motion = estimate_motion(load_track(WALKING))
    top = measure_top_speed(motion).best_1s_mps
    assert top is not None
    assert judge_signal(motion).grade != "good"
    assert top.low < 1.3
