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
from ridelog.filtering.curves import Weigh, curve, rise
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
# Half of the time in which each of ``models.OPENINGS`` opens, on average: what follows comes that
# much later than at a throttle that is open at once. Derived with standing_start (2). [s]
LOST_S = np.array([0.092, 0.3625])
# How many throttles open by hand, how many by a controller's ramp: standing_start (1).
OPENING_SHARES = np.array([0.75, 0.25])
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
class DrawnStarts:
    """Draws of the states around some starts, every column about one of them.

    start_s : shape (c,), when each leaves zero. [s]
    opened_s : shape (c,), after how long its throttle is surely open. [s]
    time_s : shape (m, c), instants, the last one repeated. [s]
    mean : shape (m, 4, 2, c), the states about which they scatter.
    errors : shape (m, d, 2, count), by how much.
    owner : shape (count,), which of the starts each column belongs to, rising.
    """

    start_s: FloatArray
    opened_s: FloatArray
    time_s: FloatArray
    mean: FloatArray
    errors: FloatArray
    owner: IntArray

    def paths(self, grid_s: FloatArray, columns: IntArray) -> Paths:
        """Return some of the columns on a grid."""
        return self._curves(grid_s, np.tile(grid_s[:, None], len(self.start_s)), columns)

    def speeds(self, at_s: FloatArray) -> FloatArray:
        """Return the speed of all columns at times of their own starts, (k, c) and (k, count)."""
        return self._curves(at_s[:, 0], at_s, np.arange(len(self.owner))).speed_mps

    def _curves(self, grid_s: FloatArray, at_s: FloatArray, columns: IntArray) -> Paths:
        left = np.empty(at_s.shape, dtype=np.int64)
        for number, (times, wanted) in enumerate(zip(self.time_s.T, at_s.T, strict=True)):
            # The last instant stands there again and again: an interval before the first of them.
            most = int(np.searchsorted(times, times[-1])) - 1
            left[:, number] = np.clip(np.searchsorted(times, wanted, side="right") - 1, 0, most)
        begin = np.take_along_axis(self.time_s, left, axis=0)
        span = np.take_along_axis(self.time_s, left + 1, axis=0) - begin
        share, own = (at_s - begin) / span, self.owner[columns]
        # Where the instant before each lies in a table of all instants, starts or columns.
        of_start = left * len(self.start_s) + np.arange(len(self.start_s))
        of_column = left[:, own] * len(columns) + np.arange(len(columns))

        def quantity(weigh: Weigh, value: int, rate: tuple[int, ...]) -> Callable[[], FloatArray]:
            def made() -> FloatArray:
                each = weigh(share.ravel(), span.ravel()).T.reshape(4, *share.shape)
                weights = np.ascontiguousarray(each)
                spread = [weight[:, own] for weight in weights]
                total = np.empty((len(share), 2, len(columns)))
                for axis in (0, 1):
                    mean = _weighed(self.mean[:, :, axis], of_start, weights, value, rate)
                    errors = self.errors[:, :, axis][:, :, columns]
                    total[:, axis] = _weighed(errors, of_column, spread, value, rate)
                    total[:, axis] += mean[:, own]
                return total

            return made

        return Paths(
            grid_s, quantity(curve, 0, (1, 3)), quantity(curve, 1, (2,)), quantity(rise, 1, (2,))
        )


def _weighed(
    numbers: FloatArray,
    place: IntArray,
    weights: Sequence[FloatArray] | FloatArray,
    value: int,
    rate: tuple[int, ...],
) -> FloatArray:
    """Return weighed sums of numbers (m, d, k) before and after each place, (g, k)."""
    values, rates = numbers[:, value].ravel(), numbers[:, rate[0]].ravel()
    for number in rate[1:]:
        rates = rates + numbers[:, number].ravel()
    count = numbers.shape[2]
    total: FloatArray = weights[0] * values[place]
    total += weights[1] * rates[place]
    total += weights[2] * values[count:][place]
    total += weights[3] * rates[count:][place]
    return total


