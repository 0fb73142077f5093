"""Standing starts of simulated rides: found, timed within what is known, and not invented."""

from dataclasses import replace

import numpy as np
import pytest
from labelled_rides import RandomRide
from log_in_memory import to_track
from random_rides import starts_and_stops
from receiver_presets import preset
from simulate import Machine, Receiver, RideLayout

from ridelog.analysis.acceleration.runs import draw_runs, find_runs
from ridelog.analysis.launches.measure import Launches, measure_launches
from ridelog.analysis.launches.windows import Window, parse_window
from ridelog.core.flags import Flag
from ridelog.core.spans import Span
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion

WINDOWS = tuple(map(parse_window, ("0-20 km/h", "10-20 km/h", "0-10 m", "0-90 km/h")))


def launches_of(
    motion: Motion,
    *,
    windows: tuple[Window, ...] | None = None,
    rollout_m: float = 0.0,
    excluded: tuple[Span, ...] = (),
) -> Launches:
    drawn = draw_runs(motion, windows=windows, rollout_m=rollout_m, excluded=excluded)
    return measure_launches(drawn, windows=windows, rollout_m=rollout_m)


def ridden(seed: int, rate_hz: float, **kind: bool) -> tuple[RandomRide, Motion]:
    rng = np.random.default_rng(seed)
    ride = starts_and_stops(rng, attempts=3, top_mps=8.0)
    receiver = preset("clean", rate_hz, rng, **kind)
    return ride, estimate_motion(to_track(receiver.observe(ride.truth, rng)))


@pytest.fixture(scope="module")
def fast() -> tuple[RandomRide, Motion, Launches]:
    ride, motion = ridden(2, 10.0)
    return ride, motion, launches_of(motion, windows=WINDOWS)


def starts(ride: RandomRide) -> list[float]:
    return [span.start_s for span in ride.labels["launches"] if span.top_mps > 2.2]


def test_every_start_is_found_to_a_tenth_of_a_second(
    fast: tuple[RandomRide, Motion, Launches],
) -> None:
    ride, _, launches = fast
    found = [launch.start_s for launch in launches.launches]
    assert found == pytest.approx(starts(ride), abs=0.2)
    # A threshold on the smoothed speed would be late by more than this, every time.
    assert abs(float(np.mean(np.subtract(found, starts(ride))))) < 0.1


def test_times_are_near_the_truth_and_held(fast: tuple[RandomRide, Motion, Launches]) -> None:
    ride, _, launches = fast
    truth = ride.truth
    for start, launch in zip(starts(ride), launches.launches, strict=True):
        times = {w.label: w for w in launch.windows}
        crossings = truth.crossing_times(20 / 3.6)
        expected = float(crossings[crossings > start][0]) - start
        got = times["0-20 km/h"].time_s
        assert got is not None
        assert got.value == pytest.approx(expected, abs=0.25)
        assert got.high - got.low < 0.6
        way = times["0-10 m"].time_s
        assert way is not None
        assert way.value == pytest.approx(truth.time_to_distance(start, 10.0), abs=0.25)
        rolling = times["10-20 km/h"].time_s
        assert rolling is not None and rolling.value < got.value
        assert times["0-20 km/h"].length_m is not None
        assert times["0-10 m"].exit_speed_mps is not None
        assert times["0-90 km/h"].time_s is None
        assert times["0-90 km/h"].reason == "the launch does not clearly reach this speed"


def test_the_figure_of_a_window_is_the_mean_of_its_full_starts(
    fast: tuple[RandomRide, Motion, Launches],
) -> None:
    _, _, launches = fast
    figures = {window.label: window for window in launches.windows}
    for place, label in enumerate(("0-20 km/h", "10-20 km/h", "0-10 m")):
        window = figures[label]
        times = [launch.windows[place].time_s for launch in launches.launches]
        assert window.attempts == len(times) == 3 and window.time_s is not None
        quickest = min((one for one in times if one), key=lambda one: one.value)
        full = [at for at, one in enumerate(times) if one and one.low <= quickest.high]
        assert window.full_starts == tuple(full)
        kept = [one.value for at in full if (one := times[at])]
        # Wherever the starts go, no mean of them lies outside them.
        assert min(kept) <= window.time_s.value <= max(kept)
        assert window.time_s.low < window.time_s.value < window.time_s.high
    empty = figures["0-90 km/h"]
    assert empty.time_s is None and empty.attempts == 0 and empty.full_starts == ()
    assert empty.reason == "the launch does not clearly reach this speed"


