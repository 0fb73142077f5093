"""Predicted beside measured."""

import pytest

from ridelog.analysis.launches.windows import parse_window
from ridelog.core.errors import SetupError
from ridelog.core.estimate import Estimate
from ridelog.machine.change import agreements, changes_between, deviations, foretell
from ridelog.machine.setup import MachineSetup

BEFORE = MachineSetup(name="Quad", state="before", front_teeth=11, rear_teeth=60)
AFTER = MachineSetup(name="Quad", state="after", front_teeth=10, rear_teeth=60, fuse_a=40.0)


def test_the_change_is_what_differs() -> None:
    assert changes_between(BEFORE, AFTER) == {"front_teeth": 10, "fuse_a": 40.0}
    assert changes_between(BEFORE, BEFORE) == {}


def test_a_key_left_out_later_is_told() -> None:
    with pytest.raises(SetupError) as caught:
        changes_between(AFTER, BEFORE)
    assert str(caught.value) == (
        "the set-up after the change leaves out fuse_a, which the one before gives. What to do: "
        "write the same keys into both files, changed or not."
    )


def test_measured_beside_predicted() -> None:
    prediction = foretell(BEFORE, AFTER, [], (parse_window("0-5 km/h"),))
    top = prediction.measure("top_speed_mps")
    assert top and top.changed
    near = Estimate(top.changed.value, top.changed.value - 0.1, top.changed.value + 0.1)
    far = Estimate(99.0, 98.9, 99.1)
    one, other = agreements(
        prediction, {"two_way_mps": near, "0-5 km/h": far, "best_1s_mps": near, "pull": None}
    )
    assert (one.name, one.unit, one.agrees) == ("two_way_mps", "m/s", True)
    assert one.apart.value == pytest.approx(0.0)
    assert deviations(one) == pytest.approx(0.0, abs=1e-9)
    assert (other.name, other.agrees) == ("0-5 km/h", False)
    assert deviations(other) > 3.0
    # Half widths add in squares: with 0.1 beside a wide prediction hardly anything.
    assert one.apart.high - one.apart.value == pytest.approx(
        ((top.changed.value - top.changed.low) ** 2 + 0.01) ** 0.5
    )
