"""The standing start: when speed left zero, between fixes, and the paths that go with it.

The filter's own model lets a machine at rest creep and rounds the corner at which it moves off, so
a threshold on its speed comes late by what the rounding and the threshold cost. Here the corner is
in the model: velocity zero up to an unknown instant, then an acceleration that begins at zero and
grows freely. Everything else (noise, slow errors) is the filter's. Each candidate instant gives a
Gaussian model of the fixes around; its evidence weighs it, and paths are drawn from the mixture.
Derivation: DEVELOPERS.md, "The standing start".
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ridelog.filtering.chain import Chain, Solution, Weights
from ridelog.filtering.easing import Easing, Fall, easing_of_start
from ridelog.filtering.motion import Motion, Paths
from ridelog.filtering.posterior import Posterior, interpolated
from ridelog.filtering.sightings import CRAWL_MPS, CRAWL_SD_MPS
from ridelog.flags import UNUSABLE
from ridelog.track import BoolArray, FloatArray, IntArray

# A hand opens a throttle, and a controller lets the current rise, within some tenths of a second,
# gently at first: common practice, no source. Length of both parts, and by how much acceleration
# may have grown at the end of each (after the second: the pull of a small machine, either way).
OPENING = ((0.15, 0.6), (0.25, 3.0))
# Hands differ, and what is too gentle to be seen shifts the start: a sixth of the usual opening.
UNSEEN_START_S = 0.06
# After that the pull changes slowly, as the drive's force falls with speed: about 0.5 m/s² in a
# second. A later corner keeps the intensity learnt there.
RUN_JERK = 0.25
_RUN_S = 2.5
# An electric drive pulls hardest from rest: its force never grows with speed. So the acceleration
# over the first part of a start is hardly ever below this share of that over the second, within
# this spread; a soft controller or hand may do otherwise, which keeps a tenth of the weight.
FIRST_S, SECOND_S = 0.6, 1.2
_PULL_SHARE, _PULL_SPREAD, _OTHERWISE = 1.0, 0.25, 0.1
_SPARE_DRAWS = 2
# "It stands": velocity, acceleration and jerk of a machine on its tyres; over a stand of some
# seconds this jerk adds no more than a centimetre a second.
_STILL_MPS, _STILL_MPS2, _STILL_JERK = 0.005, 0.002, 1.0e-6
# Candidates are this far apart, first and last; only those with some weight are looked at closely.
_COARSE_S, _FINE_S = 0.16, 0.05
_NEGLIGIBLE = 9.0
# A candidate this near a fix is moved onto it: shorter intervals cost digits.
_NEAREST_S = 0.02
# Instants without a fix give way within this of those of the start.
_ROOM_S = 0.12
# How much of the ride after the pull is solved along.
_AFTER_S = 4.0
_SEED = 20261126


@dataclass(frozen=True)
class StandingStart:
    """Draws of one standing start, every column with its own instant.

    start_s : shape (draws,), when the speed leaves zero. [s]
    paths : Paths
        Columns are draws of the posterior, all alike: no fitted path comes first.
    """

    start_s: FloatArray
    paths: Paths


@dataclass(frozen=True)
class _Candidate:
    start_s: float
    evidence: float
    solution: Solution


def draw_standing_start(
    motion: Motion,
    earliest_s: float,
    latest_s: float,
    end_s: float,
    *,
    draws: int,
    spacing_s: float = 0.05,
    fall: Fall | None = None,
) -> StandingStart | None:
    """Return draws of when a machine moved off and of its path from there.

    Parameters
    ----------
    motion : Motion
        The smoothed ride; its posterior must be the filter's own.
    earliest_s, latest_s : float
        The machine surely stood at the first and surely moved at the second. [s]
    end_s : float
        Up to where paths are wanted, inside the same piece. [s]
    draws : int
        Number of columns.
    spacing_s : float
        Grid of the paths. [s]
    fall : Fall, optional
        By how much acceleration falls with speed: ``easing.fall_of_pull``.

    Returns
    -------
    StandingStart or None
        None if too few fixes lie around to tell anything.

    Source
    ------
    Own derivation, written out in DEVELOPERS.md, "The standing start".
    """
    posterior = motion.posterior
    if not isinstance(posterior, Posterior):
        return None
    easing = easing_of_start(motion, earliest_s, end_s, fall)
    local = _Local(motion, posterior, earliest_s, end_s, easing)
    if local.n < 4:
        return None
    coarse = [local.candidate(t) for t in np.arange(earliest_s, latest_s + 1e-9, _COARSE_S)]
    best = max(c.evidence for c in coarse)
    likely = [c.start_s for c in coarse if c.evidence > best - _NEGLIGIBLE]
    fine_s = np.arange(
        max(earliest_s, likely[0] - _COARSE_S),
        min(latest_s, likely[-1] + _COARSE_S) + 1e-9,
        _FINE_S,
    )
    fine = [local.candidate(t) for t in fine_s]
    random = np.random.default_rng([_SEED, draws, int(1000.0 * max(earliest_s, 0.0))])
    evidence = np.array([c.evidence for c in fine])
    owner = _systematic(np.exp(evidence - evidence.max()), _SPARE_DRAWS * draws, random)
    count = max(2, round((end_s - earliest_s) / spacing_s) + 1)
    grid = np.linspace(earliest_s, end_s, count)
    chosen, number = np.unique(owner, return_counts=True)
    parts = [
        local.drawn(fine[c], int(n), random, grid) for c, n in zip(chosen, number, strict=True)
    ]
    start_s = np.concatenate(
        [np.full(n, fine[c].start_s) for c, n in zip(chosen, number, strict=True)]
    )
    velocity = np.concatenate([part.velocity_mps for part in parts], axis=2)
    kept = _systematic(_plausibility(grid, velocity, start_s), draws, random)
    shift_s = UNSEEN_START_S * random.standard_normal(draws)
    return StandingStart(
        start_s=np.clip(start_s[kept] + shift_s, earliest_s, latest_s),
        paths=Paths(
            grid,
            np.concatenate([part.position_m for part in parts], axis=2)[:, :, kept],
            velocity[:, :, kept],
            np.concatenate([part.acceleration_mps2 for part in parts], axis=2)[:, :, kept],
        ),
    )


def _systematic(weight: FloatArray, count: int, random: np.random.Generator) -> IntArray:
    """Return indices drawn by weight, evenly spaced in probability: fewer show the same spread."""
    at = (np.arange(count) + random.random()) / count
    total = np.cumsum(weight) / weight.sum()
    return np.searchsorted(total, np.minimum(at, 1.0 - 1e-12)).astype(np.int64)


def _plausibility(grid_s: FloatArray, velocity: FloatArray, start_s: FloatArray) -> FloatArray:
    """Return the weight of each drawn start by how its pull goes on, shape (k,)."""
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    spacing = grid_s[1] - grid_s[0]
    column = np.arange(len(start_s))

    def after(delay_s: float) -> FloatArray:
        place = np.rint((start_s + delay_s - grid_s[0]) / spacing).astype(np.int64)
        found: FloatArray = speed[np.minimum(place, len(grid_s) - 1), column]
        return found

    early, late = after(FIRST_S), after(FIRST_S + SECOND_S)
    # While the throttle opens, half of that time is lost.
    first = early / (FIRST_S - 0.5 * sum(length for length, _ in OPENING))
    second = np.maximum((late - early) / SECOND_S, 0.1)
    share = ndtr((first / second - _PULL_SHARE) / _PULL_SPREAD)
    return _OTHERWISE + (1.0 - _OTHERWISE) * np.asarray(share)


class _Local:
    """The fixes around one start, and the model of it for any instant of starting."""

    def __init__(
        self,
        motion: Motion,
        posterior: Posterior,
        earliest_s: float,
        end_s: float,
        easing: Easing | None,
    ) -> None:
        whole = posterior.chain
        first, last = posterior.reach(earliest_s, end_s, 0.0, _AFTER_S)
        stop = last + 1
        self.n = stop - first
        self._time_s = whole.time_s[first:stop]
        weights = posterior.sharp
        centre = np.nanmean(whole.position_m[first:stop], axis=0)
        self._centre = centre
        self._position = whole.position_m[first:stop] - centre
        self._velocity = whole.velocity_mps[first:stop].copy()
        self._position_weight = weights.position[first:stop]
        self._velocity_weight = weights.velocity[first:stop].copy()
        self._crawl = np.zeros(self.n)
        self._run_jerk = max(RUN_JERK, easing.jerk if easing else 0.0)
        self._jerk = np.maximum(weights.jerk[first : stop - 1], RUN_JERK)
        self._steps = whole.steps[first : stop - 1]
        self._drift = weights.drift[first : stop - 1]
        self._slow_sd = weights.slow_sd
        self._drift_time_s = whole.drift_time_s
        self._end_s = end_s
        self._seen = np.isfinite(self._position[:, 0])
        self._easing = easing
        if whole.d == 5:
            self._take_slow_readings(motion, end_s)

    def _take_slow_readings(self, motion: Motion, end_s: float) -> None:
        """Let reported speeds below a crawl say more than "slow", along the course moved off to.

        The length of a velocity of noise alone is positive, so its usual square is taken off.
        A receiver that says 0 for every reading of a stand holds small speeds back: then a slow
        reading stays as wide as the crawl.
        """
        track = motion.track
        speed = np.full(self.n, np.nan)
        rows = np.flatnonzero(
            ((track.flags & np.uint32(UNUSABLE)) == 0) & np.isfinite(track.speed_mps)
        )
        place = np.searchsorted(self._time_s, track.time_s[rows] - 1e-6)
        inside = (place < self.n) & (track.time_s[rows] >= self._time_s[0] - 1e-6)
        rows, place = rows[inside], place[inside]
        same = np.abs(self._time_s[place] - track.time_s[rows]) < 1e-6
        speed[place[same]] = track.speed_mps[rows[same]]
        slow = np.isfinite(speed) & (speed < CRAWL_MPS)
        away = np.isfinite(self._velocity[:, 0]) & (self._time_s <= end_s)
        usual = self._velocity_weight[self._velocity_weight > 0]
        if not slow.any():
            return
        if np.mean(speed[slow] < 0.005) > 0.5 or not len(usual) or not away.any():
            self._crawl[slow] = CRAWL_SD_MPS**-2
            return
        noise_var = 1.0 / float(np.median(usual))
        length = np.sqrt(np.maximum(speed[slow] ** 2 - 2.0 * noise_var, 0.0))
        course = self._velocity[away][:3].sum(axis=0)
        course /= max(float(np.hypot(*course)), 1e-9)
        self._velocity[slow] = length[:, None] * course
        self._velocity_weight[slow] = 1.0 / noise_var

    def candidate(self, start_s: float) -> _Candidate:
        """Return the model of a start at an instant, with the evidence for it."""
        nearest = int(np.argmin(np.abs(self._time_s - start_s)))
        if abs(self._time_s[nearest] - start_s) < _NEAREST_S:
            start_s = float(self._time_s[nearest])
        chain, weights = self._model(start_s)
        solution = Solution(chain, weights)
        evidence = solution.log_evidence()
        if self._easing is not None:
            # What was seen less the departure differs between candidates: so does its own length.
            evidence -= 0.5 * float(
                np.sum(weights.position[:, None] * np.nan_to_num(chain.position_m) ** 2)
                + np.sum(weights.velocity[:, None] * np.nan_to_num(chain.velocity_mps) ** 2)
            )
        return _Candidate(start_s, evidence, solution)

    def _departure(self, time_s: FloatArray, start_s: float) -> FloatArray:
        """Return by how much a start falls short of constant acceleration, shape (n, 3, 2)."""
        if self._easing is None:
            return np.zeros((len(time_s), 3, 2))
        opened_s = start_s + sum(length for length, _ in OPENING)
        return self._easing.departure(time_s, opened_s)

    def _model(self, start_s: float) -> tuple[Chain, Weights]:
        """Return chain and weights with the start as an instant of its own."""
        time_s = self._time_s
        extra = start_s + np.cumsum([0.0, *(length for length, _ in OPENING)])
        away = np.abs(time_s[:, None] - extra).min(axis=1)
        kept = self._seen | (away >= _ROOM_S)
        kept[[0, -1]] = True
        extra = extra[np.abs(time_s[kept][:, None] - extra).min(axis=0) >= _NEAREST_S]
        merged = np.sort(np.concatenate([time_s[kept], extra]))
        home = np.searchsorted(merged, time_s[kept])

        def spread(values: FloatArray, empty: float) -> FloatArray:
            out = np.full((len(merged), *values.shape[1:]), empty)
            out[home] = values[kept]
            return out

        middle = 0.5 * (merged[1:] + merged[:-1])
        owner = np.clip(np.searchsorted(time_s, middle) - 1, 0, self.n - 2)
        jerk = self._jerk[owner].copy()
        running = middle < min(start_s + _RUN_S, self._end_s)
        jerk[running] = self._run_jerk
        open_s = start_s
        for length, growth in OPENING:
            jerk[(middle >= open_s) & (middle < open_s + length)] = growth**2 / length
            open_s += length
        # An interval of a few hundredths of a second would cost digits at so low a jerk.
        short = np.maximum(0.1 / np.diff(merged), 1.0)
        jerk = np.where(middle < start_s, _STILL_JERK * short**4, jerk)
        steps = np.zeros(len(merged) - 1, dtype=bool)
        steps[home[1:] - 1] = self._steps[np.flatnonzero(kept)[1:] - 1]
        steps = _anchored(steps, spread(self._position_weight, 0.0) > 0.0)
        departure = self._departure(merged, start_s)
        chain = Chain(
            merged,
            spread(self._position, np.nan) - departure[:, 0],
            spread(self._velocity, np.nan) - departure[:, 1],
            np.zeros(len(merged) - 1, dtype=bool),
            steps,
            self._drift_time_s,
        )
        # Rest is said once, at the beginning; the least jerk keeps it up to the start.
        still, cruise = spread(self._crawl, 0.0), np.zeros(len(merged))
        still[0] += _STILL_MPS**-2
        cruise[0] += _STILL_MPS2**-2
        return chain, Weights(
            jerk=jerk,
            position=spread(self._position_weight, 0.0),
            velocity=spread(self._velocity_weight, 0.0),
            still=still,
            cruise=cruise,
            drift=self._drift[owner],
            slow_sd=self._slow_sd,
        )

    def drawn(
        self, chosen: _Candidate, number: int, random: np.random.Generator, grid_s: FloatArray
    ) -> Paths:
        """Return draws of the path for one instant of starting."""
        solution = chosen.solution
        error = solution.factor.draw(random, 2 * number)[:, :4]
        both = np.stack([error[:, :, :number], error[:, :, number:]], axis=2)
        states = solution.states[:, :4, :, None] + both
        departure = self._departure(solution.chain.time_s, chosen.start_s)
        states[:, :3] += departure[:, :, :, None]
        states[:, 0] += self._centre[:, None]
        return interpolated(solution.chain.time_s, states, grid_s)


def _anchored(steps: BoolArray, seen: BoolArray) -> BoolArray:
    """Return steps of position without those that would leave a stretch without any position.

    Between two steps nothing but its own fixes holds a stretch in place: one whose positions are
    all rejected would float, and the equations would have no solution. It is tied to the stretch
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
