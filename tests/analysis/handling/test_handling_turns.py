"""Lateral load and radius of turns on simulated rides whose truth is known."""

import numpy as np
import pytest
from handling_rides import turning_ride
from labelled_rides import RandomRide, finish
from log_in_memory import to_track
from receiver_presets import preset
from simulate import RideLayout
from simulate.truth import STEP_S, running_integral

from ridelog.analysis.handling.turns import _turns, least_duration_s, measure_turns, turns_of
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion


def logged(ride: RandomRide, rate_hz: float, *, speed: bool = True, seed: int = 7) -> Motion:
    rng = np.random.default_rng(seed)
    receiver = preset("clean", rate_hz, rng, reports_speed=speed)
    return estimate_motion(to_track(receiver.observe(ride.truth, rng)))


def ride_with_turns(*turns: tuple[float, float, float]) -> RandomRide:
    """Return a ride with turns of (speed, angle, radius) between straights."""
    ride = RideLayout()
    ride.stand(5.0)
    for speed_mps, angle_rad, radius_m in turns:
        ride.shift(speed_mps)
        ride.hold(4.0)
        ride.turn(angle_rad, radius_m)
    ride.hold(4.0)
    ride.shift(0.0)
    ride.stand(5.0)
    return finish(ride, np.random.default_rng(1))


def best_lateral_mps2(ride: RandomRide, window_s: float) -> float:
    lateral = running_integral(ride.truth.velocity_mps * ride.truth.yaw_rate_radps)
    width = round(window_s / STEP_S)
    return float(np.abs(lateral[width:] - lateral[:-width]).max() / window_s)


@pytest.mark.parametrize(
    ("rate_hz", "speed", "within"),
    [(10.0, True, 0.15), (5.0, True, 0.25), (10.0, False, 0.3), (1.0, True, 0.5)],
)
def test_the_hardest_turn(rate_hz: float, speed: bool, within: float) -> None:
    ride = ride_with_turns((3.0, 2.5, 6.0), (4.0, -3.1, 4.0), (4.5, 2.0, 9.0))
    found = measure_turns(logged(ride, rate_hz, speed=speed))
    true = best_lateral_mps2(ride, found.lateral_window_s)
    assert found.lateral_window_s == (1.0 if rate_hz >= 5.0 else 2.0)
    assert found.max_lateral_accel_mps2 is not None, found.lateral_reason
    assert abs(found.max_lateral_accel_mps2.value - true) < within
    assert found.max_lateral_accel_mps2.low - 0.1 < true < found.max_lateral_accel_mps2.high + 0.1
    assert found.min_turn_radius_m is not None
    assert found.min_turn_radius_m.value == pytest.approx(4.0, rel=0.1)
    assert [np.sign(turn.angle_rad) for turn in found.turns] == [1.0, -1.0, 1.0]
    assert found.turns_seen == 3
    assert (found.lateral_reason, found.radius_reason) == ("", "")


def test_the_raw_peak_is_never_the_figure() -> None:
    """Differenced course times speed, the log's own highest reading, lies far above."""
    ride = ride_with_turns((4.0, 6.0, 4.0), (4.0, -6.0, 4.0))
    motion = logged(ride, 10.0)
    track = motion.track
    course = np.unwrap(track.course_rad[track.speed_mps > 2.0])
    raw = np.max(np.abs(np.diff(course)) * 10.0) * 4.0
    found = measure_turns(motion).max_lateral_accel_mps2
    assert found is not None
    assert raw > 1.25 * best_lateral_mps2(ride, 1.0)
    assert found.high < 1.1 * best_lateral_mps2(ride, 1.0)


def test_turns_too_short_give_null_with_the_reason() -> None:
    ride = ride_with_turns((4.0, 1.2, 4.0), (4.0, -1.2, 4.0))
    found = measure_turns(logged(ride, 1.0))
    assert found.max_lateral_accel_mps2 is None and found.min_turn_radius_m is None
    assert found.lateral_reason.startswith("the longest turn lasted ")
    assert found.lateral_reason.endswith(
        "a log of 1 fixes a second can measure turns of 3.9 s and more"
    )
    assert all(turn.lateral_accel_mps2 is None and turn.radius_m is None for turn in found.turns)
    assert "less than the 3.9 s that this log needs" in found.turns[0].reason
    # The same turns last long enough for ten fixes a second.
    assert measure_turns(logged(ride, 10.0)).max_lateral_accel_mps2 is not None


