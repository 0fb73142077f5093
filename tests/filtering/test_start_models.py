"""Models of many starts solved in one state space are those solved one by one."""

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from log_in_memory import to_track
from other_rides import starts as other_starts
from receiver_presets import preset
from satellite_receiver import drawn_receiver
from simulate import Machine, RideLayout

from ridelog.analysis.acceleration.runs import draw_runs, find_runs
from ridelog.analysis.launches.measure import measure_launches
from ridelog.filtering.motion import Motion
from ridelog.filtering.posterior import Posterior
from ridelog.filtering.smoother import estimate_motion
from ridelog.filtering.standing_start.acceleration_decay import (
    StartDecay,
    acceleration_decay_of,
    decay_of_start,
)
from ridelog.filtering.standing_start.models import OPENING_ENDS_S, OPENINGS, StartModels
from ridelog.filtering.standing_start.paths import draw_starts

_END_S = 10.0


def _ridden(
    rate_hz: float, kind: Literal["clean", "jumpy"], reports_speed: bool
) -> tuple[Motion, StartDecay | None]:
    ride = RideLayout(Machine())
    ride.stand(5.2)
    ride.drive(until_mps=7.0, build_s=0.3)
    ride.hold(4.0)
    rng = np.random.default_rng(21)
    receiver = preset(kind, rate_hz, rng, reports_speed=reports_speed)
    motion = estimate_motion(to_track(receiver.observe(ride.build(), rng)))
    spans = [(run.earliest_s, run.top_s) for run in find_runs(motion) if run.standing]
    return motion, decay_of_start(motion, 3.0, _END_S, acceleration_decay_of(motion, spans))


@pytest.mark.parametrize(
    ("rate_hz", "kind", "reports_speed"),
    [(10.0, "clean", True), (2.0, "clean", True), (10.0, "jumpy", False)],
)
def test_starts_solved_together_are_those_solved_alone(
    rate_hz: float, kind: Literal["clean", "jumpy"], reports_speed: bool
) -> None:
    motion, start_decay = _ridden(rate_hz, kind, reports_speed)
    assert isinstance(motion.posterior, Posterior)
    # With the factor that keeps all digits in either case.
    motion.posterior.hard[:] = True
    models = StartModels(motion, motion.posterior, 3.0, 8.5, _END_S, start_decay)
    # On a fix, beside one, and between two.
    start_s = np.array([4.0, 4.93, 5.21, 5.55])
    opening = np.array([0, 1, 0, 1])
    together = models.solved(start_s, opening)
    for number, at_s in enumerate(start_s):
        alone = models.solved(np.array([at_s]), opening[[number]])
        assert together.evidence[number] == pytest.approx(alone.evidence[0], abs=1e-6)
        part = slice(together.edges[number], together.edges[number + 1])
        np.testing.assert_array_equal(
            together.solution.space.time_s[part], alone.solution.space.time_s
        )
        np.testing.assert_allclose(together.solution.states[part], alone.solution.states, atol=1e-7)
    if reports_speed:
        assert int(np.argmax(together.evidence)) == 2


def test_a_stretch_without_positions_between_two_steps_does_not_float() -> None:
    motion, start_decay = _ridden(10.0, "jumpy", False)
    assert isinstance(motion.posterior, Posterior)
    motion.posterior.hard[:] = True
    models = StartModels(motion, motion.posterior, 3.0, 8.5, _END_S, start_decay)
    models._steps[[40, 45]] = True
    models._position_weight = models._position_weight.copy()
    models._position_weight[41:46] = 0.0
    start_s, opening = np.array([4.0, 5.21, 5.55]), np.array([0, 1, 0])
    together = models.solved(start_s, opening)
    assert np.isfinite(together.solution.states).all()
    for number in range(len(start_s)):
        alone = models.solved(start_s[[number]], opening[[number]])
        assert together.evidence[number] == pytest.approx(alone.evidence[0], abs=1e-2)


def test_slow_readings_that_come_late_are_taken_at_their_time() -> None:
    motion, start_decay = _ridden(10.0, "clean", True)
    assert isinstance(motion.posterior, Posterior)
    # One fix late, as its noise says; the posterior is that of the ride as it was.
    speed = motion.track.speed_mps
    late = replace(
        motion,
        track=replace(motion.track, speed_mps=np.append(speed[0], speed[:-1])),
        noise=replace(motion.noise, lag_s=0.1),
    )
    in_time, moved = (
        StartModels(one, motion.posterior, 3.0, 8.5, _END_S, start_decay) for one in (motion, late)
    )
    slow = speed[motion.known_rows] < 1.0
    assert slow.sum() > 20 and (np.nan_to_num(in_time._velocity) != 0.0).any()
    np.testing.assert_allclose(moved._velocity, in_time._velocity, atol=1e-9)
    np.testing.assert_allclose(moved._velocity_weight, in_time._velocity_weight)


