"""The heading chain, gone through in slow regions only, against whole matrices at every step."""

import numpy as np
import pytest
from scipy.linalg import circulant, expm

from ridelog.analysis.reverse import heading_hmm as chain
from ridelog.analysis.reverse.heading_hmm import BINS, Steps, reverse_probability
from ridelog.core.track import FloatArray


def _one_after_the_other(steps: Steps) -> FloatArray:
    """Return the probability of reverse by forward-backward sums over all steps in turn."""
    m = len(steps.time_s)
    moves = chain._moves(steps)
    slow = np.zeros(m, dtype=bool)
    starts = set()
    for first, stop in chain._slow_regions(steps.time_s, steps.speed_mps):
        slow[first:stop] = True
        starts.add(first)
    likelihood = chain._likelihoods(steps, moves, np.arange(m))
    first_state = np.repeat(chain._FIRST[:, None] / BINS, BINS, axis=1)
    matrix = []
    for k in range(m):
        # One matrix of all (sign, heading) for each step, kept small by the ride's shortness.
        renew = moves.renew[k]
        if not slow[k]:
            move = np.kron(np.eye(2), np.eye(BINS))
        elif k in starts:
            # The heading is not carried over a fast stretch: any is as likely.
            move = np.kron(np.eye(2), np.full((BINS, BINS), 1.0 / BINS))
        else:
            flip = np.array([[1 - moves.change[k], moves.change[k]]] * 2)
            flip[1] = flip[1, ::-1]
            move = np.kron(flip, circulant(np.fft.irfft(moves.kept[k], BINS)))
        matrix.append((1 - renew) * move + renew * np.outer(np.ones(2 * BINS), first_state))
        if not slow[k]:
            likelihood[k] = np.array([1.0, moves.cost[k]])[:, None]
    alpha, beta = np.empty((m, 2 * BINS)), np.ones((m, 2 * BINS))
    state = first_state.ravel()
    for k in range(m):
        state = (state @ matrix[k]) * likelihood[k].ravel()
        state = state / state.sum()
        alpha[k] = state
    for k in range(m - 1, 0, -1):
        back = matrix[k] @ (beta[k] * likelihood[k].ravel())
        beta[k - 1] = back / back.max()
    each = (alpha * beta).reshape(m, 2, BINS).sum(axis=2)
    result: FloatArray = each[:, 1] / each.sum(axis=1)
    return result


def _ride(seed: int) -> Steps:
    """Return stops of different lengths, some left backwards, and an interruption in one."""
    random = np.random.default_rng(seed)
    speed: list[float] = []
    for _ in range(11):
        fast = random.uniform(3.0, 6.0)
        backwards = random.random() < 0.4
        speed += [fast] * int(random.integers(8, 20)) + list(np.linspace(fast, 0.0, 6))
        speed += [0.0] * int(random.integers(1, 12))
        speed += [-1.0] * int(random.integers(4, 9)) + [0.0] * 3 if backwards else []
        speed += list(np.linspace(0.0, fast, 6))
    time_s = np.linspace(0.0, 0.2 * (len(speed) - 1), len(speed))
    time_s[len(speed) // 2 :] += 7.0
    heading = np.cumsum(random.normal(0.0, 0.05, len(speed)))
    along = np.array(speed)[:, None]
    velocity = along * np.stack([np.sin(heading), np.cos(heading)], axis=1)
    velocity += random.normal(0.0, 0.05, velocity.shape)
    return Steps(time_s, velocity, np.full(len(speed), 0.08), np.full(len(speed), 0.2))


def test_slow_regions_give_what_all_steps_give() -> None:
    for seed in range(4):
        steps = _ride(seed)
        assert len(chain._slow_regions(steps.time_s, steps.speed_mps)) > 4
        found = reverse_probability(steps)
        np.testing.assert_allclose(found, _one_after_the_other(steps), atol=1e-9)
        assert found.max() > 0.9 and found.min() < 0.01


def test_five_minutes_of_courses_at_random_leave_chances() -> None:
    """One heading in twenty explains a step: 300 in a row are less likely than any double says."""
    random = np.random.default_rng(5)
    course = random.uniform(0.0, 2.0 * np.pi, 300)
    velocity = 1.2 * np.stack([np.sin(course), np.cos(course)], axis=1)
    steps = Steps(np.arange(300.0), velocity, np.full(300, 0.05), np.ones(300))
    found = reverse_probability(steps)
    np.testing.assert_allclose(found, _one_after_the_other(steps), atol=1e-9)
    assert np.ptp(found) > 0.1


@pytest.mark.parametrize("speeds", [(0.0, 0.0), (0.3, 0.3), (0.7, 0.2), (1.2, 0.9)])
@pytest.mark.parametrize(("step_s", "sd_mps"), [(0.2, 0.01), (0.2, 0.3), (1.0, 0.05)])
def test_a_sign_changes_where_the_speed_can_have_passed_zero(
    speeds: tuple[float, float], step_s: float, sd_mps: float
) -> None:
    """The second line of (2): a stop and a pull of 3 m/s², 0.3 changes a second at rest."""
    velocity = np.array([[0.0, speeds[0]], [0.0, -speeds[1]]])
    steps = Steps(np.array([0.0, step_s]), velocity, np.full(2, sd_mps), np.ones(2))
    square = sum(speeds) ** 2 / (4.0 * sd_mps**2 + (3.0 * step_s) ** 2)
    wanted = 0.3 * step_s * np.exp(-square)
    assert chain._moves(steps).change[1] == pytest.approx(wanted, rel=1e-9, abs=1e-11)


@pytest.mark.parametrize("level", [0, 20, 40, 59])
def test_a_walk_is_that_of_small_steps_at_random_times(level: int) -> None:
    # The generator of steps to either neighbour, as often as the variance asks: its exponential.
    variance = chain._LEVELS[level]
    rate = variance / (2.0 * np.pi / BINS) ** 2
    neighbours = circulant(np.eye(BINS)[1] + np.eye(BINS)[-1])
    exact = expm(rate * (0.5 * neighbours - np.eye(BINS)))
    kept = chain._walks(np.array([variance]))
    assert np.abs(circulant(np.fft.irfft(kept[0], BINS)) - exact).max() < 1e-12
