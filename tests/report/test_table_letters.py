"""Numbers of the table against Python's own formatting, one number after the other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.report.trace import _rows


def _texts(values: list[float], decimals: int) -> list[str]:
    column = (np.array(values, dtype=np.float64), decimals)
    rows = [row.split(",") for row in _rows(column, ["word"] * len(values), column).splitlines()]
    assert all(row == [row[0], "word", row[0]] for row in rows)
    return [row[0] for row in rows]


@given(st.lists(st.floats(-1e9, 1e9), max_size=20), st.integers(1, 5))
def test_numbers_are_written_as_python_writes_them(values: list[float], decimals: int) -> None:
    # Adding zero turns -0.0 into 0.0.
    expected = [f"{np.round(value, decimals) + 0.0:.{decimals}f}" for value in values]
    assert _texts(values, decimals) == expected


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0.000"),
        (-0.0004, "0.000"),
        (-0.0006, "-0.001"),
        (0.9996, "1.000"),
        (-10.05, "-10.050"),
        (1234567.8915, "1234567.892"),
        (float("nan"), ""),
        (float("inf"), ""),
    ],
)
def test_edges(value: float, text: str) -> None:
    assert _texts([value, 5.0], 3) == [text, "5.000"]
