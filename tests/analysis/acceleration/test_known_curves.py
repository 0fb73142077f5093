"""The pull of runs whose speed over time is known: a over v by hand, (1) to (3) of acceleration.

At v the acceleration is 1 m/s over the time from v - 0.5 to v + 0.5 m/s: of a pull that falls in a
line, v' = A - k v, it is k / ln((A - k (v - 0.5)) / (A - k (v + 0.5))).
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.acceleration.measure import AccelerationCurve, measure_acceleration
from ridelog.analysis.acceleration.runs import RunDraws
from ridelog.core.track import FloatArray

TIME_S = np.arange(0.0, 12.0, 0.05)


def pulled(
    pull: float, falls: float = 0.0, *, course_deg: float = 0.0, standing: bool = True,
    low_mps: float = 0.0, spread: float = 0.02, top_mps: float = 9.0,
) -> RunDraws:  # fmt: skip
    """Return a start whose draws pull a little less and a little more; or a rolling run."""
    share = np.resize([1.0 - spread, 1.0 + spread], 300)
    share = share if standing else np.append(1.0, share)
    force = pull * share
    if falls:
        speed = low_mps + (force / falls - low_mps) * (1.0 - np.exp(-falls * TIME_S[:, None]))
    else:
        speed = low_mps + force * TIME_S[:, None]
    speed = np.minimum(speed, top_mps)
    run: Any = SimpleNamespace(
        standing=standing, top_mps=float(speed.max()), low_mps=low_mps,
        course_rad=np.radians(course_deg),
    )  # fmt: skip
    return RunDraws(run, np.zeros(len(force)), TIME_S, speed, 0.0)


def value(curve: AccelerationCurve, speed: float) -> float:
    found = curve.at(speed)
    assert found is not None
    return found.value


def test_an_even_pull_is_level() -> None:
    curve = measure_acceleration((pulled(2.0),))
    assert curve.reason == "" and curve.runs_used == 1 and not curve.both_ways
    assert curve.direction_difference_mps2 is None
    speeds = [one.speed_mps for one in curve.curve]
    # From where the throttle is open, 0.75 m/s and half a step; up to a share of the top.
    assert 1.25 <= speeds[0] <= 1.5 and 7.0 < speeds[-1] < 8.5
    for one in curve.curve:
        assert one.accel_mps2.value == pytest.approx(2.0, abs=0.01) and one.runs == 1
        # 2 % less and more of it.
        assert one.accel_mps2.high == pytest.approx(2.0 * (1.0 + 1.645 * 0.02), abs=0.01)
    assert curve.standing_mps2 is not None
    assert curve.standing_mps2.value == pytest.approx(2.0, abs=0.01)
    assert curve.at(speeds[0] - 0.01) is None and curve.at(speeds[-1] + 0.01) is None
    assert value(curve, 3.3) == pytest.approx(2.0, abs=0.01)
    assert curve.peak_power_speed_mps is None
    assert curve.peak_power_reason.startswith("the power still rises")


@pytest.mark.parametrize(("pull", "falls"), [(3.0, 0.4), (2.5, 0.25)])
def test_a_pull_that_falls_with_speed(pull: float, falls: float) -> None:
    curve = measure_acceleration((pulled(pull, falls),))
    for one in curve.curve:
        v = one.speed_mps
        wanted = falls / np.log((pull - falls * (v - 0.5)) / (pull - falls * (v + 0.5)))
        assert one.accel_mps2.value == pytest.approx(wanted, rel=0.02, abs=0.03)
    speeds = np.linspace(2.0, 5.0, 7)
    sharp = curve.sharp(speeds)[:, 0]
    assert sharp == pytest.approx(pull - falls * speeds, rel=0.02)
    # Power is highest at half of the speed at which the pull has gone.
    half = 0.5 * pull / falls
    if half < curve.curve[-1].speed_mps - 1.0:
        assert curve.peak_power_speed_mps is not None
        assert curve.peak_power_speed_mps.value == pytest.approx(half, abs=0.55)
    from_to = (pull - falls * 1.0) / (pull - falls * 2.5)
    assert curve.standing_mps2 is not None
    assert curve.standing_mps2.value == pytest.approx(1.5 * falls / np.log(from_to), rel=0.02)


def test_both_directions_weigh_the_same() -> None:
    """Two there at 2.2 and 2.4 m/s², one back at 1.8: the quotient of the mean time of each."""
    runs = (pulled(2.2), pulled(2.4), pulled(1.8, course_deg=180.0))
    curve = measure_acceleration(runs)
    there = 1.0 / np.mean([1.0 / 2.2, 1.0 / 2.4])
    assert curve.both_ways and curve.runs_used == 3 and curve.runs_left_out == 0
    assert value(curve, 4.0) == pytest.approx(0.5 * (there + 1.8), abs=0.01)
    difference = curve.direction_difference_mps2
    assert difference is not None and difference.value == pytest.approx(there - 1.8, abs=0.01)
    # A gentle run and one across the way do not make two directions.
    gentle = measure_acceleration((*runs[:2], pulled(1.5, course_deg=180.0)))
    assert gentle.runs_left_out == 1 and not gentle.both_ways
    across = measure_acceleration((*runs[:2], pulled(2.0, course_deg=60.0)))
    assert not across.both_ways


def test_rolling_runs_tell_speeds_above_their_beginning() -> None:
    curve = measure_acceleration((pulled(2.0, standing=False, low_mps=3.0),))
    assert curve.curve[0].speed_mps >= 3.0 + 0.75 + 0.5 - 0.3
    assert value(curve, 6.0) == pytest.approx(2.0, abs=0.01)
    # The first speed of the curve has a pull as well as those above it.
    assert value(curve, curve.curve[0].speed_mps) == curve.curve[0].accel_mps2.value
    assert curve.standing_mps2 is None


@pytest.mark.parametrize(("pull", "told"), [(9.7, True), (10.6, False)])
def test_no_tyre_pulls_harder_than_ten(pull: float, told: bool) -> None:
    curve = measure_acceleration((pulled(pull),))
    assert bool(curve.curve) is told
    assert told or curve.reason == "the fixes of the runs do not tell their acceleration"


def test_nothing_gives_a_reason() -> None:
    none = measure_acceleration(())
    assert none.reason == "the ride holds no run that gains 7 km/h (4 mph) or more"
    assert none.columns_at(3.0).shape == (3,) and np.isnan(none.columns_at(3.0)).all()
    assert none.peak_power_reason == none.reason
    slow = measure_acceleration((pulled(2.0, top_mps=1.5),))
    assert slow.reason == "no run goes fast enough for a curve" and slow.curve == ()
    short = measure_acceleration((pulled(2.0, top_mps=3.2),))
    assert short.peak_power_reason.startswith("the curve is too short")


def made(speeds: FloatArray, accel: FloatArray) -> AccelerationCurve:
    return AccelerationCurve(speed_mps=speeds, columns=np.repeat(accel[:, None], 5, axis=1))


def test_between_speeds_on_straight_lines() -> None:
    curve = made(np.array([1.0, 2.0, 3.0, 4.0]), np.array([4.0, 3.0, np.nan, 1.0]))
    assert curve.columns_at(1.25) == pytest.approx(np.full(5, 3.75))
    assert curve.columns_at(2.0) == pytest.approx(np.full(5, 3.0))
    assert curve.columns_at(1.0) == pytest.approx(np.full(5, 4.0))
    # Beside a hole too a speed of the curve has its own pull.
    assert curve.columns_at(4.0) == pytest.approx(np.full(5, 1.0))
    for unknown in (0.9, 2.5, 3.0, 3.5, 4.1):
        assert np.isnan(curve.columns_at(unknown)).all()
    # Sharp curves leave out what is not known; of one speed alone there is none.
    assert np.isfinite(curve.sharp(np.array([1.5, 3.5]))).all()
    assert np.isnan(curve.sharp(np.array([0.5, 4.5]))).all()
    assert np.isnan(made(np.array([1.0]), np.array([2.0])).sharp(np.array([1.0]))).all()
