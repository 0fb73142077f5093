"""What is unseen of every start alike stays whole in the mean of several: correlated errors."""

import numpy as np
import pytest

from ridelog.analysis.launches.measure import mean_of_starts
from ridelog.core.estimate import QUANTILE, Estimate

OWN_S, SHARED_S = 0.04, 0.03


@pytest.mark.parametrize(
    ("course_deg", "own"),
    [
        ((0.0,), 1.0),
        ((0.0, 0.0, 0.0, 0.0), 0.5),
        # Both directions weigh half: sqrt(1/4 x 1 + 1/4 x 1) of one, by hand.
        ((0.0, 180.0), np.sqrt(0.5)),
        ((0.0, 180.0, 0.0), np.sqrt(0.25 / 2.0 + 0.25)),
    ],
)
def test_of_a_mean_of_starts(course_deg: tuple[float, ...], own: float) -> None:
    """GUM 5.2.2: independent parts add in squares, wholly correlated ones as they are."""
    half = QUANTILE * float(np.hypot(OWN_S, SHARED_S))
    times = [Estimate(4.0, 4.0 - half, 4.0 + half)] * len(course_deg)
    found = mean_of_starts(course_deg, times, times, SHARED_S)
    assert found.mean is not None and found.shared_sd == SHARED_S
    assert found.mean.sd == pytest.approx(np.hypot(OWN_S * own, SHARED_S))
    alone = mean_of_starts(course_deg, times, times)
    assert alone.mean is not None
    assert alone.mean.sd == pytest.approx(np.hypot(OWN_S, SHARED_S) * own)
