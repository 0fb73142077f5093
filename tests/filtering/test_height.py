"""The drift of positions as heights show it."""

import numpy as np
import pytest
from scipy.signal import lfilter

from ridelog.filtering.receiver.height import SHORT_DRIFT_TIME_S, position_drift


def test_a_known_drift_is_found_under_white_noise_and_a_climb() -> None:
    random = np.random.default_rng(1)
    dt, n, sd = 0.4, 20_000, 0.5
    keep = float(np.exp(-dt / SHORT_DRIFT_TIME_S))
    rate = lfilter([1.0], [1.0, -keep], sd * np.sqrt(1.0 - keep**2) * random.normal(size=n))
    time_s = np.arange(n, dtype=np.float64) * dt
    height = np.asarray(
        np.cumsum(rate) * dt + 0.1 * time_s + 0.05 * random.normal(size=n), dtype=np.float64
    )
    # Leaving out the largest 2 % of normal squares takes about 14 % of the mean square.
    assert position_drift(time_s, height) == pytest.approx(sd / 1.7, rel=0.12)


@pytest.mark.parametrize("dt", [0.1, 1.0])
def test_white_heights_show_no_drift(dt: float) -> None:
    random = np.random.default_rng(2)
    time_s = np.arange(400, dtype=np.float64) * dt
    height = np.asarray(random.normal(0.0, 0.3, size=400), dtype=np.float64)
    assert position_drift(time_s, height) == 0.0


def test_a_log_without_heights_shows_none() -> None:
    assert position_drift(np.arange(100.0), np.full(100, np.nan)) == 0.0


def test_white_heights_of_a_short_log_are_seldom_taken_for_a_drift() -> None:
    # Three standard deviations leave out one in a hundred, the spread of such ratios being skew.
    random = np.random.default_rng(3)
    heights = random.normal(0.0, 0.3, size=(1000, 50))
    taken = [position_drift(np.arange(50.0), height) > 0.0 for height in heights]
    assert np.mean(taken) < 0.02
