"""Which windows of a log tell how late its speed is: those reported without a gap all around."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.filtering.receiver.lag import _EARLIEST_S, _LATEST_S, _windows

RATE_HZ, COUNT, WIDTH = 10.0, 240, 20


@pytest.mark.parametrize("lost", ["nothing", "a break", "a speed"])
def test_windows_keep_away_from_ends_and_gaps(lost: str) -> None:
    """Speed is read from the earliest to the latest lag around a window: all of it must be there.

    By brute force over every window; the earliest lag is negative.
    """
    time_s = np.arange(COUNT) / RATE_HZ
    breaks, known = np.zeros(COUNT - 1, dtype=bool), np.ones(COUNT, dtype=bool)
    if lost == "a break":
        breaks[100] = True
    if lost == "a speed":
        known[100] = False
    seen: Any = SimpleNamespace(time_s=time_s, breaks=breaks)
    first, last = _windows(seen, known, WIDTH)
    assert (last - first == WIDTH).all()
    found = set(first.tolist())
    for start in range(COUNT - WIDTH):
        low, high = time_s[start] + _EARLIEST_S, time_s[start + WIDTH] + _LATEST_S
        inside = low >= time_s[0] and high <= time_s[-1]
        # What is lost lies between fixes 100 and 101, or at 100.
        away = lost == "nothing" or high < time_s[100] - 1e-9 or low > time_s[101] + 1e-9
        near = abs(high - time_s[-1]) < 0.11 or abs(low - time_s[0]) < 0.11
        near |= min(abs(high - time_s[100]), abs(low - time_s[101])) < 0.11
        # Within a fix of an edge either will do.
        if not near:
            assert (start in found) == (inside and away), start
    assert len(found) > 20
