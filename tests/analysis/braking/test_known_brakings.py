"""Brakings whose speeds run in straight lines: figures by hand, and which of them are told.

METHOD.md of braking, (4) and (5): a = (v1² - v2²) / (2 s), as the eKFV Annex, no. 2.2.4, has it for
stops; what a brake's build-up hides is 0.069 s at full speed. No brake sets in at once, so that a
corner reads a stop of 2 s as some 0.1 s longer.
"""

from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.braking.measure import Braking, measure_brakings
from ridelog.core.estimate import QUANTILE

Legs = list[tuple[float, float]]


def braked(
    legs: Legs, from_mps: float = 8.0, error_mps: float = 0.0, **motion: Any
) -> list[Braking]:
    """Return the brakings of a ride that slows from 10 s on: to each speed at so many m/s²."""
    knots = [(0.0, 0.0), (4.0, from_mps), (10.0, from_mps)]
    for to_mps, decel in legs:
        at_s, speed = knots[-1]
        knots.append((at_s + (speed - to_mps) / decel, to_mps))
    at_s, left = knots[-1]
    # What is left is rolled on with, and shed so gently that it is no braking.
    knots += [(at_s + 5.0, left), (at_s + 7.0, 0.0), (at_s + 12.0, 0.0)]
    found = measure_brakings(known_motion(knots, error_mps=error_mps, **motion))
    assert found.each or found.reason == (
        "where the machine slowed down, the signal does not carry a figure"
    )
    return list(found.each)


def half(one: Braking, what: str) -> float:
    told = getattr(one, what)
    return 0.5 * float(told.high - told.low)


def test_what_a_build_up_hides_is_in_every_interval() -> None:
    """Of a ride without an error it is all: 0.069 s at the first speed."""
    (one,) = braked([(0.0, 4.0)])
    assert one.is_stop and one.to_mps == 0.0 and one.from_mps == pytest.approx(8.0, abs=0.01)
    assert (one.start_s, one.end_s) == pytest.approx((10.0, 12.0), abs=0.08)
    distance, decel = one.distance_m.value, one.mean_decel_mps2.value
    assert decel == pytest.approx(one.from_mps**2 / (2.0 * distance))
    assert distance == pytest.approx(8.0, abs=0.4)
    hidden_m = 0.069 * one.from_mps
    assert half(one, "distance_m") == pytest.approx(QUANTILE * hidden_m, rel=0.02)
    wanted = QUANTILE * hidden_m / distance * decel
    assert half(one, "mean_decel_mps2") == pytest.approx(wanted, rel=0.02)


def test_fully_applied_is_from_eight_tenths_to_one_tenth() -> None:
    """2 m/s² down to 6.4 m/s, 6 m/s² to 3 m/s and 2 m/s² to rest."""
    (one,) = braked([(6.4, 2.0), (3.0, 6.0), (0.0, 2.0)])
    upper, lower = 0.8 * one.from_mps, 0.1 * one.from_mps
    way_m = (upper**2 - 3.0**2) / 12.0 + (3.0**2 - lower**2) / 4.0
    assert one.developed_decel_mps2 is not None
    wanted = (upper**2 - lower**2) / (2.0 * way_m)
    assert one.developed_decel_mps2.value == pytest.approx(wanted, rel=0.002)


@pytest.mark.parametrize(("to_mps", "sd_mps", "stops"), [
    (0.30, 0.02, True), (0.40, 0.02, False), (0.45, 0.25, True), (0.55, 0.25, False),
])  # fmt: skip
def test_rest_is_slower_than_the_error_of_the_speed(
    to_mps: float, sd_mps: float, stops: bool
) -> None:
    """0.35 m/s, or two standard deviations."""
    (one,) = braked([(to_mps, 4.0)], sd_mps=sd_mps)
    assert one.is_stop is stops and (one.developed_decel_mps2 is not None) is stops
    assert one.to_mps == pytest.approx(0.0 if stops else to_mps, abs=0.01)


@pytest.mark.parametrize(("decel", "from_mps", "told"), [
    # No tyre brakes a machine harder than 10 m/s²; the corners read one of 10.4 as 9.85.
    (10.4, 8.0, True), (11.0, 8.0, False),
    # An interval as wide as the figure: 4 x 1.645 x 0.069 s a / v, so from a = 2.2 v a second on;
    # the corners read 7.5 and 8 m/s² as 6.55 and 6.98.
    (7.5, 3.0, True), (8.0, 3.0, False),
])  # fmt: skip
def test_what_no_machine_does_or_no_log_tells(decel: float, from_mps: float, told: bool) -> None:
    assert bool(braked([(0.0, decel)], from_mps)) is told


def test_draws_of_positions_spread_by_their_share() -> None:
    """0.75 of a reported speed's, 0.6 of positions, all of them from 0.3 s between fixes on."""
    added = []
    for source, rate_hz in (("reported", 10.0), ("positions", 10.0), ("positions", 3.5),
                            ("positions", 3.0)):  # fmt: skip
        halves = [
            half(one, "distance_m")
            for error in (0.0, 0.2)
            for one in braked([(0.0, 4.0)], error_mps=error, speed_source=source, rate_hz=rate_hz)
        ]
        added.append(float(np.sqrt(halves[1] ** 2 - halves[0] ** 2)))
    assert added[1] / added[0] == pytest.approx(0.6 / 0.75, rel=0.08)
    assert added[2] == pytest.approx(added[1], rel=0.05)
    # Both parts of the interval are not quite unrelated, and here the larger.
    assert 1.3 < added[3] / added[2] < 1.0 / 0.6
