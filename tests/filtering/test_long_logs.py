"""A ride solved block by block is the ride solved whole."""

import numpy as np
import pytest

from ridelog.filtering import long_logs
from ridelog.filtering.state_space import Precisions, Solution, StateSpace


def endless_ride(*, reports_speed: bool) -> tuple[StateSpace, Precisions]:
    """Return twenty minutes that never stop, so that nothing ties the drift down."""
    rng = np.random.default_rng(5)
    n, dt = 3000, 0.4
    time_s = np.arange(float(n)) * dt
    velocity = 5.0 + np.cumsum(rng.normal(0.0, 0.1, (n, 2)), axis=0)
    position = np.cumsum(velocity * dt, axis=0) + rng.normal(0.0, 0.2, (n, 2))
    reported = velocity + rng.normal(0.0, 0.1, (n, 2)) if reports_speed else velocity * np.nan
    never = np.zeros(n - 1, dtype=bool)
    broken = never.copy()
    broken[1700] = True
    ones = np.ones(n)
    precisions = Precisions(
        jerk=0.5 * ones[1:],
        position=25.0 * ones,
        velocity=(100.0 if reports_speed else 0.0) * ones,
        still=0.0 * ones,
        cruise=0.5 * ones,
        drift=0.045 * ones[1:],
        slow_sd=0.03,
    )
    return StateSpace(time_s, position, reported, broken, never), precisions


@pytest.mark.parametrize("reports", [True, False])
def test_blocks_give_the_same_states_and_variances(
    reports: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    space, precisions = endless_ride(reports_speed=reports)
    whole = Solution(space, precisions)
    sd = np.sqrt(np.einsum("kii->ki", whole.variances()[0]))
    np.testing.assert_array_equal(long_logs.states_of(space, precisions), whole.states)
    monkeypatch.setattr(long_logs, "LONGEST_BLOCK", 700)
    assert len(list(long_logs._blocks(space.time_s))) == 5
    states = long_logs.states_of(space, precisions)
    variances = long_logs.variances_of(space, precisions)
    assert states.shape == whole.states.shape
    # Exactly the same is out of reach: what matters is small beside what is not known anyway.
    assert np.all(np.abs(states - whole.states) < 0.01 * sd[:, :, None])
    np.testing.assert_allclose(np.sqrt(variances), sd, rtol=2e-4)


def test_blocks_cover_every_instant_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(long_logs, "LONGEST_BLOCK", 7)
    time_s = np.concatenate([np.arange(20.0) * 30.0, 2000.0 + np.arange(5.0)])
    blocks = list(long_logs._blocks(time_s))
    covered = np.concatenate([np.arange(start, stop) for _, start, stop, _ in blocks])
    assert covered.tolist() == list(range(25))
    for first, start, stop, last in blocks:
        assert first <= start < stop <= last
        assert time_s[first] >= time_s[start] - long_logs.MARGIN_S
        assert first == 0 or time_s[first - 1] < time_s[start] - long_logs.MARGIN_S
        assert last == 25 or time_s[last] > time_s[stop - 1] + long_logs.MARGIN_S
