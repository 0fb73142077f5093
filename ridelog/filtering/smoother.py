"""Track -> Motion: the whole filter in the order in which it works."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ridelog.core.errors import NotEnoughDataError, calculating
from ridelog.core.flags import Flag
from ridelog.core.track import BoolArray, FloatArray, IntArray, Track
from ridelog.filtering.agreement import contradictions, without
from ridelog.filtering.long_logs import (
    LONGEST_WHOLE,
    coarsened,
    groups_of,
    hard_instants,
    part_of_progress,
    refined,
    states_of,
    variances_of,
)
from ridelog.filtering.motion import Motion, Piece, noise_summary
from ridelog.filtering.noise import (
    FIRST_JERK,
    LONGEST_MEASUREMENT_S,
    SHARED,
    NoiseScales,
    ObservedInstants,
    learn,
    precisions_of,
    slow_seen,
)
from ridelog.filtering.observations import Observations, observations_of
from ridelog.filtering.outliers import Screened, screen
from ridelog.filtering.posterior import Posterior
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.quality import (
    STEADY_FIXES,
    find_still,
    geometry_flags,
    outrunning,
    settled_from,
    settling_factor,
    slid_until,
)
from ridelog.filtering.receiver.disagreement import LastingDifference, find_disagreement
from ridelog.filtering.receiver.habits import lasting_rounding, recognised, rounding_sd
from ridelog.filtering.running_sums import smoothed_jerk
from ridelog.filtering.state_space import StateSpace

# Between fixes further apart than this, instants without data let corners fall where they did.
# Own choice: the first is the same as the span of one intensity of jerk; closer ones cost time.
_FINEST_S = 0.25
_SPLIT_ABOVE_S = 0.3
# Long logs start closer to their usual scales: fewer rounds settle them. Own choice: time.
_ROUNDS_OF_LONG = 7
# A fix whose weight fell below this is more than 6.8 standard deviations off: filtering (12).
_REJECTED_WEIGHT = 0.12
# The cautious reading spreads each learnt corner over this long, and over three fixes. Filtering
# (17), as are those below.
_CAUTION_S, _CAUTION_FIXES = 2.0, 3.0
# ... and holds the intensities, each learnt from about one deviation, for this much larger:
# chosen by the coverage of simulated rides.
_CAUTION_JERK = 4.0
# The size of slow errors that were learnt is known to some 35 % (prior weight of 20 deviations,
# other spectra); the drift assumed of bare positions is an upper size already. Chosen by the
# coverage of simulated rides.
_CAUTION_SLOW = 1.35
# The truth lies between the mean fit and another that may be the right one, or a little beyond, to
# either side: filtering (17), own choice.
_BEYOND = 1.5


def estimate_motion(
    track: Track,
    *,
    report_progress: Callable[[float], None] | None = None,
) -> Motion:
    """Return the smoothed motion of a ride, with everything later figures are drawn from.

    Parameters
    ----------
    track : Track
        The ride as read.
    report_progress : callable, optional
        Told the share of the work done, 0 to 1.

    Raises
    ------
    NotEnoughDataError
        If the fixes are too few or too far apart for any estimate.
    """
    with calculating(track.source.file):
        return _estimated(track, report_progress)


def _estimated(track: Track, report_progress: Callable[[float], None] | None) -> Motion:
    seen, receiver = recognised(observations_of(track), track)
    screened = screen(seen)
    against = contradictions(seen, screened)
    contradicted = seen.rows[against]
    seen, made = without(seen, against)
    if len(seen.rows) < 2:
        raise NotEnoughDataError(
            f"{track.source.file}: the reported speed and the positions contradict each other "
            "throughout, so no speed can be told.",
            "check what the log's speed is, and its unit; or log again.",
        )
    if len(contradicted):
        screened = screen(seen)
    space, observed, fix = _state_space_of(seen, screened)
    long_enough = _long_enough(seen)
    if not long_enough.any():
        raise NotEnoughDataError(
            f"{track.source.file}: the fixes are {seen.usual_interval_s:.3g} s apart with gaps "
            f"between them, so there are nowhere {STEADY_FIXES} in a row to take a speed from.",
            "set the logger to one fix a second or more and log again.",
        )
    lost = _corners_are_lost(space, seen)
    scales = _learnt(space, observed, part_of_progress(report_progress, 0.0, 0.2 if lost else 0.4))
    sharp = precisions_of(space, observed, scales)
    steady = states_of(space, sharp, part_of_progress(report_progress, 0.4, 0.6))
    unbound = replace(sharp, cruise=np.zeros(space.n))
    free = states_of(space, unbound, part_of_progress(report_progress, 0.6, 0.8))
    states = 0.5 * (steady + free)
    lively = None
    if lost:
        livelier = _learnt(
            space, observed, part_of_progress(report_progress, 0.2, 0.4), steady=False
        )
        # How pulls end is one of two ways: the truth lies between both fits, not beyond.
        lively = states_of(space, precisions_of(space, observed, livelier)) - states
    apart = find_disagreement(seen, screened.good_position, screened.steps)
    cautious = _cautious(space, observed, scales, sharp, seen, apart)
    variances = variances_of(space, cautious, part_of_progress(report_progress, 0.8, 1.0))
    motion = _motion(
        track, seen, screened, space, observed, scales, states, variances, fix, long_enough,
        Posterior(
            space, states, _BEYOND * (free - states), lively, sharp, cautious,
            lambda: hard_instants(space, sharp),
        ),
        contradicted, made,
    )  # fmt: skip
    return replace(
        motion,
        history=(*motion.history, *receiver.history),
        warnings=(*motion.warnings, *receiver.warnings),
        noise=replace(motion.noise, lag_s=receiver.lag_s),
        doubts=(*receiver.doubts, *([apart.words] if apart else [])),
    )


def _learnt(
    space: StateSpace,
    observed: ObservedInstants,
    report_progress: Callable[[float], None] | None,
    *,
    steady: bool = True,
) -> NoiseScales:
    if space.n <= LONGEST_WHOLE:
        return learn(
            space, observed, steady=steady, find_still=find_still, report_progress=report_progress
        )
    group = groups_of(space)
    coarse, seen = coarsened(space, observed, group)
    scales = learn(
        coarse, seen, rounds=_ROUNDS_OF_LONG, steady=steady, find_still=find_still,
        report_progress=report_progress,
    )  # fmt: skip
    return refined(space, group, scales)


def _corners_are_lost(space: StateSpace, seen: Observations) -> bool:
    """Return whether positions alone are too far apart to show a corner.

    Two corners with a short steady top between them and one corner of a higher top then fit alike.
    """
    return space.d < 5 and _CAUTION_FIXES * seen.usual_interval_s > _CAUTION_S


def _state_space_of(
    seen: Observations, screened: Screened
) -> tuple[StateSpace, ObservedInstants, IntArray]:
    """Return the state space with instants between distant fixes, and the fixes' places in it."""
    interval = np.diff(seen.time_s)
    parts = np.where(
        (interval > _SPLIT_ABOVE_S) & ~seen.breaks, np.ceil(interval / _FINEST_S), 1.0
    ).astype(np.int64)
    fix = np.concatenate([[0], np.cumsum(parts)])
    n = int(fix[-1]) + 1
    owner = np.repeat(np.arange(len(interval)), parts)
    share = (np.arange(n - 1) - fix[owner]) / parts[owner]
    time_s = np.append(seen.time_s[owner] + share * interval[owner], seen.time_s[-1])

    def spread(values: FloatArray, between: float) -> FloatArray:
        out = np.full((n, *values.shape[1:]), between)
        out[fix] = values
        return out

    told = screened.good_position & ~seen.held & ~seen.slides
    position = spread(np.where(told[:, None], seen.position_m, np.nan), np.nan)
    believed = screened.good_velocity
    velocity = spread(np.where(believed[:, None], seen.velocity_mps, np.nan), np.nan)
    breaks = np.repeat(seen.breaks, parts)
    steps = np.zeros(n - 1, dtype=bool)
    steps[fix[1:] - 1] = screened.steps
    # A receiver states how good a place is, not how fast its error slides: filtering (25).
    geometry = np.maximum(seen.geometry[1:], seen.geometry[:-1])
    drift_factor = np.maximum(np.repeat(geometry, parts), 1.0)
    # With a reported speed the ride shows the walk itself, filtering (7).
    bare = not np.isfinite(velocity[:, 0]).any()
    observed = ObservedInstants(
        has_position=np.isfinite(position[:, 0]),
        has_velocity=np.isfinite(velocity[:, 0]),
        crawl_precision=spread(np.where(seen.crawl & believed, seen.crawl_sd_mps**-2, 0.0), 0.0),
        factor=spread(seen.factor, 1.0),
        factor_stated=seen.factor_stated,
        speed_factor=spread(seen.speed_factor, np.nan),
        averaged=np.ones(n),
        drift_factor=drift_factor,
        walk_floor_m=(
            max(float(np.nan_to_num(seen.position_wander_m)), seen.slow_wander_m) if bare else 0.0
        ),
        speed_noise_mps=seen.speed_noise_mps,
        speed_floor_mps=max(rounding_sd(seen.speed_step_mps), 0.005),
        # Rounding to a coarse step errs alike fix after fix, so it counts in full.
        position_floor_m=max(
            seen.position_step_m * (1.0 if seen.position_step_m > 0.1 else 12.0**-0.5), 0.003
        ),
        # At a steady speed a coarse step makes the same error fix after fix.
        slow_floor_mps=lasting_rounding(seen.speed_step_mps),
        bandwidth_error_mps=spread(seen.bandwidth_error_mps, 0.0),
        shared_s=SHARED * min(seen.usual_interval_s, LONGEST_MEASUREMENT_S),
    )
    return StateSpace(time_s, position, velocity, breaks, steps), observed, fix


