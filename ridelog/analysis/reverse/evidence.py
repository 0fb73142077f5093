"""What a log shows of its motion: in steps, fix by fix, and laid along the heading.

The filter's own motion is the evidence of the heading chain; the readings themselves tell how a
receiver wanders at a stand and, laid along the body's heading, when a reverse begins.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ridelog.analysis.reverse.heading_hmm import Steps, within
from ridelog.core.flags import Flag
from ridelog.core.geodesy import to_local
from ridelog.core.spans import Span, runs_of
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion, Paths
from ridelog.filtering.observations import CRAWL_MPS

# Own choice: five steps a second resolve a stop of half a second; more repeat the same errors.
STEP_S = 0.2
# Errors of the smoothed velocity hold on for about a second, so five steps are one observation.
# Halved or trebled, no simulated ride came out differently.
_CORRELATED_S = 1.0
# No velocity is better known than this: slow errors of a receiver (2-8 cm/s, own measurement on
# public logs).
_LEAST_SD_MPS = 0.05
# Steps are this close around everything slower than this, and one a second elsewhere. Own choice:
# wider than the chain's own slow regions, so that it sees none of the thinning.
_SLOW_MPS, _AROUND_S, _THINNED = 2.2, 3.0, 5
# Long pieces are asked for in parts, to bound memory: own choice, the fitted path is alike in all.
_LONGEST_PART_S = 600.0
# A stand long enough to learn from, slower than this throughout, without so many seconds of either
# end. Own choice: shorter stands hold too few seconds for a mean square, longer ones are rare.
_STAND_S, _STAND_MPS, _EDGE_S = 25.0, 0.5, 2
# Wander of a receiver with no stand to learn from. Own choice: the middle of the slow errors above,
# doubled for one that is not known; more makes slow reverses uncertain, less trusts a bad receiver.
_UNKNOWN_WANDER_MPS = 0.1
# A degree of latitude, to the nearest 1 %; only sizes a rounding step.
_METRES_PER_DEGREE = 111_000.0
# Positions and reported velocity agree on a stretch if they differ by less than this share of it
# and this much. Own choice: with the other sign they would differ by two ways.
_AGREE_SHARE, _AGREE_M = 0.5, 0.5
# The fitted path is looked at this finely, and shows a heading from this speed on, or from this
# many of its standard deviations. Own choice: a heading is then known to 22 degrees; slower, it is
# held from before and after.
_FINE_S, _MOVING_MPS, _MOVING_SD = 0.05, 0.3, 2.5
# Least white noise of a position, so that a file without any divides by something. Own choice: far
# below that of any receiver on its own. [m]
_LEAST_M = 0.01


def steps_of(motion: Motion) -> Steps:
    """Return the velocities of a ride in steps, close where it is slow and thinned elsewhere."""
    parts: list[Paths] = []
    for piece in motion.pieces:
        count = max(1, int(np.ceil((piece.end_s - piece.start_s) / _LONGEST_PART_S)))
        edges = np.linspace(piece.start_s, piece.end_s, count + 1).tolist()
        parts += [fitted(motion, *part, STEP_S) for part in pairwise(edges)]
    if not parts:
        return Steps(np.zeros(0), np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    time_s = np.concatenate([path.time_s for path in parts])
    velocity = np.concatenate([path.velocity_mps[:, :, 0] for path in parts])
    slow = time_s[np.hypot(velocity[:, 0], velocity[:, 1]) < _SLOW_MPS]
    kept = np.arange(len(time_s)) % _THINNED == 0
    kept |= within(time_s, slow, _AROUND_S)
    # The ends of a piece stay, and the instant that two parts share is taken once.
    kept |= np.diff(time_s, append=np.inf) > 2.0 * STEP_S
    kept |= np.diff(time_s, prepend=-np.inf) > 2.0 * STEP_S
    kept &= np.diff(time_s, prepend=-np.inf) > 1e-6
    time_s, velocity = time_s[kept], velocity[kept]
    step_s = np.diff(time_s, prepend=time_s[0] - STEP_S)
    return Steps(
        time_s=time_s,
        velocity_mps=velocity,
        sd_mps=np.maximum(speed_sd_at(motion, time_s), _LEAST_SD_MPS),
        weight=np.clip(step_s / _CORRELATED_S, 0.0, 1.0),
    )


def speed_sd_at(motion: Motion, time_s: FloatArray) -> FloatArray:
    """Return the standard deviation of the smoothed speed, linear between fixes. [m/s]"""
    rows = motion.known_rows
    return np.interp(time_s, motion.track.time_s[rows], motion.speed_sd_mps[rows])


def fitted(motion: Motion, start_s: float, end_s: float, spacing_s: float) -> Paths:
    """Return the fitted path alone, evenly spaced by about ``spacing_s``, both ends included."""
    count = max(1, round((end_s - start_s) / spacing_s))
    return motion.paths(start_s, end_s, draws=0, spacing_s=(end_s - start_s) / count)


@dataclass(frozen=True)
class Readings:
    """The usable fixes of a log in time order, shape (m,) or (m, 2).

    speed_mps : as reported, with or without a course; NaN where none. [m/s]
    wander_mps : root mean square of velocity over seconds at stands. [m/s]
    step_m : step in which positions are written. [m]
    """

    time_s: FloatArray
    position_m: FloatArray
    velocity_mps: FloatArray
    speed_mps: FloatArray
    reported: bool
    wander_mps: float
    step_m: float

    def disagreement(self, start_s: float, end_s: float) -> str:
        """Return a doubt if reported velocity and positions tell different ways, else nothing."""
        if not self.reported:
            return ""
        inside = (self.time_s >= start_s - 1e-6) & (self.time_s <= end_s + 1e-6)
        known = inside & np.isfinite(self.velocity_mps[:, 0])
        if np.count_nonzero(known) < 2 or np.count_nonzero(known) < 0.4 * np.count_nonzero(inside):
            return "the receiver reports no speed or course during it"
        times = self.time_s[known]
        by_speed = np.trapezoid(self.velocity_mps[known], times, axis=0)
        by_position = self._at(times[-1]) - self._at(times[0])
        apart = float(np.linalg.norm(by_position - by_speed))
        agree = apart <= _AGREE_SHARE * float(np.linalg.norm(by_speed)) + _AGREE_M
        return "" if agree else "positions and reported speed do not agree on it"

    def _at(self, time_s: float) -> FloatArray:
        """Return the mean position within 0.3 s of a time, the nearest one if there is none."""
        near = np.abs(self.time_s - time_s) <= 0.3
        if not near.any():
            near = np.arange(len(self.time_s)) == np.argmin(np.abs(self.time_s - time_s))
        mean: FloatArray = self.position_m[near].mean(axis=0)
        return mean


def readings_of(motion: Motion) -> Readings:
    """Return the fixes of a log that the filter believed."""
    track = motion.track
    rows = motion.in_order(motion.used & ((motion.flags & np.uint32(Flag.JUMP)) == 0))
    east, north = to_local(track.latitude_deg[rows], track.longitude_deg[rows], *motion.origin_deg)
    position = np.stack([east, north], axis=1)
    speed, course = track.speed_mps[rows], track.course_rad[rows]
    velocity = np.stack([speed * np.sin(course), speed * np.cos(course)], axis=1)
    wrong = (motion.flags[rows] & np.uint32(Flag.SPEED_JUMP)) != 0
    velocity[wrong] = np.nan
    speed = np.where(wrong, np.nan, speed)
    time_s = track.time_s[rows]
    steps = np.diff(np.unique(track.latitude_deg[rows]))
    steps = steps[steps > 1e-10]
    return Readings(
        time_s=time_s,
        position_m=position,
        velocity_mps=velocity,
        speed_mps=speed,
        reported=motion.speed_source == "reported",
        wander_mps=_wander(motion, time_s, position, motion.speed_mps[rows]),
        step_m=float(np.quantile(steps, 0.02)) * _METRES_PER_DEGREE if len(steps) > 2 else 0.0,
    )


def _wander(motion: Motion, time_s: FloatArray, position: FloatArray, speed: FloatArray) -> float:
    """Return how fast positions move over two seconds while the machine stands. [m/s]

    White noise of the positions, which the filter averages away, is taken off.
    """
    squares: list[FloatArray] = []
    for first, stop in runs_of(speed < _STAND_MPS):
        if time_s[stop - 1] - time_s[first] < _STAND_S:
            continue
        inside = slice(first, stop)
        second = np.unique(np.floor(time_s[inside] - time_s[first]), return_inverse=True)[1]
        count = np.bincount(second)
        east, north, at = (
            (np.bincount(second, values) / count)[_EDGE_S:-_EDGE_S]
            for values in (*position[inside].T, time_s[inside])
        )
        if len(at) < 5:
            continue
        count, span = count[_EDGE_S:-_EDGE_S], at[2:] - at[:-2]
        square = ((east[2:] - east[:-2]) / span) ** 2 + ((north[2:] - north[:-2]) / span) ** 2
        noise = motion.noise.position_white_m**2 * (1.0 / count[2:] + 1.0 / count[:-2])
        squares.append(square - 2.0 * noise / span**2)
    if not squares:
        return _UNKNOWN_WANDER_MPS
    return float(np.sqrt(max(float(np.concatenate(squares).mean()), 0.0)))


@dataclass(frozen=True)
class Projection:
    """The fixes around one end of a reverse along the heading; arrays of shape (m,).

    time_s : of the fixes that the filter believed. [s]
    way_m : seen way since the first of them, forward positive. [m]
    speed_mps : reported, forward positive; NaN where none. [m/s]
    crawling : whether that speed only says "slow"; it is then 0.
    path_time_s, path_mps : shape (k,), the fitted path and its speed along the heading.
    white_m, drift_mps, white_mps, slow_mps : the receiver's noise, white and slow, of positions and
        of the reported speed.
    walk_m : what positions walk by themselves in a second. [m]
    """

    time_s: FloatArray
    way_m: FloatArray
    speed_mps: FloatArray
    crawling: BoolArray
    path_time_s: FloatArray
    path_mps: FloatArray
    white_m: float
    drift_mps: float
    white_mps: float
    slow_mps: float
    walk_m: float


def projected(
    motion: Motion, readings: Readings, steps: Steps, backing: BoolArray, span: Span
) -> Projection:
    """Return the fixes of a span inside one piece, laid along the heading.

    ``backing`` says for each step whether the machine went backwards there.
    """
    start_s, end_s = span
    path = fitted(motion, start_s, end_s, _FINE_S)
    time_s, place = path.time_s, path.position_m[:, :, 0]
    ahead = _headings(path.velocity_mps[:, :, 0], time_s, steps, backing)
    # The believed position slides with the drift, as the fixes do, so it is followed, not speed.
    between = 0.5 * (ahead[1:] + ahead[:-1])
    way = np.concatenate([[0.0], np.cumsum((np.diff(place, axis=0) * between).sum(axis=1))])

    inside = (readings.time_s >= start_s - 1e-6) & (readings.time_s <= end_s + 1e-6)
    at_s = readings.time_s[inside]
    unit = _at(at_s, time_s, ahead)
    unit /= np.hypot(unit[:, 0], unit[:, 1])[:, None]
    beside = readings.position_m[inside] - _at(at_s, time_s, place)
    speed = (readings.velocity_mps[inside] * unit).sum(axis=1)
    told = readings.speed_mps[inside]
    # Below a crawl a course that is blank or repeats itself says nothing of the sign.
    repeats = np.diff(readings.velocity_mps[inside], axis=0, prepend=np.nan)
    crawling = (told < CRAWL_MPS) & (np.isnan(speed) | (repeats == 0.0).all(axis=1))
    noise = motion.noise
    return Projection(
        time_s=at_s,
        way_m=np.interp(at_s, time_s, way) + (beside * unit).sum(axis=1),
        speed_mps=np.where(crawling, 0.0, speed),
        crawling=crawling,
        path_time_s=time_s,
        path_mps=(path.velocity_mps[:, :, 0] * ahead).sum(axis=1),
        white_m=max(noise.position_white_m, _LEAST_M),
        drift_mps=noise.drift_mps,
        white_mps=noise.speed_white_mps or np.inf,
        slow_mps=noise.slow_speed_mps or 0.0,
        walk_m=noise.position_walk_m,
    )


def _headings(
    velocity: FloatArray, time_s: FloatArray, steps: Steps, backing: BoolArray
) -> FloatArray:
    """Return where the nose points at every instant, shape (k, 2), turning evenly in between."""
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    sure = speed > np.maximum(
        _MOVING_MPS, _MOVING_SD * np.interp(time_s, steps.time_s, steps.sd_mps)
    )
    if not sure.any():
        sure = speed >= speed.max()
    back = np.interp(time_s, steps.time_s, backing.astype(np.float64)) > 0.5
    course = np.arctan2(velocity[:, 0], velocity[:, 1]) + np.pi * back
    heading = np.interp(time_s, time_s[sure], np.unwrap(course[sure]))
    return np.stack([np.sin(heading), np.cos(heading)], axis=1)


def _at(at_s: FloatArray, time_s: FloatArray, values: FloatArray) -> FloatArray:
    return np.stack([np.interp(at_s, time_s, values[:, axis]) for axis in (0, 1)], axis=1)
