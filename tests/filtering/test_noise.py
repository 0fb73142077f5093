"""What is learnt of a ride's noise: by hand where it can be, and again from rides drawn so.

MacKay's fixed point (Neural Computation 4 (1992) 415-447, section 4): the sum of squared estimates
over the number of them that the data determine. Weights of Student's t with 4 degrees of freedom in
two dimensions, (4 + 2) / (4 + d²): Lange, Little and Taylor (JASA 84 (1989) 881-896).
"""

from dataclasses import replace

import numpy as np
import pytest

from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.noise import (
    ObservedInstants,
    first_scales,
    learn,
    precisions_of,
    slow_seen,
)
from ridelog.filtering.state_space import StateSpace
from ridelog.filtering.stated_noise import Trust

STEP_S, COUNT = 0.2, 3000
KEEP_DRIFT, KEEP_SLOW = np.exp(-STEP_S / 20.0), np.exp(-STEP_S / 3.0)


def observed(**changes: object) -> ObservedInstants:
    count = COUNT
    ones, no = np.ones(count), np.zeros(count, dtype=bool)
    plain = ObservedInstants(
        has_position=~no, has_velocity=~no, crawl_precision=np.zeros(count), factor=ones,
        factor_stated=False, speed_factor=np.full(count, np.nan), averaged=ones,
        drift_factor=np.ones(count - 1), walk_floor_m=0.0, speed_noise_mps=(0.0, 0.0),
        speed_floor_mps=0.0, position_floor_m=0.0, slow_floor_mps=0.0,
        bandwidth_error_mps=np.zeros(count), shared_s=0.0,
    )  # fmt: skip
    return replace(plain, **changes)  # type: ignore[arg-type]  # names of fields


def markov(random: np.random.Generator, keep: float, sd: float) -> FloatArray:
    """Return a first-order Gauss-Markov process of two axes."""
    shocks = sd * np.sqrt(1.0 - keep**2) * random.standard_normal((COUNT, 2))
    values = np.empty((COUNT, 2))
    values[0] = sd * random.standard_normal(2)
    for k in range(1, COUNT):
        values[k] = keep * values[k - 1] + shocks[k]
    return values


def summed(rate: FloatArray) -> FloatArray:
    """Return the integral of a rate by trapezoids."""
    return np.cumsum(0.5 * STEP_S * (rate + np.vstack([rate[:1], rate[:-1]])), axis=0)


def drawn(seed: int, *, position_m: float, speed_mps: float, drift_mps: float = 0.05,
          walk_m: float = 0.0, jerk: float = 1.0) -> StateSpace:  # fmt: skip
    """Return ten minutes whose errors are those of filtering (2) to (4), of known sizes."""
    random = np.random.default_rng(seed)
    accel = np.zeros((COUNT, 2))
    for k in range(1, COUNT):
        accel[k] = 0.97 * accel[k - 1] + np.sqrt(jerk * STEP_S) * random.standard_normal(2)
    velocity = summed(accel)
    place = summed(velocity + markov(random, KEEP_DRIFT, drift_mps))
    place += np.cumsum(walk_m * np.sqrt(STEP_S) * random.standard_normal((COUNT, 2)), axis=0)
    place += position_m * random.standard_normal((COUNT, 2))
    reported = velocity + markov(random, KEEP_SLOW, 0.03)
    reported += speed_mps * random.standard_normal((COUNT, 2))
    none = np.zeros(COUNT - 1, dtype=bool)
    return StateSpace(STEP_S * np.arange(COUNT, dtype=np.float64), place, reported, none, none)


def scale_of_normal_errors() -> float:
    """Return the scale of Student's t of 4 that fits errors of deviation 1: own sum over chi²."""
    half = (np.arange(20_000) + 0.5) / 20_000
    square = -2.0 * np.log(1.0 - half)  # two axes: chi² of two degrees, an exponential
    low, high = 0.1, 1.0
    for _ in range(40):
        one = 0.5 * (low + high)
        more = np.mean(6.0 * square / (4.0 + square / one**2)) > 2.0 * one**2
        low, high = (one, high) if more else (low, one)
    return low


