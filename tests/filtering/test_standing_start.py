"""The standing start: its evidence against dense algebra, and its honesty at any rate."""

from dataclasses import replace

import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from simulate import Machine, RideLayout

from ridelog.core.track import FloatArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.posterior import Posterior
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.smoother import estimate_motion
from ridelog.filtering.standing_start import paths
from ridelog.filtering.standing_start.acceleration_decay import decay_of_start
from ridelog.filtering.standing_start.models import OPENINGS, StartModels
from ridelog.filtering.standing_start.paths import (
    UNSEEN_START_S,
    candidates,
    draw_standing_start,
)
from ridelog.filtering.state_space import Solution, StateSpace


def test_the_determinant_is_that_of_the_matrix() -> None:
    random = np.random.default_rng(3)
    factor = random.normal(size=(5, 3, 3))
    diagonal = factor @ np.swapaxes(factor, 1, 2) + 9.0 * np.eye(3)
    lower = random.normal(size=(4, 3, 3))
    dense = np.zeros((15, 15))
    for k in range(5):
        dense[3 * k : 3 * k + 3, 3 * k : 3 * k + 3] = diagonal[k]
    for k in range(4):
        dense[3 * k + 3 : 3 * k + 6, 3 * k : 3 * k + 3] = lower[k]
        dense[3 * k : 3 * k + 3, 3 * k + 3 : 3 * k + 6] = lower[k].T
    found = float(BandedFactor(diagonal, lower).log_pivots().sum())
    assert found == pytest.approx(float(np.linalg.slogdet(dense)[1]))


def _evidence(jerk: float, time_s: FloatArray, position_m: FloatArray) -> float:
    n = len(time_s)
    off = np.zeros(n - 1, dtype=bool)
    space = StateSpace(time_s, position_m, np.full((n, 2), np.nan), off, off)
    precisions = Precisions(
        np.full(n - 1, jerk), np.full(n, 4.0), np.zeros(n), np.zeros(n), np.zeros(n),
        np.full(n - 1, 0.05), 0.03,
    )  # fmt: skip
    return float(Solution(space, precisions).log_evidences().sum())


def _dense_evidence(jerk: float, time_s: FloatArray, position_m: FloatArray) -> float:
    """Return the Gaussian log density of the positions, covariance by propagating the model."""
    d, n = 4, len(time_s)
    state = np.diag([1.0e8, 900.0, 9.0, 0.05**2])
    states = [state]
    moves = []
    for dt in np.diff(time_s):
        keep = float(np.exp(-dt / 20.0))
        move = np.array(
            [[1, dt, dt**2 / 2, dt / 2 * (1 + keep)], [0, 1, dt, 0], [0, 0, 1, 0], [0, 0, 0, keep]]
        )
        noise = np.zeros((d, d))
        noise[:3, :3] = jerk * np.array(
            [[dt**5 / 20, dt**4 / 8, dt**3 / 6], [dt**4 / 8, dt**3 / 3, dt**2 / 2],
             [dt**3 / 6, dt**2 / 2, dt]]
        )  # fmt: skip
        fresh = 0.05**2 * (1 - keep**2)
        push = np.array([dt / 2, 0.0, 0.0, 1.0])
        noise += fresh * np.outer(push, push)
        moves.append(move)
        states.append(move @ states[-1] @ move.T + noise)
    cover = np.zeros((n, n))
    for i in range(n):
        link = np.eye(d)
        cover[i, i] = states[i][0, 0]
        for j in range(i + 1, n):
            link = moves[j - 1] @ link
            cover[i, j] = cover[j, i] = (link @ states[i])[0, 0]
    cover += 0.25 * np.eye(n)
    total = 0.0
    for axis in (0, 1):
        z = position_m[:, axis]
        total += -0.5 * float(z @ np.linalg.solve(cover, z))
        total += -0.5 * float(np.linalg.slogdet(cover)[1])
    return total


