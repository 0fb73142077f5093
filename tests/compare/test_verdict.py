"""Verdicts in words, with false alarms kept rare over several figures."""

import numpy as np
import pytest

from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.difference import Difference, difference_of
from ridelog.compare.verdict import BETTER, CANNOT_SAY, NOT_SHOWN, WORSE, step_down, verdicts
from ridelog.core.estimate import Estimate

REACH = 1.6448536269514722


def side(*values: float, sd: float = 0.02) -> list[Estimate]:
    return [Estimate(v, v - REACH * sd, v + REACH * sd) for v in values]


def test_holms_steps_by_hand() -> None:
    # Four equal figures at 0.05: levels 0.0125, 0.0167, 0.025, 0.05. The third fails, so the
    # fourth is not shown either, although 0.04 is below 0.05.
    tested = step_down([0.01, 0.04, 0.03, 0.005], [1.0] * 4, family=0.05)
    assert [each.shown for each in tested] == [True, False, False, True]
    assert [round(each.adjusted, 6) for each in tested] == [0.03, 0.06, 0.06, 0.02]
    assert [round(each.level, 6) for each in tested] == [0.016667, 0.025, 0.025, 0.0125]


def test_weights_share_the_level() -> None:
    tested = step_down([0.07, 0.05], [4.0, 1.0])
    # First step: 0.07 / 4 is the smaller ratio, tested at 0.1 * 4 / 5; then 0.05 has all of 0.1.
    assert [each.shown for each in tested] == [True, True]
    assert tested[0].level == pytest.approx(0.08)
    assert tested[1].level == pytest.approx(0.10)
    assert step_down([], []) == []


def test_false_claims_stay_rare_over_many_figures() -> None:
    rng = np.random.default_rng(11)
    false = 0
    for _ in range(400):
        pairs = [
            difference_of(side(*rng.normal(10, 0.08, 3)), side(*rng.normal(10, 0.08, 3)))
            for _ in range(8)
        ]
        found = verdicts(pairs, [4.0, 4.0] + [1.0] * 6, [1] * 8)
        false += any(each.word in (BETTER, WORSE) for each in found)
    # Three standard deviations above a tenth.
    assert false / 400 <= 0.10 + 3 * np.sqrt(0.1 * 0.9 / 400)


def pair(apart: float) -> Difference:
    return difference_of(side(9.9, 10.0, 10.1), side(9.9 + apart, 10.0 + apart, 10.1 + apart))


def test_words() -> None:
    found = verdicts([pair(1.0), pair(-1.0), pair(1.0), pair(0.05)], [1.0] * 4, [1, 1, -1, 1])
    assert [each.word for each in found] == [BETTER, WORSE, WORSE, NOT_SHOWN]
    lone = difference_of(side(10.0), side(15.0))
    assert verdicts([lone], [1.0], [1])[0].word == CANNOT_SAY


def test_what_could_have_been_shown_and_how_many_rides_would() -> None:
    found = verdicts([pair(0.15)], [1.0], [1])[0]
    assert found.word == NOT_SHOWN
    # Standard error 0.0816, 4 degrees of freedom: t 2.132 for the test, 1.533 for the power.
    assert found.smallest_shown == pytest.approx(0.081650 * (2.131847 + 1.533206), rel=1e-4)
    # Nine a side: 0.1 sqrt(2 / 9) (1.746 + 1.337) = 0.145; eight a side: 0.155.
    assert found.more_rides == 6
    assert verdicts([pair(0.001)], [1.0], [1])[0].more_rides is None


def test_smallest_shown_is_shown_nine_times_out_of_ten() -> None:
    rng = np.random.default_rng(3)
    shown = []
    for _ in range(500):
        nothing = difference_of(side(*rng.normal(10, 0.1, 4)), side(*rng.normal(10, 0.1, 4)))
        smallest = verdicts([nothing], [1.0], [1])[0].smallest_shown
        assert smallest is not None
        again = difference_of(
            side(*rng.normal(10, 0.1, 4)), side(*rng.normal(10 + smallest, 0.1, 4))
        )
        shown.append(verdicts([again], [1.0], [1])[0].word == BETTER)
    assert 0.8 <= np.mean(shown) <= 0.97


def test_figures_named_first_have_four_shares_of_the_level(good_result: MeasuredRide) -> None:
    """As METHOD.md of compare has it: Holm with weights gives each its share of 0.10."""
    told = [one for one in good_result.figures.values() if one.comparable is not None]
    weights = [one.comparable.weight for one in told if one.comparable is not None]
    levels = [one.level for one in step_down([1.0] * len(told), weights)]
    assert sum(levels) == pytest.approx(0.10)
    first = {one.name for one, level in zip(told, levels, strict=True) if level > min(levels)}
    assert {"best_1s_mps", "two_way_mps", "0-20 km/h"} <= first and len(first) < len(told)
    assert max(levels) == pytest.approx(4.0 * min(levels))