@pytest.mark.parametrize(
    ("position_m", "speed_mps", "drift_mps"),
    [(0.3, 0.06, 0.05), (1.0, 0.15, 0.05), (0.1, 0.03, 0.15), (0.3, 0.06, 0.3)],
)
def test_sizes_of_errors_are_found_again(
    position_m: float, speed_mps: float, drift_mps: float
) -> None:
    space = drawn(1, position_m=position_m, speed_mps=speed_mps, drift_mps=drift_mps)
    found = learn(space, observed())
    scale = scale_of_normal_errors()
    assert scale == pytest.approx(0.83, abs=0.03)
    # 3,000 fixes of two axes tell a size to 1 %; what else takes up errors leaves some per cent.
    assert found.position_sd_m == pytest.approx(scale * position_m, rel=0.06)
    assert found.speed_sd_mps == pytest.approx(scale * speed_mps, rel=0.06)
    # Ten minutes are 30 times the correlation of a drift, and the prior weighs 20.
    assert found.drift_sd_mps == pytest.approx(drift_mps, rel=0.3)
    assert 0.012 < found.slow_sd_mps < 0.045
    assert found.walk_m < 0.1
    # Of so many weights the median is told too: (4 + 2) / (4 + d²).
    seen = 6.0 / found.position_weight - 4.0
    assert np.median(seen) == pytest.approx(2.0 * np.log(2.0) / scale**2, rel=0.1)


@pytest.mark.parametrize("jerk", [0.25, 4.0])
def test_how_lively_a_ride_was_is_found_again(jerk: float) -> None:
    found = learn(drawn(2, position_m=0.3, speed_mps=0.06, jerk=jerk), observed())
    assert found.jerk.mean() == pytest.approx(jerk, rel=0.25)
    assert (found.jerk >= 1.0e-6).all()
    # This walk's variance of acceleration is q h / (1 - 0.97²) each axis; a second of it counts as
    # much as the prior, a steady hand with 0.25 m/s²: filtering (13).
    usual = jerk * STEP_S / (1.0 - 0.97**2)
    assert found.cruise_var.mean() == pytest.approx(0.5 * (0.25**2 + usual), rel=0.12)


@pytest.mark.parametrize("walk_m", [0.1, 0.3])
def test_how_far_positions_walk_is_found_again(walk_m: float) -> None:
    space = drawn(3, position_m=0.05, speed_mps=0.06, walk_m=walk_m)
    assert learn(space, observed()).walk_m == pytest.approx(walk_m, rel=0.3)


def test_a_wild_reading_weighs_little_and_a_break_tells_nothing() -> None:
    space = drawn(4, position_m=0.3, speed_mps=0.06)
    plain = learn(space, observed())
    space.position_m[1000] += 12.0
    space.velocity_mps[2000] -= 2.0
    wild = learn(space, observed())
    assert wild.position_weight[1000] < 0.01 and wild.velocity_weight[2000] < 0.02
    assert wild.position_sd_m == pytest.approx(plain.position_sd_m, rel=0.02)
    assert wild.speed_sd_mps == pytest.approx(plain.speed_sd_mps, rel=0.02)
    # Across a break the slow errors may have become anything.
    broken = drawn(4, position_m=0.3, speed_mps=0.06)
    broken.breaks[1499] = True
    broken.position_m[1500:] += 500.0
    again = learn(StateSpace(broken.time_s, broken.position_m, broken.velocity_mps, broken.breaks,
                             broken.steps), observed())  # fmt: skip
    for name in ("position_sd_m", "speed_sd_mps", "drift_sd_mps", "slow_sd_mps"):
        assert getattr(again, name) == pytest.approx(getattr(plain, name), rel=0.05), name


def test_the_speed_may_be_free_of_steadiness_and_rest_is_found_late() -> None:
    space = drawn(5, position_m=0.3, speed_mps=0.06)
    calls: list[float] = []
    shares: list[float] = []

    def stands(solution: object, variance: FloatArray) -> BoolArray:
        calls.append(float(np.median(variance)))
        return np.arange(COUNT) < 10

    found = learn(space, observed(), steady=False, find_still=stands, report_progress=shares.append)
    assert np.isinf(found.cruise_var).all()
    # Ten rounds, rest from the fourth on, so that scales have settled a little.
    assert len(calls) == 7 and shares == pytest.approx(np.arange(1, 11) / 10)
    assert found.still[:10].all() and not found.still[10:].any()
    # A speed of 0.06 m/s known every 0.2 s and smoothed: some cm/s.
    assert 0.01 < np.sqrt(calls[-1]) < 0.06


def test_bare_positions_walk_no_more_than_their_floor() -> None:
    space = drawn(6, position_m=0.3, speed_mps=0.06)
    bare = StateSpace(space.time_s, space.position_m, np.full((COUNT, 2), np.nan), space.breaks,
                      space.steps)  # fmt: skip
    seen = observed(has_velocity=np.zeros(COUNT, dtype=bool), walk_floor_m=0.017)
    assert first_scales(bare, seen).walk_m == 0.017
    assert learn(bare, seen, rounds=3).walk_m == 0.017


