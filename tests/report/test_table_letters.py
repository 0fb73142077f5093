"""Columns of letters against Python's own formatting, one number after the other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.report.trace import decimal_letters, joined_rows, word_letters


def _texts(values: list[float], decimals: int) -> list[str]:
    column = decimal_letters(np.array(values, dtype=np.float64), decimals)
    return joined_rows([column]).decode().split("\n")[:-1]


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


def test_rows_are_joined() -> None:
    words = word_letters(np.array([b"", b"JUMP|GAP", b"GAP"]))
    numbers = decimal_letters(np.array([1.5, np.nan, -2.0]), 1)
    assert joined_rows([numbers, words]) == b"1.5,\n,JUMP|GAP\n-2.0,GAP\n"
    assert joined_rows([words, numbers, words]).splitlines()[1] == b"JUMP|GAP,,JUMP|GAP"
