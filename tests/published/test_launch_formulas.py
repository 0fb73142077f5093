"""Rollout and constant acceleration against tables, through the code that times launches.

Sources: v² = 2 a s and s = a t² / 2 (any textbook of mechanics); the rollout of one foot (0.3048 m,
International yard and pound agreement, 1959) at constant acceleration, t = sqrt(2 x 0.3048 / a),
worked out from the same. Published rollouts of strong cars, 0.24 to 0.32 s (an encyclopedia's text
on drag racing; beams are printed as 7 in and as 12 in apart), are those of 6 to 11 m/s².
"""

import math

import numpy as np
import pytest

from ridelog.analysis.acceleration.runs import AccelerationRun, RunDraws
from ridelog.analysis.launches.measure import Launch, measure_launches
from ridelog.analysis.launches.windows import Window, parse_rollout, parse_window


def constant(accel_mps2: float, windows: tuple[Window, ...], rollout_m: float) -> Launch:
    """Return the launch of a machine that gains speed evenly from 0.37 s on, between instants."""
    start_s = 0.37
    time_s = np.arange(0.0, 12.0, 0.01)
    since = np.maximum(time_s - start_s, 0.0)[:, None] * np.ones(8)
    speed = accel_mps2 * since
    run = AccelerationRun(True, 0.0, 2.0, 0.0, 12.0, float(speed.max()), 12.0, 0.0)
    drawn = RunDraws(run, np.full(8, start_s), time_s, speed)
    found = measure_launches((drawn,), windows=windows, rollout_m=rollout_m)
    return found.launches[0]


def test_constant_acceleration_to_25_kmh() -> None:
    """a = 2 m/s², 25 km/h (6.944 m/s): t = 3.472 s, s = 12.06 m."""
    timed = constant(2.0, (parse_window("0-25 km/h"),), 0.0).windows[0]
    assert timed.time_s is not None and timed.length_m is not None
    assert timed.time_s.value == pytest.approx(3.472, abs=0.0005)
    assert timed.length_m.value == pytest.approx(12.06, abs=0.005)


@pytest.mark.parametrize(
    ("accel_mps2", "rollout_s", "speed_kmh"),
    [(1.0, 0.781, 2.81), (2.0, 0.552, 3.98), (3.0, 0.451, 4.87), (5.0, 0.349, 6.29)],
)
def test_one_foot_of_rollout(accel_mps2: float, rollout_s: float, speed_kmh: float) -> None:
    windows = (parse_window("0-25 km/h"), parse_window("0-1 ft"))
    plain = constant(accel_mps2, windows, 0.0)
    rolled = constant(accel_mps2, windows, parse_rollout("1 ft"))
    before, after = plain.windows[0].time_s, rolled.windows[0].time_s
    foot, exit_speed = plain.windows[1].time_s, plain.windows[1].exit_speed_mps
    assert before and after and foot and exit_speed
    # Within half a unit of the last digit, and the grid's hundredth of a second in curvature.
    assert before.value - after.value == pytest.approx(rollout_s, abs=0.0006)
    assert foot.value == pytest.approx(rollout_s, abs=0.0006)
    assert exit_speed.value * 3.6 == pytest.approx(speed_kmh, abs=0.008)


def test_strong_cars_roll_out_as_published() -> None:
    for accel, seconds in ((10.6, 0.24), (5.95, 0.32)):
        assert math.sqrt(2.0 * parse_rollout("1 ft") / accel) == pytest.approx(seconds, abs=0.005)
