"""Where a reported velocity is gross follows from how the others scatter, on two axes."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track

from ridelog.core.track import BoolArray, FloatArray, Track
from ridelog.filtering.observations import Observations, observations_of
from ridelog.filtering.outliers import _OFF_FIVE_MEDIAN, _good_velocities, _median_of_five

SIGMA_MPS, COUNT = 1.0, 400
# Neither course nor level of a speed tells more than what it is off by.
SPEED_MPS, WRONG = 8.0, 200


def scattered(seed: int, *, off_mps: float) -> Observations:
    """Return readings of an even speed that scatter, one of them with a wrong course."""
    _, log = ride_and_log(3, rate_hz=10.0)
    track: Track = to_track(log)
    seen = observations_of(track)
    random = np.random.default_rng(seed)
    velocity = SIGMA_MPS * random.standard_normal((COUNT, 2))
    velocity[:, 0] += SPEED_MPS
    angle = 2.0 * np.arcsin(0.5 * off_mps / SPEED_MPS)
    velocity[WRONG] = SPEED_MPS * np.array([np.cos(angle), np.sin(angle)])
    time_s = 0.1 * np.arange(float(COUNT))
    # Positions so poor that their chord tells nothing.
    position = 30.0 * random.standard_normal((COUNT, 2))
    position[:, 0] += SPEED_MPS * time_s
    return replace(
        seen, time_s=time_s, position_m=position, velocity_mps=velocity,
        crawl=np.zeros(COUNT, dtype=bool), breaks=np.zeros(COUNT - 1, dtype=bool),
    )  # fmt: skip


# Six standard deviations and what 9 m/s² make of 0.3 s: 8.7 m/s, give or take a median of 400.
@pytest.mark.parametrize(("off_mps", "believed"), [(7.0, True), (10.5, False)])
def test_six_standard_deviations_are_gross(off_mps: float, believed: bool) -> None:
    good: list[BoolArray] = [
        _good_velocities(scattered(seed, off_mps=off_mps)) for seed in range(20)
    ]
    assert np.mean([each[WRONG] for each in good]) == pytest.approx(float(believed), abs=0.15)
    # Some of what is left happens to leave a level.
    assert np.mean(good) > 0.985


def test_the_scatter_about_a_median_of_five() -> None:
    """By normal errors themselves; a Rayleigh variable would have sqrt(2 ln 2)."""
    error: FloatArray = np.random.default_rng(5).standard_normal((100_000, 2))
    off = error - np.stack([_median_of_five(error[:, axis]) for axis in (0, 1)], axis=1)
    assert float(np.median(np.hypot(*off.T))) == pytest.approx(_OFF_FIVE_MEDIAN, rel=0.01)