def test_the_evidence_is_the_density_of_the_data() -> None:
    """Differences between models agree with the dense density; the constant cancels."""
    random = np.random.default_rng(5)
    time_s = np.cumsum(random.uniform(0.5, 1.5, 6))
    position = np.stack([0.5 * time_s**2, 0.2 * time_s], axis=1) + random.normal(size=(6, 2))
    banded = [_evidence(jerk, time_s, position) for jerk in (0.01, 0.3, 5.0)]
    dense = [_dense_evidence(jerk, time_s, position) for jerk in (0.01, 0.3, 5.0)]
    assert np.diff(banded) == pytest.approx(np.diff(dense), abs=1e-4)


@pytest.mark.parametrize("rate_hz", [25.0, 5.0, 1.0])
def test_the_start_lies_where_it_was(rate_hz: float) -> None:
    ride = RideLayout(Machine())
    ride.stand(7.23)
    ride.drive(until_mps=7.0, build_s=0.3)
    ride.hold(2.0)
    rng = np.random.default_rng(11)
    motion = estimate_motion(to_track(preset("clean", rate_hz, rng).observe(ride.build(), rng)))
    drawn = draw_standing_start(motion, 4.0, 8.5, 10.0, draws=100)
    assert drawn is not None
    assert drawn.start_s.shape == (100,)
    spread = float(drawn.start_s.std())
    assert abs(float(drawn.start_s.mean()) - 7.23) < 3.0 * spread
    assert spread < (0.15 if rate_hz > 1.0 else 0.4)
    # Nothing moves before its own start, everything moves a second after it.
    speed = drawn.paths.speed_mps
    rest = speed[drawn.paths.time_s < drawn.start_s.min() - 0.3]
    assert float(np.abs(rest).max()) < 0.1
    assert float(speed[-1].min()) > 2.0


