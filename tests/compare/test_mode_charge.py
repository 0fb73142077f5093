"""What the battery may lose between two modes of a log: by the clock, whatever its charge was."""

from types import SimpleNamespace
from typing import Any

import pytest

from ridelog.compare.mode_charge import charge_between_modes


def ride(
    sha256: str, runs: tuple[tuple[float, float], ...] = (), at_s: float = float("nan")
) -> Any:
    top = SimpleNamespace(
        two_way_runs=tuple(SimpleNamespace(start_s=a, end_s=b) for a, b in runs), at_s=at_s
    )

    class _Ride(dict[str, Any]):
        source = SimpleNamespace(sha256=sha256)

    return _Ride(top_speed=top)


def test_what_ten_minutes_take_from_a_pack() -> None:
    """A third of half an hour: the steepest third of the curve of lithium-ion (``pack.py``)."""
    first = (ride("a", ((100.0, 101.0), (200.0, 201.0))),)
    found = charge_between_modes(first, (ride("a", at_s=750.5),))
    assert found is not None and (found.high, found.told) == (1.0, "modes")
    # From a quarter and a third, 3.575 + 4 / 15 x 0.05 ... at rest, down to a quarter and so on:
    # no third of the curve between a quarter and full falls by more than 8.5 %, nor by less.
    assert 1.0 - found.low == pytest.approx(0.085, abs=0.01)
    back = charge_between_modes((ride("a", at_s=750.5),), first)
    assert back is not None and back.low == 1.0 and back.high == pytest.approx(1.0 / found.low)


def test_the_mean_of_all_logs_counts_and_a_pack_is_never_emptied() -> None:
    both = charge_between_modes(
        (ride("a", at_s=0.0), ride("b", at_s=100.0)), (ride("b", at_s=500.0), ride("a", at_s=800.0))
    )
    alone = charge_between_modes((ride("a", at_s=0.0),), (ride("a", at_s=600.0),))
    assert both is not None and alone is not None and both.low == pytest.approx(alone.low)
    # From full to a quarter at the most: 3.575 V of 4.18 V.
    longest = charge_between_modes((ride("a", at_s=0.0),), (ride("a", at_s=9000.0),))
    assert longest is not None and longest.low == pytest.approx(3.575 / 4.18)


def test_other_logs_or_no_time_tell_nothing() -> None:
    assert charge_between_modes((ride("a", at_s=1.0),), (ride("b", at_s=2.0),)) is None
    assert charge_between_modes((ride("a", at_s=1.0),), (ride("a"),)) is None