def _long_enough(seen: Observations) -> BoolArray:
    """Return for each observation whether its piece has enough fixes to be told anything of."""
    number = np.concatenate([[0], np.cumsum(seen.breaks)])
    enough: BoolArray = np.bincount(number)[number] >= STEADY_FIXES
    return enough


def _cautious(
    space: StateSpace,
    observed: ObservedInstants,
    scales: NoiseScales,
    sharp: Precisions,
    seen: Observations,
    apart: LastingDifference | None,
) -> Precisions:
    span = max(_CAUTION_S, _CAUTION_FIXES * seen.usual_interval_s)
    bare = space.d < 5
    # Either may be the one that is off, while riding only: receiver (12).
    untold_mps = 2.0 * abs(apart.excess_mps) if apart else 0.0
    jerk = _CAUTION_JERK * smoothed_jerk(space, scales.jerk, span)
    # An even acceleration fits any three fixes: of its changes nothing was learnt, filtering (17).
    piece = np.append(0, np.cumsum(space.breaks))
    fixes = np.bincount(piece, weights=observed.has_position | observed.has_velocity)
    unlearnt = fixes[piece[:-1]] <= STEADY_FIXES
    return Precisions(
        jerk=np.where(unlearnt, np.maximum(jerk, FIRST_JERK), jerk),
        position=sharp.position,
        velocity=sharp.velocity,
        still=sharp.still,
        cruise=np.zeros(space.n),
        drift=np.hypot((1.0 if bare else _CAUTION_SLOW) * sharp.drift, untold_mps),
        slow_sd=np.hypot(_CAUTION_SLOW * sharp.slow_sd, untold_mps),
        walk=(_CAUTION_SLOW**2 if bare else 1.0) * sharp.walk,
        slow_seen=sharp.slow_seen,
    )


