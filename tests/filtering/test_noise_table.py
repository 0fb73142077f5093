"""Numbers from the table are normal, and those of two draws are unrelated."""

import numpy as np
import pytest

from ridelog.filtering.noise_table import normal_numbers


def test_numbers_are_normal_and_their_columns_unrelated() -> None:
    drawn = normal_numbers(np.random.default_rng(1), 900, 600)
    assert drawn.shape == (900, 600)
    assert float(drawn.mean()) == pytest.approx(0.0, abs=0.005)
    assert float(drawn.std()) == pytest.approx(1.0, abs=0.005)
    assert float((drawn**4).mean()) == pytest.approx(3.0, abs=0.05)
    together = np.asarray(np.corrcoef(drawn, rowvar=False))[np.triu_indices(600, 1)]
    # Of 900 rows a correlation scatters by one in the root of them.
    assert float(together.std()) == pytest.approx(900.0**-0.5, rel=0.05)


def test_the_same_column_of_two_draws_holds_different_numbers() -> None:
    random = np.random.default_rng(2)
    first, second = (normal_numbers(random, 500, 300) for _ in range(2))
    along = [float(np.corrcoef(a, b)[0, 1]) for a, b in zip(first.T, second.T, strict=True)]
    assert float(np.abs(along).max()) < 5.0 * 500.0**-0.5


def test_a_draw_longer_than_the_table_does_not_repeat_a_column() -> None:
    drawn = normal_numbers(np.random.default_rng(3), 16_000, 300)
    assert drawn.shape == (16_000, 300)
    column = drawn[:, 7]
    assert len(np.unique(column)) == len(column)
