"""The standing start: when speed left zero, between fixes, and the paths that go with it.

The corner at which a machine moves off is in the model, at an unknown instant. Each candidate gives
a Gaussian model of the fixes around; its evidence weighs it, and paths are drawn from the mixture.
Derivation: METHOD.md, standing_start (1) to (3).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.core.compiled import routine
from ridelog.core.interval import evenly_chosen, systematic
from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.curves import interpolated
from ridelog.filtering.motion import Motion, Paths
from ridelog.filtering.posterior import Posterior, noise_of
from ridelog.filtering.standing_start.acceleration_decay import AccelerationDecay, decay_of_start
from ridelog.filtering.standing_start.models import (
    OPENING_ENDS_S,
    OPENINGS,
    StartModels,
    Starts,
)

_ndtr = routine("scipy.special", "ndtr", "scipy.special._special_ufuncs")
# A shift of the start that no fix tells from another opening: standing_start (2).
UNSEEN_START_S = 0.077
# How many throttles open by hand, how many by a controller's ramp: standing_start (1).
_OPENING_SHARES = np.array([0.75, 0.25])
# An electric drive pulls hardest from rest; a soft controller or hand may do otherwise, which keeps
# a tenth of the weight: standing_start (3).
FIRST_S, SECOND_S = 0.6, 1.2
_PULL_SHARE, _PULL_SPREAD, _OTHERWISE = 1.0, 0.25, 0.1
# Where more draws than this start at the first instant that is tried, the machine did not stand as
# was thought, or its place moved while it did: own choice, most of them; fewer are a late stop.
_NEVER_STOOD = 0.5
# Draws for each that is kept, standing_start (3): own choice; more cost time.
_SPARE_DRAWS = 2
# Candidates are this far apart, first and last; only those with some weight are looked at closely.
# The opening of the throttle blurs a start over 0.4 s, so that none lies unseen between two.
# Own choices; finer ones cost time.
_COARSE_S, _FINE_S = 0.32, 0.05
# All candidates' instants together, 4 kB each: where a start may lie within minutes, as between the
# sparse fixes of a slow logger, candidates stand further apart instead. Own choice.
_MOST_INSTANTS = 100_000
# In logarithms, derived: exp(-9) is one in 8000.
_NEGLIGIBLE = 9.0
# What was seen this long after the latest start hardly tells when it was: own choice.
_TELLS_S = 4.0
_SEED = 20261126


@dataclass(frozen=True)
class DrawnStart:
    """Draws of the states around one start.

    start_s : when it leaves zero. [s]
    opened_s : after how long its throttle is surely open. [s]
    time_s : shape (m,), instants. [s]
    mean : shape (m, 4, 2), the states about which they scatter.
    error : shape (m, d, 2, count), by how much.
    """

    start_s: float
    opened_s: float
    time_s: FloatArray
    mean: FloatArray
    error: FloatArray

    def paths(self, grid_s: FloatArray, columns: IntArray | None = None) -> Paths:
        """Return them, or some of them, on a grid."""
        error = self.error if columns is None else self.error[:, :, :, columns]
        return interpolated(self.time_s, self.mean, (error,), grid_s, bare=False)


@dataclass(frozen=True)
class StandingStart:
    """Draws of one standing start, every column with its own instant.

    start_s : shape (draws,), when the speed leaves zero. [s]
    paths : Paths
        Columns are draws of the posterior, all alike: no fitted path comes first.
    alike_s : standard deviation of what is alike in all starts of a machine, inside ``start_s``.
    """

    start_s: FloatArray
    paths: Paths
    alike_s: float


def candidates(earliest_s: float, latest_s: float, spacing_s: float, instants: int) -> FloatArray:
    """Return the starts to be tried, shape (c,), in s.

    They are ``spacing_s`` apart, or further if models of so many instants each would be too large
    together.
    """
    sparse_s = (latest_s - earliest_s) * instants / _MOST_INSTANTS
    return np.arange(earliest_s, latest_s + 1e-9, max(spacing_s, sparse_s))


def draw_standing_start(
    motion: Motion,
    earliest_s: float,
    latest_s: float,
    end_s: float,
    *,
    draws: int,
    spacing_s: float = 0.05,
    decay: AccelerationDecay | None = None,
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
    decay : AccelerationDecay, optional
        By how much acceleration falls with speed: ``acceleration_decay_of``.

    Returns
    -------
    StandingStart or None
        None if too few fixes lie around to tell anything, or they tell that it did not stand.

    Source
    ------
    Own derivation: standing_start (1) to (7).
    """
    posterior = motion.posterior
    if not isinstance(posterior, Posterior):
        return None
    start_decay = decay_of_start(motion, earliest_s, end_s, decay)
    models = StartModels(motion, posterior, earliest_s, latest_s, end_s, start_decay)
    if models.n < 4:
        return None
    tried = candidates(earliest_s, latest_s, _COARSE_S, models.n)
    by_hand = np.zeros(len(tried), dtype=np.int64)
    coarse = models.solved(tried, by_hand, until_s=latest_s + _TELLS_S)
    likely = coarse.start_s[coarse.evidence > coarse.evidence.max() - _NEGLIGIBLE]
    step_s = float(tried[1] - tried[0]) if len(tried) > 1 else _COARSE_S
    tried = candidates(
        max(earliest_s, float(likely[0]) - step_s),
        min(latest_s, float(likely[-1]) + step_s),
        _FINE_S,
        len(OPENINGS) * models.n,
    )
    # Openings of one instant side by side, so that draws come in the order of their starts.
    opening = np.tile(np.arange(len(OPENINGS)), len(tried))
    fine = models.solved(np.repeat(tried, len(OPENINGS)), opening)
    random = np.random.default_rng([_SEED, draws, round(1000.0 * max(earliest_s, 0.0))])
    odds = _OPENING_SHARES[opening] * np.exp(fine.evidence - fine.evidence.max())
    owner = systematic(odds, _SPARE_DRAWS * draws, random)
    # Each column has its own noise whichever start it belongs to: a start that is likelier by a
    # hair then moves at most a column, and that by the step between two starts.
    noise = noise_of(random, int(np.diff(fine.edges).max()), fine.solution.space.d, 2 * len(owner))
    noise = noise.reshape(*noise.shape[:2], 2, len(owner))
    chosen, first = np.unique(owner, return_index=True)
    drawn = [
        draw_start(fine, number, columns, end_s)
        for number, columns in zip(chosen, np.split(noise, first[1:], axis=3), strict=True)
    ]
    plausible = np.concatenate([_plausibility(one, end_s) for one in drawn])
    kept = evenly_chosen(plausible, draws)
    grid = np.linspace(earliest_s, end_s, max(2, round((end_s - earliest_s) / spacing_s) + 1))
    start_s = fine.start_s[owner][kept]
    if np.mean(start_s == fine.start_s[0]) > _NEVER_STOOD:
        return None
    # How the throttle opens, by hand or by a ramp, is alike in all starts.
    apart = [start_s[opening[owner][kept] == each] for each in range(len(OPENINGS))]
    unseen = sum(
        len(each) * float(each.mean() - start_s.mean()) ** 2 for each in apart if len(each)
    )
    alike_s = float(np.hypot(UNSEEN_START_S, np.sqrt(unseen / draws)))
    start_s = start_s + UNSEEN_START_S * random.standard_normal(draws)
    return StandingStart(
        start_s=np.clip(start_s, earliest_s, latest_s),
        paths=_joined(drawn, kept, grid),
        alike_s=alike_s,
    )