def test_a_rollout_takes_time_off_and_only_when_asked(
    fast: tuple[RandomRide, Motion, Launches],
) -> None:
    _, motion, launches = fast
    rolled = launches_of(motion, windows=WINDOWS, rollout_m=0.3048)
    assert launches.rollout_m == 0.0
    assert rolled.rollout_m == 0.3048
    for plain, less in zip(launches.launches, rolled.launches, strict=True):
        before, after, same, still = (
            launch.windows[index].time_s
            for index in (0, 1)
            for launch in (plain, less)
        )  # fmt: skip
        assert before and after and same and still
        assert 0.2 < before.value - after.value < 1.2
        assert same.value == pytest.approx(still.value, abs=0.02)


def test_excluded_stretches_hold_no_launch(fast: tuple[RandomRide, Motion, Launches]) -> None:
    ride, motion, _ = fast
    first = starts(ride)[0]
    found = launches_of(motion, windows=WINDOWS, excluded=((first - 1.0, first + 2.0),))
    assert len(found.launches) == 2


def test_badly_placed_satellites_on_the_way_up_leave_no_launch(
    fast: tuple[RandomRide, Motion, Launches],
) -> None:
    _, motion, _ = fast
    runs = find_runs(motion)
    time_s, run = motion.track.time_s, runs[1]

    def found(first_s: float, last_s: float, source: str) -> int:
        flags = motion.flags.copy()
        flags[(time_s >= first_s) & (time_s <= last_s)] |= np.uint32(Flag.POOR_GEOMETRY)
        return len(find_runs(replace(motion, flags=flags, speed_source=source)))

    half_up = 0.5 * (run.latest_s + run.top_s)
    assert found(half_up, run.top_s, "positions") == len(runs) - 1
    # Reported speeds suffer less, and the stand before the start carries no figure.
    assert found(half_up, run.top_s, "reported") == len(runs)
    assert found(run.earliest_s, run.earliest_s + 1.0, "positions") == len(runs)


def test_the_same_ride_gives_the_same_digits(fast: tuple[RandomRide, Motion, Launches]) -> None:
    _, motion, launches = fast
    again = launches_of(motion, windows=WINDOWS)
    assert [x.start_s for x in again.launches] == [x.start_s for x in launches.launches]


def test_one_fix_a_second_finds_them_too() -> None:
    ride, motion = ridden(4, 1.0)
    launches = launches_of(motion, windows=WINDOWS)
    assert [x.start_s for x in launches.launches] == pytest.approx(starts(ride), abs=0.8)
    for launch in launches.launches:
        assert launch.start_estimate_s.high - launch.start_estimate_s.low < 2.5


def test_a_stationary_log_holds_no_launch() -> None:
    ride = RideLayout(Machine())
    ride.stand(120.0)
    truth = ride.build()
    rng = np.random.default_rng(8)
    for receiver in (
        preset("drifting", 5.0, rng),
        preset("drifting", 1.0, rng, reports_speed=False),
        Receiver(rate_hz=1.0, reports_speed=False, position_white_m=1.5, drift_m=6.0),
    ):
        motion = estimate_motion(to_track(receiver.observe(truth, rng)))
        launches = launches_of(motion)
        assert launches.launches == ()
        assert launches.reason == "the ride holds no standing start to 7 km/h (4 mph) or more"


def test_a_crawl_before_the_pull_is_no_launch() -> None:
    """From rest to a crawl, held, then a pull: the pull is a rolling one."""
    ride = RideLayout(Machine())
    ride.stand(6.0)
    ride.shift(1.5, accel_mps2=1.0)
    ride.hold(5.0)
    ride.drive(until_mps=8.0)
    ride.hold(2.0)
    ride.brake()
    ride.stand(4.0)
    rng = np.random.default_rng(3)
    motion = estimate_motion(to_track(preset("clean", 10.0, rng).observe(ride.build(), rng)))
    runs = find_runs(motion)
    assert [run.standing for run in runs] == [False]
    assert runs[0].low_mps == pytest.approx(1.5, abs=0.2)
    assert launches_of(motion).launches == ()
