"""Two drive modes of the same logs: what a log shares drops out, and few pairs still hold."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import stdtrit
from scipy.stats import ttest_rel

from ridelog.compare.difference import difference_of
from ridelog.compare.pairs import LEAST_PAIRS, difference_of_pairs
from ridelog.compare.verdict import more_rides, smallest_shown, step_down
from ridelog.core.estimate import Estimate

REACH = 1.6448536269514722


def ride(value: float, sd: float) -> Estimate:
    return Estimate(value, value - REACH * sd, value + REACH * sd)


def logs(
    rng: np.random.Generator, count: int, *, day: float, own: float, gain: float = 0.0
) -> tuple[list[Estimate], list[Estimate]]:
    """Return both modes of some logs: each log has a day of its own, each mode a scatter."""
    shared = rng.normal(10.0, day, count)
    first, second = (shared + rng.normal(g, own, count) for g in (0.0, gain))
    return [ride(x, 0.6 * own) for x in first], [ride(x, 0.6 * own) for x in second]


@pytest.mark.parametrize("count", [3, 4, 6])
@pytest.mark.parametrize("day", [0.0, 0.1, 1.0])
def test_pairs_hold_whatever_a_day_does(count: int, day: float) -> None:
    rng, held = np.random.default_rng(count), 0
    for _ in range(1000):
        interval = difference_of_pairs(*logs(rng, count, day=day, own=0.05)).difference
        held += interval.low <= 0.0 <= interval.high
    # Binomial standard deviation of 1,000 trials at 0.9: 0.009; the receivers' floor adds some.
    assert 0.87 <= held / 1000 <= 0.97


def test_what_days_hide_pairs_show() -> None:
    rng, sides = np.random.default_rng(4), []
    for _ in range(200):
        both = logs(rng, 4, day=0.5, own=0.05, gain=0.3)
        sides.append((difference_of(*both), difference_of_pairs(*both)))
    shown = [np.mean([one[k].p_value < 0.1 for one in sides]) for k in (0, 1)]
    assert shown[1] > 0.95 and shown[0] < 0.3


def test_against_a_reference_of_students_paired_test() -> None:
    # scipy.stats.ttest_rel: Student's t of related samples.
    before, after = ([ride(x, 1e-6) for x in y] for y in ((9.8, 10.6, 10.1), (10.3, 11.0, 10.7)))
    found = difference_of_pairs(before, after)
    asked = ttest_rel([e.value for e in after], [e.value for e in before])
    interval = asked.confidence_interval(0.90)
    assert found.p_value == pytest.approx(asked.pvalue)
    assert (found.difference.low, found.difference.high) == pytest.approx(tuple(interval))
    assert found.method == "pairs" and found.contrast is not None and found.contrast.freedom == 2


def test_pairs_that_agree_by_luck_keep_the_receivers_part() -> None:
    before, after = [ride(x, 0.1) for x in (9.0, 10.0, 11.0)], [ride(x, 0.1) for x in (10, 11, 12)]
    found = difference_of_pairs(before, after)
    assert found.difference.high - 1.0 == pytest.approx(REACH * 0.1 * np.sqrt(2.0 / 3.0))
    assert found.percent is not None and found.percent.value == pytest.approx(10.0)


def test_percent_takes_the_scatter_of_the_ratio() -> None:
    # Every log is 20 % faster in the second mode, whatever its day: the ratio does not scatter.
    before = [ride(x, 1e-6) for x in (8.0, 10.0, 12.0)]
    found = difference_of_pairs(before, [ride(1.2 * one.value, 1e-6) for one in before])
    assert found.percent is not None
    assert found.percent.value == pytest.approx(20.0)
    assert found.percent.high - found.percent.low < 0.01
    assert found.difference.high - found.difference.low > 1.0
    none = difference_of_pairs([ride(0.01, 0.1)] * 3, [ride(1.0, 0.1)] * 3)
    assert none.percent is None


def test_wind_reaches_over_both_readings_of_pairs() -> None:
    before, after = (
        [ride(x, 0.02) for x in (9.0, 10.0, 11.0)],
        [ride(x, 0.02) for x in (9.4, 10.5, 11.3)],
    )
    parts = ([0.0] * 3, [0.3] * 3)
    found = difference_of_pairs(before, after, wind_parts=parts)
    assert found.wind_part == pytest.approx(0.3)
    assert found.difference.low < 0.1 < found.difference.value < found.difference.high


def test_from_three_logs_on_pairs_are_worth_it() -> None:
    """METHOD.md (20): the share that must be the logs' own is below a half from three logs on."""
    shares = [1.0 - (stdtrit(2 * n - 2, 0.95) / stdtrit(n - 1, 0.95)) ** 2 for n in (2, 3, 4)]
    assert shares == pytest.approx([0.79, 0.47, 0.32], abs=0.006)
    assert LEAST_PAIRS == 3


def test_a_further_log_is_one_more_difference() -> None:
    rng = np.random.default_rng(3)
    both = logs(rng, 3, day=0.3, own=0.2, gain=0.3)
    found = difference_of_pairs(*both)
    tested = step_down([1.0], [1.0])[0]
    as_rides = replace(found, method="welch")
    pairs, rides = more_rides(found, tested), more_rides(as_rides, tested)
    assert pairs is not None and rides is not None and pairs >= rides
    assert smallest_shown(found, tested) == smallest_shown(as_rides, tested)
