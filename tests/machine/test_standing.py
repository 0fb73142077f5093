"""Standing starts at constant acceleration, whose times and distances are known by formula.

v = a t and s = v² / (2 a), any textbook of mechanics.
"""

import numpy as np
import pytest

from ridelog.machine.standing import PossibleLaunch

ACCEL = np.array([2.0, 3.0])


@pytest.fixture
def even() -> PossibleLaunch:
    speed = np.tile(np.linspace(0.0, 9.0, 901), (2, 1))
    limit = np.where(speed < 3.0, 3, np.where(speed < 7.0, 1, 0))
    return PossibleLaunch(
        speed, speed / ACCEL[:, None], speed**2 / (2.0 * ACCEL[:, None]), limit, np.full(2, 9.045)
    )


def test_times_to_a_speed_and_between_two(even: PossibleLaunch) -> None:
    assert even.time_to_speed_s(5.005) == pytest.approx(5.005 / ACCEL)
    assert even.window_s(0.0, 6.0) == pytest.approx(6.0 / ACCEL)
    assert even.window_s(2.0, 6.0) == pytest.approx(4.0 / ACCEL)
    # However slow: only from rest the start itself counts.
    assert even.window_s(0.5, 6.0) == pytest.approx(5.5 / ACCEL)
    assert even.time_to_speed_s(9.0) == pytest.approx(9.0 / ACCEL)
    assert np.isnan(even.time_to_speed_s(9.01)).all()


@pytest.mark.parametrize("distance_m", [0.5, 4.0, 13.0])
def test_times_and_speeds_over_a_distance(even: PossibleLaunch, distance_m: float) -> None:
    assert even.time_to_distance_s(distance_m) == pytest.approx(
        np.sqrt(2.0 * distance_m / ACCEL), rel=1e-4
    )
    assert even.speed_at_distance_mps(distance_m) == pytest.approx(
        np.sqrt(2.0 * distance_m * ACCEL), rel=1e-4
    )


def test_beyond_its_grid_it_goes_on_at_its_last_speed(even: PossibleLaunch) -> None:
    end = 81.0 / (2.0 * ACCEL)
    assert even.time_to_distance_s(30.0) == pytest.approx(9.0 / ACCEL + (30.0 - end) / 9.0)
    assert even.speed_at_distance_mps(30.0) == pytest.approx([9.0, 9.0])


@pytest.mark.parametrize(
    ("window", "limit"),
    [((0.0, 9.0), 1), ((0.0, 5.9), 3), ((0.0, 6.1), 1), ((4.9, 9.0), 1), ((6.0, 9.0), 0)],
)
def test_what_holds_it_back_for_the_longer_time(
    even: PossibleLaunch, window: tuple[float, float], limit: int
) -> None:
    """Speeds below 3, 3 to 7 and from 7 m/s on; at constant acceleration times are as speeds."""
    assert even.longest_limit(*window).tolist() == [limit, limit]
