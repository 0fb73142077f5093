"""A reported speed that differs from positions for minutes, and one that is a mean over time."""

from dataclasses import replace

import numpy as np
import pytest
from log_in_memory import to_track
from random_rides import out_and_back
from simulate import Truth
from simulate.tracking import TrackingReceiver, Tuning

from ridelog.analysis.acceleration.runs import draw_runs
from ridelog.analysis.launches.measure import measure_launches
from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.units import MPS_PER_KMH
from ridelog.filtering.smoother import estimate_motion

# Little noise, so that what differs is what is tested.
SHARP = TrackingReceiver(
    tuning=Tuning(4.0, 2.0, 0.05), doppler_white_mps=0.05, doppler_slow_mps=0.01, path_m=0.4
)


def _ride() -> Truth:
    rng = np.random.default_rng(5)
    return out_and_back(rng, top_mps=9.0, plateau_s=15.0, passes=4, pull_end="held").truth


@pytest.mark.parametrize(("off_mps", "word"), [(0.4, "higher"), (-0.4, "lower")])
@pytest.mark.parametrize("rate_hz", [10.0, 1.0])
def test_a_disagreement_is_named_and_covered(off_mps: float, word: str, rate_hz: float) -> None:
    truth = _ride()
    receiver = replace(SHARP, disagrees_mps=off_mps, rate_hz=rate_hz)
    motion = estimate_motion(to_track(receiver.observe(truth, np.random.default_rng(6))))
    signal, top = judge_signal(motion), measure_top_speed(motion).best_1s_mps
    assert signal.grade != "good"
    assert f"{word} than that of its positions for" in signal.verdict
    assert "nothing tells which is right" in signal.verdict
    assert top is not None
    assert top.low < truth.best_mean_speed().speed_mps < top.high


@pytest.mark.parametrize("rate_hz", [10.0, 1.0])
def test_agreement_is_not_doubted(rate_hz: float) -> None:
    log = replace(SHARP, rate_hz=rate_hz).observe(_ride(), np.random.default_rng(7))
    assert estimate_motion(to_track(log)).doubts == ()


def test_a_mean_over_time_is_not_good_and_its_starts_are_in_time() -> None:
    """Slow readings at a stand belong as early as the others that the lag is taken from."""
    truth = _ride()
    receiver = replace(SHARP, tuning=replace(SHARP.tuning, average_s=1.6))
    motion = estimate_motion(to_track(receiver.observe(truth, np.random.default_rng(8))))
    assert "its speed is a mean over time, 0." in judge_signal(motion).verdict
    assert motion.noise.lag_s == pytest.approx(0.8, abs=0.1)
    windows = (parse_window("0-20 km/h"),)
    launch = measure_launches(draw_runs(motion, windows=windows), windows=windows).launches[0]
    start = float(truth.time_s[np.flatnonzero(truth.velocity_mps > 0.0)[0]])
    true = float(truth.crossing_times(20.0 * MPS_PER_KMH)[0]) - start
    time = launch.windows[0].time_s
    assert time is not None
    assert time.low < true < time.high


def test_positions_too_coarse_for_the_lag_are_named() -> None:
    log = replace(SHARP, rate_hz=1.0).observe(_ride(), np.random.default_rng(9))
    verdict = judge_signal(estimate_motion(to_track(log, decimals=4))).verdict
    assert "its positions are too coarse to show how late its speed is" in verdict