def _motion(
    track: Track,
    seen: Observations,
    screened: Screened,
    space: StateSpace,
    observed: ObservedInstants,
    scales: NoiseScales,
    all_states: FloatArray,
    variances: FloatArray,
    fix: IntArray,
    long_enough: BoolArray,
    posterior: Posterior,
    contradicted: IntArray,
    made: BoolArray,
) -> Motion:
    states = all_states[fix]
    reported = space.d == 5
    velocity, acceleration = states[:, 1], states[:, 2]
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    moving = np.maximum(speed, 1e-9)
    turning = (acceleration[:, 0] * velocity[:, 1] - velocity[:, 0] * acceleration[:, 1]) / (
        moving**2
    )
    speed_sd = np.sqrt(variances[fix, 1])

    flags = track.flags | geometry_flags(track)
    lost_position = ~screened.good_position | (
        observed.has_position[fix] & (scales.position_weight[fix] < _REJECTED_WEIGHT)
    )
    lost_velocity = (np.isfinite(seen.velocity_mps[:, 0]) | seen.crawl) & (
        ~screened.good_velocity | (scales.velocity_weight[fix] < _REJECTED_WEIGHT)
    )
    residual = seen.position_m - states[:, 0]
    stated = scales.position_trust.raised(seen.factor) if seen.factor_stated else 1.0
    misfit = 0.5 * (residual**2).sum(axis=1) / ((scales.position_sd_m * stated) ** 2)
    # What only repeats the fix before tells nothing of how well the receiver is placed.
    misfit = np.where(seen.held, 1.0, misfit)
    drift = np.hypot(*states[:, 3].T) if reported else np.full(len(fix), np.nan)
    hdop = track.hdop[seen.rows]
    told_mps = np.where(seen.crawl, track.speed_mps[seen.rows], np.hypot(*seen.velocity_mps.T))
    settled_s = settled_from(
        seen.time_s, hdop, track.satellites[seen.rows], misfit, drift, scales.drift_sd_mps,
        outrunning(seen.time_s, seen.position_m, told_mps, hdop, seen.position_step_m),
    )  # fmt: skip
    slid_s = float(seen.time_s[0])
    if not reported and not np.isfinite([track.hdop, track.satellites]).any():
        slid_s = slid_until(seen.time_s, speed)
    settled_s = float(np.maximum(settled_s, slid_s))
    settling = seen.time_s < (settled_s if np.isfinite(settled_s) else np.inf)
    for mask, flag in (
        (lost_position, Flag.JUMP),
        (lost_velocity, Flag.SPEED_JUMP),
        (settling, Flag.SETTLING),
        (scales.still[fix], Flag.STANDSTILL),
        (np.concatenate([[False], seen.breaks & ~made]), Flag.GAP),
    ):
        flags[seen.rows[mask]] |= np.uint32(flag)
    flags[contradicted] |= np.uint32(Flag.CONTRADICTED)

    def by_row(values: FloatArray, where: BoolArray = long_enough) -> FloatArray:
        out = np.full(len(track), np.nan)
        out[seen.rows[where]] = values[where]
        return out

    used = np.zeros(len(track), dtype=bool)
    used[seen.rows] = True
    noise = noise_summary(scales, reported, observed)
    line = (
        f"filter: {used.sum()} of {len(track)} fixes used, {int(lost_position.sum())} positions "
        f"and {int(lost_velocity.sum())} reported speeds not believed, "
        f"{len(contradicted)} fixes where both contradict each other left out, "
        f"{int((seen.breaks & ~made).sum())} gaps; " + noise.words
    )
    return Motion(
        track=track,
        flags=flags,
        used=used,
        origin_deg=seen.origin_deg,
        east_m=by_row(states[:, 0, 0]),
        north_m=by_row(states[:, 0, 1]),
        velocity_east_mps=by_row(velocity[:, 0]),
        velocity_north_mps=by_row(velocity[:, 1]),
        speed_mps=by_row(speed),
        speed_sd_mps=by_row(speed_sd),
        accel_mps2=by_row((velocity * acceleration).sum(axis=1) / moving),
        accel_sd_mps2=by_row(np.sqrt(variances[fix, 2])),
        # Below the crawl neither a course nor its rate means anything.
        yaw_rate_radps=by_row(turning, long_enough & (speed > 3.0 * speed_sd) & (speed > 0.3)),
        course_rad=by_row(
            np.arctan2(velocity[:, 0], velocity[:, 1]) % (2.0 * np.pi),
            long_enough & (speed > 2.0 * speed_sd) & (speed > 0.15),
        ),
        pieces=_pieces(seen, long_enough),
        gaps=tuple(
            (float(seen.time_s[k]), float(seen.time_s[k + 1]))
            for k in np.flatnonzero(seen.breaks & ~made)
        ),
        settled_s=settled_s,
        # How far a slide is off is not to be seen in how its positions scatter.
        settling_factor=(
            float("nan")
            if slid_s > seen.time_s[0]
            else settling_factor(
                seen.velocity_mps - velocity - slow_seen(observed, scales)[fix, None] * states[:, 4]
                if reported
                else residual,
                settling,
            )
        ),
        rate_hz=1.0 / seen.usual_interval_s,
        speed_source="reported" if reported else "positions",
        noise=noise,
        history=(*track.history, line),
        warnings=track.warnings,
        posterior=posterior,
    )


def _pieces(seen: Observations, long_enough: BoolArray) -> tuple[Piece, ...]:
    edges = np.concatenate([[0], np.flatnonzero(seen.breaks) + 1, [len(seen.time_s)]])
    return tuple(
        Piece(float(seen.time_s[first]), float(seen.time_s[stop - 1]))
        for first, stop in zip(edges[:-1], edges[1:], strict=True)
        if long_enough[first]
    )
