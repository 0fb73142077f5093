"""Where reported speed and positions contradict each other no figure is taken, and it is said."""

from dataclasses import replace

import numpy as np
import pytest
from filtered_rides import kept, ride_and_log
from log_in_memory import to_track
from simulate import Observation

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.signal.measure import contradicted_spans, judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.flags import Flag
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion


def _contradicted(motion: Motion) -> int:
    return int(np.count_nonzero(motion.flags & np.uint32(Flag.CONTRADICTED)))


def _false(log: Observation, start_s: float, length_s: float, added: FloatArray) -> Observation:
    """Return the log with its speed raised inside a stretch; ``added`` is a form over 0 to 1."""
    share = (log.time_s - start_s) / length_s
    form = np.interp(share, np.linspace(0.0, 1.0, len(added)), added, left=0.0, right=0.0)
    speed = log.speed_mps + np.where((share >= 0.0) & (share <= 1.0), form, 0.0)
    course = np.where(np.isfinite(log.course_rad), log.course_rad, 0.0)
    return replace(log, speed_mps=speed, course_rad=course)


STEP = np.full(2, 42.0)
BUMP = 11.0 * (0.5 - 0.5 * np.cos(np.linspace(0.0, 2.0 * np.pi, 61)))
RAMP = np.linspace(0.0, 8.0, 2)


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])
@pytest.mark.parametrize(
    ("form", "length_s"), [(STEP, 2.0), (BUMP, 3.0), (RAMP, 1.5), (RAMP, 10.0)]
)
@pytest.mark.parametrize("place", ["first", "riding", "last"])
def test_a_false_speed_is_no_figure(
    rate_hz: float, form: FloatArray, length_s: float, place: str
) -> None:
    ride, log = ride_and_log(5, rate_hz=rate_hz)
    length_s = max(length_s, 2.0 / rate_hz)
    end_s = float(log.time_s[-1])
    start_s = {"first": 0.0, "riding": 0.4 * end_s, "last": end_s - length_s}[place]
    motion = estimate_motion(to_track(_false(log, start_s, length_s, form)))
    top = measure_top_speed(motion)
    true = ride.truth.best_mean_speed().speed_mps
    assert top.best_1s_mps is None or top.best_1s_mps.low < 1.05 * true
    if not _contradicted(motion):
        # Two or three readings at a fix a second are spikes, which their neighbours contradict.
        assert rate_hz * length_s <= 3.0
        inside = (log.time_s >= start_s) & (log.time_s <= start_s + length_s)
        assert (motion.flags[inside] & np.uint32(Flag.SPEED_JUMP)).any()
        return
    assert judge_signal(motion).grade != "good"
    spans = contradicted_spans(motion)
    assert any(a <= start_s + length_s and b >= start_s for a, b in spans)


