"""Means over rides after a change."""

import numpy as np
import pytest

from ridelog.core.estimate import Estimate
from ridelog.machine.calibration_data import Curve, Evidence
from ridelog.machine.measured_after import MeasuredRide, together


def _ride(name: str, top: float, time_s: float, pull: float) -> MeasuredRide:
    speed = np.arange(1.25, 6.0, 0.5)
    curve = Curve(speed, np.full(len(speed), pull), 0.01**2 * np.eye(len(speed)))
    evidence = Evidence(name, pull=curve, top_mps=(top, 0.03))
    return MeasuredRide(evidence, {"0-20 km/h": Estimate(time_s, time_s - 0.1, time_s + 0.1)})


def test_rides_that_differ_widen_the_interval() -> None:
    alike = together([_ride("a", 9.0, 3.0, 2.0), _ride("b", 9.0, 3.0, 2.0)])
    apart = together([_ride("a", 8.8, 2.9, 1.9), _ride("b", 9.2, 3.1, 2.1)])
    for name, value in (("top_speed_mps", 9.0), ("0-20 km/h", 3.0), ("pull_at_4_mps", 2.0)):
        one, other = alike.measured[name], apart.measured[name]
        assert one.value == pytest.approx(value)
        assert other.value == pytest.approx(value)
        assert other.high - other.low > 1.5 * (one.high - one.low)
    # 0.03 m/s of each of two rides: 1.645 * 0.03 / sqrt(2).
    top = alike.measured["top_speed_mps"]
    assert top.high - top.value == pytest.approx(1.6449 * 0.03 / 2**0.5, rel=1e-3)
    assert alike.names == ("a", "b")
    assert alike.speed_mps[0] == pytest.approx(1.5)
    assert alike.pull_mps2 == pytest.approx(2.0)


def test_rides_without_a_pull_have_no_points() -> None:
    found = together([MeasuredRide(Evidence("a"), {})])
    assert found.measured == {}
    assert len(found.speed_mps) == 0
