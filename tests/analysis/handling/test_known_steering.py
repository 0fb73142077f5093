"""Swings of the course that are known, and the margin of a machine of known dimensions.

T / (2 h) times g, less 15 % on a tilt table (FME for The Oregonian, 2007); v² = a r. A rider's
correction is a swing back of two degrees below 0.7 Hz: common practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.handling.measure import (
    count_corrections,
    measure_handling,
    reversals,
    tip_over,
)
from ridelog.core.estimate import Estimate
from ridelog.filtering.motion import Motion, NoiseSummary


def steered(hz: float, angle_deg: float, *, length_s: float = 100.0, rate_hz: float = 10.0,
            speed_mps: float = 5.0) -> Motion:  # fmt: skip
    time_s = np.arange(0.0, length_s + 0.01, 0.05)
    turns = list(
        zip(time_s.tolist(), (angle_deg * np.sin(2.0 * np.pi * hz * time_s)).tolist(), strict=True)
    )
    motion = known_motion([(0.0, speed_mps), (length_s, speed_mps)], turns=turns, rate_hz=rate_hz)
    return replace(motion, noise=NoiseSummary(0.01, 1e-4, 1e-4, 1e-4))


@pytest.mark.parametrize("hz", [0.2, 0.4])
def test_corrections_are_two_a_swing(hz: float) -> None:
    """At 5 m/s 100 m take 20 s: 0.2 Hz are eight reversals of 2 x 2 degrees in them."""
    found = count_corrections(steered(hz, 2.0)).steering_corrections_per_100m
    assert found is not None and found.value == pytest.approx(2.0 * hz * 20.0, rel=0.08)


@pytest.mark.parametrize(("angle_deg", "counted"), [(0.9, False), (1.1, True)])
def test_swings_below_two_degrees_are_a_steady_hand(angle_deg: float, counted: bool) -> None:
    found = count_corrections(steered(0.3, angle_deg)).steering_corrections_per_100m
    assert found is not None and (found.value > 5.0) is counted


def test_weave_is_no_correction() -> None:
    found = count_corrections(steered(1.5, 3.0)).steering_corrections_per_100m
    assert found is not None and found.value < 1.0


@pytest.mark.parametrize(("length_s", "told"), [(18.0, True), (14.0, False)])
def test_fifty_metres_are_needed(length_s: float, told: bool) -> None:
    found = count_corrections(steered(0.3, 2.0, length_s=length_s))
    assert (found.steering_corrections_per_100m is not None) is told
    assert told or "steering corrections need 50 m (164 ft)" in found.steering_reason


def test_noise_forbids_a_count() -> None:
    motion = steered(0.3, 2.0)
    noisy = replace(motion, noise=NoiseSummary(0.01, 0.6, 1e-4, 1e-4))
    assert count_corrections(noisy).steering_reason.startswith("the noise of this log makes")


def test_reversals_by_hand() -> None:
    course = np.array([[0.0, 0.0], [3.0, 1.0], [1.5, 0.0], [3.5, 1.9], [0.0, 0.0], [2.0, 2.0]])
    # 0, 3.5 (a dip of 1.5 does not count), 0, 2: two turns back; the other swings by 2 at last.
    assert reversals(course, 2.0).tolist() == [2.0, 0.0]


def test_the_margin_by_hand() -> None:
    """0.8 m and 0.5 m: 0.8 g rigid, 0.68 g on a tilt table, 6.669 m/s²."""
    found = tip_over(0.8, 0.5, Estimate(4.0, 3.0, 5.0), Estimate(6.0, 5.0, 7.0))
    assert found.stability_factor == pytest.approx(0.8)
    assert found.rigid_threshold_mps2 == pytest.approx(7.84532)
    assert found.tilt_threshold_mps2 == pytest.approx(6.668522)
    assert found.share_used is not None
    assert (found.share_used.low, found.share_used.value, found.share_used.high) == pytest.approx(
        (3.0 / 6.668522, 4.0 / 6.668522, 5.0 / 6.668522)
    )
    assert found.tipping_speed_mps == pytest.approx(np.sqrt(6.668522 * 6.0))
    bare = tip_over(0.8, 0.5, None, None)
    assert bare.share_used is None and bare.tipping_speed_mps is None


def test_handling_says_what_is_missing() -> None:
    motion = steered(0.3, 2.0, rate_hz=4.0)
    found = measure_handling(motion, track_width_m=0.8, cg_height_m=0.5)
    assert found.tip_over is not None and found.tip_over.share_used is None
    assert found.steering_corrections_per_100m is None
    assert found.reason.startswith("Lateral acceleration: the ride holds no turn of 15 degrees")
    assert "Weave: a log of 4 fixes a second cannot show weave" in found.reason
    assert measure_handling(motion).tip_over is None
