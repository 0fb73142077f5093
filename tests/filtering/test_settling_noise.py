"""A run before the receiver settled counts with its own noise; spikes off a level are screened."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track

from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.analysis.windows import windows_of
from ridelog.filtering.observations import observations_of
from ridelog.filtering.outliers import screen
from ridelog.filtering.quality import (
    STEADY_S,
    outrunning,
    settled_from,
    settling_factor,
    steady_span_s,
    still_better,
)
from ridelog.filtering.smoother import estimate_motion


def test_the_factor_is_how_much_noisier_the_start_was() -> None:
    random = np.random.default_rng(1)
    residual = 0.1 * random.normal(size=(4000, 2))
    residual[:2000] *= 3.0
    settling = np.arange(4000) < 2000
    assert abs(settling_factor(residual, settling) - 3.0) < 0.2


def test_few_fixes_on_one_side_tell_no_factor() -> None:
    assert np.isnan(settling_factor(np.ones((30, 2)), np.arange(30) < 5))


def test_a_faster_run_while_settling_widens_the_interval_upward() -> None:
    ride, log = ride_and_log(5, kind="warmup")
    motion = estimate_motion(to_track(log))
    assert motion.settling_factor > 1.0
    windows = windows_of(motion, 1.0)
    assert windows.settling.any()
    assert not (windows.settling & windows.usable).any()
    best = measure_top_speed(motion).best_1s_mps
    alone = measure_top_speed(replace(motion, settling_factor=np.nan)).best_1s_mps
    assert best is not None and alone is not None
    assert best.high >= alone.high
    assert best.low <= ride.truth.best_mean_speed().speed_mps <= best.high


def test_a_single_reading_off_a_level_is_not_believed() -> None:
    _, log = ride_and_log(6, rate_hz=1.0, plateau_s=12.0)
    fastest = int(np.argmax(np.convolve(log.speed_mps, np.ones(5), mode="valid"))) + 2
    speed = log.speed_mps.copy()
    speed[fastest] += 2.4
    # Positions that slide at the same time cannot contradict it.
    east = log.east_m.copy()
    east[fastest : fastest + 3] += 4.0
    screened = screen(observations_of(to_track(replace(log, speed_mps=speed, east_m=east))))
    assert not screened.good_velocity[fastest]
    assert screen(observations_of(to_track(log))).good_velocity[fastest]


def test_crumbs_between_slides_carry_no_top_speed() -> None:
    _, log = ride_and_log(8, rate_hz=1.0, reports_speed=False)
    random = np.random.default_rng(4)
    moving = log.true_time_s > 8.0
    east = np.where(moving, log.east_m + 40.0 * random.normal(size=len(log)), log.east_m)
    top = measure_top_speed(estimate_motion(to_track(replace(log, east_m=east))))
    assert top.best_1s_mps is None or top.best_1s_mps.high - top.best_1s_mps.low > 4.0


TIME_S = np.arange(0.0, 60.0, 0.2)


def settled(hdop: np.ndarray, misfit: np.ndarray | None = None, fixes: int = len(TIME_S)) -> float:
    """Return when a log of the first so many fixes had settled, good but for what is given."""
    good = np.ones(len(TIME_S)) if misfit is None else misfit
    here = slice(0, fixes)
    return settled_from(
        TIME_S[here], hdop[here], np.full(fixes, 9.0), good[here], np.zeros(fixes), 0.04,
        np.zeros(fixes, dtype=bool),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_what_comes_later_does_not_change_when_a_receiver_had_settled(seed: int) -> None:
    """The log cut off two seconds after that moment, or anywhere later, says the same."""
    rng = np.random.default_rng(seed)
    hdop = 0.9 + 3.5 * np.exp(-TIME_S / rng.uniform(5.0, 20.0)) + 0.02 * rng.normal(size=300)
    misfit = rng.exponential(size=300) * np.where(rng.random(300) < 0.03, 1000.0, 1.0)
    whole = settled(hdop, misfit)
    least = int(np.searchsorted(TIME_S, whole + STEADY_S, side="right"))
    assert 0.0 < whole < 55.0
    assert [settled(hdop, misfit, fixes) for fixes in (least, least + 40, 299)] == [whole] * 3
    # And before that it was not known.
    assert settled(hdop, misfit, least - round(STEADY_S / 0.2) - 1) != whole


@pytest.mark.parametrize("scale_s", [5.0, 10.0, 13.0, 20.0])
def test_hdop_that_dies_away_is_steady_where_its_derivation_says(scale_s: float) -> None:
    """Equation (31): s w / (exp(w / T) - 1), with s = 1/16 a second and w = 4 s, or the flicker."""
    hdop = 1.0 + 3.5 * np.exp(-TIME_S / scale_s)
    left = hdop[np.flatnonzero(still_better(TIME_S, hdop))[-1]] - 1.0
    assert left == pytest.approx(0.25 / np.expm1(4.0 / scale_s), rel=0.05)


def test_a_jump_ends_no_settling_and_a_poor_sky_does_not_begin_it() -> None:
    steady = np.full(300, 1.0)
    jumped = np.where((TIME_S > 8.0) & (TIME_S < 10.0), 60_000.0, 1.0)
    assert settled(steady, jumped) == 0.0
    assert settled(np.where(TIME_S < 10.0, 5.1, 4.9)) == pytest.approx(10.0)
    assert np.isnan(settled(np.full(300, 5.1)))
    # Steps of a fifth are how some receivers tell it.
    assert settled(np.where(TIME_S % 7.0 < 3.0, 1.3, 1.1)) == 0.0


def test_a_log_without_hdop_is_held_against_its_rest() -> None:
    """A noise three times too large for 15 s: only what comes later tells that it was too large."""
    misfit = np.random.default_rng(2).exponential(size=300) * np.where(TIME_S < 15.0, 9.0, 1.0)
    assert 10.0 < settled(np.full(300, np.nan), misfit) < 16.0


def settled_at(*time_s: float) -> float:
    """Return when a good log with fixes at these times had settled."""
    n = len(time_s)
    one, none = np.ones(n), np.zeros(n)
    return settled_from(np.array(time_s), one, 9.0 * one, one, none, 0.04, np.zeros(n, dtype=bool))


def test_two_seconds_hold_three_fixes_that_follow_each_other() -> None:
    later = np.arange(20.0, 40.0)
    assert settled_at(0.0, 1.0, 2.0, *later) == 0.0
    # Stamps that are written roughly are no hole, a fix that is missing is one.
    assert settled_at(0.0, 1.1, 2.2, *later) == 0.0
    assert settled_at(0.0, 2.0, 3.0, 4.0, *later) == 2.0
    assert settled_at(0.0, 1.0, *later) == 20.0
    # What ends sooner is judged by what it holds; of slower receivers three fixes are awaited.
    assert settled_at(0.0, 1.0) == 0.0
    assert steady_span_s(0.2) == pytest.approx((1.9, 2.1))
    assert steady_span_s(2.0) == pytest.approx((3.0, 5.0))


@pytest.mark.parametrize(("changes", "outruns"), [
    ({"slides_mps": 1.01}, True), ({"slides_mps": 0.99}, False),
    # A speed that says so is no slide, nor is a chord shorter than the way.
    ({"slides_mps": 1.01, "speed_mps": 0.1}, False), ({"speed_mps": 9.0}, False),
    # HDOP widens what is allowed, and so does the step in which positions are written.
    ({"slides_mps": 1.9, "hdop": 2.0}, False), ({"slides_mps": 2.1, "hdop": 2.0}, True),
    ({"slides_mps": 1.9, "hdop": np.nan}, True),
    ({"slides_mps": 1.7, "step_m": 1.0}, False), ({"slides_mps": 1.72, "step_m": 1.0}, True),
    ({"slides_mps": 5.0, "speed_mps": np.nan}, False),
])  # fmt: skip
def test_a_place_that_outruns_the_speed_is_told(changes: dict[str, float], outruns: bool) -> None:
    """Over two seconds, with HDOP of h and steps of s: h metres a second and s times root two."""
    has = {"slides_mps": 0.0, "speed_mps": 0.0, "hdop": 1.0, "step_m": 0.0} | changes
    time_s = np.arange(6.0)
    north = has["slides_mps"] * np.minimum(time_s, 3.0)
    found = outrunning(
        time_s, np.stack([0.0 * north, north], axis=1), np.full(6, has["speed_mps"]),
        np.full(6, has["hdop"]), has["step_m"],
    )  # fmt: skip
    assert found[:2].tolist() == [outruns] * 2 and not found[3:].any()


def test_an_unknown_speed_is_only_of_its_own_windows() -> None:
    time_s = np.arange(10.0)
    position = np.stack([0.0 * time_s, 5.0 * time_s], axis=1)
    speed = np.where(time_s == 4.0, np.nan, 0.0)
    found = outrunning(time_s, position, speed, np.ones(10), 0.0)
    assert found.tolist() == [True, True, False, False, False, True, True, True, True, False]
