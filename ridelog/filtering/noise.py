"""The noise and the liveliness of a ride, learnt from the ride itself.

Every unknown scale is the variance of a group of independent normal deviations; all groups are
updated together by MacKay's fixed point, a few rounds. Heavy tails come in as the scale mixture of
Student's t: a weight per fix. METHOD.md, filtering (11) to (13).

Source
------
D. J. C. MacKay, "Bayesian interpolation", Neural Computation 4 (1992) 415-447, section 4;
K. L. Lange, R. J. A. Little and J. M. G. Taylor, "Robust statistical modeling using the t
distribution", JASA 84 (1989) 881-896 (weights).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.running_sums import reach_of, summed_around
from ridelog.filtering.state_space import Solution, StateSpace
from ridelog.filtering.stated_noise import Trust, evidence, judged

# Own choice, filtering (11): each costs a solution of the ride; fixed, for equal digits.
ROUNDS = 10
# Degrees of freedom of the white errors: real receivers have tails, and 4 is the usual compromise
# of the robust literature (Lange, Little and Taylor, 1989, estimate 3 to 6 on real data).
TAIL = 4.0
# Intensity of jerk: first guess, prior with the weight of a tenth of a deviation, and bounds. Own
# choices: they keep the equations definite, and what is learnt outweighs them. [m²/s⁵]
FIRST_JERK, _PRIOR_JERK, _PRIOR_JERK_WEIGHT = 1.0, 1.0e-3, 0.1
_LEAST_JERK, _MOST_JERK = 1.0e-6, 1.0e3
# The span that shares one intensity: short, so that the corner at throttle-off stays sharp. Own
# choice: longer spans blunt corners, shorter ones learn each intensity from less than a deviation.
_JERK_SPAN_S = 0.25
# At a steady speed the acceleration is near zero; a hand that holds the throttle and grades of 1 or
# 2 % make some 0.2 m/s²: filtering (13), own choice.
_CRUISE_MPS2, _CRUISE_WEIGHT, _CRUISE_SPAN_S = 0.25, 1.0, 1.0
# Priors of the slow errors, with the weight of this many determined deviations: the published and
# measured sizes that METHOD.md names.
DRIFT_PRIOR_MPS, SLOW_PRIOR_MPS, SLOW_WEIGHT = 0.045, 0.03, 20.0
_WHITE_SPEED_PRIOR_MPS, _WHITE_SPEED_WEIGHT = 0.06, 10.0
_WHITE_POSITION_PRIOR_M, _WHITE_POSITION_WEIGHT = 0.3, 2.0
# What a position walks by itself in the root of a second: first guess, weak prior. Own choices.
_FIRST_WALK_M, _WALK_PRIOR_M, _WALK_WEIGHT = 0.05, 0.01, 4.0
# One filter makes position and reported velocity: m of receiver (11), for r = 2/3, the highest
# that was measured against references. Derived there. A receiver measures at least every so often:
# own choice. [s]
SHARED, LONGEST_MEASUREMENT_S = 5.0, 0.1
# "It stood still": as narrow as a machine on its tyres moves. Own choice.
_STILL_SD_MPS = 0.02


@dataclass(frozen=True)
class NoiseScales:
    """What was learnt; shapes (n,) at instants, (n - 1,) at intervals, floats for the ride.

    ``position_trust`` and ``speed_trust`` are the exponents of filtering (25).
    """

    jerk: FloatArray
    cruise_var: FloatArray
    position_sd_m: float
    speed_sd_mps: float
    drift_sd_mps: float
    slow_sd_mps: float
    walk_m: float
    position_weight: FloatArray
    velocity_weight: FloatArray
    still: BoolArray
    position_trust: Trust = Trust()
    speed_trust: Trust = Trust()


@dataclass(frozen=True)
class ObservedInstants:
    """What is observed at the instants of a state space.

    has_position, has_velocity : BoolArray, shape (n,).
    crawl_precision : precision of "the velocity is about zero" from a reported crawl.
    factor, speed_factor : relative noise of the instant's fix; of its velocity, NaN if unstated.
    factor_stated : whether the receiver states ``factor`` of itself.
    averaged : how many fixes the instant is the mean of.
    drift_factor : relative size of the drift, shape (n - 1,).
    walk_floor_m : what positions walk in a second at the least. [m]
    speed_noise_mps : of a usual velocity at the least, without and with its stated pattern. [m/s]
    speed_floor_mps, position_floor_m : rounding of the log, one standard deviation.
    slow_floor_mps : slow error that rounding makes, added in square.
    bandwidth_error_mps : how far a reported velocity may be off beside its noise, shape (n,).
    shared_s : variance by which positions walk in a second for the reported velocity's white
        variance, since one filter makes both. [s]
    """

    has_position: BoolArray
    has_velocity: BoolArray
    crawl_precision: FloatArray
    factor: FloatArray
    factor_stated: bool
    speed_factor: FloatArray
    averaged: FloatArray
    drift_factor: FloatArray
    walk_floor_m: float
    speed_noise_mps: tuple[float, float]
    speed_floor_mps: float
    position_floor_m: float
    slow_floor_mps: float
    bandwidth_error_mps: FloatArray
    shared_s: float

    @property
    def speed_stated(self) -> bool:
        """Whether the receiver states how good each velocity is."""
        return bool(np.isfinite(self.speed_factor).any())


def first_scales(space: StateSpace, observed: ObservedInstants) -> NoiseScales:
    """Return the scales before anything is learnt."""
    n = space.n
    return NoiseScales(
        jerk=np.full(n - 1, FIRST_JERK),
        cruise_var=np.full(n, 9.0),
        position_sd_m=_WHITE_POSITION_PRIOR_M,
        speed_sd_mps=0.08,
        drift_sd_mps=DRIFT_PRIOR_MPS,
        slow_sd_mps=SLOW_PRIOR_MPS,
        walk_m=_FIRST_WALK_M if space.d == 5 else observed.walk_floor_m,
        position_weight=np.ones(n),
        velocity_weight=np.ones(n),
        still=np.zeros(n, dtype=bool),
    )


def precisions_of(space: StateSpace, observed: ObservedInstants, scales: NoiseScales) -> Precisions:
    """Return the precisions that go with learnt scales."""
    share_of_noise = 1.0 / observed.averaged
    white_m = scales.position_sd_m * observed.factor
    if observed.factor_stated:
        white_m = scales.position_sd_m * scales.position_trust.raised(observed.factor)
        white_m = np.maximum(white_m, observed.position_floor_m)
    position = scales.position_weight / (white_m**2 * share_of_noise)
    velocity = scales.velocity_weight / (
        _white_speed_variance(observed, scales) + observed.bandwidth_error_mps**2
    )
    still = np.where(scales.still, _STILL_SD_MPS**-2, observed.crawl_precision)
    # The cruise prior counts once a second, however many instants a second has.
    share = np.minimum(np.gradient(space.time_s), 1.0) if space.n > 1 else np.ones(space.n)
    seen = slow_seen(observed, scales)
    # What rounding makes of it is alike whatever the receiver states.
    floor = observed.slow_floor_mps / np.minimum(seen[1:], seen[:-1])
    shared = scales.speed_sd_mps**2 * observed.shared_s if space.d == 5 else 0.0
    return Precisions(
        jerk=scales.jerk,
        position=np.where(observed.has_position, position, 0.0),
        velocity=np.where(observed.has_velocity, velocity, 0.0),
        still=still,
        cruise=share / scales.cruise_var,
        drift=scales.drift_sd_mps * observed.drift_factor,
        slow_sd=np.hypot(scales.slow_sd_mps, floor),
        walk=max(scales.walk_m**2, shared),
        slow_seen=seen,
    )


def _white_speed_variance(observed: ObservedInstants, scales: NoiseScales) -> FloatArray:
    # Doppler suffers from poor geometry as position does; it never gets better than usual.
    speed_factor = np.maximum(observed.factor, 1.0)
    if observed.speed_stated:
        speed_factor = scales.speed_trust.raised(np.nan_to_num(observed.speed_factor, nan=1.0))
    elif observed.factor_stated:
        speed_factor = scales.position_trust.raised(speed_factor)
    white_mps = scales.speed_sd_mps * speed_factor
    if observed.speed_stated:
        white_mps = np.maximum(white_mps, observed.speed_floor_mps)
    variance: FloatArray = white_mps**2 / observed.averaged
    return variance


def slow_seen(observed: ObservedInstants, scales: NoiseScales) -> FloatArray:
    """Return how large the slow error is in each reported velocity, of the ride's mean one.

    The size known beforehand is that of whole rides, so a pattern divides it and leaves its mean.
    """
    ratio = np.nan_to_num(observed.speed_factor, nan=1.0)
    if not observed.speed_stated:
        return np.ones(len(ratio))
    logarithm = float(np.log(ratio[observed.has_velocity]).mean())
    return scales.speed_trust.raised(ratio / np.exp(logarithm))


def _share_of_white(observed: ObservedInstants, scales: NoiseScales) -> FloatArray:
    white = _white_speed_variance(observed, scales)
    return white / (white + observed.bandwidth_error_mps**2)


def learn(
    space: StateSpace,
    observed: ObservedInstants,
    *,
    rounds: int = ROUNDS,
    steady: bool = True,
    find_still: Callable[[Solution, FloatArray], BoolArray] | None = None,
    report_progress: Callable[[float], None] | None = None,
) -> NoiseScales:
    """Return the scales of greatest evidence after a number of rounds.

    Parameters
    ----------
    space : StateSpace
        Instants and transitions.
    observed : ObservedInstants
        What is seen at them.
    rounds : int
        Fixed, so that the same log always gives the same digits.
    steady : bool
        Whether the machine may have held its speed (cruise prior); without, the acceleration of
        a top between two corners is as free as any other.
    find_still : callable, optional
        Given a solution and the speed's variance per axis, returns where the machine stood.
    report_progress : callable, optional
        Told the share of rounds done, 0 to 1.
    """
    scales = first_scales(space, observed)
    if not steady:
        scales = replace(scales, cruise_var=np.full(space.n, np.inf))
    for number in range(rounds):
        solution = space.solve(precisions_of(space, observed, scales), refine=False)
        # First: they tell whether the states need the longer way.
        blocks, beside = solution.variances()
        judging = number == rounds // 2
        improved = _improved(space, observed, scales, solution, blocks, beside, judging=judging)
        scales = improved if steady else replace(improved, cruise_var=scales.cruise_var)
        if find_still is not None and number >= rounds // 3:
            still = find_still(solution, blocks[:, 1, 1])
            scales = replace(scales, still=still)
        if report_progress is not None:
            report_progress((number + 1) / rounds)
    return scales


def _improved(
    space: StateSpace,
    observed: ObservedInstants,
    scales: NoiseScales,
    solution: Solution,
    blocks: FloatArray,
    beside: FloatArray,
    *,
    judging: bool,
) -> NoiseScales:
    states = solution.states
    precisions = solution.precisions
    live = ~space.breaks
    dt = space.interval_s

    # Jerk, seen in the change of acceleration over an interval (variance: intensity x length).
    change = ((states[1:, 2] - states[:-1, 2]) ** 2).sum(axis=1) / dt
    left = (blocks[1:, 2, 2] + blocks[:-1, 2, 2] - 2.0 * beside[:, 2, 2]) / (scales.jerk * dt)
    known = 2.0 * np.clip(1.0 - left, 0.0, 1.0)
    usual = float(np.median(dt))
    reach = reach_of(_JERK_SPAN_S, usual)
    jerk = (
        _PRIOR_JERK_WEIGHT * _PRIOR_JERK + summed_around(np.where(live, change, 0.0), reach)
    ) / (_PRIOR_JERK_WEIGHT + summed_around(np.where(live, known, 0.0), reach))
    jerk = np.clip(jerk, _LEAST_JERK, _MOST_JERK)

    # Acceleration about zero, by expectation rather than fixed point.
    share = np.minimum(np.gradient(space.time_s), 1.0)
    squared = 0.5 * (states[:, 2] ** 2).sum(axis=1) + blocks[:, 2, 2]
    reach = reach_of(_CRUISE_SPAN_S, usual)
    cruise_var = (_CRUISE_WEIGHT * _CRUISE_MPS2**2 + summed_around(share * squared, reach)) / (
        _CRUISE_WEIGHT + summed_around(share, reach)
    )

    placed = observed.has_position
    position = (
        (space.position_m - states[:, 0])[placed],
        blocks[placed, 0, 0],
        precisions.position[placed],
    )
    position_sd, position_weight = _white(
        *position, scales.position_weight[placed], scales.position_sd_m,
        _WHITE_POSITION_PRIOR_M, _WHITE_POSITION_WEIGHT,
    )  # fmt: skip
    of_positions = of_speeds = None
    if observed.factor_stated and judging:
        of_positions = evidence(
            space.time_s[placed], observed.factor[placed], *position, sd=scales.position_sd_m
        )
    seen = observed.has_velocity
    speed_sd, velocity_weight = scales.speed_sd_mps, np.ones(0)
    slow_sd = scales.slow_sd_mps
    if space.d == 5:
        size = np.asarray(precisions.slow_seen)
        velocity = (
            (space.velocity_mps - states[:, 1] - size[:, None] * states[:, 4])[seen],
            (blocks[:, 1, 1] + size**2 * blocks[:, 4, 4] + 2.0 * size * blocks[:, 1, 4])[seen],
            precisions.velocity[seen],
        )
        share = _share_of_white(observed, scales)[seen]
        speed_sd, velocity_weight = _white(
            *velocity, scales.velocity_weight[seen], scales.speed_sd_mps,
            _WHITE_SPEED_PRIOR_MPS, _WHITE_SPEED_WEIGHT, share,
        )  # fmt: skip
        if observed.speed_stated and judging:
            of_speeds = evidence(
                space.time_s[seen], np.nan_to_num(observed.speed_factor[seen], nan=1.0), *velocity,
                sd=scales.speed_sd_mps, other=observed.bandwidth_error_mps[seen] ** 2,
            )  # fmt: skip
        slow_sd = _slow(
            states[:, 4], blocks[:, 4, 4], beside[:, 4, 4], space.slow_keep, live,
            np.asarray(precisions.slow_sd), SLOW_PRIOR_MPS, observed.slow_floor_mps,
        )  # fmt: skip
    drift_sd = _slow(
        states[:, 3], blocks[:, 3, 3], beside[:, 3, 3], space.drift_keep, live,
        precisions.drift, DRIFT_PRIOR_MPS, 0.0, observed.drift_factor,
    )  # fmt: skip
    # Bare positions: a jerk that is free in every quarter of a second takes a walk for its own.
    walk_m = observed.walk_floor_m
    if space.d == 5:
        walk_m = _walked(solution, blocks, beside, live & ~space.steps)
    position_trust, speed_trust = scales.position_trust, scales.speed_trust
    if judging:
        position_trust, speed_trust = judged(of_positions, of_speeds)
    least_speed_mps = scales.speed_trust.between(*observed.speed_noise_mps)
    full_position = np.ones(space.n)
    full_position[placed] = position_weight
    full_velocity = np.ones(space.n)
    full_velocity[seen] = velocity_weight if space.d == 5 else 1.0
    return NoiseScales(
        jerk=jerk,
        cruise_var=cruise_var,
        position_sd_m=max(position_sd, observed.position_floor_m),
        speed_sd_mps=max(speed_sd, observed.speed_floor_mps, least_speed_mps),
        drift_sd_mps=drift_sd,
        slow_sd_mps=slow_sd,
        walk_m=walk_m,
        position_weight=full_position,
        velocity_weight=full_velocity,
        still=scales.still,
        position_trust=position_trust,
        speed_trust=speed_trust,
    )


def _white(
    residual: FloatArray,
    variance: FloatArray,
    precision: FloatArray,
    weight: FloatArray,
    sd: float,
    prior_sd: float,
    prior_weight: float,
    share: FloatArray | float = 1.0,
) -> tuple[float, FloatArray]:
    """Return the white part's standard deviation and new weights of its fixes.

    ``share`` is how much of each fix's variance is white: others tell less of the white part.
    """
    squared = (residual**2).sum(axis=1) * precision * sd**2 * share
    determined = 2.0 * np.clip(1.0 - variance * precision, 0.0, 1.0) * share
    total = float(squared.sum()) + prior_weight * prior_sd**2
    new_sd = float(np.sqrt(total / (float(determined.sum()) + prior_weight)))
    # Expected squared deviation over the variance without the weight; 2 for normal noise.
    bare = np.divide(precision, weight, out=np.zeros_like(weight), where=weight > 0)
    scaled = ((residual**2).sum(axis=1) + 2.0 * variance) * bare
    return new_sd, (TAIL + 2.0) / (TAIL + scaled)


def _slow(
    state: FloatArray,
    variance: FloatArray,
    covariance: FloatArray,
    keep: FloatArray,
    live: BoolArray,
    sd: FloatArray,
    prior_sd: float,
    floor: float,
    factor: FloatArray | float = 1.0,
) -> float:
    """Return a slow error's standard deviation from its increments."""
    fresh = (1.0 - keep**2) * np.square(factor)
    change = ((state[1:] - keep[:, None] * state[:-1]) ** 2).sum(axis=1) / fresh
    left = variance[1:] + keep**2 * variance[:-1] - 2.0 * keep * covariance
    known = 2.0 * np.clip(1.0 - left / ((1.0 - keep**2) * sd**2), 0.0, 1.0)
    total = float(change[live].sum()) + SLOW_WEIGHT * (prior_sd**2 + floor**2)
    square = total / (float(known[live].sum()) + SLOW_WEIGHT) - floor**2
    return float(np.sqrt(max(square, (0.2 * prior_sd) ** 2)))


def _walked(solution: Solution, blocks: FloatArray, beside: FloatArray, live: BoolArray) -> float:
    """Return what a position walks by itself in the root of a second, filtering (11). [m]"""
    transitions, walk = solution.transitions, solution.precisions.walk
    length = solution.space.interval_s
    walked = transitions.walked(np.moveaxis(solution.states, 0, 2))
    left = transitions.told + walk * length * transitions.variance_of_walked(blocks, beside)
    known = 2.0 * np.clip(1.0 - left, 0.0, 1.0)
    square = walk**2 * length * (walked**2).sum(axis=0)
    total = float(square[live].sum()) + _WALK_WEIGHT * _WALK_PRIOR_M**2
    return float(np.sqrt(total / (float(known[live].sum()) + _WALK_WEIGHT)))
