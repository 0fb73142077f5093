"""The promise that matters most: intervals hold the truth in nine rides of ten.

24 rides of each kind of log from a simulator of its own, through files. An interval that holds with
a chance of 0.90 holds in fewer of n rides than ``least_of(n)`` once in a thousand times (binomial
distribution); one that is far too wide is no promise either, so its half width must be of use.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from own_rides import KINDS, Kind, Ride, backed, ridden, written
from scipy.stats import binom

import ridelog

RIDES, LEVEL, RARE = 24, 0.90, 0.001
# What each sort of ride tells: top speeds of one and of both directions, starts and stops; reverse.
TOLD: dict[Callable[[np.random.Generator], Ride], tuple[str, ...]] = {
    ridden: ("best_1s_mps", "two_way_mps", "0-20 km/h", "mean_braking_mps2"),
    backed: ("reverse_top_mps",),
}
FIGURES = tuple(figure for figures in TOLD.values() for figure in figures)
# Told by so many rides at least, or the kind of log says nothing.
LEAST_TOLD = 18
Outcome = dict[str, list[tuple[float, float, float, float]]]


def least_of(count: int) -> int:
    """Return how many of so many intervals hold at least, but for one time in a thousand."""
    return int(binom.ppf(RARE, count, LEVEL))


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Kind], Outcome]:
    folder, found = tmp_path_factory.mktemp("own"), dict[str, Outcome]()

    def of(kind: Kind) -> Outcome:
        if kind.name not in found:
            found[kind.name] = _measured(kind, folder)
        return found[kind.name]

    return of


def _measured(kind: Kind, folder: Path) -> Outcome:
    result: Outcome = {name: [] for name in FIGURES}
    for sort, (drawn, names) in enumerate(TOLD.items()):
        for number in range(RIDES):
            random = np.random.default_rng([20261129, KINDS.index(kind), number, *[sort] * sort])
            ride = drawn(random)
            figures = ridelog.load(written(ride, kind, random, folder)).figures
            for name in names:
                one = figures[name].estimate if name in figures else None
                if one is not None and name in ride.truth:
                    result[name].append((ride.truth[name], one.value, one.low, one.high))
    return result


@pytest.mark.parametrize("figure", FIGURES)
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_intervals_hold(kind: Kind, figure: str, outcomes: Callable[[Kind], Outcome]) -> None:
    rows = np.array(outcomes(kind)[figure]).reshape(-1, 4)
    truth, value, low, high = rows.T
    held = int(np.count_nonzero((low <= truth) & (truth <= high)))
    errors = value - truth
    told = f"{kind.name}, {figure}: held {held} of {len(rows)}, bias {errors.mean():+.3f}, "
    rms = float(np.sqrt(np.mean(errors**2)))
    print(f"{told}RMS {rms:.3f}, half width {np.mean(high - low) / 2.0:.3f}")
    assert len(rows) >= LEAST_TOLD
    assert held >= least_of(len(rows))
    # The truth would be held by anything: half a width stays below six times what errors are.
    assert np.median(high - low) / 2.0 < 6.0 * rms


def test_the_bounds_are_those_of_the_binomial_distribution() -> None:
    """P(X < 16) = 0.0003 and P(X < 17) = 0.0017 of 24 at 0.90 (by the sum of its terms)."""
    assert least_of(24) == 16
    terms = [float(binom.pmf(k, 24, 0.9)) for k in range(16)]
    assert sum(terms) < RARE < sum(terms) + float(binom.pmf(16, 24, 0.9))
