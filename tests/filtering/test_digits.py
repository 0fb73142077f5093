"""Digits that either factor keeps, against arithmetic of 200 bits, and logs that ask for them.

The reference writes the model out once more, filtering (1) to (6), and eliminates it block by block
with mpmath: nothing of it is shared with what it checks.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track
from mpmath import mp, mpf

from ridelog.core.track import FloatArray, Track
from ridelog.filtering.orthogonal import OrthogonalFactor
from ridelog.filtering.posterior import Posterior
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.smoother import estimate_motion
from ridelog.filtering.state_space import Solution, StateSpace

mp.prec = 200
_START_SD = (1.0e4, 30.0, 3.0)


def _chain(
    d: int, interval_s: FloatArray, jerk: FloatArray, grid_m: float, *, rejected: bool, steps: int
) -> tuple[StateSpace, Precisions]:
    random = np.random.default_rng(17)
    time_s = np.concatenate([[0.0], np.cumsum(interval_s)])
    n = len(time_s)
    position = np.stack([5.0 * time_s + 3.0 * np.sin(time_s / 3.0), 2.0 * time_s], axis=1)
    position += random.normal(0.0, 0.3, (n, 2))
    if grid_m:
        position = np.round(position / grid_m) * grid_m
    velocity = np.stack([5.0 + np.cos(time_s / 3.0), np.full(n, 2.0)], axis=1)
    stepping = np.zeros(n - 1, dtype=bool)
    stepping[random.integers(0, n - 1, steps)] = True
    none = np.zeros(n - 1, dtype=bool)
    if d == 4:
        velocity = np.full((n, 2), np.nan)
    weight = np.where(rejected & (random.random(n) < 0.1), 1.0e-6, 1.0)
    return StateSpace(time_s, position, velocity, none, stepping), Precisions(
        jerk=jerk,
        position=weight / max(0.3, grid_m) ** 2,
        velocity=weight * 400.0 if d == 5 else np.zeros(n),
        still=np.where(random.random(n) < 0.1, 2500.0, 0.0),
        cruise=np.full(n, 0.01),
        drift=np.full(n - 1, 0.045),
        slow_sd=0.03,
    )


def _exact(space: StateSpace, p: Precisions) -> tuple[FloatArray, FloatArray, float]:
    """Return states, their standard deviations and the logarithm of the determinant."""
    n, d = space.n, space.d
    known = [1 / mpf(sd) ** 2 for sd in (*_START_SD, 0.045, 0.03)][:d]
    diagonal, lower = [mp.zeros(d) for _ in range(n)], []
    pull = [mp.zeros(d, 2) for _ in range(n)]
    for number in range(d):
        diagonal[0][number, number] += known[number]
    for k in range(n):
        seen: list[tuple[float, tuple[int, ...], Sequence[float]]]
        seen = [(p.position[k], (0,), space.position_m[k]), (p.still[k], (1,), (0, 0))]
        seen += [(p.cruise[k], (2,), (0, 0)), (p.velocity[k], (1, 4), space.velocity_mps[k])]
        for precision, numbers, said in seen[: d - 1]:
            for i in numbers:
                for axis in (0, 1):
                    pull[k][i, axis] += mpf(precision) * mpf(float(said[axis]))
                for j in numbers:
                    diagonal[k][i, j] += mpf(precision)
    for k in range(n - 1):
        h, q = mpf(space.interval_s[k]), mpf(p.jerk[k])
        onto, forward, precision = mp.eye(d), mp.eye(d), mp.zeros(d)
        onto[0, 3], forward[0, 3] = -h / 2, h / 2
        forward[0, 1] = forward[1, 2] = h
        forward[0, 2] = h**2 / 2
        jerk = mp.matrix([[720, -360, 60], [-360, 192, -36], [60, -36, 9]])
        if space.steps[k]:
            jerk -= (1 - mpf("1e-9")) * jerk[:, 0] * jerk[:, 0].T / 720
        for i in range(3):
            for j in range(3):
                precision[i, j] = jerk[i, j] * h ** (i + j - 5) / q
        slow = ((3, space.drift_keep, p.drift[k]), (4, space.slow_keep, p.slow_sd))
        for number, keep, sd in slow[: d - 3]:
            forward[number, number] = mpf(keep[k])
            precision[number, number] = 1 / (mpf(sd) ** 2 * (1 - mpf(keep[k]) ** 2))
        diagonal[k] += forward.T * precision * forward
        diagonal[k + 1] += onto.T * precision * onto
        lower.append(-(onto.T * precision * forward))
    for k in range(n - 1):
        gain = lower[k] * diagonal[k] ** -1
        diagonal[k + 1] -= gain * lower[k].T
        pull[k + 1] -= gain * pull[k]
    log_det = sum(mp.log(mp.det(block)) for block in diagonal)
    states, sd = np.empty((n, d, 2)), np.empty((n, d))
    inverse = diagonal[-1] ** -1
    covariance, state = inverse, inverse * pull[-1]
    for k in range(n - 1, -1, -1):
        if k < n - 1:
            inverse = diagonal[k] ** -1
            gain = inverse * lower[k].T
            state = inverse * pull[k] - gain * state
            covariance = inverse + gain * covariance * gain.T
        for i in range(d):
            sd[k, i] = float(mp.sqrt(covariance[i, i]))
            states[k, i] = [float(state[i, axis]) for axis in (0, 1)]
    return states, sd, float(log_det)


# Intervals, jerk, steps of the positions: rates of 0.2 to 1000 Hz, pairs 1 ms apart, a minute.
_CASES = {
    "0.2 Hz": (np.full(14, 5.0), np.full(14, 1.0e-6), 0.0),
    "a minute between": (np.tile([1.0, 60.0, 0.25], 6), np.full(18, 1.0), 0.0),
    "10 Hz, calm": (np.full(45, 0.1), np.full(45, 1.0e-6), 0.0),
    "100 Hz, calm": (np.full(60, 0.01), np.full(60, 1.0e-6), 0.0),
    "100 Hz, lively and calm": (np.full(60, 0.01), np.tile([1.0e-6, 1.0e3, 1.0], 20), 0.0),
    "1000 Hz": (np.full(60, 0.001), np.full(60, 1.0), 0.0),
    "pairs 10 ms apart, steps of 11 m": (np.tile([1.0, 0.01], 15), np.full(30, 1.0e-6), 11.0),
    "pairs 1 ms apart": (np.tile([0.2, 0.001], 20), np.tile([1.0e3, 1.0e-6], 20), 0.0),
}


@cache
def _case(case: str, d: int) -> tuple[StateSpace, Precisions, tuple[FloatArray, FloatArray, float]]:
    space, precisions = _chain(d, *_CASES[case], rejected=True, steps=2)
    return space, precisions, _exact(space, precisions)


@pytest.mark.parametrize("d", [4, 5])
@pytest.mark.parametrize("case", _CASES)
def test_orthogonal_factor_keeps_six_digits_anywhere(case: str, d: int) -> None:
    space, precisions, (states, sd, log_det) = _case(case, d)
    factor = OrthogonalFactor(space.rows(precisions, space.blocks(precisions)))
    blocks, _ = factor.selected_inverse()
    np.testing.assert_allclose(np.einsum("kii->ki", blocks), sd**2, rtol=1e-5)
    assert np.max(np.abs(factor.states() - states) / sd[:, :, None]) < 1e-5
    assert factor.log_pivots().sum() == pytest.approx(log_det, abs=1e-6)


@pytest.mark.parametrize("d", [4, 5])
@pytest.mark.parametrize("case", _CASES)
def test_solution_takes_the_factor_that_keeps_digits(case: str, d: int) -> None:
    space, precisions, (states, sd, log_det) = _case(case, d)
    # A fiftieth of an interval's half width is what results on two computers may differ by.
    solution = space.solve(precisions)
    assert np.max(np.abs(solution.states - states) / sd[:, :, None]) < 0.01
    variances = np.einsum("kii->ki", space.solve(precisions).variances()[0])
    np.testing.assert_allclose(variances, sd**2, rtol=2e-3)


def test_orthogonal_draws_have_the_inverse_as_covariance() -> None:
    space, precisions = _chain(5, np.full(6, 0.1), np.full(6, 1.0), 0.0, rejected=False, steps=0)
    noise = np.random.default_rng(3).standard_normal((7, 5, 40_000))
    solution = Solution(space, precisions, orthogonal=True)
    draws = solution.draw(slice(0, 7), noise, 7)
    expected = solution.variances()[0]
    for place in range(7):
        size = np.sqrt(np.outer(np.diag(expected[place]), np.diag(expected[place])))
        # The standard error of a correlation from 40,000 draws is 0.5 %.
        np.testing.assert_allclose(np.cov(draws[place]) / size, expected[place] / size, atol=0.03)


def test_paths_keep_the_digits_where_cholesky_would_lose_them() -> None:
    space, precisions, (states, sd, _) = _case("100 Hz, lively and calm", 5)
    nothing, hard = np.zeros((space.n, 5, 2)), np.ones(space.n, dtype=bool)
    posterior = Posterior(space, states, nothing, None, precisions, precisions, hard)
    paths = posterior.paths(float(space.time_s[0]), float(space.time_s[-1]), 1000, 0.01)
    for rate, values in enumerate((paths.position_m, paths.velocity_mps)):
        # The first column is the fit; the standard error of a deviation of 4,000 errors is 1.1 %.
        spread = values[:, :, 1:].std(axis=2).mean(axis=1)
        np.testing.assert_allclose(spread, sd[:, rate], rtol=0.06)


def test_a_chain_of_one_instant_and_of_two() -> None:
    for n in (1, 2):
        steps = np.full(n - 1, 0.1)
        space, precisions = _chain(5, steps, np.ones(n - 1), 0.0, rejected=False, steps=0)
        factor = OrthogonalFactor(space.rows(precisions, space.blocks(precisions)))
        np.testing.assert_allclose(factor.states(), space.solve(precisions).states, atol=1e-9)


def _log(rate_hz: float, *, reports_speed: bool, decimals: int = 7) -> Track:
    _, seen = ride_and_log(5, rate_hz=rate_hz, reports_speed=reports_speed)
    return to_track(seen, decimals=decimals)


@pytest.mark.parametrize("reports_speed", [True, False])
@pytest.mark.parametrize("apart_s", [0.001, 0.01])
@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_a_log_may_end_in_fixes_close_together(
    rate_hz: float, apart_s: float, reports_speed: bool
) -> None:
    track = _log(rate_hz, reports_speed=reports_speed)
    time_s = track.time_s.copy()
    time_s[-3:] = time_s[-4] + apart_s * np.arange(1, 4)
    assert np.isfinite(estimate_motion(replace(track, time_s=time_s)).speed_mps).all()


@pytest.mark.parametrize("at", [0, -1])
@pytest.mark.parametrize("away_deg", [0.001, 1.0, 30.0])
@pytest.mark.parametrize("reports_speed", [True, False])
def test_a_stray_fix_at_an_end_breaks_nothing(
    at: int, away_deg: float, reports_speed: bool
) -> None:
    track = _log(1.0, reports_speed=reports_speed)
    latitude = track.latitude_deg.copy()
    latitude[at] += away_deg
    motion = estimate_motion(replace(track, latitude_deg=latitude))
    assert np.isfinite(motion.speed_mps).all()


@pytest.mark.parametrize("pause_s", [900.0, 90_000.0])
@pytest.mark.parametrize("rate_hz", [1.0, 3.0])
def test_a_pause_between_bare_positions_breaks_nothing(rate_hz: float, pause_s: float) -> None:
    track = _log(rate_hz, reports_speed=False)
    time_s = track.time_s.copy()
    time_s[len(time_s) // 3 :] += pause_s
    motion = estimate_motion(replace(track, time_s=time_s))
    assert len(motion.gaps) == 1 and np.isfinite(motion.speed_mps).all()


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
@pytest.mark.parametrize("reports_speed", [True, False])
def test_positions_in_steps_of_eleven_metres_break_nothing(
    rate_hz: float, reports_speed: bool
) -> None:
    motion = estimate_motion(_log(rate_hz, reports_speed=reports_speed, decimals=4))
    assert np.isfinite(motion.speed_mps).all()