def test_what_is_contradicted_is_told_and_lowers_the_grade() -> None:
    _, log = ride_and_log(5, rate_hz=5.0)
    before = judge_signal(estimate_motion(to_track(log)))
    assert before.grade == "good"
    motion = estimate_motion(to_track(_false(log, 20.0, 2.0, STEP)))
    result = analyse(motion, Settings())
    signal = result["signal"]
    assert signal.grade == "fair"
    assert signal.verdict.endswith("its speeds and positions contradict each other in places.")
    assert signal.counts["CONTRADICTED"] == _contradicted(motion)
    assert signal.usable_share < before.usable_share
    (caution,) = [one for one in result.cautions if one.code == "speed_against_position"]
    (start_s, stop_s) = contradicted_spans(motion)[0]
    assert caution.text == (
        "The receiver's speed and its positions contradict each other from "
        f"{start_s:.0f} s to {stop_s:.0f} s, {stop_s - start_s:.0f} s in all. Nothing tells which "
        "is wrong, so no figure is taken from there."
    )
    assert not motion.used[(motion.flags & np.uint32(Flag.CONTRADICTED)) != 0].any()
    # It is no interruption of the log.
    assert not motion.gaps
    assert not (motion.flags & np.uint32(Flag.GAP)).any()


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])
@pytest.mark.parametrize("kind", ["clean", "drifting"])
def test_an_honest_log_contradicts_itself_nowhere(rate_hz: float, kind: str) -> None:
    for seed in range(4):
        _, log = ride_and_log(seed, rate_hz=rate_hz, kind=kind)
        assert _contradicted(estimate_motion(to_track(log))) == 0


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_one_stray_fix_is_no_contradiction(rate_hz: float) -> None:
    _, log = ride_and_log(5, rate_hz=rate_hz)
    for row in (0, len(log) // 2, len(log) - 1):
        east = log.east_m.copy()
        east[row] += 400.0
        motion = estimate_motion(to_track(replace(log, east_m=east)))
        assert _contradicted(motion) == 0
        assert motion.flags[row] & np.uint32(Flag.JUMP)


def test_a_position_that_steps_once_is_no_contradiction() -> None:
    _, log = ride_and_log(5, rate_hz=5.0)
    later = log.time_s > 0.5 * log.time_s[-1]
    motion = estimate_motion(to_track(replace(log, east_m=log.east_m + 6.0 * later)))
    assert _contradicted(motion) == 0


def test_a_late_speed_is_no_contradiction() -> None:
    _, log = ride_and_log(5, rate_hz=5.0)
    speed, course = (
        np.concatenate([np.full(3, values[0]), values[:-3]])
        for values in (log.speed_mps, log.course_rad)
    )
    late = replace(log, speed_mps=speed, course_rad=course)
    assert _contradicted(estimate_motion(to_track(late))) == 0


def test_a_stretch_without_reported_speed_contradicts_nothing() -> None:
    _, log = ride_and_log(5, rate_hz=5.0)
    silent = (log.time_s > 15.0) & (log.time_s < 25.0)
    speed, course = (np.where(silent, np.nan, one) for one in (log.speed_mps, log.course_rad))
    missing = replace(log, speed_mps=speed, course_rad=course)
    assert _contradicted(estimate_motion(to_track(missing))) == 0


def test_positions_alone_contradict_nothing() -> None:
    _, log = ride_and_log(5, rate_hz=5.0, reports_speed=False)
    assert _contradicted(estimate_motion(to_track(log))) == 0


@pytest.mark.parametrize("factor", [0.514, 1.94, 3.6])
def test_a_speed_in_another_unit_is_believed_nowhere(factor: float) -> None:
    ride, log = ride_and_log(5, rate_hz=5.0)
    track = to_track(replace(log, speed_mps=factor * log.speed_mps))
    true = ride.truth.best_mean_speed().speed_mps
    try:
        motion = estimate_motion(track)
    except NotEnoughDataError as error:
        assert "contradict each other throughout, so no speed can be told" in str(error)
        return
    assert _contradicted(motion) > 0.5 * np.count_nonzero(log.speed_mps > 1.0)
    top = measure_top_speed(motion).best_1s_mps
    assert judge_signal(motion).grade == "too weak" or top is None or top.low < 1.05 * true


def test_a_log_that_contradicts_itself_throughout_tells_no_speed() -> None:
    _, log = ride_and_log(5, rate_hz=5.0)
    moving = kept(log, log.speed_mps > 1.0)
    with pytest.raises(NotEnoughDataError) as caught:
        estimate_motion(to_track(replace(moving, speed_mps=3.6 * moving.speed_mps)))
    assert str(caught.value) == (
        "simulated.gpx: the reported speed and the positions contradict each other throughout, so "
        "no speed can be told. What to do: check what the log's speed is, and its unit; or log "
        "again."
    )


def test_a_false_reading_at_rest_goes_nowhere_on_any_course() -> None:
    _, log = ride_and_log(5, rate_hz=10.0)
    rng = np.random.default_rng(3)
    n = 300
    log = kept(log, np.arange(len(log)) < n)
    speed = np.where(np.arange(n) < 150, 0.02, np.where(np.arange(n) < 180, 6.0, 0.02))
    rest = replace(
        log,
        east_m=rng.normal(0.0, 0.02, n),
        north_m=rng.normal(0.0, 0.02, n),
        speed_mps=speed,
        course_rad=rng.uniform(0.0, 2.0 * np.pi, n),
    )
    top = measure_top_speed(estimate_motion(to_track(rest))).best_1s_mps
    assert top is None or top.low < 0.3


def test_a_single_false_reading_at_the_end_of_a_rest_is_not_believed() -> None:
    _, log = ride_and_log(5, rate_hz=1.0)
    n = 40
    log = kept(log, np.arange(len(log)) < n)
    for last in (5.0, 20.0):
        speed = np.append(np.full(n - 1, 0.02), last)
        rest = replace(
            log, east_m=np.linspace(0.0, 0.5, n), north_m=np.zeros(n), speed_mps=speed,
            course_rad=np.zeros(n),
        )  # fmt: skip
        top = measure_top_speed(estimate_motion(to_track(rest))).best_1s_mps
        assert top is None or top.low < 0.3


def test_a_speed_that_stays_while_positions_stand_is_believed_nowhere() -> None:
    _, log = ride_and_log(5, rate_hz=5.0)
    where = log.time_s < 40.0
    log = kept(log, where)
    east, north = np.zeros(len(log)), np.zeros(len(log))
    noise = np.random.default_rng(1).normal(0.0, 0.02, (2, len(log)))
    track = to_track(replace(log, east_m=east + noise[0], north_m=north + noise[1]))
    try:
        motion = estimate_motion(track)
    except NotEnoughDataError:
        return
    top = measure_top_speed(motion).best_1s_mps
    assert judge_signal(motion).grade == "too weak" or top is None or top.low < 1.0
