"""Differences of two sides: both scatters count, and intervals of few rides hold."""

import numpy as np
import pytest
from scipy.special import stdtrit

from ridelog.compare.difference import difference_of, side_mean
from ridelog.core.estimate import Estimate

REACH = 1.6448536269514722


def ride(value: float, sd: float) -> Estimate:
    return Estimate(value, value - REACH * sd, value + REACH * sd)


def held(n: int, m: int, *, scatter: float, receiver: float, trials: int, seed: int) -> float:
    """Return how often the interval of the difference holds the truth, here zero."""
    rng = np.random.default_rng(seed)
    spread = float(np.hypot(scatter, receiver))
    count = 0
    for _ in range(trials):
        sides = [[ride(x, receiver) for x in rng.normal(10.0, spread, k)] for k in (n, m)]
        interval = difference_of(*sides).difference
        count += interval.low <= 0.0 <= interval.high
    return count / trials


@pytest.mark.parametrize(("n", "m"), [(2, 2), (2, 3), (3, 3), (3, 5), (1, 3)])
@pytest.mark.parametrize("scatter", [0.0, 0.05, 0.3])
def test_few_rides_hold_the_truth(n: int, m: int, scatter: float) -> None:
    # Binomial standard deviation of 1,000 trials at 0.9: 0.009.
    share = held(n, m, scatter=scatter, receiver=0.05, trials=1000, seed=n * 10 + m)
    assert 0.86 <= share <= 0.98


def test_two_rides_that_agree_by_luck_do_not_make_it_certain() -> None:
    rides = [ride(10.0, 0.1), ride(10.0, 0.1)]
    difference = difference_of(rides, [ride(10.05, 0.1), ride(10.05, 0.1)])
    assert difference.difference.low == pytest.approx(0.05 - REACH * 0.1)
    assert difference.p_value > 0.5


def test_scatter_between_rides_widens_the_interval() -> None:
    calm = difference_of([ride(10 + x, 0.02) for x in (-0.02, 0, 0.02)], [ride(11, 0.02)] * 3)
    rough = difference_of([ride(10 + x, 0.02) for x in (-0.3, 0, 0.3)], [ride(11, 0.02)] * 3)
    assert rough.difference.high - rough.difference.low > 3 * (
        calm.difference.high - calm.difference.low
    )
    assert calm.method == rough.method == "welch"


def test_one_ride_a_side_gives_the_interval_within_the_rides() -> None:
    difference = difference_of([Estimate(10.0, 9.9, 10.2)], [Estimate(11.0, 10.7, 11.1)])
    assert difference.method == "one ride a side"
    assert difference.p_value == 1.0
    # The truth of "before" may lie 0.2 above: then the difference is smaller by that.
    assert difference.difference.low == pytest.approx(1.0 - np.hypot(0.3, 0.2))
    assert difference.difference.high == pytest.approx(1.0 + np.hypot(0.1, 0.1))


def winds(part: float, rides: int = 3) -> tuple[list[float], list[float]]:
    """Return what wind adds to each ride: nothing before the change, a part after it."""
    return [0.0] * rides, [part] * rides


def test_wind_reaches_over_both_readings() -> None:
    sides = [[ride(level + x, 0.02) for x in (-0.05, 0, 0.05)] for level in (10.0, 10.4)]
    plain = difference_of(*sides)
    windy = difference_of(*sides, wind_parts=winds(0.5))
    assert plain.contrast is not None
    assert windy.difference.value == plain.difference.value
    # Far apart each reading can be missed on one side only: a tenth of Student's t beyond it.
    reach = stdtrit(plain.contrast.freedom, 0.9) * plain.contrast.standard_error
    assert windy.difference.high == pytest.approx(0.4 + reach, abs=1e-3)
    assert windy.difference.low == pytest.approx(0.4 - 0.5 - reach, abs=1e-3)
    assert windy.difference.high < plain.difference.high
    assert plain.p_value < 0.01
    assert windy.p_value == 1.0
    none = difference_of(*sides, wind_parts=winds(0.0))
    assert none.difference == plain.difference and none.p_value == plain.p_value


def test_each_reading_scatters_by_itself() -> None:
    # In still air these rides would all have been alike; the wind made them differ.
    parts = [0.1, 0.3, 0.5]
    before = [ride(10.0 + part, 0.01) for part in parts]
    after = [ride(11.0, 0.01)] * 3
    found = difference_of(before, after, wind_parts=(parts, [0.0] * 3))
    assert found.difference.high == pytest.approx(1.0 + 1.2816 * 0.01 * np.sqrt(2 / 3), abs=2e-3)
    # Taken as measured they differ by chance as much, which the lower limit must allow for.
    assert found.contrast is not None and found.contrast.difference == pytest.approx(0.7)
    assert found.difference.low < 0.7 - 1.5 * found.contrast.standard_error


