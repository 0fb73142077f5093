"""A static hold is recognised, and its zeros and repeated positions are taken for what they are."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import ride_and_log
from labelled_rides import RandomRide
from log_in_memory import to_track
from other_rides import Ridden
from other_rides import starts as other_starts
from random_rides import starts_and_stops
from receiver_presets import ReceiverKind, preset
from satellite_receiver import Habits, SatelliteReceiver, Sky
from simulate import Observation

from ridelog.analysis.acceleration.runs import draw_runs
from ridelog.analysis.launches.measure import measure_launches
from ridelog.core.units import MPS_PER_KMH
from ridelog.filtering.observations import observations_of
from ridelog.filtering.receiver.habits import find_frozen_positions, find_static_hold
from ridelog.filtering.smoother import estimate_motion


def held_ride(seed: int, hold_mps: float, **options: float) -> tuple[RandomRide, Observation]:
    rng = np.random.default_rng(seed)
    ride = starts_and_stops(rng, attempts=3)
    receiver = replace(preset("clean", 10.0, rng), hold_mps=hold_mps, **options)  # type: ignore[arg-type]  # only numbers are given
    return ride, receiver.observe(ride.truth, rng)


@pytest.mark.parametrize("hold_mps", [0.5, 0.8, 1.2])
def test_the_pace_of_a_hold_is_found(hold_mps: float) -> None:
    track = to_track(held_ride(61, hold_mps)[1])
    hold = find_static_hold(observations_of(track), track.speed_mps)
    assert hold is not None
    # The first reading after a release lies up to a tenth of a second of riding above it.
    assert hold_mps - 0.2 < hold.pace_mps < hold_mps + 0.3
    assert hold.repeated.sum() > 100


@pytest.mark.parametrize("kind", ["clean", "drifting", "jumpy", "warmup"])
def test_no_hold_is_made_up(kind: ReceiverKind) -> None:
    track = to_track(ride_and_log(62, kind=kind)[1])
    assert find_static_hold(observations_of(track), track.speed_mps) is None


def test_zeros_of_rounding_are_no_hold() -> None:
    track = to_track(held_ride(63, 0.0, speed_step_mps=MPS_PER_KMH)[1])
    assert np.count_nonzero(track.speed_mps == 0.0) > 50
    assert find_static_hold(observations_of(track), track.speed_mps) is None


def test_starting_and_stopping_under_a_hold_is_within_the_band() -> None:
    missed, count = 0, 0
    for seed in range(3):
        ride, log = held_ride(70 + seed, 0.9)
        motion = estimate_motion(to_track(log))
        true = np.interp(log.true_time_s, ride.truth.time_s, ride.truth.speed_mps)
        # Starts and stops; a crawl that never leaves the hold is not seen (receiver/METHOD.md).
        inside = np.zeros(len(log), dtype=bool)
        for span in (*ride.labels["launches"], *ride.labels["brakings"]):
            if span.top_mps > 2.0:
                inside |= (log.time_s >= span.start_s) & (log.time_s <= span.end_s)
        slow = inside & (true > 0.05) & (true < 0.9)
        error = np.abs(motion.speed_mps - true)[slow]
        missed += int(np.count_nonzero(error > 1.645 * motion.speed_sd_mps[slow]))
        count += int(np.count_nonzero(slow))
    assert count > 30
    assert missed / count < 0.2


def test_creeping_on_under_a_hold_is_noticed() -> None:
    ride, log = held_ride(71, 0.9)
    track = to_track(log)
    hold = find_static_hold(observations_of(track), track.speed_mps)
    assert hold is not None
    turned = [span for span in ride.labels["turns"] if span.top_mps < 0.8]
    assert turned
    # A later one may end the log, and no release tells of it.
    middle_s = 0.5 * (turned[0].start_s + turned[0].end_s)
    assert hold.crept[np.searchsorted(log.time_s, middle_s)]
    assert not hold.crept[log.time_s < ride.labels["launches"][0].start_s].any()


def test_a_hold_is_said() -> None:
    motion = estimate_motion(to_track(held_ride(64, 0.8)[1]))
    (line,) = [line for line in motion.history if line.startswith("receiver: ")]
    assert line.startswith("receiver: reported speed is held at zero below about 0.")
    assert line.endswith("positions repeated there are not used")


def on_foot(seed: int) -> tuple[Ridden, Observation]:
    """Return starts seen by bare positions that are held at a stand and leap when let go."""
    rng = np.random.default_rng(seed)
    ride = other_starts(rng)
    habits = Habits(agility=0.8, lock_mps=0.5)
    receiver = SatelliteReceiver(10.0, 10.0, Sky(), habits, reports_speed=False)
    return ride, receiver.observe(ride.truth, rng)


def test_bare_positions_that_repeat_at_a_stand_are_held() -> None:
    hold = find_frozen_positions(observations_of(to_track(on_foot(81)[1], decimals=7)))
    assert hold is not None
    assert 0.2 < hold.pace_mps <= 1.5
    assert hold.repeated.sum() > 100


@pytest.mark.parametrize("decimals", [5, 6])
def test_coarse_positions_repeat_without_a_hold(decimals: int) -> None:
    track = to_track(on_foot(82)[1], decimals=decimals)
    assert find_frozen_positions(observations_of(track)) is None


@pytest.mark.parametrize("kind", ["clean", "drifting", "jumpy", "warmup"])
def test_no_hold_of_bare_positions_is_made_up(kind: ReceiverKind) -> None:
    track = to_track(ride_and_log(62, kind=kind, reports_speed=False)[1])
    assert find_frozen_positions(observations_of(track)) is None


def test_starts_from_a_hold_of_bare_positions_are_where_they_were() -> None:
    """Without care they were timed two seconds early, or not found: a leap is no travel."""
    ride, log = on_foot(83)
    motion = estimate_motion(to_track(log, decimals=7))
    found_s = [one.start_s for one in measure_launches(draw_runs(motion)).launches]
    for span in ride.labels["launches"]:
        if span.top_mps > 3.0:
            assert np.abs(np.array(found_s) - span.start_s).min() < 0.5
    assert any("positions are held at a stand" in line for line in motion.history)


def test_a_hold_of_bare_positions_hides_no_speed() -> None:
    """Positions that stand say "slow" and no more: all travel was taken for leaps beside them."""
    ride, log = on_foot(5)
    motion = estimate_motion(to_track(log, decimals=7))
    assert np.nanmax(motion.speed_mps) == pytest.approx(ride.truth.velocity_mps.max(), abs=0.1)
