"""Draws of a span hold what is known beyond it, and paths are made when asked for."""

import numpy as np
import pytest

from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.curves import interpolated
from ridelog.filtering.kept_blocks import KeptBlocks
from ridelog.filtering.posterior import Posterior, drawn_errors, noise_of
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.state_space import StateSpace


def _space(n: int, rate_hz: float) -> tuple[StateSpace, Precisions]:
    none = np.zeros(n - 1, dtype=bool)
    seen = np.zeros((n, 2))
    space = StateSpace(np.arange(n) / rate_hz, seen, seen, none, none)
    random = np.random.default_rng(1)
    return space, Precisions(
        jerk=random.uniform(0.1, 5.0, n - 1),
        position=np.full(n, 4.0),
        velocity=np.full(n, 100.0),
        still=np.zeros(n),
        cruise=np.full(n, 1.0 / rate_hz),
        drift=np.full(n - 1, 0.05),
        slow_sd=0.03,
    )


@pytest.mark.parametrize("rate_hz", [1.0, 10.0, 100.0])
def test_errors_of_a_stretch_have_the_variances_of_the_whole(rate_hz: float) -> None:
    space, precisions = _space(round(20 * rate_hz), rate_hz)
    blocks = space.blocks(precisions)
    covariance, _ = BandedFactor(blocks.diagonal, blocks.lower).selected_inverse()
    first, last = round(8 * rate_hz), round(11 * rate_hz)
    drawn = drawn_errors(space, [precisions], (first, last), np.random.default_rng(2), 20_000)[0]
    assert drawn.shape == (last - first + 1, 5, 20_000)
    for place in (0, (last - first) // 2, last - first):
        expected = covariance[first + place]
        size = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
        # The standard error of a correlation from 20,000 draws is 0.7 %.
        np.testing.assert_allclose(np.cov(drawn[place]) / size, expected / size, atol=0.04)


def test_a_stretch_to_the_end_of_the_ride_has_nothing_beyond() -> None:
    space, precisions = _space(40, 10.0)
    blocks = space.blocks(precisions)
    covariance, _ = BandedFactor(blocks.diagonal, blocks.lower).selected_inverse()
    drawn = drawn_errors(space, [precisions], (30, 39), np.random.default_rng(3), 20_000)[0]
    ratio = drawn[-1].var(axis=1) / np.diag(covariance[-1])
    np.testing.assert_allclose(ratio, 1.0, atol=0.05)


def test_fitted_paths_do_without_the_digits_of_draws() -> None:
    space, precisions = _space(40, 10.0)
    asked = []

    def hard() -> BoolArray:
        asked.append(True)
        return np.zeros(40, dtype=bool)

    none = np.zeros((40, 5, 2))
    posterior = Posterior(space, none, none, None, precisions, precisions, hard)
    assert posterior.paths(1.0, 2.0, 0, 0.1).velocity_mps.shape == (11, 2, 1)
    assert not asked
    for _ in range(2):
        assert posterior.paths(1.0, 2.0, 3, 0.1).velocity_mps.shape == (11, 2, 7)
    assert len(asked) == 1


def test_kept_blocks_are_those_of_the_part(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ridelog.filtering.kept_blocks._STRETCH", 30)
    monkeypatch.setattr("ridelog.filtering.kept_blocks._MOST", 2)
    space, precisions = _space(95, 10.0)
    kept = KeptBlocks(space, precisions)
    # Inside one stretch, up to its end, across it, at the ride's end, and an instant alone.
    for first, last in ((3, 20), (30, 60), (20, 40), (60, 94), (90, 94), (7, 7), (0, 30)):
        diagonal, lower = kept.between(first, last)
        part = space.part(first, last + 1).blocks(precisions.part(first, last + 1))
        np.testing.assert_allclose(diagonal, part.diagonal, rtol=1e-14)
        np.testing.assert_array_equal(lower, part.lower)


# At even places, and so unevenly that intervals are taken one after the other.
@pytest.mark.parametrize("places", [np.linspace(0.0, 9.0, 181), np.geomspace(1e-4, 9.0, 40)])
def test_sums_over_intervals_are_those_of_each_instant(places: FloatArray) -> None:
    random = np.random.default_rng(5)
    time_s = np.concatenate([[0.0, 0.5, 0.7, 1.5], np.linspace(2.0, 9.0, 30)])
    states, one, other = (random.normal(size=(34, 5, 2, count)) for count in (1, 3, 2))
    size, share = random.normal(size=(34, 5, 2)), random.normal(size=2)
    paths = interpolated(time_s, states[..., 0], [one, other], places, sides=[(size, share)])
    columns = [states, states + one, states + other + size[..., None] * share]
    every = np.concatenate(columns, axis=3)
    for column in range(every.shape[3]):
        alone = interpolated(time_s, every[..., column], [], places)
        for name in ("position_m", "velocity_mps", "acceleration_mps2"):
            found, expected = getattr(paths, name)[:, :, column], getattr(alone, name)[:, :, 0]
            np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-9)


@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning")
def test_one_instant_alone_has_no_curve() -> None:
    states = np.ones((1, 5, 2, 3))
    paths = interpolated(np.zeros(1), states[..., 0], [states], np.zeros(2))
    assert paths.speed_mps.shape == (2, 4)
    assert np.isnan(paths.speed_mps).all()


def test_curves_run_through_the_states_with_their_rates() -> None:
    time_s = np.array([0.0, 0.5, 1.5])
    drawn = np.random.default_rng(4).normal(size=(3, 4, 2, 6))
    paths = interpolated(time_s, np.zeros((3, 4, 2)), [drawn], np.linspace(0.0, 1.5, 1501))
    # The states alone come first, which are nought here.
    states = np.concatenate([np.zeros((3, 4, 2, 1)), drawn], axis=3)
    at = [0, 500, 1500]
    np.testing.assert_allclose(paths.position_m[at], states[:, 0], atol=1e-12)
    np.testing.assert_allclose(paths.velocity_mps[at], states[:, 1], atol=1e-12)
    np.testing.assert_allclose(paths.acceleration_mps2[at], states[:, 2], atol=1e-9)
    slope = np.gradient(paths.velocity_mps, 0.001, axis=0)
    np.testing.assert_allclose(slope[1:499], paths.acceleration_mps2[1:499], atol=1e-3)
    rate = np.gradient(paths.position_m, 0.001, axis=0)[500]
    np.testing.assert_allclose(rate, states[1, 1] + states[1, 3], atol=0.1)


def test_numbers_are_normal_and_their_columns_unrelated() -> None:
    drawn = noise_of(np.random.default_rng(1), 900, 1, 600)[:, 0]
    assert drawn.shape == (900, 600)
    assert float(drawn.mean()) == pytest.approx(0.0, abs=0.005)
    assert float(drawn.std()) == pytest.approx(1.0, abs=0.005)
    assert float((drawn**4).mean()) == pytest.approx(3.0, abs=0.05)
    together = np.asarray(np.corrcoef(drawn, rowvar=False))[np.triu_indices(600, 1)]
    # Of 900 rows a correlation scatters by one in the root of them.
    assert float(together.std()) == pytest.approx(900.0**-0.5, rel=0.05)


def test_the_same_column_of_two_draws_holds_different_numbers() -> None:
    random = np.random.default_rng(2)
    first, second = (noise_of(random, 500, 1, 300)[:, 0] for _ in range(2))
    along = [float(np.corrcoef(a, b)[0, 1]) for a, b in zip(first.T, second.T, strict=True)]
    assert float(np.abs(along).max()) < 5.0 * 500.0**-0.5


def test_a_draw_longer_than_the_table_does_not_repeat_a_column() -> None:
    drawn = noise_of(np.random.default_rng(3), 16_000, 1, 300)[:, 0]
    assert drawn.shape == (16_000, 300)
    column = drawn[:, 7]
    assert len(np.unique(column)) == len(column)