def test_a_short_turn_that_may_be_the_hardest_forbids_a_figure() -> None:
    ride = ride_with_turns((2.5, 3.1, 6.0), (4.5, -1.3, 4.0), (2.5, 3.1, 6.0))
    found = measure_turns(logged(ride, 1.0))
    assert found.max_lateral_accel_mps2 is None
    assert found.lateral_reason.startswith("the hardest turn may be one of ")
    assert [turn.lateral_accel_mps2 is None for turn in found.turns] == [False, True, False]


def test_no_turn_no_figure() -> None:
    ride = RideLayout()
    ride.stand(5.0)
    ride.shift(6.0)
    ride.hold(10.0)
    ride.shift(0.0)
    ride.stand(5.0)
    motion = logged(finish(ride, np.random.default_rng(1)), 10.0)
    found = measure_turns(motion)
    assert (found.max_lateral_accel_mps2, found.min_turn_radius_m, found.turns_seen) == (
        None,
        None,
        0,
    )
    assert found.lateral_reason == "the ride holds no turn of 15 degrees or more that the log shows"


def test_positions_need_longer_turns_the_noisier_they_are() -> None:
    ride = ride_with_turns((3.0, 3.1, 5.0))
    by_speed = least_duration_s(logged(ride, 5.0))
    by_position = least_duration_s(logged(ride, 5.0, speed=False))
    coarse = least_duration_s(logged(ride, 2.0, speed=False))
    assert by_speed == 1.5
    assert by_speed < by_position < coarse


def test_what_is_left_out_holds_no_turn() -> None:
    ride = ride_with_turns((3.0, 3.1, 5.0), (3.0, 3.1, 5.0))
    motion = logged(ride, 10.0)
    first, second = turns_of(motion)
    only = measure_turns(motion, excluded=((first.start_s - 1.0, first.end_s),))
    assert [turn.start_s for turn in only.turns] == [second.start_s]


def test_turning_the_map_changes_nothing() -> None:
    """The figures do not depend on which way the ride lies."""
    ride = ride_with_turns((4.0, 3.1, 4.0))
    motion = logged(ride, 10.0)
    found = measure_turns(motion).max_lateral_accel_mps2
    rng = np.random.default_rng(7)
    turned = RideLayout(heading_rad=1.0)
    turned.stand(5.0)
    turned.shift(4.0)
    turned.hold(4.0)
    turned.turn(3.1, 4.0)
    turned.hold(4.0)
    turned.shift(0.0)
    turned.stand(5.0)
    other_ride = finish(turned, np.random.default_rng(1))
    receiver = preset("clean", 10.0, rng)
    other = measure_turns(
        estimate_motion(to_track(receiver.observe(other_ride.truth, rng)))
    ).max_lateral_accel_mps2
    assert found is not None and other is not None
    assert found.value == pytest.approx(other.value, abs=0.1)


def test_random_rides_hold_on_average() -> None:
    """Two rides; the suite on request measures the share over hundreds."""
    held = total = 0
    for number in range(2):
        ride = turning_ride(np.random.default_rng([3, number]))
        lateral = running_integral(ride.truth.velocity_mps * ride.truth.yaw_rate_radps)
        means = np.abs(lateral[100:] - lateral[:-100])
        assert STEP_S == 0.01
        for turn in measure_turns(logged(ride, 10.0, seed=number)).turns:
            if turn.lateral_accel_mps2 is None:
                continue
            inside = slice(round(100 * turn.start_s - 50), round(100 * turn.end_s - 50))
            total += 1
            held += (
                turn.lateral_accel_mps2.low <= means[inside].max() <= turn.lateral_accel_mps2.high
            )
    assert total > 10
    assert held / total > 0.75


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize(("degrees", "turns"), [(14.5, 0), (15.5, 1), (40.0, 1)])
def test_what_swings_by_fifteen_degrees_is_a_turn(side: float, degrees: float, turns: int) -> None:
    """A course that swings at 0.4 rad/s from 5 s on, at 3 m/s: lateral 1.2 m/s², radius 7.5 m."""
    angle = np.radians(degrees)
    time_s = np.arange(0.0, 12.0, 0.02)
    course = side * np.clip(0.4 * (time_s - 5.0), 0.0, angle)
    found = _turns(time_s, course, np.full(len(time_s), 3.0))
    assert len(found) == turns
    for turn in found:
        assert turn.angle_rad == pytest.approx(side * angle, rel=1e-3)
        # The swing is averaged over 0.6 s, and counts from a quarter of its size.
        assert turn.start_s == pytest.approx(5.0 - 0.15, abs=0.101)
        assert turn.end_s == pytest.approx(5.0 + angle / 0.4 + 0.15, abs=0.101)
        assert turn.speed_mps == pytest.approx(3.0)
        assert turn.rough_lateral_mps2 == pytest.approx(1.2)
        assert turn.rough_radius_m == pytest.approx(7.5)
