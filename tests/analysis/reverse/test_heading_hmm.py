"""The heading grid, many regions side by side, against one step after the other."""

import numpy as np

from ridelog.analysis.reverse import heading_hmm as grid
from ridelog.analysis.reverse.heading_hmm import BINS, Steps, reverse_probability
from ridelog.core.track import FloatArray


def _one_after_the_other(steps: Steps) -> FloatArray:
    """Return the probability of reverse by forward-backward sums over all steps in turn."""
    m = len(steps.time_s)
    moves = grid._moves(steps)
    slow = np.zeros(m, dtype=bool)
    starts = set()
    for first, stop in grid._slow_regions(steps.time_s, steps.speed_mps):
        slow[first:stop] = True
        starts.add(first)
    likelihood = grid._likelihoods(steps, moves, np.arange(m))
    first_state = np.repeat(grid._FIRST[:, None] / BINS, BINS, axis=1)
    kernels = grid._walks()[1]
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
            hand = moves.by_hand[k]
            turn = kernels[moves.walk[k]] @ ((1 - hand) * np.eye(BINS) + hand / BINS)
            move = np.kron(flip, turn)
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


def test_regions_side_by_side_give_what_steps_in_turn_give() -> None:
    steps = _ride(5)
    regions = grid._slow_regions(steps.time_s, steps.speed_mps)
    assert len(regions) > grid._FEW
    found = reverse_probability(steps)
    np.testing.assert_allclose(found, _one_after_the_other(steps), atol=1e-9)
    assert found.max() > 0.9 and found.min() < 0.01


def test_lots_are_joined() -> None:
    """A ride with more slow regions than are gone through side by side."""
    parts = [_ride(seed) for seed in range(8)]
    step = np.concatenate([np.diff(part.time_s, prepend=part.time_s[0] - 0.2) for part in parts])
    joined = Steps(
        np.cumsum(step),
        np.concatenate([part.velocity_mps for part in parts]),
        np.concatenate([part.sd_mps for part in parts]),
        np.concatenate([part.weight for part in parts]),
    )
    assert len(grid._slow_regions(joined.time_s, joined.speed_mps)) > grid._TOGETHER
    np.testing.assert_allclose(reverse_probability(joined), _one_after_the_other(joined), atol=1e-9)
