"""What a measured ride tells: its top, its coast-down, and nothing of travel in reverse."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from simulate import Machine, RideLayout

from ridelog.analysis.ride import analyse
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.core.estimate import Estimate
from ridelog.core.geodesy import courses_apart_deg
from ridelog.filtering.motion import Motion, Paths, Piece
from ridelog.filtering.smoother import estimate_motion
from ridelog.machine.calibration_data import calibration_data_of, coasting_of, near_top_of


class _Steady:
    """A motion along east that gains 0.1 m/s², in two pieces with a gap between."""

    pieces = (Piece(0.0, 10.0), Piece(12.0, 30.0))

    def paths(self, start_s: float, end_s: float, *, spacing_s: float) -> Paths:
        middle = 0.5 * (start_s + end_s)
        assert any(p.start_s <= middle <= p.end_s for p in self.pieces), "asked inside the gap"
        time_s = np.linspace(start_s, end_s, round((end_s - start_s) / spacing_s) + 1)
        velocity = np.zeros((len(time_s), 2, 5))
        velocity[:, 0] = (5.0 + 0.1 * time_s)[:, None]
        return Paths(time_s, np.zeros_like(velocity), velocity, np.zeros_like(velocity))


def _top(at_s: float) -> TopSpeed:
    best = Estimate(7.0, 6.9, 7.1)
    told: dict[str, Any] = dict.fromkeys(TopSpeed.__dataclass_fields__)
    told |= {"best_1s_mps": best, "at_s": at_s, "two_way_runs": ()}
    return cast(TopSpeed, SimpleNamespace(**told))


@pytest.mark.parametrize("at_s", [11.5, 12.0, 12.9])
def test_a_gap_just_before_the_best_second_leaves_nothing(at_s: float) -> None:
    assert near_top_of(cast(Motion, _Steady()), _top(at_s)) == ()


@pytest.mark.parametrize("at_s", [13.2, 20.0, 29.0])
def test_speed_and_trend_of_the_last_seconds(at_s: float) -> None:
    (end,) = near_top_of(cast(Motion, _Steady()), _top(at_s))
    assert end.accel_mps2 == pytest.approx(0.1)
    assert end.speed_mps == pytest.approx(5.0 + 0.1 * (at_s - 0.25), abs=0.06)


@pytest.fixture(scope="module")
def ride() -> MeasuredRide:
    """Two runs there and two back, each rolled out and then braked to rest."""
    ride = RideLayout(Machine())
    for _ in range(4):
        ride.stand(4.0)
        ride.drive(until_mps=7.0)
        ride.hold(3.0)
        ride.coast(until_mps=4.0)
        ride.brake()
        ride.stand(3.0)
        ride.shift(1.5, accel_mps2=0.8)
        ride.turn(np.pi, 3.0)
        ride.shift(0.0, accel_mps2=1.0)
    rng = np.random.default_rng(31)
    return analyse(estimate_motion(to_track(preset("clean", 10.0, rng).observe(ride.build(), rng))))


def test_figures_are_those_of_the_subjects(ride: MeasuredRide) -> None:
    told = calibration_data_of(ride)
    assert told.top_mps and told.top_mps[0] == ride["top_speed"].two_way_mps.value
    assert set(told.decel_mps2) <= {one.mean_decel_mps2 for one in ride["braking"].stops}
    assert len(told.decel_mps2) >= 2
    assert told.lateral_mps2 == ride["handling"].max_lateral_accel_mps2
    coasting = ride["coasting"]
    assert told.coasting is not None
    for speed, accel in zip(told.coasting.speed_mps, told.coasting.accel_mps2, strict=True):
        assert accel == pytest.approx(coasting.at(float(speed)).value)
    sd = np.sqrt(np.diag(told.coasting.covariance))
    assert sd == pytest.approx([coasting.at(float(v)).sd for v in told.coasting.speed_mps], rel=0.3)


def test_the_pull_is_that_of_the_machine(ride: MeasuredRide) -> None:
    told = calibration_data_of(ride)
    assert told.pull is not None and told.start is not None
    truth = Machine().acceleration_mps2(told.pull.speed_mps)
    miss = (told.pull.accel_mps2 - truth) / np.sqrt(np.diag(told.pull.covariance))
    assert np.sqrt(np.mean(miss**2)) < 2.0
    assert told.pull.accel_mps2 == pytest.approx(truth, abs=0.15)


def test_rolling_one_way_only_is_told_and_widened(ride: MeasuredRide) -> None:
    coasting = ride["coasting"]
    both = coasting_of(ride.motion, coasting)
    one_way = replace(
        coasting,
        coasts=tuple(
            one
            for one in coasting.coasts
            if courses_apart_deg(one.course_deg, coasting.coasts[0].course_deg) < 90.0
        ),
        fit=None,
    )
    alone = coasting_of(ride.motion, one_way)
    assert both is not None and alone is not None
    # Less drag with the wind, more against it: within what usual wind and slope may do.
    fitted = np.interp(alone.speed_mps, both.speed_mps, both.accel_mps2)
    assert alone.accel_mps2 == pytest.approx(fitted, abs=0.1)
    assert np.sqrt(alone.covariance[0, 0]) > 0.04 > 2.0 * np.sqrt(both.covariance[6, 6])


def test_runs_that_touch_possible_reverse_tell_nothing(ride: MeasuredRide) -> None:
    whole = calibration_data_of(ride)
    launch = ride["launches"].launches[0]
    reverse = SimpleNamespace(spans=(), possible_spans=((launch.start_s, launch.start_s + 1.0),))
    less = calibration_data_of(ride.with_record("reverse", reverse))
    assert whole.pull and less.pull and whole.start and less.start
    assert less.start != whole.start
    everywhere = SimpleNamespace(spans=(), possible_spans=((0.0, 1e6),))
    nothing = calibration_data_of(ride.with_record("reverse", everywhere))
    assert (nothing.pull, nothing.coasting, nothing.top_mps, nothing.start) == (None,) * 4
    assert nothing.near_top == () and nothing.decel_mps2 == ()
