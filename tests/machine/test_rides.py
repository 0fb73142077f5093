"""A ride that was measured already tells the same of its machine, and is not measured again."""

import numpy as np
import pytest

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.machine import rides
from ridelog.machine.calibration_data import evidence_of
from ridelog.simulate import Machine, Ride, preset, to_track


@pytest.fixture(scope="module")
def motion() -> Motion:
    ride = Ride(Machine())
    for _ in range(2):
        ride.stand(4.0)
        ride.drive(until_mps=7.0)
        ride.hold(4.0)
        ride.brake()
    rng = np.random.default_rng(31)
    return estimate_motion(to_track(preset("clean", 10.0, rng).observe(ride.build(), rng)))


def _never(*_: object, **__: object) -> None:
    raise AssertionError("measured again")


def test_what_was_measured_is_handed_through(
    motion: Motion, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = evidence_of(motion)
    measured = analyse(motion)
    for name in ("measure_top_speed", "measure_brakings", "measure_turns"):
        monkeypatch.setattr(rides, name, _never)
    handed = evidence_of(motion, measured=measured)
    assert handed.top_mps == alone.top_mps
    assert handed.decel_mps2 == alone.decel_mps2
    assert len(handed.decel_mps2) > 0
    assert handed.lateral_mps2 == alone.lateral_mps2
    assert handed.start == alone.start


def test_figures_of_other_stretches_are_not_taken(motion: Motion) -> None:
    measured = analyse(motion, Settings(left_out_s=((0.0, 16.0),)))
    assert len(measured["braking"].stops) == 1
    whole = evidence_of(motion)
    assert evidence_of(motion, measured=measured).decel_mps2 == whole.decel_mps2
    assert len(whole.decel_mps2) == 2
