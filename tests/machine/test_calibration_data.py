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
    assert near_top_of(cast(Motion, _Steady()), _top(at_s), 0.5 * np.pi) == ()


@pytest.mark.parametrize("at_s", [13.2, 20.0, 29.0])
def test_speed_and_trend_of_the_last_seconds(at_s: float) -> None:
    (end,) = near_top_of(cast(Motion, _Steady()), _top(at_s), 0.5 * np.pi)
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
    # Direction by direction, with slope and wind still in: their mean is the subject's.
    assert told.coasting is not None
    assert set(told.coasting.ways) == {1.0, -1.0}
    for speed in (4.75, 5.75):
        here = np.abs(told.coasting.speed_mps - speed) < 0.3
        seen = told.coasting.accel_mps2[here].mean()
        assert seen == pytest.approx(coasting.at(speed).value, abs=0.03)


def test_the_pull_is_that_of_the_machine(ride: MeasuredRide) -> None:
    told = calibration_data_of(ride)
    assert told.pull is not None and len(told.starts) == 2
    assert set(told.pull.ways) == {1.0, -1.0}
    truth = Machine().acceleration_mps2(told.pull.speed_mps)
    miss = (told.pull.accel_mps2 - truth) / np.sqrt(np.diag(told.pull.covariance))
    assert np.sqrt(np.mean(miss**2)) < 2.0
    assert told.pull.accel_mps2 == pytest.approx(truth, abs=0.15)


def test_rolling_one_way_only_is_told_of_that_way(ride: MeasuredRide) -> None:
    coasting = ride["coasting"]
    axis = calibration_data_of(ride).axis_rad
    one_way = replace(
        coasting,
        coasts=tuple(
            one
            for one in coasting.coasts
            if courses_apart_deg(one.course_deg, coasting.coasts[0].course_deg) < 90.0
        ),
        fit=None,
    )
    both = coasting_of(ride.motion, coasting, axis)
    alone = coasting_of(ride.motion, one_way, axis)
    assert both is not None and alone is not None
    (way,) = set(alone.ways)
    part = both.ways == way
    assert alone.accel_mps2 == pytest.approx(both.accel_mps2[part])


def test_runs_that_touch_possible_reverse_tell_nothing(ride: MeasuredRide) -> None:
    whole = calibration_data_of(ride)
    launch = ride["launches"].launches[0]
    reverse = SimpleNamespace(spans=(), possible_spans=((launch.start_s, launch.start_s + 1.0),))
    less = calibration_data_of(ride.with_record("reverse", reverse))
    assert whole.pull and less.pull and whole.starts and less.starts
    assert less.starts != whole.starts
    everywhere = SimpleNamespace(spans=(), possible_spans=((0.0, 1e6),))
    nothing = calibration_data_of(ride.with_record("reverse", everywhere))
    assert (nothing.pull, nothing.coasting, nothing.top_mps) == (None,) * 3
    assert nothing.near_top == () and nothing.starts == () and nothing.decel_mps2 == ()
