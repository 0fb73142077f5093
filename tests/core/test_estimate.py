"""Which figures may stand as such, and which only as a range."""

import pytest

from ridelog.core.estimate import Estimate


@pytest.mark.parametrize(
    ("low", "value", "high", "firm"),
    [
        (34.8, 34.9, 35.0, True),
        (7.5, 10.0, 12.5, True),
        (7.5, 10.0, 12.51, False),
        (11.8, 21.8, 31.8, False),
        (-12.5, -10.0, -7.5, True),
        (0.0, 0.0, 0.013, False),
    ],
)
def test_a_figure_is_firm_up_to_half_its_value(
    low: float, value: float, high: float, firm: bool
) -> None:
    assert Estimate(value, low, high).firm is firm
