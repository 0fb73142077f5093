"""Resistance from free rolling on simulated rides with a known machine."""

from dataclasses import replace

import numpy as np
import pytest
from hand_turn import HandTurnedRide
from labelled_rides import finish
from log_in_memory import to_track
from receiver_presets import preset
from simulate import Machine, RideLayout, Surroundings

from ridelog.analysis.braking.measure import measure_brakings
from ridelog.analysis.coasting.measure import (
    CoastDown,
    measure_coast_down,
    wind_square,
)
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion

MACHINE = Machine().with_steady_speed(11.0)


def rolled_out(
    *, ways: int = 2, until_mps: float = 2.5, machine: Machine = MACHINE, seed: int = 3
) -> Motion:
    """Return the motion of runs there and back, each rolled out, in wind and on a slope."""
    rng = np.random.default_rng(seed)
    ride = HandTurnedRide(
        machine, 0.4, Surroundings(wind_east_mps=0.4, wind_north_mps=1.0, slope=0.003)
    )
    ride.stand(5.0)
    for _ in range(ways):
        ride.drive(for_s=16.0)
        ride.coast(until_mps=until_mps)
        ride.brake(decel_mps2=2.0)
        ride.stand(3.0)
        ride.turn_by_hand(np.pi, 3.0)
    ride.stand(4.0)
    truth = finish(ride, rng).truth
    return estimate_motion(to_track(preset("clean", 10.0, rng).observe(truth, rng)))


def measured(motion: Motion, *, excluded: tuple[tuple[float, float], ...] = ()) -> CoastDown:
    braked = tuple((one.start_s, one.end_s) for one in measure_brakings(motion).each)
    return measure_coast_down(motion, excluded=(*excluded, *braked))


@pytest.fixture(scope="module")
def both_ways() -> CoastDown:
    return measured(rolled_out(ways=4))


def true_decel(speed_mps: float) -> float:
    return float(MACHINE.resistance_n(np.array([speed_mps]))[0]) / MACHINE.mass_kg


def test_the_resistance_is_that_of_the_machine(both_ways: CoastDown) -> None:
    assert len(both_ways.coasts) == 4
    middle = both_ways.curve[6].speed_mps
    found = both_ways.at(middle)
    assert found is not None
    assert found.value == pytest.approx(true_decel(middle), abs=0.02)
    assert found.low < found.value < found.high
    assert len(both_ways.curve) == 13
    assert both_ways.fit is not None
    assert both_ways.fit.a_mps2.shape == (301,)


def test_nothing_is_said_of_speeds_that_were_not_rolled_through(both_ways: CoastDown) -> None:
    assert both_ways.at(0.5) is None
    assert both_ways.at(30.0) is None


def test_coefficients_that_are_told_apart_are_those_of_the_machine(both_ways: CoastDown) -> None:
    assert both_ways.rolling_mps2 is not None and both_ways.air_pm is not None
    if both_ways.linear_ps is not None:
        assert both_ways.rolling_mps2.value == pytest.approx(18.0 / 95.0, abs=0.04)
        assert both_ways.reason == ""
    else:
        assert "cannot tell" in both_ways.reason


def test_a_short_range_of_speeds_cannot_tell_two_kinds_apart() -> None:
    found = measured(rolled_out(until_mps=7.0))
    assert found.linear_ps is None
    assert found.reason == (
        "the stretches cannot tell what grows with speed from what grows with its square; rolling "
        "and air hold if all of it grows with the square"
    )
    assert found.air_pm is not None


def test_a_short_range_of_speeds_still_tells_the_resistance_in_its_middle() -> None:
    # Such a stretch tells neither the wind nor the air's part, but well how hard it slows.
    found = measured(rolled_out(until_mps=7.0))
    middle = found.curve[6].speed_mps
    at = found.at(middle)
    assert at is not None
    assert at.value == pytest.approx(true_decel(middle), abs=0.03)
    assert at.high - at.low < 0.08
    assert at.low < true_decel(middle) < at.high


