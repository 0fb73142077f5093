"""The charge alone: what it could do to a figure, and that no verdict is given below that."""

from dataclasses import replace

import numpy as np
import pytest

from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.charge import ChargeAlone, charge_alone
from ridelog.compare.comparison import compare
from ridelog.compare.verdict import FAMILY_LEVEL
from ridelog.core.units import SPEED_UNITS
from ridelog.machine.setup import MachineSetup
from ridelog.report.compare_words import asks_charge, headline, reason_words
from ridelog.report.owner_words import owner_sentence

pytest_plugins = ("thin_rides",)
FULL = {"charge": "full"}
WORDS = ("better", "worse")


def test_nothing_noted_leaves_a_quarter_to_full() -> None:
    found = charge_alone({}, {}, None)
    # A lithium-ion cell has 3.575 V at a quarter and 4.18 V when full, both at rest.
    assert found.low == pytest.approx(3.575 / 4.18) and found.high == pytest.approx(4.18 / 3.575)
    assert found.told == "neither"
    flat = MachineSetup(battery_chemistry="lifepo4")
    assert charge_alone({}, {}, (flat, flat)).share < 0.4 * found.share


def test_notes_narrow_it() -> None:
    one = charge_alone(FULL, {}, None)
    assert one.told == "before" and one.high == pytest.approx(1.0, abs=0.01) and one.low < 0.87
    both = charge_alone(FULL, {"Battery charge at the start": "100 %"}, None)
    assert both.told == "both" and both.share < 0.03
    differ = charge_alone(FULL, {"battery": "25%"}, None)
    assert differ.told == "both" and differ.high < 0.9
    assert charge_alone({"charge": "so so"}, FULL, None).told == "after"
    pack = MachineSetup(battery_cells=14, battery_chemistry="li-ion")
    volts = charge_alone({"charge": "58.2 V"}, {"charge": "57.9 V"}, (pack, pack))
    assert volts.told == "both" and volts.share < 0.05
    # Volts without a pack tell no charge.
    assert charge_alone({"charge": "58.2 V"}, {}, None).told == "neither"


def test_by_how_much_it_moves_a_figure() -> None:
    alone = ChargeAlone(0.86, 1.02, "before")
    assert alone.moves(10.0) == pytest.approx((-1.4, 0.2))
    assert alone.share == pytest.approx(0.14)


def test_a_top_speed_within_it_has_no_verdict(
    thin_rides: dict[str, tuple[MeasuredRide, ...]],
) -> None:
    sides = thin_rides["before"], thin_rides["after"]
    sure = compare(*sides, noted_before=FULL, noted_after=FULL)["two_way_mps"]
    open_ = compare(*sides)["two_way_mps"]
    assert sure.verdict.word == "better" and sure.charge is None
    assert open_.verdict.word == "cannot say" and open_.difference == sure.difference
    words = reason_words(open_, SPEED_UNITS["km/h"], 3)
    assert words.startswith(
        "The battery's charge is noted for neither side: that alone could move the top speed by "
    )
    assert words.endswith("Ride both sides with the same charge, and note it with the rides.")
    for told, start in (
        ("before", "The battery's charge is noted only for the rides before"),
        ("both", "The battery's charge differs between the sides"),
    ):
        assert open_.charge is not None
        other = replace(open_, charge=replace(open_.charge, told=told))
        assert reason_words(other, SPEED_UNITS["km/h"], 3).startswith(start)
    # Starts and pulls are withheld as well, nothing else.
    names = {one.figure.name for one in compare(*sides).figures if one.charge is not None}
    assert "two_way_mps" in names
    assert all(name.startswith(("two_way", "best_", "0-", "20-", "pull_at")) for name in names)
    assert np.isfinite(open_.charge.share if open_.charge else np.nan)


def test_the_first_sentence_keeps_what_the_charge_leaves_open(
    thin_rides: dict[str, tuple[MeasuredRide, ...]],
) -> None:
    unit, sides = SPEED_UNITS["km/h"], (thin_rides["before"], thin_rides["after"])
    open_, sure = compare(*sides), compare(*sides, noted_before=FULL, noted_after=FULL)
    for told in (headline(open_, unit), owner_sentence(open_, unit)):
        assert "Whether the change moved the top speed" in told
        assert "another charge of the battery alone could do what these rides show." in told
        assert "tops out" not in told and "no figure was shown to be better" not in told
        assert told.endswith(".") and told == told.strip()
    assert asks_charge(open_) and not asks_charge(sure)
    for told in (headline(sure, unit), owner_sentence(sure, unit)):
        assert "charge" not in told and "top" in told


