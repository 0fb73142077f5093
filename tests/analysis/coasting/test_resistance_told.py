"""When the resistance at a speed is told, and why not; the edge is own choice: its whole interval.

A resistance cannot be negative (physics), so an interval wider than twice the figure holds none.
"""

from typing import Any

import pytest

from ridelog.analysis.coasting.subject import _resistance
from ridelog.core.estimate import Estimate


class Coasted:
    def __init__(self, at: Estimate | None, reason: str = "") -> None:
        self.told, self.reason = at, reason

    def at(self, speed_mps: float) -> Estimate | None:
        return self.told


def told(at: Estimate | None, reason: str = "") -> tuple[Estimate | None, str]:
    found: Any = Coasted(at, reason)
    return _resistance(found, 4.0)


def test_a_resistance_that_is_known_is_told() -> None:
    known = Estimate(0.30, 0.25, 0.35)
    assert told(known) == (known, "")
    wide = Estimate(0.30, 0.01, 0.60)
    assert told(wide) == (wide, "")


def test_why_it_is_not() -> None:
    assert told(None) == (None, "it did not roll freely through that speed")
    assert told(None, "the ride holds no coast-down") == (None, "the ride holds no coast-down")
    found, why = told(Estimate(0.30, -0.01, 0.60))
    assert found is None
    assert why == "it did not roll freely long enough to tell the resistance from none"


@pytest.mark.parametrize(("half", "known"), [(0.299, True), (0.301, False)])
def test_the_edge_is_an_interval_of_twice_the_figure(half: float, known: bool) -> None:
    found, _ = told(Estimate(0.30, 0.30 - half, 0.30 + half))
    assert (found is not None) is known
