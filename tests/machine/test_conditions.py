"""The words of conditions, and the sentence for what they cannot be."""

from collections.abc import Callable
from typing import Any

import pytest

from ridelog.core.errors import SetupError
from ridelog.machine.conditions import (
    USUAL_SPEEDS,
    Conditions,
    parse_at,
    parse_charge,
    parse_slope,
    parse_surface,
    parse_volts,
)
from ridelog.machine.setup import MachineSetup

LI = MachineSetup(battery_cells=14, battery_chemistry="li-ion")


def test_words_are_read() -> None:
    assert parse_slope("4%") == pytest.approx(0.04)
    assert parse_slope(" -2,5 % ") == pytest.approx(-0.025)
    assert parse_surface("gravel") == "gravel"
    # A display is believed to four hundredths.
    assert parse_charge("25%", LI) == pytest.approx((0.25, 0.04))
    # 3.64 V a cell is 40 % by the curve.
    assert parse_charge("51.0 V", LI)[0] == pytest.approx(0.40, abs=0.06)
    first, last = (parse_volts(text, LI)[0] for text in ("57.0", "51.0"))
    mean, sd = parse_volts("57.0/51.0", LI)
    assert mean == pytest.approx(0.5 * (first + last))
    assert sd > abs(first - last) / 4.0
    slow, mile = parse_at(["20 km/h", "12mph"])
    assert (slow.name, slow.label) == ("20_kmh", "20 km/h")
    assert (mile.name, mile.label) == ("12_mph", "12 mph")
    assert mile.speed_mps == pytest.approx(5.36448)
    assert parse_at([]) == parse_at(["20 km/h"]) == USUAL_SPEEDS
    assert slow.speed_mps == pytest.approx(20.0 / 3.6)


def test_what_is_other_than_ridden() -> None:
    assert not Conditions().other_than_ridden
    assert not Conditions(slope=0.0, rides_charge=(0.5, 0.1)).other_than_ridden
    assert (
        Conditions(slope=0.04).other_than_ridden and Conditions(surface="grass").other_than_ridden
    )


@pytest.mark.parametrize(
    ("read", "message"),
    [
        (lambda: parse_slope("4"), 'the slope "4" is not a rise in per cent from -40 to 40.'),
        (lambda: parse_slope("80%"), 'the slope "80%" is not a rise'),
        (lambda: parse_surface("mud"), 'the ground "mud" is not known here. What to do: use one of '
         "asphalt, gravel, grass."),
        (lambda: parse_charge("140%", LI), 'the charge "140%" lies outside 0 to 100 %.'),
        (lambda: parse_charge("full", LI), 'the charge "full" is neither per cent nor volts.'),
        (lambda: parse_charge("90", LI), "90 V at rest do not fit the set-up's pack, which has "
         "58.5 V when full."),
        (lambda: parse_charge("48", MachineSetup()), "48 V tell no charge: the set-up gives no"),
        (lambda: parse_volts("a/b", LI), '"a/b" are no resting volts before and after.'),
        (lambda: parse_volts("50/56", LI), '"50/56": the pack has more volts after the ride than'),
        (lambda: parse_at(["fast"]), '"fast" is no speed of a small machine.'),
        (lambda: parse_at(["0 km/h"]), '"0 km/h" is no speed of a small machine.'),
    ],
)  # fmt: skip
def test_what_cannot_be_said(read: Callable[[], Any], message: str) -> None:
    with pytest.raises(SetupError) as caught:
        read()
    assert str(caught.value).startswith(message)


@pytest.mark.parametrize(
    ("read", "last", "beyond"),
    [
        (parse_slope, "40%", "40.1%"), (parse_slope, "-40%", "-40.1%"),
        (lambda text: parse_charge(text, LI), "0%", "-0.1%"),
        (lambda text: parse_charge(text, LI), "100%", "100.1%"),
        # Fourteen cells of 4.18 V have 58.52 V at rest: 0.6 and 1.06 of it.
        (lambda text: parse_charge(text, LI), "35.2 V", "35.0 V"),
        (lambda text: parse_charge(text, LI), "62.0 V", "62.1 V"),
        # A meter's last digits may rise, by a hundredth.
        (lambda text: parse_volts(text, LI), "50/50.5", "50/50.6"),
        (lambda text: parse_volts(text, LI), "51/50", "51/50/49"),
        (lambda text: parse_at([text]), "0.1 km/h", "0.0 km/h"),
        # 40 m/s.
        (lambda text: parse_at([text]), "144 km/h", "144.1 km/h"),
        (lambda text: parse_at([text]), "144 KPH", "20 furlongs"),
    ],
)  # fmt: skip
def test_both_sides_of_what_can_be_said(read: Callable[[str], Any], last: str, beyond: str) -> None:
    read(last)
    with pytest.raises(SetupError):
        read(beyond)


def test_rides_lie_anywhere_between_the_volts_before_and_after() -> None:
    """An even distribution of width d has a deviation of d / sqrt(12)."""
    charges = [parse_volts(text, LI) for text in ("57.0", "51.0")]
    width = charges[0][0] - charges[1][0]
    assert parse_volts("57.0/51.0", LI)[1] >= width / 12.0**0.5
    assert parse_volts("57.0/51.0", LI)[1] == pytest.approx(
        (width**2 / 12.0 + max(sd for _, sd in charges) ** 2) ** 0.5
    )
    # Alike before and after, one is as sure as the other.
    assert parse_volts("57.0/57.0", LI) == pytest.approx(charges[0])
