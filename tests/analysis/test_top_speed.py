"""The best second, the best five, two opposite runs and their mean never contradict each other."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from filtered_rides import ride_and_log
from labelled_rides import finish
from log_in_memory import to_track
from random_rides import out_and_back, start_ride
from receiver_presets import preset
from simulate import Settling

from ridelog.analysis.top_speed.measure import TopSpeed, measure_top_speed
from ridelog.analysis.windows import highest_means, windows_of
from ridelog.core.interval import estimate
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

REAL = Path(__file__).resolve().parents[3] / "shared" / "real-tracks"


def _in_order(top: TopSpeed) -> int:
    """Assert the order of all figures and return how many parts the best second has."""
    best = top.best_1s_mps
    assert best is not None
    parts = [top.best_5s_mps, top.two_way_mps, *(run.speed_mps for run in top.two_way_runs)]
    known = [part for part in parts if part is not None]
    for part in known:
        assert part.value <= best.value
        assert part.low <= best.low
        assert part.high <= best.high
    if top.two_way_mps is not None:
        mean = np.mean([run.speed_mps.value for run in top.two_way_runs])
        assert top.two_way_mps.value == pytest.approx(mean, abs=1e-9)
    return len(known)


def _weak(seed: int, rate_hz: float, kind: str, *, reports_speed: bool) -> Motion:
    """Return a slow ride through a receiver that is several times too noisy for it."""
    rng = np.random.default_rng(seed)
    ride = out_and_back(rng, top_mps=3.0, plateau_s=12.0, passes=2, pull_end="settles")
    receiver = preset(
        kind,  # type: ignore[arg-type]  # checked by preset
        rate_hz, rng, reports_speed=reports_speed, position_white_m=0.5,
    )  # fmt: skip
    noisy = replace(receiver, speed_white_mps=0.3)
    return estimate_motion(to_track(noisy.observe(ride.truth, rng)))


@pytest.mark.parametrize("reports_speed", [True, False])
@pytest.mark.parametrize("kind", ["clean", "drifting", "jumpy", "warmup"])
@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_no_part_exceeds_the_best_second(rate_hz: float, kind: str, reports_speed: bool) -> None:
    parts = 0
    for seed in (1, 2):
        motion = _weak(seed, rate_hz, kind, reports_speed=reports_speed)
        parts += _in_order(measure_top_speed(motion))
    assert parts >= 5


def test_freeing_each_figure_from_bias_alone_would_break_the_order() -> None:
    """What the joint estimate is for: such rides are no rarity."""
    broken = 0
    for seed in range(1, 7):
        motion = _weak(seed, 1.0, "clean", reports_speed=False)
        one, five = windows_of(motion, 1.0), windows_of(motion, 5.0)
        columns = highest_means(
            motion, [(one, one.usable), (five, five.usable)], margin_mps=1.0, longest_s=240.0
        )
        # On every path the order holds ...
        assert (columns[1] <= columns[0] + 1e-12).all()
        free = [estimate(each) for each in columns]
        assert free[0] is not None and free[1] is not None
        # ... and the correction of each by its own draws breaks it.
        broken += free[1].value > free[0].value
        _in_order(measure_top_speed(motion))
    assert broken >= 2


def test_a_run_while_settling_keeps_the_order_too() -> None:
    widened = 0
    for seed in range(5, 8):
        _, log = ride_and_log(seed, kind="warmup", rate_hz=5.0)
        motion = estimate_motion(to_track(log))
        top = measure_top_speed(motion)
        _in_order(top)
        alone = measure_top_speed(replace(motion, settling_factor=np.nan))
        _in_order(alone)
        assert top.best_1s_mps is not None and alone.best_1s_mps is not None
        widened += top.best_1s_mps.high > alone.best_1s_mps.high
    assert widened


def _fast_while_settling(first_mps: float) -> Motion:
    """Return a ride whose first run was ridden while the receiver settled, the others at 8 m/s."""
    rng = np.random.default_rng(3)
    ride = start_ride(rng, steady_mps=18.0, windy=False)
    ride.stand(6.0)
    for speed in (first_mps, 8.0, 8.0, 8.0, 8.0):
        ride.shift(speed)
        ride.hold(7.0)
        ride.brake(2.0)
        ride.turn(np.pi, 4.0)
    ride.brake()
    ride.stand(4.0)
    receiver = replace(preset("warmup", 5.0, rng), settling=Settling(50.0, noise_factor=3.0))
    return estimate_motion(to_track(receiver.observe(finish(ride, rng).truth, rng)))


def test_a_plainly_faster_run_while_settling_counts_for_all_it_is_part_of() -> None:
    motion = _fast_while_settling(14.0)
    top = measure_top_speed(motion)
    assert _in_order(top) == 4
    assert top.best_1s_mps is not None and top.best_5s_mps is not None
    assert top.best_1s_mps.low < 14.0 < top.best_1s_mps.high
    assert top.best_5s_mps.low < 14.0 < top.best_5s_mps.high
    assert top.two_way_mps is not None
    assert top.two_way_mps.value == pytest.approx(11.0, abs=0.2)
    # Where it was fastest is where the figures come from.
    assert top.at_s < motion.settled_s
    assert top.two_way_runs[0].start_s == top.at_s
    assert top.two_way_runs[0].speed_mps.value == pytest.approx(14.0, abs=0.3)


def test_a_run_while_settling_that_may_have_been_as_fast_only_raises_the_upper_bound() -> None:
    motion = _fast_while_settling(8.0)
    top, alone = (
        measure_top_speed(each) for each in (motion, replace(motion, settling_factor=np.nan))
    )
    _in_order(top)
    assert top.best_1s_mps is not None and alone.best_1s_mps is not None
    assert top.best_1s_mps.value == alone.best_1s_mps.value
    assert top.best_1s_mps.high > alone.best_1s_mps.high
    assert top.at_s == alone.at_s > motion.settled_s


@pytest.mark.skipif(not REAL.exists(), reason="the real logs are not beside here")
@pytest.mark.parametrize(
    "file",
    ["truth-walkpace-2hz5/walkpace-2hz5-a.gpx", "nmea/rx-mr-350p.log", "gpx/bus-phone-1hz.gpx"],
)
def test_real_logs_keep_the_order(file: str) -> None:
    assert _in_order(measure_top_speed(estimate_motion(load_track(REAL / file))))


def _three_legs() -> Motion:
    """Return a ride of 8 m/s one way, 8 m/s 185° from it, and 10 m/s 28° from being opposite.

    The hand wanders by up to 3°, so that all of the third leg is more than 20° from opposite.
    """
    rng = np.random.default_rng(12)
    ride = start_ride(rng, steady_mps=14.0, windy=False)
    ride.stand(6.0)
    for speed, turn_deg in ((8.0, 185.0), (8.0, 152.0), (10.0, 0.0)):
        ride.shift(speed)
        ride.hold(6.0)
        ride.brake(2.0)
        if turn_deg:
            ride.turn(np.radians(turn_deg), 4.0)
    ride.brake()
    ride.stand(4.0)
    truth = finish(ride, rng).truth
    return estimate_motion(to_track(preset("clean", 10.0, rng).observe(truth, rng)))


def test_a_run_that_is_not_opposite_is_no_part_of_the_mean() -> None:
    top = measure_top_speed(_three_legs())
    assert top.best_1s_mps is not None and top.two_way_mps is not None
    assert top.best_1s_mps.value == pytest.approx(10.0, abs=0.1)
    assert top.two_way_mps.value == pytest.approx(8.0, abs=0.1)
    there, back = top.two_way_runs
    assert abs(abs(back.course_deg - there.course_deg) - 180.0) < 20.0
    assert there.speed_mps.value == pytest.approx(8.0, abs=0.1)


@pytest.mark.parametrize(("pause_s", "both"), [(3000.0, True), (4000.0, False)])
def test_opposite_runs_lie_within_an_hour(pause_s: float, both: bool) -> None:
    _, log = ride_and_log(35)
    track = to_track(log)
    turned = int(
        np.argmin(
            np.where(np.abs(track.time_s - 0.5 * track.time_s[-1]) < 8.0, track.speed_mps, np.inf)
        )
    )
    later = np.arange(len(track)) >= turned
    there = replace(track, time_s=track.time_s + pause_s * later, segment=later.astype(np.int64))
    top = measure_top_speed(estimate_motion(there))
    assert (top.two_way_mps is not None) is both
    if not both:
        assert top.reason == ("the ride holds no two fast runs in opposite directions")


def test_a_run_starts_at_its_own_best_second() -> None:
    motion = _three_legs()
    one = windows_of(motion, 1.0)
    for run in measure_top_speed(motion).two_way_runs:
        (at,) = np.flatnonzero(one.start_s == run.start_s)
        assert run.speed_mps.low <= one.mean_mps[at] <= run.speed_mps.high + 0.1
        assert run.end_s == run.start_s + 1.0
