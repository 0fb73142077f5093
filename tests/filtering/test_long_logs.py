"""A ride solved block by block is the ride solved whole."""

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track

from ridelog.filtering import long_logs, smoother
from ridelog.filtering.noise import NoiseScales, ObservedInstants
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.state_space import Solution, StateSpace
from ridelog.filtering.stated_noise import Trust


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


def tenth_seconds() -> tuple[StateSpace, ObservedInstants]:
    """Return ten fixes 0.1 s apart, interrupted after the seventh, with steps before and after."""
    time_s = 0.1 * np.arange(10.0)
    position = np.stack([time_s, 2.0 * time_s], axis=1)
    velocity = np.stack([3.0 * time_s, 4.0 + time_s], axis=1)
    position[1], velocity[3:5] = np.nan, np.nan
    place = np.arange(9)
    space = StateSpace(time_s, position, velocity, place == 6, np.isin(place, [1, 6, 7]), 12.0)
    factor = 1.0 + np.arange(10.0)
    return space, ObservedInstants(
        has_position=np.isfinite(position[:, 0]), has_velocity=np.isfinite(velocity[:, 0]),
        crawl_precision=np.where(time_s < 0.15, 8.0, 0.0), factor=factor, factor_stated=True,
        speed_factor=2.0 * factor, averaged=np.ones(10), drift_factor=np.arange(1.0, 10.0),
        walk_floor_m=0.1, speed_noise_mps=(0.2, 0.3), speed_floor_mps=0.4, position_floor_m=0.5,
        slow_floor_mps=0.6, bandwidth_error_mps=time_s, shared_s=0.7,
    )  # fmt: skip


def test_means_of_a_quarter_of_a_second_by_hand() -> None:
    space, observed = tenth_seconds()
    group = long_logs.groups_of(space)
    # The break ends a group too.
    assert group.tolist() == [0, 0, 0, 1, 1, 2, 2, 3, 4, 4]
    coarse, seen = long_logs.coarsened(space, observed, group)
    assert coarse.time_s == pytest.approx([0.1, 0.35, 0.55, 0.7, 0.85])
    assert coarse.position_m[:, 0] == pytest.approx([0.1, 0.35, 0.55, 0.7, 0.85])
    assert coarse.position_m[:, 1] == pytest.approx([0.2, 0.7, 1.1, 1.4, 1.7])
    nothing = float("nan")
    assert coarse.velocity_mps[:, 0] == pytest.approx([0.3, nothing, 1.65, 2.1, 2.55], nan_ok=True)
    assert coarse.velocity_mps[:, 1] == pytest.approx([4.1, nothing, 4.55, 4.7, 4.85], nan_ok=True)
    assert coarse.breaks.tolist() == [False, False, True, False]
    # A step anywhere up to the next mean; none across the interruption.
    assert coarse.steps.tolist() == [True, False, False, True]
    assert coarse.drift_time_s == 12.0
    assert seen.has_position.all() and seen.has_velocity.tolist() == [True, False, True, True, True]
    assert seen.averaged.tolist() == [2.0, 2.0, 2.0, 1.0, 2.0]
    assert seen.crawl_precision.tolist() == [16.0, 0.0, 0.0, 0.0, 0.0]
    squares = [(1 + 4 + 9) / 3, (16 + 25) / 2, (36 + 49) / 2, 64, (81 + 100) / 2]
    assert seen.factor == pytest.approx(np.sqrt(squares))
    told = 2.0 * np.sqrt(np.array([squares[0], nothing, *squares[2:]]))
    assert seen.speed_factor == pytest.approx(told, nan_ok=True)
    # That of the interval in which one mean gives way to the next.
    assert seen.drift_factor.tolist() == [3.0, 5.0, 7.0, 8.0]
    assert seen.bandwidth_error_mps == pytest.approx([0.1, 0.35, 0.55, 0.7, 0.85])
    same = ("factor_stated", "walk_floor_m", "speed_noise_mps", "speed_floor_mps",
            "position_floor_m", "slow_floor_mps", "shared_s")  # fmt: skip
    for name in same:
        assert getattr(seen, name) == getattr(observed, name)


def test_what_means_tell_belongs_to_each_of_their_fixes() -> None:
    space, _ = tenth_seconds()
    group = long_logs.groups_of(space)
    of_means = np.arange(5.0)
    scales = NoiseScales(
        jerk=10.0 + of_means[:4], cruise_var=20.0 + of_means, position_sd_m=0.1, speed_sd_mps=0.2,
        drift_sd_mps=0.3, slow_sd_mps=0.4, walk_m=0.5, position_weight=30.0 + of_means,
        velocity_weight=40.0 + of_means, still=of_means > 2.0, position_trust=Trust(0.6),
        speed_trust=Trust(0.7),
    )  # fmt: skip
    found = long_logs.refined(space, group, scales)
    # Of an interval that of the mean it begins in, the last of which has none of its own.
    assert found.jerk.tolist() == [10.0, 10.0, 10.0, 11.0, 11.0, 12.0, 12.0, 13.0, 13.0]
    for name, first in (("cruise_var", 20.0), ("position_weight", 30.0), ("velocity_weight", 40.0)):
        assert (getattr(found, name) == first + group).all()
    assert (found.still == (group > 2)).all()
    alike = ("position_sd_m", "speed_sd_mps", "drift_sd_mps", "slow_sd_mps", "walk_m",
             "position_trust", "speed_trust")  # fmt: skip
    for name in alike:
        assert getattr(found, name) == getattr(scales, name)


def test_a_long_log_is_smoothed_as_a_short_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a minute at 10 Hz tells on means of a quarter of a second is what it tells whole."""
    track = to_track(ride_and_log(31, rate_hz=10.0)[1])
    whole = smoother.estimate_motion(track)
    monkeypatch.setattr(smoother, "LONGEST_WHOLE", 100)
    long = smoother.estimate_motion(track)
    assert long.noise.position_white_m == pytest.approx(whole.noise.position_white_m, rel=0.2)
    assert long.noise.speed_white_mps == pytest.approx(whole.noise.speed_white_mps, rel=0.2)
    assert long.noise.drift_mps == pytest.approx(whole.noise.drift_mps, rel=0.1)
    off = (long.speed_mps - whole.speed_mps) / whole.speed_sd_mps
    assert np.sqrt(np.mean(off**2)) < 0.3
    assert np.median(long.speed_sd_mps / whole.speed_sd_mps) == pytest.approx(1.0, abs=0.15)


def test_progress_is_told_of_its_part(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[float] = []
    part = long_logs.part_of_progress(told.append, 0.4, 0.6)
    space, precisions = endless_ride(reports_speed=True)
    monkeypatch.setattr(long_logs, "LONGEST_BLOCK", 1000)
    long_logs.states_of(space, precisions, part)
    assert told == pytest.approx([0.4 + 0.2 / 3.0, 0.4 + 0.4 / 3.0, 0.6])
    assert long_logs.part_of_progress(None, 0.4, 0.6) is None