@dataclass(frozen=True)
class StandingStart:
    """Draws of one standing start, every column with its own instant.

    start_s : shape (draws,), when the speed leaves zero. [s]
    paths : Paths
        Columns are draws of the posterior, all alike: no fitted path comes first.
    alike_s : standard deviation of what is alike in all starts of a machine, inside ``start_s``.
    opening : shape (draws,), the place of each one's opening among ``OPENINGS``.
    """

    start_s: FloatArray
    paths: Paths
    alike_s: float
    opening: IntArray


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
    odds = OPENING_SHARES[opening] * np.exp(fine.evidence - fine.evidence.max())
    owner = systematic(odds, _SPARE_DRAWS * draws, random)
    # Each column has its own noise whichever start it belongs to: a start that is likelier by a
    # hair then moves at most a column, and that by the step between two starts.
    noise = noise_of(random, int(np.diff(fine.edges).max()), fine.solution.space.d, 2 * len(owner))
    noise = noise.reshape(*noise.shape[:2], 2, len(owner))
    chosen, first = np.unique(owner, return_index=True)
    drawn = draw_starts(fine, chosen, first, noise, end_s)
    plausible = _plausibility(drawn, end_s)
    kept = evenly_chosen(plausible, draws)
    grid = np.linspace(earliest_s, end_s, max(2, round((end_s - earliest_s) / spacing_s) + 1))
    start_s = fine.start_s[owner][kept]
    if np.mean(start_s == fine.start_s[0]) > _NEVER_STOOD:
        return None
    # How the throttle opens, by hand or by a ramp, is alike in all starts.
    opened = opening[owner][kept]
    apart = [start_s[opened == each] for each in range(len(OPENINGS))]
    unseen = sum(
        len(each) * float(each.mean() - start_s.mean()) ** 2 for each in apart if len(each)
    )
    alike_s = float(np.hypot(UNSEEN_START_S, np.sqrt(unseen / draws)))
    start_s = start_s + UNSEEN_START_S * random.standard_normal(draws)
    return StandingStart(
        start_s=np.clip(start_s, earliest_s, latest_s),
        paths=drawn.paths(grid, kept),
        alike_s=alike_s,
        opening=opened,
    )


def draw_starts(
    starts: Starts, chosen: IntArray, first: IntArray, noise: FloatArray, until_s: float
) -> DrawnStarts:
    """Return draws of the states around some starts of those whose models are solved.

    Parameters
    ----------
    starts : Starts
        The solved models.
    chosen : ndarray of int, shape (k,)
        Which of them.
    first : ndarray of int, shape (k,)
        The first column of the noise of each, up to that of the next.
    noise : ndarray, shape (m, d, 2, count)
        Standard normal, for as many instants as any of the models has.
    until_s : float
        Up to when. Later instants count, but are not drawn. [s]
    """
    solution, begins = starts.solution, starts.edges[chosen]
    parts = [slice(a, b) for a, b in zip(begins, starts.edges[chosen + 1], strict=True)]
    times = [solution.space.time_s[part] for part in parts]
    wanted = np.array([min(int(np.searchsorted(t, until_s)) + 1, len(t)) for t in times])
    stops = np.append(first[1:], noise.shape[3])
    columns = [slice(int(a), int(b)) for a, b in zip(first, stops, strict=True)]
    errors = solution.draw_several(chosen, columns, noise, wanted)
    mean = solution.states[:, :4].copy()
    mean[:, :3] += starts.departure
    mean[:, 0] += starts.origin_m
    # Beyond the last instant that is wanted nothing is looked at.
    place = begins + np.minimum(np.arange(len(errors))[:, None], wanted - 1)
    return DrawnStarts(
        start_s=starts.start_s[chosen],
        opened_s=OPENING_ENDS_S[starts.opening[chosen], -1],
        time_s=solution.space.time_s[place],
        mean=np.moveaxis(mean[place], 1, 3),
        errors=errors,
        owner=np.repeat(np.arange(len(chosen)), stops - first),
    )


def _plausibility(drawn: DrawnStarts, end_s: float) -> FloatArray:
    """Return the weight of each draw by how its pull goes on, shape (count,)."""
    after = np.minimum(drawn.start_s + np.array([[FIRST_S], [FIRST_S + SECOND_S]]), end_s)
    early, late = drawn.speeds(after)
    # While the throttle opens, half of that time is lost.
    opened_s = drawn.opened_s[drawn.owner]
    opens_s = np.minimum(opened_s, FIRST_S)
    first = early / ((FIRST_S - 0.5 * opens_s) * opens_s / opened_s)
    second = np.maximum((late - early) / SECOND_S, 0.1)
    share = _ndtr((first / second - _PULL_SHARE) / _PULL_SPREAD)
    return _OTHERWISE + (1.0 - _OTHERWISE) * np.asarray(share)
