"""Errors that a receiver's own filter makes alike, of velocity and of position."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track
from random_rides import out_and_back
from scipy.signal import lfilter
from simulate.tracking import TrackingReceiver, Tuning

from ridelog.filtering.receiver.colour import noise_of_means
from ridelog.filtering.smoother import estimate_motion


@pytest.mark.parametrize("keep", [0.0, 0.5, 0.8])
def test_noise_of_means_counts_what_is_alike(keep: float) -> None:
    """Closed form: the spectrum of a first-order process at zero is that of white (1 - k)^-2."""
    rng = np.random.default_rng(1)
    error = lfilter([1.0], [1.0, -keep], 0.05 * rng.standard_normal((30_000, 2)), axis=0)
    wanted = 0.05 / (1.0 - keep)
    found = noise_of_means(error + 7.0, 0.02)
    # Over 0.4 s the mean has not quite forgotten the process.
    assert 0.75 * wanted < found < 1.1 * wanted


def test_steady_pulling_is_no_noise() -> None:
    velocity = np.stack([0.25 * np.arange(600), np.zeros(600)], axis=1)
    assert noise_of_means(velocity, 0.1) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("interval_s", "count"), [(1.0, 600), (0.1, 100)], ids=["one a second", "few"]
)
def test_nothing_is_told_of_too_little(interval_s: float, count: int) -> None:
    assert noise_of_means(np.random.default_rng(2).normal(size=(count, 2)), interval_s) == 0.0


def test_a_walk_of_the_position_is_learnt() -> None:
    _, log = ride_and_log(7)
    rng = np.random.default_rng(3)
    walk = np.cumsum(0.2 * np.sqrt(0.1) * rng.standard_normal((2, len(log))), axis=1)
    moved = replace(log, east_m=log.east_m + walk[0], north_m=log.north_m + walk[1])
    words = [estimate_motion(to_track(one)).noise.position_walk_m for one in (log, moved)]
    assert words[0] < 0.1
    assert words[1] == pytest.approx(0.2, rel=0.25)


def test_positions_of_the_same_filter_narrow_little() -> None:
    """Agreement of two readings that err alike must not pass for knowledge."""
    rng = np.random.default_rng(4)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=8.0, passes=2)
    receiver = TrackingReceiver(tuning=Tuning(0.6, 2.0, 0.1), spikes_per_min=0.0)
    log = receiver.observe(ride.truth, rng)
    # Positions that tell nothing of a second: rounded to a metre.
    coarse = estimate_motion(to_track(log, decimals=5))
    fine = estimate_motion(to_track(log))
    assert fine.usual_speed_sd_mps > 0.75 * coarse.usual_speed_sd_mps
