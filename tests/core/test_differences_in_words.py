"""How differences become words: figures side by side, amounts, per cent, small differences."""

import pytest

from ridelog.core.estimate import Estimate
from ridelog.core.quantity import (
    ACCELERATION,
    LENGTH,
    PERCENT,
    SPEED,
    TIME,
    amount,
    bare,
    rough,
    signed,
    together,
)
from ridelog.core.units import SPEED_UNITS, SpeedUnit

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


def about(value: float, reach: float) -> Estimate:
    return Estimate(value, value - reach, value + reach)


def test_figures_side_by_side_have_the_decimals_of_the_roughest() -> None:
    assert together([about(2.834, 0.01), about(3.1, 0.3)], TIME, KMH) == ["2.8", "3.1"]
    assert together([about(2.834, 0.01)], TIME, KMH) == ["2.83"]


def test_two_digits_count_in_an_amount() -> None:
    assert rough(-0.1234, SPEED, KMH) == "0.44 km/h"
    assert rough(0.55, SPEED, KMH) == "2.0 km/h"
    assert rough(12.3, TIME, KMH) == "12 s"
    assert rough(0.5, ACCELERATION, MPH) == "1.1 mph/s"


def test_per_cent_follows_its_interval() -> None:
    assert bare(about(10.34, 1.0), PERCENT, KMH, signed=True) == "+10.3"
    assert bare(about(-14.2, 4.0), PERCENT, KMH, signed=True) == "\N{MINUS SIGN}14"


def test_a_difference_too_small_for_its_decimals_takes_one_more() -> None:
    tiny = Estimate(0.0004, -0.0036, 0.0044)
    assert signed(tiny, ACCELERATION, KMH) == "0.000 m/s² (\N{MINUS SIGN}0.004 to +0.004)"
    assert signed(about(0.01, 0.03), ACCELERATION, KMH) == (
        "+0.01 m/s² (\N{MINUS SIGN}0.02 to +0.04)"
    )


@pytest.mark.parametrize("unit", [KMH, MPH])
def test_an_amount_has_no_sign(unit: SpeedUnit) -> None:
    fell, rose = about(-2.0, 0.3), about(2.0, 0.3)
    for quantity in (SPEED, LENGTH, ACCELERATION):
        assert amount(fell, quantity, unit) == amount(rose, quantity, unit)
