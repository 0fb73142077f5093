"""Standard normal numbers for draws, from one table that is made once.

Making them anew for every span costs more than all else in a draw. Each draw reads the table
from a place of its own, so that the same column of two draws holds different numbers: a span's
own draws are as they would be from new numbers, and those of two spans are unrelated. The
oldest use of such a table: RAND Corporation, "A Million Random Digits with 100,000 Normal
Deviates", 1955.
"""

from functools import cache

import numpy as np

from ridelog.core.track import FloatArray

# A prime, so that a draw longer than the table meets its numbers again in other columns. 17 MB.
_SIZE = 2_097_143
_SEED = 20261127


def normal_numbers(random: np.random.Generator, rows: int, columns: int) -> FloatArray:
    """Return standard normal numbers, shape (rows, columns), not to be written to.

    Parameters
    ----------
    random : numpy.random.Generator
        Says where in the table they begin.
    rows, columns : int
        Shape of the result.
    """
    table, count = _table(), rows * columns
    if count > _SIZE:
        table = np.resize(np.roll(table, int(random.integers(_SIZE))), count)
    start = int(random.integers(len(table) - count + 1))
    return table[start : start + count].reshape(rows, columns)


def noise_of(random: np.random.Generator, instants: int, d: int, count: int) -> FloatArray:
    """Return numbers for draws of a chain's states, shape (instants, d, count)."""
    # They are taken for an even number of instants: where they begin depends on how many.
    even = instants + instants % 2
    return normal_numbers(random, even * d, count).reshape(even, d, count)[:instants]


@cache
def _table() -> FloatArray:
    table = np.random.default_rng(_SEED).standard_normal(_SIZE)
    table.flags.writeable = False
    return table
