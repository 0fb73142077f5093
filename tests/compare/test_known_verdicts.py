"""Verdicts, stated speeds, drifts and what a charge may do, by hand.

Quantiles of Student's t from NIST/SEMATECH e-Handbook, 1.3.6.7.2; Holm (1979) with weights; GUM
4.3.7 for a tolerance that is any value within; Pettitt (1979). A motor's speed without load goes
with its volts: any textbook of electric drives.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.figure import Figure
from ridelog.compare import verdict
from ridelog.compare.charge import ChargeAlone, charge_alone, charge_of_rides
from ridelog.compare.difference import (
    Contrast,
    Difference,
    ErrorOf,
    Summary,
    difference_of,
    interval_over,
    p_value_of,
    shared_scatter,
    welch,
)
from ridelog.compare.drift import LEAST_RIDES, change_point, drifts_of
from ridelog.compare.side_names import BEFORE_AND_AFTER
from ridelog.compare.sides import check_sides, shared_by_modes
from ridelog.compare.stated import StatedSpeed, against_stated
from ridelog.compare.verdict import more_rides, smallest_shown, step_down, verdicts
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.quantity import SPEED
from ridelog.machine.setup import MachineSetup


def about(value: float, sd: float = 0.05) -> Estimate:
    return Estimate(value, value - QUANTILE * sd, value + QUANTILE * sd)


def test_weighted_shares_pass_on_until_one_is_not_shown() -> None:
    """Weights 4, 1, 1 of 0.1: 0.0667 for the first, then halves of the rest, then all of it."""
    found = step_down([0.02, 0.04, 0.09], [4.0, 1.0, 1.0], 0.1)
    assert [one.shown for one in found] == [True, True, True]
    assert [one.level for one in found] == pytest.approx([0.1 * 4 / 6, 0.05, 0.1])
    assert [one.adjusted for one in found] == pytest.approx([0.03, 0.08, 0.09])
    stops = step_down([0.02, 0.06, 0.2], [4.0, 1.0, 1.0], 0.1)
    assert [one.shown for one in stops] == [True, False, False]
    assert [one.level for one in stops] == pytest.approx([0.1 * 4 / 6, 0.05, 0.05])
    assert [one.adjusted for one in stops] == pytest.approx([0.03, 0.12, 0.2])
    # A smaller p value behind one that failed is not shown either; at its level one still is.
    edge = step_down([0.05, 0.05], [1.0, 1.0], 0.1)
    assert [one.shown for one in edge] == [True, True] and edge[0].level == 0.05
    assert step_down([0.9], [1.0], 0.1)[0].adjusted == 0.9
    assert step_down([0.9, 0.9], [1.0, 1.0], 0.1)[0].adjusted == 1.0


def difference(apart: float, error: float, freedom: float, **more: Any) -> Difference:
    usual: dict[str, Any] = {
        "before": about(10.0), "after": about(10.0 + apart), "percent": None, "p_value": 0.01,
        "difference": about(apart, error), "contrast": Contrast(apart, error, freedom),
        "receiver_error": 0.01, "method": "welch", "sd_before": 0.1, "sd_after": 0.1,
        "rides_before": 3, "rides_after": 3,
    }  # fmt: skip
    return Difference(**(usual | more))


def test_what_such_rides_would_show_nine_times_in_ten() -> None:
    """4 degrees: t 2.132 for a level of 0.1 two-sided, 1.533 for nine in ten."""
    tested = verdict.Tested(False, 0.1, 0.2)
    plain = difference(0.3, 0.1, 4.0)
    assert smallest_shown(plain, tested) == pytest.approx(0.1 * (2.132 + 1.533), abs=2e-4)
    # Never less than the receivers allow, and beyond what may be wind.
    assert smallest_shown(replace(plain, receiver_error=0.2), tested) == pytest.approx(
        0.2 * 3.665, abs=3e-4
    )
    assert smallest_shown(replace(plain, wind_part=-0.4), tested) == pytest.approx(
        0.3665 + 0.4, abs=2e-4
    )
    with pytest.raises(ValueError, match="one ride a side"):
        smallest_shown(replace(plain, contrast=None), tested)


def test_how_many_more_rides_a_side() -> None:
    """One more of three: error times sqrt((1/4 + 1/4) / (2/3)), 6 degrees: 1.943 + 1.440."""
    tested = verdict.Tested(False, 0.1, 0.2)
    needed = 0.1 * np.sqrt(0.5 / (2.0 / 3.0)) * (1.943 + 1.440)
    assert more_rides(difference(1.001 * needed, 0.1, 4.0), tested) == 1
    assert more_rides(difference(0.999 * needed, 0.1, 4.0), tested) == 2
    # A further pair is one degree more, not two: 5 degrees, 2.015 + 1.476.
    pairs = 0.1 * np.sqrt(0.5 / (2.0 / 3.0)) * (2.015 + 1.476)
    assert more_rides(difference(1.001 * pairs, 0.1, 4.0, method="pairs"), tested) == 1
    assert more_rides(difference(0.999 * pairs, 0.1, 4.0, method="pairs"), tested) == 2
    assert more_rides(difference(0.01, 0.1, 4.0), tested) is None
    # Twelve more at the most: error times sqrt((2/15) / (2/3)), 28 degrees: 1.701 + 1.313.
    most = 0.1 * np.sqrt(0.2) * (1.701 + 1.313)
    assert more_rides(difference(1.002 * most, 0.1, 4.0), tested) == 12
    assert more_rides(difference(0.998 * most, 0.1, 4.0), tested) is None
    assert more_rides(difference(0.3, 0.1, 4.0, wind_part=0.5), tested) is None
    # What may be wind is taken off: of 0.6 m/s 0.3 are left.
    assert more_rides(difference(0.6, 0.1, 4.0, wind_part=0.3), tested) == more_rides(
        difference(0.3, 0.1, 4.0), tested
    )


def test_which_word_is_said() -> None:
    shown, not_shown = (
        difference(0.5, 0.1, 4.0, p_value=0.001),
        difference(0.25, 0.1, 4.0, p_value=0.4),
    )
    alone = difference(0.5, 0.1, 4.0, contrast=None, p_value=1.0)
    found = verdicts([shown, shown, not_shown, alone], [1.0] * 4, [1, -1, 1, 1])
    assert [one.word for one in found] == ["better", "worse", "no difference shown", "cannot say"]
    assert found[0].more_rides is None and found[2].more_rides == 3
    assert found[3].smallest_shown is None and found[3].tested is None
    down = verdicts([difference(-0.5, 0.1, 4.0, p_value=0.001)], [1.0], [-1])
    assert down[0].word == "better"


def test_what_something_else_could_make_is_no_claim_and_passes_nothing_on() -> None:
    """Normal quantiles: beyond 1.645 on one side lies 0.05, beyond 1.96 on both 0.05."""
    error = ErrorOf(3.0, 1.0, 1.0, Contrast(3.0, 0.0, 4.0))
    one = difference(3.0, 1.0, 4.0, readings=(error,), p_value=p_value_of([error]))
    assert one.p_beyond(0.0, 0.0) == one.p_value == pytest.approx(0.0027, abs=5e-5)
    assert one.p_beyond(-9.0, 3.0 - 1.645) == pytest.approx(0.05, abs=1e-4)
    assert one.p_beyond(3.0 + 1.96 - 1e-9, 3.0 + 1.96) == pytest.approx(0.05, abs=1e-4)
    assert one.p_beyond(2.0, 4.0) == one.p_beyond(-np.inf, np.inf) == 1.0
    # Another reading on the other side of the range shows nothing.
    both = replace(one, readings=(error, replace(error, value=-3.0)))
    assert both.p_beyond(-1.0, 1.0) == 1.0
    # By itself the second is shown at 0.1 once the first is; that claims nothing within 0 to 4.
    second = difference(0.5, 0.1, 4.0, p_value=0.06)
    for otherwise, words in (
        ([(0.0, 0.0)] * 2, ["better", "better"]),
        ([(0.0, 4.0), (0.0, 0.0)], ["cannot say", "no difference shown"]),
        ([(-4.0, 0.0), (0.0, 0.0)], ["better", "better"]),
        ([(0.0, 1.0), (0.0, 0.0)], ["better", "better"]),
    ):
        found = verdicts([one, second], [1.0, 1.0], [1, 1], otherwise)
        assert [each.word for each in found] == words
        assert found[0].left_open == (words[0] == "cannot say") and not found[1].left_open


def test_scatters_by_hand() -> None:
    """Welch of sd 1 and 2, 4 and 9 values: variance 1/4 + 4/9, degrees by Satterthwaite."""
    one, two = Summary(4, 10.0, 1.0), Summary(9, 12.0, 2.0)
    found = welch(one, two)
    first, second = 0.25, 4.0 / 9.0
    assert (found.difference, found.standard_error) == pytest.approx((2.0, np.sqrt(first + second)))
    assert found.freedom == pytest.approx((first + second) ** 2 / (first**2 / 3 + second**2 / 8))
    alike = shared_scatter(one, two)
    assert alike.freedom == 11.0
    assert alike.standard_error == pytest.approx(np.sqrt((3.0 + 32.0) / 11.0 * (1 / 4 + 1 / 9)))
    single = shared_scatter(Summary(1, 10.0, float("nan")), two)
    assert single.freedom == 8.0 and single.standard_error == pytest.approx(2.0 * np.sqrt(10 / 9))
    exact = welch(Summary(2, 1.0, 0.0), Summary(3, 2.0, 0.0))
    assert (exact.standard_error, exact.freedom) == (0.0, 3.0)
    # 8 degrees, 90 %: t 1.860.
    assert Contrast(0.0, 0.5, 8.0).reach(0.9) == pytest.approx(0.93, abs=1e-3)
    with pytest.raises(ValueError, match="1 values are fewer than 2"):
        welch(Summary(1, 1.0, 0.0), two)
    with pytest.raises(ValueError, match="one value on either side"):
        shared_scatter(Summary(1, 1.0, 0.0), Summary(1, 2.0, 0.0))


def test_one_against_four_rides_share_a_scatter() -> None:
    """Sd 0.2 of four, 3 degrees, t 2.353; of one alone nothing is known."""
    four = [about(10.0 + x, 0.001) for x in (-0.2449, 0.0, 0.0, 0.2449)]
    found = difference_of([about(9.0, 0.001)], four)
    assert found.method == "shared scatter"
    reach = 2.353 * 0.2 * np.sqrt(1.0 + 0.25)
    assert found.difference.high - found.difference.value == pytest.approx(reach, rel=2e-3)


def test_an_interval_over_two_readings_reaches_from_one_to_the_other() -> None:
    """Far apart each end is missed on one side alone: 1.2816 deviations, not 1.6449."""
    readings = [ErrorOf(0.0, 0.1, 0.1, None), ErrorOf(5.0, 0.2, 0.2, None)]
    low, high = interval_over(readings, 0.9)
    assert (low, high) == pytest.approx((-0.12816, 5.0 + 0.25631), abs=2e-4)
    same = interval_over([readings[0]], 0.9)
    assert same == pytest.approx((-0.16449, 0.16449), abs=1e-4)
    skewed = interval_over([ErrorOf(0.0, 0.1, 0.3, None)], 0.9)
    assert skewed == pytest.approx((-0.16449, 0.49346), abs=1e-4)
    by_scatter = ErrorOf(0.0, 0.1, 0.1, Contrast(0.0, 1.0, 4.0))
    assert by_scatter.tail(2.132) == pytest.approx(0.05, abs=1e-4)
    assert ErrorOf(0.0, 1.0, 0.5, None).tail(1.6449) == pytest.approx(0.05, abs=1e-4)
    assert ErrorOf(0.0, 0.0, 0.0, None).tail(1.0) == 0.0


def ride(name: str, value: float | None, sd: float = 1e-4, *, two_way: bool = True) -> Any:
    def figure(key: str, told: bool) -> Figure:
        estimate = about(value, sd) if told and value is not None else None
        return Figure(key, key, SPEED, estimate, "no two runs")

    figures = {
        key: figure(key, told) for key, told in (("two_way_mps", two_way), ("best_1s_mps", True))
    }
    return SimpleNamespace(name=name, figures=figures, cautions=())


def test_a_stated_speed_is_any_within_its_tolerance() -> None:
    """5 m/s to 10 %: nine in ten within 0.45 m/s; a ride of 6 m/s is 1.101 to 1.319 times that."""
    stated = StatedSpeed(5.0, 0.1)
    assert (stated.estimate.low, stated.estimate.high) == pytest.approx((4.55, 5.45))
    found = against_stated(stated, (ride("a", 6.0),))
    assert found.after.value == 6.0 and found.verdict == "better"
    assert found.ratio.value == pytest.approx(1.2)
    assert (found.ratio.low, found.ratio.high) == pytest.approx((6.0 / 5.45, 6.0 / 4.55), rel=1e-3)
    assert (found.difference.low, found.difference.high) == pytest.approx((0.55, 1.45), rel=2e-3)
    assert against_stated(stated, (ride("a", 5.3),)).verdict == "no difference shown"
    assert against_stated(stated, (ride("a", 4.4),)).verdict == "worse"
    # The fastest second where one ride has no two directions.
    mixed = against_stated(stated, (ride("a", 6.0), ride("b", 6.2, two_way=False)))
    assert mixed.figure.name == "best_1s_mps" and mixed.after.value == pytest.approx(6.1)
    # Two rides 0.2 m/s apart: t 6.314 with one degree, 0.1 of their mean.
    assert mixed.after.high - 6.1 == pytest.approx(6.314 * 0.1, rel=1e-3)
    rough = against_stated(stated, (ride("a", 6.0, 0.1), ride("b", 6.0, 0.3)))
    assert rough.after.high - 6.0 == pytest.approx(QUANTILE * np.hypot(0.1, 0.3) / 2.0)
    with pytest.raises(RideLogError, match="no ride tells a top speed"):
        against_stated(stated, (ride("a", None),))
    with pytest.raises(RideLogError, match="There is no ride after the change"):
        against_stated(stated, ())
    for mps, within in ((0.0, 0.1), (5.0, 0.0), (5.0, 1.0)):
        with pytest.raises(RideLogError, match="above zero, and good to a share"):
            StatedSpeed(mps, within)


def test_a_season_that_changed_once() -> None:
    assert LEAST_RIDES == 8
    steady = 8.0 + 0.01 * np.resize([-1.0, 1.0], 12)
    slower = np.where(np.arange(12) < 7, steady, steady - 0.5)
    at, chance = change_point(slower)
    assert at == 7 and chance < 0.01 and change_point(steady)[1] > 0.5
    (one,) = drifts_of({"best_1s_mps": slower.tolist()})
    assert one.drifted and not one.improved and one.first_after == 7
    assert (one.before, one.after) == pytest.approx((steady[:7].mean(), steady[7:].mean() - 0.5))
    assert one.difference.value == pytest.approx(one.after - one.before)
    assert one.difference.low < -0.49 < one.difference.high < -0.47
    # A time that falls is better; a ride that does not tell is left out; seven are too few.
    (time,) = drifts_of({"0-20 km/h": [float("nan"), *slower.tolist()]})
    assert time.improved and not time.drifted and len(time.values) == 12
    assert drifts_of({"best_1s_mps": slower[:7].tolist()}) == ()
    (last,) = drifts_of({"best_1s_mps": [*steady[:7].tolist(), 9.0]})
    assert last.first_after in (1, 7)


@pytest.mark.parametrize(("volts", "share"), [(0.9, 0.0), (0.9, 0.5), (1.1, 0.5), (0.5, 0.5)])
def test_what_volts_alone_do(volts: float, share: float) -> None:
    """Pull moves by (u - 1) / (0.85 (1 - s)) of itself, never by more than all of it."""
    low, high = min(volts, 1.0), max(volts, 1.0)
    alone = ChargeAlone(low, high, "before")
    gain = max((volts - 1.0) / (0.85 * (1.0 - share)), -1.0)
    pull, time = alone.of_pull(share), alone.of_time(share)
    inverse = 1.0 / (1.0 + gain) if gain > -1.0 else np.inf
    assert (pull.low, pull.high) == pytest.approx((min(1.0 + gain, 1.0), max(1.0 + gain, 1.0)))
    assert (time.low, time.high) == pytest.approx((min(inverse, 1.0), max(inverse, 1.0)))
    top = 1.0 + max((volts - 1.0) / 0.85, -1.0)
    assert alone.of_top().low == pytest.approx(min(top, 1.0))
    assert alone.of_way().high == pytest.approx(max(1.0 / top, 1.0))
    # At the top speed itself nothing is left to pull with.
    at_top = alone.of_pull(1.0)
    assert at_top.low == 0.0 if volts < 1.0 else at_top.high == np.inf


@pytest.mark.parametrize(("told", "low", "high", "opens"), [
    ("neither", 0.9, 1.1, True), ("both", 0.99, 1.01, False), ("both", 0.9, 0.99, True),
    ("modes", 0.9, 1.0, False), ("before", 0.99, 1.01, True),
])  # fmt: skip
def test_when_starts_are_held_against_it(told: str, low: float, high: float, opens: bool) -> None:
    assert ChargeAlone(low, high, told).opens_starts is opens
    assert ChargeAlone(0.9, 1.2, told).share == pytest.approx(0.2)
    assert ChargeAlone(0.7, 1.2, told).share == pytest.approx(0.3)


def test_notes_of_a_charge() -> None:
    """A display is believed to 4 %: 50 % is 43 to 57 %; two readings span both."""
    one = charge_alone({"charge": "50 %"}, {"charge": "full"}, None)
    half_low, half_high = (np.interp(x, [0.4, 0.5, 0.6], [3.64, 3.69, 3.77]) / 4.18
                           for x in (0.5 - 0.0658, 0.5 + 0.0658))  # fmt: skip
    full_low = np.interp(0.97, [0.9, 1.0], [4.07, 4.18]) / 4.18
    assert one.low == pytest.approx(full_low / half_high, rel=1e-3)
    assert one.high == pytest.approx(1.0 / half_low, rel=1e-3) and one.told == "both"
    span = charge_alone({"charge": "80 % to 40 %"}, {"charge": "50 %"}, None)
    assert span.low < 0.95 and span.high > 1.02


def test_the_charge_of_rides_as_the_book_notes_it() -> None:
    """Ten cells of lithium-ion: 40.7 V at rest are 90 %, 36.9 V half, 36.4 V 40 % (data sheets)."""
    pack = MachineSetup(battery_cells=10, battery_chemistry="li-ion")
    both = charge_of_rides(["40.7/36.9 V"], pack)
    assert both is not None and both[0] == pytest.approx(0.7, abs=0.03) and both[1] > 0.1
    assert charge_of_rides(["40.7 V / 36,9V"], pack) == both
    assert charge_of_rides(["80 %", "40%"], pack) == pytest.approx((0.6, np.hypot(0.2, 0.04)))
    assert charge_of_rides(["full"], pack) == (0.97, 0.04)
    # A ride of which nothing is noted, a note that tells two charges, volts that cannot be.
    for noted in ([], ["80 %", ""], ["80 % to 40 %"], ["58 V"], ["new"]):
        assert charge_of_rides(noted, pack) is None


def test_a_side_without_rides_or_with_one_twice() -> None:
    def side(*names: str) -> Any:
        return tuple(SimpleNamespace(name=n, source=SimpleNamespace(sha256=n[0])) for n in names)

    check_sides(side("a", "b"), side("c"), BEFORE_AND_AFTER, within=False)
    check_sides(side("a", "b"), side("a", "b"), BEFORE_AND_AFTER, within=True)
    for before, after, within, words in (
        (side(), side("a"), False, "There is no ride before the change"),
        (side("a"), side(), False, "There is no ride after the change"),
        (side("a1"), side("a2"), False, "a2: this log has the same bytes as a1"),
        (side("a1", "a2"), side("b"), True, "a ride counts once"),
    ):
        with pytest.raises(RideLogError, match=words):
            check_sides(before, after, BEFORE_AND_AFTER, within=within)
    both = shared_by_modes(side("a", "b"), side("a", "b"))
    assert "Both modes were ridden in the same logs" in both.text
    one = shared_by_modes(side("a", "b"), side("a", "c"))
    assert "1 log holds both modes, the others one" in one.text
