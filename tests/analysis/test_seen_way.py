"""A second between distant fixes was not seen, and nothing is claimed of it."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from filtered_rides import kept, ride_and_log
from log_in_memory import to_track

from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.analysis.top_speed.subject import doubts
from ridelog.analysis.windows import seen_share
from ridelog.core.track import Track
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

REAL = Path(__file__).resolve().parents[3] / "shared" / "real-tracks" / "gpx"

SAMPLE = Path(__file__).resolve().parents[2] / "sample_tracks" / "before-1.gpx"


def rows_of(track: Track, rows: np.ndarray) -> Track:
    arrays: dict[str, Any] = {
        n: v[rows].copy() for n, v in vars(track).items() if isinstance(v, np.ndarray)
    }
    return replace(track, **arrays)


@pytest.mark.parametrize("reports", [True, False])
@pytest.mark.parametrize("apart_s", [3, 5, 8])
def test_fixes_some_seconds_apart_give_no_second(apart_s: int, reports: bool) -> None:
    _, log = ride_and_log(31, rate_hz=1.0, reports_speed=reports)
    motion = estimate_motion(to_track(kept(log, np.arange(len(log)) % apart_s == 0)))
    top = measure_top_speed(motion)
    assert top.best_1s_mps is None and top.best_5s_mps is None and top.two_way_mps is None
    assert top.reason == (
        "nothing of the distance was logged by fixes no more than 2 s apart, and between fixes "
        "further apart nobody can tell the speed of any one second"
    )
    quality = judge_signal(motion)
    assert not any(sentence.startswith("Top speed") for sentence in quality.supports)
    assert (
        "Most of the distance lies between fixes more than 2 s apart, so the speed of any one "
        "second, and with it a top speed, cannot be told."
    ) in quality.cannot_support


@pytest.mark.parametrize("reports", [True, False])
@pytest.mark.parametrize("apart_s", [1, 2])
def test_fixes_up_to_two_seconds_apart_give_one(apart_s: int, reports: bool) -> None:
    ride, log = ride_and_log(31, rate_hz=1.0, reports_speed=reports)
    motion = estimate_motion(to_track(kept(log, np.arange(len(log)) % apart_s == 0)))
    assert seen_share(motion) == 1.0
    best = measure_top_speed(motion).best_1s_mps
    assert best is not None
    # One ride in ten misses a 90 % interval; none may miss twice its reach.
    reach = best.high - best.low
    assert abs(best.value - ride.truth.best_mean_speed().speed_mps) < reach


def test_a_log_with_missing_fixes_is_still_seen() -> None:
    _, log = ride_and_log(32, rate_hz=1.0)
    present = np.random.default_rng(1).random(len(log)) < 0.8
    motion = estimate_motion(to_track(kept(log, present)))
    assert 0.7 < seen_share(motion) < 1.0
    assert measure_top_speed(motion).best_1s_mps is not None


def test_a_logger_that_pauses_while_the_machine_stands_loses_nothing() -> None:
    ride, log = ride_and_log(33)
    stand = ride.labels["stands"][0]
    paused = (log.time_s > stand.start_s + 0.2) & (log.time_s < stand.end_s - 0.2)
    assert np.count_nonzero(paused) > 30
    first = np.arange(len(log)) == 0
    motion = estimate_motion(to_track(kept(log, ~paused | first)))
    assert seen_share(motion) > 0.999


def test_way_lost_in_a_gap_is_told() -> None:
    ride, log = ride_and_log(34)
    pull = max(ride.labels["runs"], key=lambda span: span.distance_m)
    middle_s = 0.5 * (pull.start_s + pull.end_s)
    lost = (log.time_s > middle_s) & (log.time_s < middle_s + 5.0)
    motion = estimate_motion(to_track(kept(log, ~lost)))
    top = measure_top_speed(motion)
    chord = np.hypot(*(np.diff(array[~lost]) for array in (log.east_m, log.north_m))).max()
    assert top.seen_share == pytest.approx(1.0 - chord / ride.truth.distance_m[-1], abs=0.02)
    assert 0.5 < top.seen_share < 0.9
    (caution,) = [c for c in doubts(top) if c.code == "partly_seen"]
    assert caution.text == (
        f"{100.0 * (1.0 - top.seen_share):.0f} % of the distance lies between fixes too far "
        "apart: it may have been faster there."
    )
    assert caution.value == top.seen_share and caution.limit == 0.9


def test_another_segment_of_the_log_is_not_a_way_unseen() -> None:
    _, log = ride_and_log(35)
    track = to_track(log)
    later = np.arange(len(track)) >= len(track) // 2
    there = replace(
        track,
        time_s=track.time_s + 500.0 * later,
        latitude_deg=track.latitude_deg + 0.05 * later,
        segment=later.astype(np.int64),
    )
    assert seen_share(estimate_motion(there)) > 0.99


def test_an_opposite_run_whose_top_was_lost_is_no_half_of_a_mean() -> None:
    """What is left of it is slower than it was, and so would be the mean of both."""
    track = load_track(SAMPLE)
    # One run out and one back of the ride, which has more of them.
    track = rows_of(track, (track.time_s > 48.0) & (track.time_s < 135.0))
    whole = measure_top_speed(estimate_motion(track))
    assert len(whole.two_way_runs) == 2 and whole.two_way_mps is not None
    for run in whole.two_way_runs:
        near = np.abs(track.time_s - run.start_s - 0.5) < 10.0
        thinned = rows_of(track, ~near | (np.arange(len(track)) % 8 == 0))
        found = measure_top_speed(estimate_motion(thinned))
        assert found.two_way_mps is None and found.two_way_runs == ()
        assert (
            found.reason == "one of the opposite runs was fastest where the log cannot be trusted"
        )
        assert found.headline == "best_1s_mps"


@pytest.mark.skipif(not REAL.exists(), reason="the real logs are not beside here")
@pytest.mark.parametrize(
    ("file", "share"), [("walk-8-tracks.gpx", 25), ("car-short-nospeed.gpx", 19)]
)
def test_real_logs_of_distant_fixes_give_no_second(file: str, share: int) -> None:
    top = measure_top_speed(estimate_motion(load_track(REAL / file)))
    assert top.best_1s_mps is None
    assert top.reason.startswith(f"only {share} % of the distance was logged by fixes")