def test_rounding_bounds_what_is_learnt_from_below() -> None:
    space = drawn(7, position_m=0.1, speed_mps=0.03)
    floors = {"position_floor_m": 0.29, "speed_floor_mps": 0.144}
    found = learn(space, observed(**floors), rounds=3)
    assert (found.position_sd_m, found.speed_sd_mps) == (0.29, 0.144)
    means = learn(space, observed(speed_noise_mps=(0.2, 0.4)), rounds=3)
    assert means.speed_sd_mps == 0.2


SPACE = drawn(8, position_m=0.3, speed_mps=0.06)
SCALES = replace(first_scales(SPACE, observed()), position_sd_m=0.5, speed_sd_mps=0.1,
                 drift_sd_mps=0.04, slow_sd_mps=0.03, walk_m=0.02)  # fmt: skip


def test_precisions_by_hand() -> None:
    """Filtering (3), (12) and (25): variances add, a mean of k fixes has a k-th of them."""
    factor = np.where(np.arange(COUNT) < 100, 2.0, 0.5)
    averaged = np.where(np.arange(COUNT) < 50, 4.0, 1.0)
    seen = observed(
        factor=factor, averaged=averaged, bandwidth_error_mps=np.full(COUNT, 0.05),
        drift_factor=np.full(COUNT - 1, 3.0), slow_floor_mps=0.04, shared_s=0.2,
        crawl_precision=np.full(COUNT, 8.0), has_velocity=np.arange(COUNT) != 7,
        has_position=np.arange(COUNT) != 9,
    )  # fmt: skip
    scales = replace(
        SCALES, still=np.arange(COUNT) == 3, cruise_var=np.full(COUNT, 4.0),
        position_weight=np.where(np.arange(COUNT) == 60, 0.5, 1.0),
    )  # fmt: skip
    found = precisions_of(SPACE, seen, scales)
    assert found.position[[0, 55, 60, 200, 9]] == pytest.approx(
        [4.0 / 1.0, 1.0, 0.5, 1.0 / 0.25**2, 0.0]
    )
    # Speeds are never better than usual, though positions are: 0.1² times 2² and 1, and 0.05².
    assert found.velocity[[0, 55, 200, 7]] == pytest.approx(
        [1.0 / (0.04 / 4.0 + 0.0025), 1.0 / (0.04 + 0.0025), 1.0 / (0.01 + 0.0025), 0.0]
    )
    assert found.still[[3, 4]] == pytest.approx([1.0 / 0.02**2, 8.0])
    # Five fixes a second share what is said once a second.
    assert found.cruise[100] == pytest.approx(STEP_S / 4.0)
    assert found.drift[10] == pytest.approx(0.12)
    assert np.asarray(found.slow_sd)[10] == pytest.approx(np.hypot(0.03, 0.04))
    # The walk that is learnt, or what one filter of both makes of the speed's noise.
    assert found.walk == pytest.approx(0.1**2 * 0.2)
    assert precisions_of(SPACE, observed(), scales).walk == pytest.approx(0.02**2)
    for slower in (5.0, 50.0):
        space = StateSpace(slower * SPACE.time_s, SPACE.position_m, SPACE.velocity_mps,
                           SPACE.breaks, SPACE.steps)  # fmt: skip
        assert precisions_of(space, seen, scales).cruise[100] == pytest.approx(0.25)


def test_what_is_stated_counts_as_far_as_it_is_trusted() -> None:
    stated = np.where(np.arange(COUNT) < COUNT // 2, 4.0, 1.0)
    seen = observed(factor=stated, factor_stated=True, speed_factor=stated, position_floor_m=0.6,
                    speed_floor_mps=0.15)  # fmt: skip
    half = replace(SCALES, position_trust=Trust(0.5), speed_trust=Trust(0.5))
    found = precisions_of(SPACE, seen, half)
    assert found.position[[0, -1]] == pytest.approx([1.0 / (0.5 * 2.0) ** 2, 1.0 / 0.6**2])
    assert found.velocity[[0, -1]] == pytest.approx([1.0 / 0.2**2, 1.0 / 0.15**2])
    # The slow error goes with it, about the ride's mean: 4 and 1 about 2, their roots.
    assert slow_seen(seen, half)[[0, -1]] == pytest.approx([2.0**0.5, 2.0**-0.5])
    alone = replace(seen, speed_factor=np.full(COUNT, np.nan))
    assert precisions_of(SPACE, alone, half).velocity[0] == pytest.approx(1.0 / 0.2**2)
    assert (slow_seen(alone, half) == 1.0).all()
