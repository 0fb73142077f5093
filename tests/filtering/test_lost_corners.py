"""Pulls that end in braking, seen by positions a second apart: the top of the corner is lost."""

import numpy as np
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset

from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.estimate import Estimate
from ridelog.filtering.smoother import estimate_motion

RIDES = 16


def test_two_way_mean_knows_that_corners_may_be_lost_in_both_directions() -> None:
    held, corner_widths, plateau_widths = 0, [], []
    for seed in range(RIDES):
        true, found = _two_way(seed, "corner")
        held += found.low <= true <= found.high
        corner_widths.append(found.high - found.low)
        _, found = _two_way(seed, "held")
        plateau_widths.append(found.high - found.low)
    # Of intervals for nine in ten, 11 or fewer of 16 hold once in sixty times (binomial: 0.017).
    assert held > 11
    assert np.median(corner_widths) > 1.3 * np.median(plateau_widths)


def _two_way(seed: int, pull_end: str) -> tuple[float, Estimate]:
    rng = np.random.default_rng([20261127, seed])
    ride = out_and_back(rng, plateau_s=10.0, passes=2, pull_end=pull_end)
    receiver = preset("clean", 1.0, rng, reports_speed=False)
    track = to_track(receiver.observe(ride.truth, rng))
    both = ride.truth.two_way()
    found = measure_top_speed(estimate_motion(track)).two_way_mps
    assert both is not None and found is not None
    return both.mean_mps, found