def test_slow_readings_keep_their_length_along_a_single_velocity() -> None:
    """Free of the square that noise of two axes adds, whatever tells the course."""
    motion, start_decay = _ridden(10.0, "clean", True)
    assert isinstance(motion.posterior, Posterior)
    models = StartModels(motion, motion.posterior, 3.0, 8.5, _END_S, start_decay)
    usual = models._velocity_weight[models._velocity_weight > 0.0]
    noise_var = 1.0 / float(np.median(usual))
    first = int(np.flatnonzero(np.hypot(*models._velocity.T) > 0.6)[0])
    slow = np.hypot(*models._velocity.T) < 0.5
    one = np.where(np.arange(models.n) == first, 1.0, np.nan)
    models._velocity = 0.6 * one[:, None] * np.array([0.6, -0.8])
    models._take_slow_readings(motion, _END_S)
    found = models._velocity[slow]
    along = np.hypot(*found.T)
    assert along.max() > 0.2 and np.allclose(found, along[:, None] * [0.6, -0.8])
    said = np.interp(models._time_s[slow], motion.track.time_s, motion.track.speed_mps)
    np.testing.assert_allclose(along, np.sqrt(np.maximum(said**2 - 2.0 * noise_var, 0.0)))


def test_what_was_seen_much_later_hardly_tells_the_start() -> None:
    motion, start_decay = _ridden(10.0, "clean", True)
    assert isinstance(motion.posterior, Posterior)
    models = StartModels(motion, motion.posterior, 3.0, 8.5, _END_S, start_decay)
    start_s = np.arange(4.9, 5.5, 0.1)
    opening = np.arange(len(start_s)) % 2
    whole = models.solved(start_s, opening)
    cut = models.solved(start_s, opening, until_s=5.5 + 4.0)
    assert cut.edges[-1] < whole.edges[-1]
    difference = cut.evidence - whole.evidence
    np.testing.assert_allclose(difference - difference.mean(), 0.0, atol=0.3)


def test_a_pull_grows_as_even_openings_do() -> None:
    """Root mean square over openings of 0.45 to 1 s of what 3 m/s² grow by in each part."""
    opened_s = np.linspace(0.45, 1.0, 20_001)
    grown = np.diff([3.0 * np.minimum(end / opened_s, 1.0) for end in OPENING_ENDS_S[1]], axis=0)
    told = [growth for _, growth in OPENINGS[1]]
    np.testing.assert_allclose(np.sqrt((grown**2).mean(axis=1)), told, atol=0.006)
    # Of a hand, one in three opens at once.
    opened_s = np.linspace(0.1, 0.45, 20_001)
    late = 3.0 * (1.0 - np.minimum(OPENING_ENDS_S[0][2] / opened_s, 1.0))
    assert np.sqrt(2.0 / 3.0 * (late**2).mean()) == pytest.approx(OPENINGS[0][2][1], abs=0.006)


def test_draws_of_a_start_scatter_about_its_states() -> None:
    motion, start_decay = _ridden(10.0, "clean", True)
    assert isinstance(motion.posterior, Posterior)
    starts = StartModels(motion, motion.posterior, 3.0, 8.5, _END_S, start_decay).solved(
        np.array([5.1, 5.2]), np.array([0, 1])
    )
    most = int(np.diff(starts.edges).max())
    noise = np.random.default_rng(1).standard_normal((most, starts.solution.space.d, 2, 400))
    drawn = draw_starts(starts, np.array([1]), np.array([0]), noise, 8.0)
    assert 8.0 <= drawn.time_s[-1, 0] < 8.2
    at = drawn.time_s[:, 0].searchsorted(7.0)
    states = drawn.mean[at, :, :, [0]].transpose(1, 2, 0) + drawn.errors[at, :4]
    speed = states[1]
    part = slice(starts.edges[1], starts.edges[2])
    mean = (starts.solution.states[part, 1] + starts.departure[part, 1])[at]
    sd = speed.std(axis=1)
    assert np.all((sd > 0.01) & (sd < 0.1))
    np.testing.assert_allclose(speed.mean(axis=1), mean, atol=0.2 * sd.max())
    # Positions are those of the ride, not of the model's own origin.
    row = int(np.argmin(np.abs(motion.track.time_s - 7.0)))
    ridden = [motion.east_m[row], motion.north_m[row]]
    np.testing.assert_allclose(states[0].mean(axis=1), ridden, atol=1.0)


def test_a_stand_is_no_start_whose_pull_comes_later() -> None:
    """A corner of its own, two and a half seconds on, would otherwise be free for a start then."""
    rng = np.random.default_rng([34, 6])
    ride = other_starts(rng)
    receiver, decimals = drawn_receiver("plain", 10.0, rng, reports_speed=True)
    motion = estimate_motion(to_track(receiver.observe(ride.truth, rng), decimals=decimals))
    true_s = [span.start_s for span in ride.labels["launches"] if span.top_mps > 3.0]
    found_s = [one.start_s for one in measure_launches(draw_runs(motion)).launches]
    assert len(found_s) >= len(true_s)
    for start_s in true_s:
        assert np.abs(np.array(found_s) - start_s).min() < 0.6
