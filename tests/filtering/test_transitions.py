"""The blocks that neighbouring instants add to the equations, against the model written out."""

import numpy as np
import pytest

from ridelog.core.track import FloatArray
from ridelog.filtering.banded import BandedFactor
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.state_space import StateSpace
from ridelog.filtering.transitions import Transitions

_DRIFT, _SLOW = 0.05, 0.03


def _model(
    interval_s: float,
    jerk: float,
    drift_keep: float,
    slow_keep: float,
    *,
    steps: bool = False,
    walk: float = 0.0,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return F, A and the precision of A x(k+1) - F x(k), shape (5, 5) each."""
    h = interval_s
    forward = np.eye(5)
    forward[0, 1:4] = h, h**2 / 2.0, h / 2.0
    forward[1, 2] = h
    forward[3, 3], forward[4, 4] = drift_keep, slow_keep
    onto = np.eye(5)
    onto[0, 3] = -h / 2.0
    covariance = np.diag([0, 0, 0, _DRIFT**2 * (1 - drift_keep**2), _SLOW**2 * (1 - slow_keep**2)])
    covariance[:3, :3] = jerk * np.array(
        [[h**5 / 20, h**4 / 8, h**3 / 6], [h**4 / 8, h**3 / 3, h**2 / 2], [h**3 / 6, h**2 / 2, h]]
    )
    covariance[0, 0] += walk * h
    if steps:
        # A step of that much variance leaves a thousand-millionth of the position's precision.
        covariance[0, 0] += (1.0e9 - 1.0) * jerk * h**5 / 720.0
    return forward, onto, np.linalg.inv(covariance)


def _transitions(
    interval_s: FloatArray,
    jerk: FloatArray,
    breaks: list[int],
    steps: list[int],
    walk: float = 0.0,
) -> tuple[Transitions, FloatArray, FloatArray]:
    place, drift = np.arange(len(interval_s)), np.full(len(interval_s), _DRIFT)
    keep = np.exp(-interval_s / 20.0), np.exp(-interval_s / 3.0)
    steps_at, breaks_at = np.isin(place, steps), np.isin(place, breaks)
    return Transitions(interval_s, breaks_at, steps_at, *keep, jerk, drift, _SLOW, walk), *keep


@pytest.mark.parametrize("walk", [0.0, 1e-6, 0.002])
def test_blocks_are_those_of_the_model(walk: float) -> None:
    interval_s = np.array([0.04, 0.1, 0.25, 1.0, 0.2])
    jerk = np.array([0.01, 1.0, 5.0, 0.3, 2.0])
    transitions, drift_keep, slow_keep = _transitions(interval_s, jerk, [2], [4], walk)
    for k, h in enumerate(interval_s):
        forward, onto, precision = _model(
            h, jerk[k], drift_keep[k], slow_keep[k], steps=k == 4, walk=0.0 if k == 4 else walk
        )
        wanted = (
            onto.T @ precision @ onto,
            forward.T @ precision @ forward,
            -onto.T @ precision @ forward,
        )
        for block, expected in zip(transitions.blocks(5), wanted, strict=True):
            if k == 2:
                assert not block[k].any()
                continue
            size = np.sqrt(np.abs(np.outer(np.diag(wanted[1]), np.diag(wanted[1]))))
            np.testing.assert_allclose(block[k] / size, expected / size, atol=1e-6)


@pytest.mark.parametrize("walk", [0.0, 0.002])
def test_the_pull_is_that_of_the_blocks(walk: float) -> None:
    random = np.random.default_rng(1)
    interval_s = random.uniform(0.5, 1.5, 6)
    transitions, _, _ = _transitions(interval_s, random.uniform(0.5, 2.0, 6), [1], [3], walk)
    onto, forward, lower = transitions.blocks(5)
    states = random.normal(size=(7, 5, 2))
    expected = np.zeros_like(states)
    expected[:-1] -= forward @ states[:-1] + np.swapaxes(lower, 1, 2) @ states[1:]
    expected[1:] -= onto @ states[1:] + lower @ states[:-1]
    pull = np.moveaxis(transitions.pull(np.moveaxis(states, 0, 2)), 2, 0)
    np.testing.assert_allclose(pull, expected, rtol=1e-9, atol=1e-7)


@pytest.mark.parametrize("walk", [0.0, 0.002])
@pytest.mark.parametrize("d", [4, 5])
def test_the_determinant_is_that_of_the_model(d: int, walk: float) -> None:
    interval_s = np.array([0.3, 0.5, 1.0])
    jerk = np.array([0.5, 1.0, 2.0])
    transitions, drift_keep, slow_keep = _transitions(interval_s, jerk, [0], [], walk)
    expected = sum(
        float(
            np.linalg.slogdet(
                _model(interval_s[k], jerk[k], drift_keep[k], slow_keep[k], walk=walk)[2][:d, :d]
            )[1]
        )
        for k in (1, 2)
    )
    assert float(transitions.log_determinants(d).sum()) == pytest.approx(expected, rel=1e-9)


def test_variances_keep_their_digits_at_a_high_rate() -> None:
    """A steady ride at 25 Hz, the hardest case: every column of the inverse solved on its own.

    The reference is refined with residuals from the model's own differences, as the states are.
    """
    n, rate_hz = 120, 25.0
    space = StateSpace(
        np.arange(n) / rate_hz,
        np.zeros((n, 2)),
        np.zeros((n, 2)),
        np.zeros(n - 1, dtype=bool),
        np.zeros(n - 1, dtype=bool),
    )
    precisions = Precisions(
        jerk=np.full(n - 1, 1e-3),
        position=np.full(n, 25.0),
        velocity=np.full(n, 150.0),
        still=np.zeros(n),
        cruise=np.zeros(n),
        drift=np.full(n - 1, _DRIFT),
        slow_sd=_SLOW,
    )
    solution = space.solve(precisions)
    blocks, _ = solution.variances()
    banded = space.blocks(precisions)
    factor = BandedFactor(banded.diagonal, banded.lower)
    for k in (0, 1, 60, n - 2, n - 1):
        for row in range(5):
            unit = np.zeros((n, 5, 2))
            unit[k, row] = 1.0
            column = factor.solve(unit)
            for _ in range(3):
                # The data are zero, so the pull is minus the precision times the states.
                column = column + factor.solve(unit + solution._pull(column))
            assert blocks[k, row, row] == pytest.approx(column[k, row, 0], rel=2e-4)


def test_what_a_position_walked_is_what_is_expected_of_it() -> None:
    """Against the conditional mean of a normal vector: walk given the residual of an interval."""
    interval_s, jerk, walk = np.array([0.1, 0.5, 1.0]), np.array([0.02, 1.0, 3.0]), 0.002
    transitions, drift_keep, slow_keep = _transitions(interval_s, jerk, [], [], walk)
    states = np.random.default_rng(3).normal(size=(4, 5, 2)) * 0.01
    walked = transitions.walked(np.moveaxis(states, 0, 2))
    random = np.random.default_rng(4)
    factor = random.normal(size=(20, 20))
    joint = factor @ factor.T
    blocks = np.stack([joint[5 * k : 5 * k + 5, 5 * k : 5 * k + 5] for k in range(4)])
    beside = np.stack([joint[5 * k + 5 : 5 * k + 10, 5 * k : 5 * k + 5] for k in range(3)])
    variance = transitions.variance_of_walked(blocks, beside)
    for k, h in enumerate(interval_s):
        forward, onto, precision = _model(h, jerk[k], drift_keep[k], slow_keep[k], walk=walk)
        residual = onto @ states[k + 1] - forward @ states[k]
        np.testing.assert_allclose(walked[:, k], (precision @ residual)[0], rtol=1e-6)
        row = np.concatenate([-precision[0] @ forward, precision[0] @ onto])
        both = joint[5 * k : 5 * k + 10, 5 * k : 5 * k + 10]
        assert variance[k] == pytest.approx(row @ both @ row, rel=1e-6)