def test_draws_are_those_of_every_start_and_opening(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three of four by hand, one by a ramp; each start as likely as its evidence, and no other."""
    ride = RideLayout(Machine())
    ride.stand(7.23)
    ride.drive(until_mps=7.0, build_s=0.3)
    ride.hold(2.0)
    rng = np.random.default_rng(11)
    motion = estimate_motion(to_track(preset("clean", 1.0, rng).observe(ride.build(), rng)))
    assert isinstance(motion.posterior, Posterior)
    monkeypatch.setattr(paths, "_plausibility", lambda drawn, _: np.ones(len(drawn.owner)))
    drawn = draw_standing_start(motion, 4.0, 8.5, 10.0, draws=400)
    assert drawn is not None and len(OPENINGS) == 2

    decay = decay_of_start(motion, 4.0, 10.0, None)
    models = StartModels(motion, motion.posterior, 4.0, 8.5, 10.0, decay)
    start_s = np.repeat(np.arange(4.0, 8.5, 0.04), 2)
    ramp = np.resize([0, 1], len(start_s))
    evidence = models.solved(start_s, ramp).evidence
    odds = np.where(ramp == 1, 0.25, 0.75) * np.exp(evidence - evidence.max())
    odds /= odds.sum()
    mean = odds @ start_s
    # The standard error of a mean of 400 draws, evenly chosen, is below 0.077 / 20 s.
    assert drawn.start_s.mean() == pytest.approx(mean, abs=0.012)
    variance = odds @ (start_s - mean) ** 2
    assert drawn.start_s.std() == pytest.approx(np.sqrt(variance + UNSEEN_START_S**2), rel=0.05)
    # How a throttle opens is alike in all starts: the variance between the means of the openings.
    between = 0.0
    for each in (0, 1):
        share = odds[ramp == each].sum()
        between += share * (odds[ramp == each] @ start_s[ramp == each] / share - mean) ** 2
    assert drawn.alike_s == pytest.approx(np.sqrt(UNSEEN_START_S**2 + between), rel=0.03)


@pytest.mark.parametrize("seed", [13, 15])
def test_a_long_ramp_is_not_timed_as_a_hand(seed: int) -> None:
    ride = RideLayout(Machine())
    ride.stand(7.23)
    ride.drive(until_mps=7.0, build_s=0.8)
    ride.hold(2.0)
    rng = np.random.default_rng(seed)
    motion = estimate_motion(to_track(preset("clean", 1.0, rng).observe(ride.build(), rng)))
    drawn = draw_standing_start(motion, 4.0, 8.5, 10.0, draws=100)
    assert drawn is not None
    low, high = np.quantile(drawn.start_s, [0.05, 0.95])
    assert low < 7.23 < high
    # What tells a hand from a ramp is alike in all starts, and so is what neither shows.
    assert UNSEEN_START_S <= drawn.alike_s < float(drawn.start_s.std()) + 0.02


@pytest.mark.parametrize("seed", [3, 5])
def test_a_shift_of_gear_on_the_way_up_does_not_draw_the_start(seed: int) -> None:
    """However early a start, a corner some seconds after the true one costs it as much."""
    ride = RideLayout(Machine())
    ride.stand(7.23)
    ride.drive(until_mps=4.42, build_s=0.2)
    ride.coast(until_mps=1.0, for_s=0.3, build_s=0.05)
    ride.drive(until_mps=9.0)
    ride.hold(2.0)
    rng = np.random.default_rng(seed)
    motion = estimate_motion(to_track(preset("clean", 5.0, rng).observe(ride.build(), rng)))
    drawn = draw_standing_start(motion, 4.0, 8.3, 11.0, draws=100)
    assert drawn is not None
    assert float(np.median(drawn.start_s)) == pytest.approx(7.23, abs=0.15)


@pytest.mark.parametrize("readings", [1, 2])
def test_a_slip_before_the_start_is_not_the_start(readings: int) -> None:
    """A machine that moves off is faster still at the next two readings; a slip is not."""
    ride = RideLayout(Machine())
    ride.stand(7.23)
    ride.drive(until_mps=7.0, build_s=0.3)
    ride.hold(2.0)
    truth = ride.build()

    def started(*, slip: bool) -> float:
        rng = np.random.default_rng(12)
        log = replace(preset("clean", 10.0, rng), speed_white_mps=0.03).observe(truth, rng)
        speed = log.speed_mps.copy()
        if slip:
            speed[47 : 47 + readings] = 0.45
        motion = estimate_motion(to_track(replace(log, speed_mps=speed)))
        drawn = draw_standing_start(motion, 4.0, 8.5, 10.0, draws=100)
        assert drawn is not None
        return float(np.median(drawn.start_s))

    assert started(slip=True) == pytest.approx(started(slip=False), abs=0.05)


def test_no_start_is_timed_from_where_the_place_still_moved() -> None:
    """Backwards, as a receiver may wander at a stand: that is no beginning of a pull."""
    ride = RideLayout(Machine())
    ride.stand(5.0)
    ride.shift(-0.5, build_s=0.2, ease_s=0.2)
    ride.hold(1.0)
    moves_s = ride.now_s - 0.5
    ride.shift(0.0, build_s=0.2, ease_s=0.2)
    ride.stand(3.0)
    start_s = ride.now_s
    ride.drive(until_mps=7.0, build_s=0.3)
    ride.hold(2.0)
    rng = np.random.default_rng(12)
    motion = estimate_motion(to_track(preset("clean", 10.0, rng).observe(ride.build(), rng)))
    assert draw_standing_start(motion, moves_s, start_s + 1.0, start_s + 3.0, draws=100) is None
    drawn = draw_standing_start(motion, start_s - 2.0, start_s + 1.0, start_s + 3.0, draws=100)
    assert drawn is not None
    assert float(np.median(drawn.start_s)) == pytest.approx(start_s, abs=0.2)


def test_starts_of_minutes_are_tried_in_bounded_memory() -> None:
    usual = candidates(4.0, 8.5, 0.05, 100)
    assert np.allclose(np.diff(usual), 0.05) and usual[0] == 4.0
    # A logger of a fix in 5 s may leave two minutes open, a standing one at 25 Hz five.
    for span_s, instants in ((133.0, 375), (300.0, 7500)):
        tried = candidates(9.0, 9.0 + span_s, 0.05, instants)
        assert len(tried) * instants < 101_000 + instants
        assert tried[-1] <= 9.0 + span_s