@pytest.mark.parametrize("wind", [0.0, 0.05, 0.2, 1.0])
@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_the_truth_is_held_wherever_it_lies_between_the_readings(wind: float, share: float) -> None:
    rng = np.random.default_rng(21)
    count = 0
    for _ in range(600):
        sides = [
            [ride(x, 0.05) for x in rng.normal(10.0 + more, 0.1, 3)] for more in (0.0, share * wind)
        ]
        interval = difference_of(*sides, wind_parts=winds(wind)).difference
        count += interval.low <= 0.0 <= interval.high
    # Binomial standard deviation at 0.9: 0.012.
    assert 0.87 <= count / 600 <= (1.0 if 0.0 < share < 1.0 else 0.97)


def test_wind_is_no_part_of_what_was_seen() -> None:
    rides = (
        [ride(1.0, 0.06), ride(1.1, 0.06), ride(0.9, 0.06)],
        [ride(1.3, 0.06), ride(1.4, 0.06), ride(1.2, 0.06)],
    )
    for part, nearest in ((0.0, 0.3), (0.1, 0.2), (-0.1, 0.3), (0.4, 0.0)):
        found = difference_of(*rides, wind_parts=winds(part))
        assert found.nearest == pytest.approx(nearest)
        assert found.wind_part == pytest.approx(part)
        assert (found.p_value == 1.0) == (nearest == 0.0)


def test_what_all_rides_share_drops_out() -> None:
    rides = ([ride(1.0, 0.06), ride(1.0, 0.06)], [ride(1.5, 0.06), ride(1.5, 0.06)])
    sd = ride(1.0, 0.06).sd
    whole, half, none = (difference_of(*rides, shared_sd=s) for s in (0.0, 0.6 * sd, sd))
    # Two rides a side that repeat exactly: the receivers' own part alone is left.
    assert half.receiver_error == pytest.approx(0.8 * whole.receiver_error)
    assert none.receiver_error == pytest.approx(0.0, abs=1e-6)
    # In a side's own mean it stays whole: of two rides sqrt(0.8² / 2 + 0.6²) of one.
    for one, share in ((whole, np.sqrt(0.5)), (half, np.sqrt(0.68)), (none, 1.0)):
        assert one.before.value == 1.0 and one.before.sd == pytest.approx(share * sd)


def test_percent_holds_the_error_of_the_first_side_too() -> None:
    before = [ride(10.0 + x, 0.01) for x in (-0.1, 0.0, 0.1)]
    after = [ride(12.0 + x, 0.01) for x in (-0.1, 0.0, 0.1)]
    difference = difference_of(before, after)
    assert difference.percent is not None
    assert difference.percent.value == pytest.approx(20.0)
    width = difference.percent.high - difference.percent.low
    absolute = difference.difference.high - difference.difference.low
    assert width == pytest.approx(10.0 * absolute * np.sqrt((1.0 + 1.44) / 2.0))


def test_percent_of_nothing_is_not_told() -> None:
    assert difference_of([ride(0.01, 0.1)] * 2, [ride(1.0, 0.1)] * 2).percent is None


def test_sd_of_an_interval() -> None:
    assert ride(3.0, 0.25).sd == pytest.approx(0.25)


def test_a_side_of_two_rides_takes_the_scatter_of_both_sides() -> None:
    """Pooled by hand: squares 0.02 and 0.18, 3 degrees, t 2.353 (NIST/SEMATECH, 1.3.6.7.2)."""
    few, more = [ride(x, 0.001) for x in (10.0, 10.2)], [ride(x, 0.001) for x in (9.0, 9.3, 9.6)]
    found = side_mean(few, more)
    assert found.value == pytest.approx(10.1)
    assert found.high - found.value == pytest.approx(2.353 * np.sqrt(0.20 / 3.0 / 2.0), rel=1e-3)
    assert found.value - found.low == pytest.approx(found.high - found.value)
    # Three rides have a scatter of their own: sd 0.3, 2 degrees, t 2.920.
    own = side_mean(more, few)
    assert own.high - own.value == pytest.approx(2.920 * 0.3 / np.sqrt(3.0), rel=1e-3)


def test_a_side_of_one_ride_has_the_scatter_of_the_other() -> None:
    """Squares 0.02, 1 degree, t 6.314 (NIST/SEMATECH e-Handbook, 1.3.6.7.2)."""
    others = [ride(x, 0.001) for x in (9.0, 9.2)]
    found = side_mean([ride(10.0, 0.001)], others)
    assert found.high - found.value == pytest.approx(6.314 * np.sqrt(0.02), rel=1e-3)
    # One a side: what the receiver leaves open; and never less than that.
    assert side_mean([ride(10.0, 0.1)], others[:1]) == ride(10.0, 0.1)
    wide = side_mean([ride(10.0, 3.0)], others)
    assert wide.high - wide.value == pytest.approx(REACH * 3.0)
