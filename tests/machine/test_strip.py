"""Slope and wind of a strip: told by both directions, hidden in one, shared by rides there."""

from dataclasses import replace

import numpy as np
import pytest
from machines import drive
from simulate import Machine

from ridelog.core.estimate import Estimate
from ridelog.core.track import FloatArray
from ridelog.machine.calibration_data import CalibrationData, NearTop, TimedStart
from ridelog.machine.fit import Fitted, fit
from ridelog.machine.on_strip import strips_seen, true_on_level
from ridelog.machine.passages import Curve
from ridelog.machine.setup import MachineSetup
from ridelog.machine.strip import Known, Strip, strips_of

TRUE = Machine().with_steady_speed(9.0)
SETUP = MachineSetup(
    machine_mass_kg=60.0, rider_mass_kg=35.0, tyre_circumference_m=1.04, front_teeth=11,
    rear_teeth=60, battery_cells=13, battery_chemistry="li-ion",
)  # fmt: skip


def _seen(
    grade: float, wind_mps: float, ways: tuple[float, ...], *, throttle_back: float = 1.0
) -> CalibrationData:
    """Return what the simulator's machine shows on a strip, with errors of a 10 Hz ride's size."""
    rng = np.random.default_rng(3)
    pulls, coasts, ends, starts = [], [], [], []

    def part(truth: FloatArray, speed: FloatArray, sd: float, way: float) -> Curve:
        noise = sd * rng.standard_normal(len(speed))
        return Curve(speed, truth + noise, sd**2 * np.eye(len(speed)), np.full(len(speed), way))

    for way in ways:
        around = {"grade": way * grade, "headwind_mps": way * wind_mps}
        hand = throttle_back if way < 0.0 else 1.0
        top = TRUE.steady_mps(hand, **around)
        up, down = np.arange(1.25, 0.9 * top, 0.5), np.arange(0.4 * top, 0.9 * top, 0.5)
        pulls.append(part(TRUE.acceleration_mps2(up, hand, **around), up, 0.03, way))
        coasts.append(part(-TRUE.acceleration_mps2(down, 0.0, **around), down, 0.02, way))
        ends.append(NearTop(top, 0.03, 0.0, 0.015, way))
        pull = float(TRUE.acceleration_mps2(np.array([1.0]), hand, **around)[0])
        starts.append(TimedStart(2.0, 2.0 / pull, 0.05, way))
    return CalibrationData(
        "ride", pull=_joined(pulls), coasting=_joined(coasts), near_top=tuple(ends),
        starts=tuple(starts), axis_rad=0.5, place_deg=(48.0, 11.0),
    )  # fmt: skip


def _joined(parts: list[Curve]) -> Curve:
    size = np.cumsum([0, *(len(part.speed_mps) for part in parts)])
    covariance = np.zeros((size[-1], size[-1]))
    for part, first, last in zip(parts, size, size[1:], strict=False):
        covariance[first:last, first:last] = part.covariance
    speed, accel, way = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("speed_mps", "accel_mps2", "way")
    )
    return Curve(speed, accel, covariance, way)


def _pull(fitted: Fitted, speed: float) -> tuple[float, float, float]:
    low, middle, high = np.quantile(fitted.drive.pull_mps2(np.array([speed])), (0.05, 0.5, 0.95))
    return float(low), float(middle), float(high)


@pytest.fixture(scope="module")
def both() -> Fitted:
    return fit(SETUP, [_seen(0.04, 2.0, (1.0, -1.0))], count=300)


def test_both_directions_tell_slope_and_wind(both: Fitted) -> None:
    (strip,) = strips_seen(both)
    assert strip.both_ways and strip.rides == ("ride",)
    assert strip.slope.value == pytest.approx(0.04, abs=0.004)
    assert strip.slope.low < 0.04 < strip.slope.high
    assert strip.slope.high - strip.slope.low < 0.012
    assert strip.course_deg == pytest.approx(np.degrees(0.5))
    (wind,) = strip.winds_mps
    assert wind.low < 2.0 < wind.high