def test_a_wind_that_is_told_is_taken_off_whole() -> None:
    # One column has no spread: e and c are as good as known. 2 c w = 0.02 and c = 0.0025: 4 m/s.
    taken = wind_square(np.array([0.1]), np.array([0.02]), np.array([0.0025]), 8.0)
    assert taken == pytest.approx([0.0025 * 4.0**2])


def test_of_a_wind_that_is_not_told_the_directions_give_the_bounds() -> None:
    rng = np.random.default_rng(5)
    draws, apart, speed = 4000, 0.08, 8.0
    wind = np.append(0.0, rng.normal(0.0, 1.0, 2 * draws))
    air = np.append(0.1, rng.normal(0.0, 1.0, 2 * draws))
    taken = wind_square(apart - wind * speed, wind, air, speed)
    # A usual machine: 0.45 m² of drag and 105 kg in the standard atmosphere.
    usual = 0.5 * 1.2041 * 0.45 / 105.0
    most = (apart / speed) ** 2 / (4.0 * usual)
    # A third of the square if every share is equally likely, and what a slope may hide.
    assert taken[0] == pytest.approx(most / 3.0 + (0.0245 / speed) ** 2 / (4.0 * usual), 0.05)
    assert np.all(taken[: draws + 1] == taken[0])
    assert np.mean(taken[-draws:]) == pytest.approx(taken[0], abs=1e-6)
    # By hand, in shares of the most: m = 1/2, s² = 1/12 + (0.0245 / 0.08)² = 0.177, so that
    # sqrt(4 m² s² + 2 s⁴) = 0.49, and 0.45 of the mean for the air.
    assert np.std(taken[-draws:]) == pytest.approx(np.hypot(0.49, 0.45 * 0.427) * most, rel=0.02)


def test_one_direction_says_nothing_about_the_machine() -> None:
    found = measured(rolled_out(ways=1))
    assert len(found.coasts) == 1
    assert found.rolling_mps2 is None and found.air_pm is None and found.at(6.0) is None
    assert found.reason == (
        "the machine rolls freely in one direction only, so slope and wind are in it"
    )


def test_a_ride_without_rolling_out_says_so() -> None:
    ride = RideLayout(MACHINE)
    ride.stand(5.0)
    ride.drive(for_s=12.0)
    ride.brake(decel_mps2=3.0)
    ride.stand(5.0)
    rng = np.random.default_rng(2)
    log = preset("clean", 10.0, rng).observe(finish(ride, rng).truth, rng)
    found = measured(estimate_motion(to_track(log)))
    assert found.coasts == ()
    assert found.reason == "the machine rolls freely nowhere for three seconds"


def test_excluded_stretches_take_no_part() -> None:
    motion = rolled_out()
    whole = measured(motion)
    first = whole.coasts[0]
    less = measured(motion, excluded=((first.start_s, first.end_s),))
    assert len(less.coasts) == len(whole.coasts) - 1
    assert less.fit is None


def test_more_resistance_is_found_to_be_more() -> None:
    heavy = replace(MACHINE, resistance_a_n=40.0)
    usual, more = measured(rolled_out()), measured(rolled_out(machine=heavy))
    a, b = usual.at(6.0), more.at(6.0)
    assert a is not None and b is not None
    assert b.value - a.value == pytest.approx(22.0 / 95.0, abs=0.03)


def test_stretches_that_contradict_each_other_say_nothing() -> None:
    """One way rolled out, the other way eased off slowly under half throttle."""
    rng = np.random.default_rng(6)
    ride = HandTurnedRide(MACHINE)
    ride.stand(5.0)
    for accel_mps2 in (0.12, 0.45, 0.14, 0.5):
        ride.drive(for_s=14.0)
        ride.shift(6.0, accel_mps2=accel_mps2)
        ride.coast(until_mps=2.5)
        ride.brake(decel_mps2=2.0)
        ride.stand(3.0)
        ride.turn_by_hand(np.pi, 3.0)
    log = preset("clean", 10.0, rng).observe(finish(ride, rng).truth, rng)
    found = measured(estimate_motion(to_track(log)))
    assert len(found.coasts) >= 4
    assert found.fit is None
    assert found.reason == (
        "the stretches contradict each other, so the throttle was not shut on all"
    )
