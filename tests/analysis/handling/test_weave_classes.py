"""Classes of speed lie side by side, and hold every second that was ridden straight."""

import numpy as np
import pytest
from handling_rides import weave_ride
from log_in_memory import to_track
from receiver_presets import preset

from ridelog.analysis.handling.band import seconds_in_band
from ridelog.analysis.handling.weave import measure_weave
from ridelog.filtering.smoother import estimate_motion


def test_classes_of_speed_lie_side_by_side() -> None:
    ride = weave_ride(np.random.default_rng(2), rms_radps=0.2, frequency_hz=1.4)
    receiver = preset("clean", 10.0, np.random.default_rng(7), reports_speed=True)
    motion = estimate_motion(to_track(receiver.observe(ride.truth, np.random.default_rng(7))))
    classes = measure_weave(motion).weave
    speed = seconds_in_band(motion, excluded=()).mean_speed_mps
    assert len(classes) > 4
    assert {part.to_mps - part.from_mps for part in classes} == {1.0}
    for part, following in zip(classes, classes[1:], strict=False):
        assert part.to_mps == pytest.approx(following.from_mps)
    for part in classes:
        inside = (speed >= part.from_mps) & (speed < part.to_mps)
        assert part.seconds == np.count_nonzero(inside)
    assert sum(part.seconds for part in classes) == len(speed)
