"""The models of a standing start: the fixes around it, for many instants of starting at once.

Velocity is zero up to the start, then an acceleration that begins at zero and grows freely; noise
and slow errors are the filter's. The models of all instants that are tried stand one behind the
other in a single state space whose parts know nothing of each other: they are solved in one go.
Derivation: standing_start (1) and (2).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.observations import CRAWL_MPS, CRAWL_SD_MPS
from ridelog.filtering.posterior import Posterior
from ridelog.filtering.precisions import Precisions
from ridelog.filtering.standing_start.acceleration_decay import StartDecay
from ridelog.filtering.state_space import Solution, StateSpace

# How the throttle opens, by hand or as a controller's ramp, standing_start (1): length of the parts
# of each, and by how much acceleration may have grown in them; derived there. What that leaves
# open is ``paths.UNSEEN_START_S``. [s], [m/s²]
OPENINGS = (
    ((0.06, 0.6), (0.15, 3.0), (0.3, 0.74)),
    ((0.2, 0.89), (0.4, 1.64), (0.4, 0.66)),
)
# After that acceleration changes slowly, standing_start (1); a later corner keeps the intensity
# learnt there.
RUN_JERK = 0.25
# "It stands": velocity, acceleration and jerk of a machine on its tyres; over a stand of some
# seconds this jerk adds no more than a centimetre a second. Own choices.
_STILL_MPS, _STILL_MPS2, _STILL_JERK = 0.005, 0.002, 1.0e-6
# A receiver that lags by more has averaged over more than the throttle's opening. Own choice. [s]
_SMEARED_S = 0.2
# Beyond so many standard deviations a slow reading that stands out on both sides is a slip: own
# choice.
_SPIKE_SD = 3.0
# A candidate this near a fix is moved onto it: shorter intervals cost digits. Own choice,
# far below what is left open of a start.
_NEAREST_S = 0.02
# Instants without a fix give way within this of those of the start: own choice, half of what they
# stand apart.
_ROOM_S = 0.12
# How much of the ride after the pull is solved along. Own choice: more hardly tells of the start
# and costs time.
_AFTER_S = 4.0
# Derived from standing_start (1): where the parts of each opening begin and end.
OPENING_ENDS_S = np.array(
    [np.cumsum([0.0, *(length for length, _ in opening)]) for opening in OPENINGS]
)
_GROWTH_MPS2 = np.array([[growth for _, growth in opening] for opening in OPENINGS])


@dataclass(frozen=True)
class Starts:
    """The solved models of some starts, one behind the other.

    Attributes
    ----------
    start_s : shape (c,), when each of them leaves zero. [s]
    opening : shape (c,), the place of its opening among ``OPENINGS``.
    evidence : shape (c,), logarithm of the density of what was seen, less a constant.
    solution : Solution
    edges : shape (c + 1,), where each one's instants begin in it.
    departure : shape (n, 3, 2), how far each instant departs from constant acceleration.
    origin_m : shape (2,), what positions count from. [m]
    """

    start_s: FloatArray
    opening: IntArray
    evidence: FloatArray
    solution: Solution
    edges: IntArray
    departure: FloatArray
    origin_m: FloatArray


class StartModels:
    """The fixes around one start, and the models of it for any instants of starting."""

    def __init__(
        self,
        motion: Motion,
        posterior: Posterior,
        earliest_s: float,
        latest_s: float,
        end_s: float,
        start_decay: StartDecay | None,
    ) -> None:
        whole = posterior.space
        first, last = posterior.reach(earliest_s, end_s, 0.0, _AFTER_S)
        stop = last + 1
        self.n = stop - first
        self._time_s = whole.time_s[first:stop]
        precisions = posterior.sharp
        self._origin = np.nanmean(whole.position_m[first:stop], axis=0)
        self._position = whole.position_m[first:stop] - self._origin
        self._velocity = whole.velocity_mps[first:stop].copy()
        self._position_weight = precisions.position[first:stop]
        self._velocity_weight = precisions.velocity[first:stop].copy()
        self._crawl = np.zeros(self.n)
        self._run_jerk = max(RUN_JERK, start_decay.jerk if start_decay else 0.0)
        self._jerk = np.maximum(precisions.jerk[first : stop - 1], RUN_JERK)
        self._steps = whole.steps[first : stop - 1]
        self._drift = precisions.drift[first : stop - 1]
        every = np.broadcast_to(precisions.slow_sd, whole.n - 1)
        self._slow_sd, self._walk = every[first : stop - 1], precisions.walk
        self._slow_seen = np.broadcast_to(precisions.slow_seen, whole.n)[first:stop]
        self._drift_time_s = whole.drift_time_s
        self._latest_s, self._end_s = latest_s, end_s
        self._hard = bool(posterior.hard[first:stop].any())
        self._seen = np.isfinite(self._position[:, 0])
        self._start_decay = start_decay
        if whole.d == 5:
            self._take_slow_readings(motion, end_s)

    def _take_slow_readings(self, motion: Motion, end_s: float) -> None:
        """Let reported speeds below a crawl say more than "slow", along the course moved off to.

        The length of a velocity of noise alone is positive, so its usual square is taken off.
        A reading that neither those before nor those after reach says no more than "slow", too.
        They count when they belong, as the others do. A receiver that says 0 for every reading of a
        stand holds small speeds back, and one that lags smears the start: then a slow reading stays
        as wide as the crawl.
        """
        track = motion.track
        speed = np.full(self.n, np.nan)
        lag_s = motion.noise.lag_s
        first_s, last_s = self._time_s[0] + min(lag_s, 0.0), self._time_s[-1] + max(lag_s, 0.0)
        rows = motion.reported_between(first_s - 1e-6, last_s + 1e-6)
        said_s = track.time_s[rows]
        fixes = np.flatnonzero(np.isin(np.round(self._time_s, 6), np.round(said_s, 6)))
        if len(rows):
            speed[fixes] = np.interp(self._time_s[fixes] + lag_s, said_s, track.speed_mps[rows])
        slow = np.isfinite(speed) & (speed < CRAWL_MPS)
        away = np.isfinite(self._velocity[:, 0]) & (self._time_s <= end_s)
        usual = self._velocity_weight[self._velocity_weight > 0]
        if not slow.any():
            return
        late = abs(lag_s) > _SMEARED_S
        if np.mean(speed[slow] < 0.005) > 0.5 or not len(usual) or not away.any() or late:
            self._crawl[slow] = CRAWL_SD_MPS**-2
            return
        noise_var = 1.0 / float(np.median(usual))
        lone = slow & (_above_both_sides(speed) > _SPIKE_SD * noise_var**0.5)
        self._crawl[lone] = CRAWL_SD_MPS**-2
        slow &= ~lone
        length = np.sqrt(np.maximum(speed[slow] ** 2 - 2.0 * noise_var, 0.0))
        course = self._velocity[away][:3].sum(axis=0)
        course /= max(float(np.hypot(*course)), 1e-9)
        self._velocity[slow] = length[:, None] * course
        self._velocity_weight[slow] = 1.0 / noise_var

    def solved(self, start_s: FloatArray, opening: IntArray, until_s: float = np.inf) -> Starts:
        """Return the models of starts at some instants, with the evidence for each.

        Parameters
        ----------
        start_s : ndarray, shape (c,)
            Moved onto a fix if one is very near. [s]
        opening : ndarray of int, shape (c,)
            The place of each one's opening among ``OPENINGS``.
        until_s : float
            What was seen later is left out: it tells the path, but hardly the start. [s]
        """
        count = int(np.clip(np.searchsorted(self._time_s, until_s, side="right"), 4, self.n))
        time_s = self._time_s[:count]
        away = np.abs(time_s - start_s[:, None])
        nearest = away.argmin(axis=1)
        near = away[np.arange(len(start_s)), nearest] < _NEAREST_S
        start_s = np.where(near, time_s[nearest], start_s)
        ends_s = start_s[:, None] + OPENING_ENDS_S[opening]
        order, owner = self._merged(time_s, ends_s)
        space, precisions, departure = self._model(time_s, ends_s, opening, order, owner)
        edges = np.searchsorted(owner, np.arange(len(start_s) + 1))
        solution = Solution(space, precisions, orthogonal=self._hard, edges=edges)
        each = solution.log_evidences()
        if self._start_decay is not None:
            # What was seen less the departure differs between starts: so does its own length.
            each -= 0.5 * precisions.position * (np.nan_to_num(space.position_m) ** 2).sum(axis=1)
            each -= 0.5 * precisions.velocity * (np.nan_to_num(space.velocity_mps) ** 2).sum(axis=1)
        evidence = np.add.reduceat(each, edges[:-1])
        return Starts(start_s, opening, evidence, solution, edges, departure, self._origin)

    def _merged(self, time_s: FloatArray, ends_s: FloatArray) -> tuple[IntArray, IntArray]:
        """Return the instants of all models, and which model each belongs to, both shape (n,).

        Instants of the ride count from 0; after them come the instants of the start.
        """
        away = np.abs(time_s[:, None] - ends_s[:, None, :])
        kept = self._seen[: len(time_s)] | (away.min(axis=2) >= _ROOM_S)
        kept[:, [0, -1]] = True
        apart = np.where(kept[:, :, None], away, np.inf).min(axis=1) >= _NEAREST_S
        every = np.concatenate(
            [np.where(kept, time_s, np.inf), np.where(apart, ends_s, np.inf)], axis=1
        )
        order = np.argsort(every, axis=1, kind="stable")
        there = np.isfinite(np.take_along_axis(every, order, axis=1))
        return order[there], np.nonzero(there)[0]

    def _model(
        self,
        time_s: FloatArray,
        ends_s: FloatArray,
        opening: IntArray,
        order: IntArray,
        owner: IntArray,
    ) -> tuple[StateSpace, Precisions, FloatArray]:
        """Return state space, precisions and departure from even acceleration of all models."""
        n = len(time_s)
        fix = order < n
        since = np.concatenate([time_s, np.zeros(ends_s.shape[1])])[order]
        since[~fix] = ends_s[owner[~fix], order[~fix] - n]
        breaks = np.diff(owner) > 0

        def spread(values: FloatArray, empty: float) -> FloatArray:
            out = np.full((len(order), *values.shape[1:]), empty)
            out[fix] = values[order[fix]]
            return out

        middle = 0.5 * (since[1:] + since[:-1])
        began = ends_s[owner[:-1], 0]
        place = np.clip(np.searchsorted(time_s, middle) - 1, 0, n - 2)
        # Up to where it surely moved: else a start too early by so much would come by the corner at
        # which it truly moved off for nothing. And to the same instant whenever it starts: else an
        # early start would come by a later corner, as of a shift of gear, for nothing.
        running = middle < min(self._latest_s, self._end_s)
        jerk = np.where(running, self._run_jerk, self._jerk[place])
        grown = (_GROWTH_MPS2[opening] ** 2 / np.diff(ends_s, axis=1))[owner[:-1]]
        for part in range(grown.shape[1]):
            first_s, last_s = ends_s[owner[:-1], part : part + 2].T
            jerk = np.where((middle >= first_s) & (middle < last_s), grown[:, part], jerk)
        # An interval of a few hundredths of a second would cost digits at so low a jerk.
        short = np.maximum(0.1 / np.where(breaks, 1.0, np.diff(since)), 1.0)
        jerk = np.where(middle < began, _STILL_JERK * short**4, jerk)
        departure = np.zeros((len(order), 3, 2))
        if self._start_decay is not None:
            departure = self._start_decay.departure(since, ends_s[owner, -1])
        position_weight = spread(self._position_weight, 0.0)
        space = StateSpace(
            since,
            spread(self._position, np.nan) - departure[:, 0],
            spread(self._velocity, np.nan) - departure[:, 1],
            breaks,
            self._stepping(order, owner, position_weight > 0.0, n),
            self._drift_time_s,
        )
        # Rest is said once, at the beginning; the least jerk keeps it up to the start.
        still, cruise = spread(self._crawl, 0.0), np.zeros(len(order))
        still[space.first] += _STILL_MPS**-2
        cruise[space.first] += _STILL_MPS2**-2
        precisions = Precisions(
            jerk=jerk,
            position=position_weight,
            velocity=spread(self._velocity_weight, 0.0),
            still=still,
            cruise=cruise,
            drift=self._drift[place],
            slow_sd=self._slow_sd[place],
            walk=self._walk,
            slow_seen=spread(self._slow_seen, 1.0),
        )
        return space, precisions, departure

    def _stepping(self, order: IntArray, owner: IntArray, seen: BoolArray, count: int) -> BoolArray:
        """Return in which intervals of the models the receiver's position may step."""
        steps = np.zeros(len(order) - 1, dtype=bool)
        if not self._steps.any():
            return steps
        # The interval before an instant of the ride is the last part of the one it had there.
        later = np.flatnonzero(
            (order > 0) & (order < count) & np.append(False, owner[1:] == owner[:-1])
        )
        steps[later - 1] = self._steps[order[later] - 1]
        for number in range(int(owner[-1]) + 1):
            part = np.flatnonzero(owner == number)
            steps[part[:-1]] = _anchored(steps[part[:-1]], seen[part])
        return steps


def _anchored(steps: BoolArray, seen: BoolArray) -> BoolArray:
    """Return steps of position without those that would leave a span without any position.

    Between two steps nothing but its own fixes holds a span in place: one whose positions are
    all rejected would float, and the equations would have no solution. It is tied to the span
    before it, or to the one after it if it is the first.
    """
    kept = steps.copy()
    held = bool(seen[0])
    for index in range(len(kept)):
        if kept[index] and not held:
            kept[index] = False
        elif kept[index]:
            held = False
        held = held or bool(seen[index + 1])
    if not held and kept.any():
        kept[np.flatnonzero(kept)[-1]] = False
    return kept


def _above_both_sides(speed: FloatArray) -> FloatArray:
    """Return by how much each reading exceeds the lower of two on the higher of its sides.

    A machine that moves off is not there again with the next two readings, however hard it pulls.
    """
    known = np.flatnonzero(np.isfinite(speed))
    above = np.full(len(speed), -np.inf)
    if len(known) < 5:
        return above
    told = speed[known]
    before, after = np.minimum(told[:-4], told[1:-3]), np.minimum(told[3:-1], told[4:])
    above[known[2:-2]] = told[2:-2] - np.maximum(before, after)
    return above