def draw_start(starts: Starts, number: int, noise: FloatArray, until_s: float) -> DrawnStart:
    """Return draws of the states around one start of those whose models are solved.

    Parameters
    ----------
    starts : Starts
        The solved models.
    number : int
        Which of them.
    noise : ndarray, shape (m, d, 2, count)
        Standard normal, for as many instants as any of the models has.
    until_s : float
        Up to when. Later instants count, but are not drawn. [s]
    """
    solution = starts.solution
    part = slice(int(starts.edges[number]), int(starts.edges[number + 1]))
    time_s = solution.space.time_s[part]
    mean = solution.states[part, :4].copy()
    mean[:, :3] += starts.departure[part]
    mean[:, 0] += starts.origin_m
    wanted = min(int(np.searchsorted(time_s, until_s)) + 1, len(time_s))
    return DrawnStart(
        start_s=float(starts.start_s[number]),
        opened_s=float(OPENING_ENDS_S[starts.opening[number], -1]),
        time_s=time_s[:wanted],
        mean=mean[:wanted],
        error=solution.draw(part, noise[: len(time_s)], wanted),
    )


def _joined(drawn: Sequence[DrawnStart], kept: IntArray, grid_s: FloatArray) -> Paths:
    """Return the kept ones of all draws, which rise, as paths on one grid."""
    first = np.cumsum([0, *(one.error.shape[3] for one in drawn)])
    parts = [
        one.paths(grid_s, kept[(kept >= begin) & (kept < stop)] - begin)
        for one, begin, stop in zip(drawn, first[:-1], first[1:], strict=True)
    ]

    def quantity(name: str) -> Callable[[], FloatArray]:
        return lambda: np.concatenate([getattr(part, name) for part in parts], axis=2)

    names = ("position_m", "velocity_mps", "acceleration_mps2")
    return Paths(grid_s, *(quantity(name) for name in names))


def _plausibility(drawn: DrawnStart, end_s: float) -> FloatArray:
    """Return the weight of each draw of a start by how its pull goes on, shape (k,)."""
    after = np.minimum(drawn.start_s + np.array([FIRST_S, FIRST_S + SECOND_S]), end_s)
    early, late = drawn.paths(after).speed_mps
    # While the throttle opens, half of that time is lost.
    opens_s = min(drawn.opened_s, FIRST_S)
    first = early / ((FIRST_S - 0.5 * opens_s) * opens_s / drawn.opened_s)
    second = np.maximum((late - early) / SECOND_S, 0.1)
    share = _ndtr((first / second - _PULL_SHARE) / _PULL_SPREAD)
    return _OTHERWISE + (1.0 - _OTHERWISE) * np.asarray(share)