def test_what_the_volts_do_to_starts_and_pulls() -> None:
    """Held against a motor on its line with a constant resistance, a = A r (1 - v / (V r)) - R.

    V is 1, A is 1, and R 0.15, so that 15 % of the volts are taken at the top speed, 0.85.
    """
    volts = ChargeAlone(0.86, 0.86, "both")
    assert volts.opens_starts
    assert not ChargeAlone(0.98, 1.01, "both").opens_starts
    assert not replace(volts, told="modes").opens_starts
    assert ChargeAlone(0.86, 1.02, "neither").opens_starts
    top, less = 0.85, 0.86 - 0.15
    assert (volts.of_top().low, volts.of_top().high) == pytest.approx((less / top, 1.0))
    pull = volts.of_pull(0.5)
    assert (pull.low, pull.high) == pytest.approx(((less - 0.5 * top) / (0.5 * top), 1.0))
    # To half the top speed from rest, v(t) = top (1 - exp(-t)).
    taken = np.log(less / (less - 0.5 * top)) / np.log(2.0)
    assert 1.0 < taken < volts.of_time(0.5).high == pytest.approx(1.0 / pull.low)
    assert volts.of_time(0.9).high == np.inf and volts.of_time(1.0).high == np.inf
    # The way until t = 1, top exp(-1), is gone later with less volts, but no later than said.
    until = np.linspace(1.0, 2.0, 100_001)
    later = until[np.searchsorted(less * (until - 1.0 + np.exp(-until)), top * np.exp(-1.0))]
    assert 1.0 < later < volts.of_way().high == pytest.approx(top / less)
    assert volts.of_way().low == 1.0
    # A run of ten seconds at no resistance but the air's, its motion won anew in every run.
    shape = 1.0 - np.exp(-np.linspace(0.0, 10.0, 10_001))
    energy = [
        (0.5 * (v := end * shape)[-1] ** 2 + 0.01 * np.sum(v**3) * 1e-3) / (np.sum(v) * 1e-3)
        for end in (top, less)
    ]
    assert volts.of_energy().low == pytest.approx((less / top) ** 2)
    assert volts.of_energy().low < energy[1] / energy[0] < 1.0 == volts.of_energy().high
    more = ChargeAlone(1.1, 1.2, "both")
    assert more.of_top().high == pytest.approx(1.05 / 0.85) and more.of_pull(0.5).low == 1.0
    assert more.of_time(1.0).low == 0.0


def test_a_top_speed_under_a_limit_of_the_battery_has_no_verdict_either() -> None:
    """Power goes with the volts, and the top speed in air alone with its cube root."""
    volts = charge_alone(FULL, {"charge": "25 %"}, None)
    fell = (3.58 / 4.18) ** (1.0 / 3.0) - 1.0
    least, most = volts.moves(10.0)
    assert not least <= 10.0 * fell <= most
    # Faster on fewer volts is no matter of the charge.
    least, most = volts.of_top().moves(10.0)
    assert least < 10.0 * fell < 0.0 == most


def test_starts_and_pulls_with_another_charge_have_no_verdict(
    thin_rides: dict[str, tuple[MeasuredRide, ...]],
) -> None:
    sides = thin_rides["before"], thin_rides["after"]
    low = {"charge": "40 %"}
    found = compare(*sides, noted_before=low, noted_after=FULL)
    open_ = {one.figure.name: one for one in found.figures if one.charge is not None}
    sure = compare(*sides, noted_before=FULL, noted_after=FULL)
    claimed = {one.figure.name: one for one in sure.figures if one.verdict.word in WORDS}
    assert {one.figure.name for one in sure.figures if one.charge is not None} == set()
    starts = {name for name in claimed if name.startswith(("0-", "20-", "pull_at"))}
    assert starts
    # The rides after had more volts, which slow no start down: a verdict of that stays where it
    # needs no share of the level of figures that now claim nothing.
    slower = {name for name in starts if claimed[name].verdict.word == "worse"}
    assert slower and not slower & set(open_)
    kept = {name for name in slower if found[name].verdict.word == "worse"}
    for name in slower - kept:
        tested = found[name].verdict.tested
        assert tested is not None and tested.adjusted > FAMILY_LEVEL
        assert found[name].verdict.word == "no difference shown"
    assert kept
    for name, one in open_.items():
        assert one.verdict.word == "cannot say"
        words = reason_words(one, SPEED_UNITS["km/h"], 3)
        which = "the top speed" if name.endswith("_mps") and "pull" not in name else "it"
        assert f"differs between the sides: that alone could move {which} by " in words


def test_a_slower_start_on_an_emptier_pack_has_no_verdict(
    thin_rides: dict[str, tuple[MeasuredRide, ...]],
) -> None:
    sides = thin_rides["before"], thin_rides["after"]
    unit = SPEED_UNITS["km/h"]
    sure = compare(*sides, unit=unit, noted_before=FULL, noted_after=FULL)
    slower = [
        one.figure.name
        for one in sure.figures
        if one.verdict.word == "worse" and one.figure.name.startswith(("0-", "pull_at"))
    ]
    assert slower
    low = {"charge": "25 %"}
    for noted in ((FULL, low), (FULL, {}), ({}, {})):
        found = compare(*sides, unit=unit, noted_before=noted[0], noted_after=noted[1])
        assert {found[name].verdict.word for name in slower} == {"cannot say"}
        told = headline(found, unit)
        assert told.count("battery alone could do what these rides show.") == 1
        assert "charge could not make" not in told  # the same once more
        assert "no figure was shown" not in told and "nobody knows" not in told