def test_the_level_comes_out_of_a_slope(both: Fitted) -> None:
    for speed in (2.0, 5.0):
        true = float(TRUE.acceleration_mps2(np.array([speed]))[0])
        low, middle, high = _pull(both, speed)
        assert low < true < high
        assert middle == pytest.approx(true, abs=0.08)


def test_one_direction_alone_widens(both: Fitted) -> None:
    # One standard deviation of what strips rise by; at 1.2 of them the interval of this ride ends
    # at the truth, beyond 1.6 one way does not hold.
    alone = fit(SETUP, [_seen(0.025, 2.0, (1.0,))], count=300)
    (strip,) = strips_seen(alone)
    assert not strip.both_ways
    low, _, high = _pull(alone, 4.0)
    first, _, last = _pull(both, 4.0)
    assert high - low > 2.0 * (last - first)
    assert low < float(TRUE.acceleration_mps2(np.array([4.0]))[0]) < high


def test_a_strip_that_falls_is_told_as_one_that_rises_the_other_way() -> None:
    (strip,) = strips_seen(fit(SETUP, [_seen(-0.03, 0.0, (1.0, -1.0))], count=200))
    assert strip.slope.value == pytest.approx(0.03, abs=0.004)
    assert strip.course_deg == pytest.approx(np.degrees(0.5) + 180.0)


def test_a_held_back_throttle_is_no_slope() -> None:
    """A gentle hand on the way back pulls as little as a steep slope would, but rolls freely."""
    fitted = fit(SETUP, [_seen(0.0, 0.0, (1.0, -1.0), throttle_back=0.3)], count=300)
    (strip,) = strips_seen(fitted)
    assert abs(strip.slope.value) < 0.01
    assert _pull(fitted, 3.0)[1] == pytest.approx(
        float(TRUE.acceleration_mps2(np.array([3.0]))[0]), abs=0.15
    )


def test_rides_of_one_place_and_line_share_a_strip() -> None:
    one = _seen(0.0, 0.0, (1.0,))
    turned = replace(one, axis_rad=one.axis_rad + np.pi)
    elsewhere = replace(one, place_deg=(48.1, 11.0))
    across = replace(one, axis_rad=one.axis_rad + 1.0)
    nowhere = replace(one, place_deg=None)
    groups = strips_of([one, turned, elsewhere, across, nowhere])
    assert [len(group) for group in groups] == [2, 1, 1, 1]


def test_figures_of_a_slope_do_not_stand_for_the_level(both: Fitted) -> None:
    told = {
        "pull_at_2_mps": Estimate(2.4, 2.35, 2.45),
        "mean_braking_mps2": Estimate(3.0, 2.8, 3.2),
    }
    assert set(true_on_level(both, told, ())) == {"mean_braking_mps2"}
    level = fit(SETUP, [_seen(0.0, 0.0, (1.0, -1.0))], count=200)
    assert set(true_on_level(level, told, ())) == set(told)


def test_a_start_is_timed_with_the_machine_as_it_was_ridden() -> None:
    """Newton's second law with rolling of 2 % that rolls a quarter heavier, in air a tenth denser.

    A slope of sine 0.28 falls by 0.28 of g (a triangle of 7, 24 and 25), against a wind of 2 m/s.
    """
    machine = drive(c_ns2pm2=0.5)
    strip = Strip([CalibrationData("a"), CalibrationData("b")])
    known = Known(np.array([[0.28, 9.0, 2.0, 0.25, 0.1]]), np.zeros((1, 5, 5)))
    at = np.array([1.0, 2.0])
    for way in (1.0, -1.0):
        held = machine.pull_mps2(at) - strip.ridden(machine, known, 1, way).pull_mps2(at)
        wheels = 9.80665 * (way * 0.28 + 0.02 * 0.25)
        air_n = 0.05 * at**2 + 0.55 * (way * 2.0 * at * 2.0 + 2.0**2)
        assert held[0] == pytest.approx(wheels + air_n / 100.0, rel=1e-6)
