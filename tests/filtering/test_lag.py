"""A reported speed that runs behind is found, moved and said."""

import re
from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import kept, ride_and_log
from labelled_rides import RandomRide
from log_in_memory import to_track
from odd_receiver import LagKind
from random_rides import out_and_back
from receiver_presets import ReceiverKind, preset
from simulate import Observation

from ridelog.core.track import FloatArray
from ridelog.filtering.observations import observations_of
from ridelog.filtering.receiver.lag import Lag, find_lag, without_lag
from ridelog.filtering.smoother import estimate_motion


def late_ride(
    seed: int,
    lag_s: float,
    *,
    rate_hz: float = 10.0,
    lag_kind: LagKind = "mean",
    kind: ReceiverKind = "clean",
) -> tuple[RandomRide, Observation]:
    rng = np.random.default_rng(seed)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=6.0, passes=2)
    receiver = replace(
        preset(kind, rate_hz, rng),
        lag_s=lag_s,
        lag_kind=lag_kind,
    )
    return ride, receiver.observe(ride.truth, rng)


@pytest.mark.parametrize("lag_kind", ["mean", "delay", "first order"])
@pytest.mark.parametrize(("rate_hz", "within_s"), [(10.0, 0.08), (1.0, 0.15)])
@pytest.mark.parametrize("lag_s", [0.4, 0.8, 1.5])
def test_the_lag_is_found(lag_s: float, rate_hz: float, within_s: float, lag_kind: LagKind) -> None:
    log = late_ride(41, lag_s, rate_hz=rate_hz, lag_kind=lag_kind)[1]
    lag = find_lag(observations_of(to_track(log)))
    assert lag is not None and lag.counts
    # An exponential memory is skewed: the shift that fits it best is less than its mean age.
    skewed = 0.2 * lag_s if lag_kind == "first order" else 0.0
    assert lag_s - within_s - skewed < lag.lag_s < lag_s + within_s


@pytest.mark.parametrize("kind", ["clean", "drifting", "jumpy", "warmup"])
@pytest.mark.parametrize("rate_hz", [10.0, 1.0])
def test_no_lag_is_made_up(rate_hz: float, kind: ReceiverKind) -> None:
    lag = find_lag(observations_of(to_track(late_ride(42, 0.0, rate_hz=rate_hz, kind=kind)[1])))
    assert lag is None or not lag.counts


def test_without_reported_speed_there_is_no_lag() -> None:
    assert find_lag(observations_of(to_track(ride_and_log(43, reports_speed=False)[1]))) is None


def test_a_short_log_cannot_tell() -> None:
    _, log = late_ride(44, 0.8)
    assert find_lag(observations_of(to_track(kept(log, log.time_s < 8.0)))) is None


def test_velocities_are_moved_to_where_they_belong() -> None:
    seen = observations_of(to_track(ride_and_log(45)[1]))
    ramp: FloatArray = np.stack([2.0 + seen.time_s, 1.0 + 0.0 * seen.time_s], axis=1)
    straight = replace(seen, velocity_mps=ramp, crawl=np.zeros(len(ramp), dtype=bool))
    moved = without_lag(straight, Lag(0.33, 0.01))
    inside = seen.time_s < seen.time_s[-1] - 0.33
    np.testing.assert_allclose(moved.velocity_mps[inside, 0], ramp[inside, 0] + 0.33, atol=1e-9)
    assert np.isnan(moved.velocity_mps[~inside]).all()
    # Away from the ends a ramp does not bend, so nothing is taken off its worth.
    middle = (seen.time_s > 2.0) & (seen.time_s < seen.time_s[-1] - 2.0)
    assert moved.bandwidth_error_mps[middle].max() == 0.0


def test_a_corner_within_the_lag_is_believed_less() -> None:
    seen = observations_of(to_track(ride_and_log(46)[1]))
    corner_s = 20.0
    ramp = np.stack([3.0 * np.maximum(seen.time_s - corner_s, 0.0), 0.0 * seen.time_s], axis=1)
    bent = replace(seen, velocity_mps=ramp + 5.0, crawl=np.zeros(len(ramp), dtype=bool))
    bandwidth_error = without_lag(bent, Lag(0.8, 0.02)).bandwidth_error_mps
    away = np.abs(seen.time_s - (corner_s - 0.8))
    assert bandwidth_error[away < 0.3].min() > 0.5
    assert (
        bandwidth_error[
            (away > 2.5) & (seen.time_s > 2.0) & (seen.time_s < seen.time_s[-1] - 3.0)
        ].max()
        == 0.0
    )


@pytest.mark.parametrize(("rate_hz", "most_mps"), [(10.0, 0.06), (1.0, 0.3)])
def test_the_speed_is_mended_and_the_reader_told(rate_hz: float, most_mps: float) -> None:
    ride, log = late_ride(47, 0.9, rate_hz=rate_hz)
    motion = estimate_motion(to_track(log))
    true = np.interp(log.true_time_s, ride.truth.time_s, ride.truth.speed_mps)
    late = float(np.sqrt(np.nanmean((log.speed_mps - true) ** 2)))
    assert late > 0.6
    assert float(np.sqrt(np.nanmean((motion.speed_mps - true) ** 2))) < most_mps
    (line,) = [line for line in motion.history if line.startswith("receiver: ")]
    assert line.startswith("receiver: reported speed runs 0.") and line.endswith(
        "behind the positions and was moved there; believed less where the motion changes within "
        "that time"
    )
    (warning,) = motion.warnings
    assert re.fullmatch(
        r"The receiver reports its speed (0\.[89]|1\.0) s too late beside its positions; this was "
        r"mended as far as it can be, and starts and stops are less sharp for it\.",
        warning,
    )


def test_an_ordinary_receiver_is_said_to_be_one() -> None:
    motion = estimate_motion(to_track(ride_and_log(48)[1]))
    assert "receiver: no habit of its own recognised" in motion.history
    assert motion.warnings == ()
