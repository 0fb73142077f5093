"""Estimates from draws: figures that cannot exceed another keep their order, and its reasons."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, ordered_estimates
from ridelog.core.track import FloatArray

_DRAWS = 20
_ANY = arrays(
    np.float64,
    st.tuples(st.integers(1, 5), st.just(1 + 2 * _DRAWS)),
    elements=st.floats(-1e3, 1e3),
)


def _columns(middle: FloatArray, covariance: FloatArray, *, seed: int = 1) -> FloatArray:
    """Return columns of given fitted figures, with draws of exactly this covariance about them."""
    raw = np.random.default_rng(seed).normal(size=(len(middle), 300))
    raw -= raw.mean(axis=1, keepdims=True)
    raw = np.linalg.solve(np.linalg.cholesky(raw @ raw.T / 300), raw)
    cautious = middle[:, None] + np.linalg.cholesky(covariance) @ raw
    sharp = np.repeat(middle[:, None], 300, axis=1)
    return np.concatenate([middle[:, None], sharp, cautious], axis=1)


def _found(columns: FloatArray, *, smallest: float = -np.inf) -> list[Estimate]:
    found = ordered_estimates(columns, smallest=smallest)
    assert all(each is not None for each in found)
    return [each for each in found if each is not None]


@settings(max_examples=300, deadline=None, derandomize=True)
@given(columns=_ANY, smallest=st.sampled_from([-np.inf, 0.0]))
def test_no_part_exceeds_the_whole_whatever_was_drawn(columns: FloatArray, smallest: float) -> None:
    whole, *parts = _found(columns, smallest=smallest)
    for part in parts:
        assert part.value <= whole.value
        assert part.low <= whole.low
        assert part.high <= whole.high
    assert all(each.low >= smallest for each in (whole, *parts))


@settings(max_examples=100, deadline=None, derandomize=True)
@given(columns=_ANY)
def test_values_in_order_are_those_of_each_figure_alone(columns: FloatArray) -> None:
    alone = [estimate(each) for each in columns]
    values = [each.value for each in alone if each is not None]
    found = [each.value for each in _found(columns)]
    if max(values) == values[0]:
        assert found == values
    else:
        assert found != values


def test_a_spread_of_next_to_nothing_beside_a_usual_one_is_no_trouble() -> None:
    columns = np.zeros((4, 37))
    columns[0, 6], columns[1, 24], columns[3, 10], columns[3, 20] = 1e-308, -5e-324, -1e-308, 1.0
    found = [each.value for each in _found(columns)]
    assert np.isfinite(found).all() and max(found) == found[0]


def test_the_values_are_the_nearest_in_the_metric_of_the_draws() -> None:
    # Two figures: the pooled value of least variance, as of any two readings of one thing.
    middle, covariance = np.array([10.0, 10.3]), np.array([[0.09, 0.01], [0.01, 0.02]])
    whole, part = _found(_columns(middle, covariance))
    share = (0.02 - 0.01) / (0.09 + 0.02 - 2.0 * 0.01)
    assert whole.value == pytest.approx(10.3 - 0.3 * share)
    assert part.value == pytest.approx(whole.value)
    # Four: no feasible neighbour is nearer.
    random = np.random.default_rng(4)
    mixed = random.normal(size=(4, 4))
    covariance = mixed @ mixed.T + 0.1 * np.eye(4)
    middle = np.array([5.0, 5.4, 4.9, 6.0])
    best = np.array([each.value for each in _found(_columns(middle, covariance))])

    def distance(values: FloatArray) -> float:
        return float((values - middle) @ np.linalg.solve(covariance, values - middle))

    for _ in range(2000):
        other = best + 0.2 * random.normal(size=4)
        if (other[1:] <= other[0]).all():
            assert distance(other) > distance(best)


def test_the_mean_of_two_parts_stays_their_mean() -> None:
    covariance = np.diag([0.4, 0.2, 0.3]) + 0.1
    columns = _columns(np.array([8.0, 8.5, 7.9]), covariance)
    both = 0.5 * (columns[1] + columns[2])
    _, there, back, mean = _found(np.vstack([columns, both]))
    assert there.value < 8.5
    assert mean.value == pytest.approx(0.5 * (there.value + back.value), abs=1e-12)


def test_bounds_follow_from_each_other() -> None:
    # A whole that is badly known by itself is no less than the part that is well known: the bound
    # that is missed once in forty, so that both bounds together are missed once in twenty or less.
    whole, part = _found(_columns(np.array([10.0, 9.9]), np.diag([1.0, 0.01])))
    assert whole.low == part.low == pytest.approx(9.9 - 1.960 * 0.1, abs=0.02)
    assert whole.high == pytest.approx(10.0 + 1.645, abs=0.15)
    # A part that is badly known is no more than the whole, which its own low bound leaves alone.
    whole, part = _found(_columns(np.array([10.0, 9.9]), np.diag([0.01, 1.0])))
    assert part.high == whole.high == pytest.approx(10.0 + 1.645 * 0.1, abs=0.02)
    assert whole.low == pytest.approx(10.0 - 1.645 * 0.1, abs=0.02)
    assert part.low == pytest.approx(9.9 - 1.645, abs=0.15)


def test_draws_without_a_spread_still_keep_the_order() -> None:
    columns = np.repeat(np.array([[1.0], [2.0]]), 21, axis=1)
    whole, part = _found(columns)
    assert part.value <= whole.value
    # The same figure twice is the same estimate twice.
    one = np.random.default_rng(2).normal(size=301)
    whole, part = _found(np.vstack([one, one]))
    assert whole == part


def test_a_missing_part_leaves_the_others_and_a_missing_whole_leaves_none() -> None:
    columns = _columns(np.array([3.0, 3.5]), np.diag([0.1, 0.2]))
    nothing = np.full(columns.shape[1], np.nan)
    first, missing, last = ordered_estimates(np.vstack([columns[0], nothing, columns[1]]))
    assert missing is None
    assert [first, last] == _found(columns)
    assert ordered_estimates(np.vstack([nothing, columns])) == [None, None, None]
