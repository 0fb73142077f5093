"""Which draws of a braking carry what is hidden: the cautious half, and it alone."""

import numpy as np
import pytest

from ridelog.analysis.braking.measure import _calmed, _cautious_spread


@pytest.mark.parametrize("draws", [150, 152, 300])
def test_only_the_cautious_draws_are_spread(draws: int) -> None:
    """The fitted column, as many sharp ones, as many cautious: normal deviations for the last."""
    spread = _cautious_spread(1 + 2 * draws)
    assert len(spread) == 1 + 2 * draws
    assert (spread[: 1 + draws] == 0.0).all() and (spread[1 + draws :] != 0.0).all()
    # Evenly spread in probability: mean 0, and the variance of a normal deviation but for its ends.
    assert spread[1 + draws :].mean() == pytest.approx(0.0, abs=1e-9)
    assert spread[1 + draws :].std() == pytest.approx(1.0, abs=0.02)


def test_cautious_draws_are_calmed_about_their_mean() -> None:
    figures = np.array([5.0, 5.2, 4.8, 4.0, 8.0])
    assert _calmed(figures, 0.5) == pytest.approx([5.0, 5.2, 4.8, 5.0, 7.0])
    assert _calmed(figures, 1.0) == pytest.approx(figures)
    unknown = np.array([5.0, 5.2, np.nan, np.nan, 8.0])
    assert _calmed(unknown, 0.5)[[0, 1, 4]] == pytest.approx([5.0, 5.2, 8.0])
