"""What is unseen of a start, as a part of the mean of several: independent errors, GUM 4.2.3."""

import numpy as np
import pytest

from ridelog.analysis.launches.measure import MeanOfStarts


@pytest.mark.parametrize(
    ("full", "share"),
    [
        ((), 0.0),
        (((0, 1, 2, 3),), 0.5),
        # Both directions weigh half: sqrt(1/4 x 1 + 1/4 x 1) of one, by hand.
        (((0,), (1,)), np.sqrt(0.5)),
        (((0, 2), (1,)), np.sqrt(0.25 / 2.0 + 0.25)),
    ],
)
def test_of_a_mean_of_starts(full: tuple[tuple[int, ...], ...], share: float) -> None:
    one_s = MeanOfStarts(None, "", full=((0,),)).unseen_sd_s
    assert one_s > 0.0
    assert MeanOfStarts(None, "", full=full).unseen_sd_s == pytest.approx(one_s * share)
