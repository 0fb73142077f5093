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

from ridelog.core.resampling import systematic
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion, Paths
from ridelog.filtering.posterior import Posterior
from ridelog.filtering.standing_start.acceleration_decay import AccelerationDecay, decay_of_start
from ridelog.filtering.standing_start.draw import DrawnStart, draw_starts
from ridelog.filtering.standing_start.models import OPENING, StartModels

# With the opening of one start in three taken as none and of two as 0.1 to 0.45 s, its standard
# deviation is 0.15 s; half of it is a shift of the start that no fix tells from another start.
UNSEEN_START_S = 0.07
# An electric drive pulls hardest from rest: its force never grows with speed. So the acceleration
# over the first part of a start is hardly ever below this share of that over the second, within
# this spread; a soft controller or hand may do otherwise, which keeps a tenth of the weight.
FIRST_S, SECOND_S = 0.6, 1.2
_PULL_SHARE, _PULL_SPREAD, _OTHERWISE = 1.0, 0.25, 0.1
_SPARE_DRAWS = 2
# Candidates are this far apart, first and last; only those with some weight are looked at closely.
# The opening of the throttle blurs a start over 0.4 s, so that none lies unseen between two.
_COARSE_S, _FINE_S = 0.32, 0.05
_NEGLIGIBLE = 9.0
# What was seen this long after the latest start hardly tells when it was.
_TELLS_S = 4.0
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
        None if too few fixes lie around to tell anything.

    Source
    ------
    Own derivation, written out in DEVELOPERS.md, "The standing start".
    """
    posterior = motion.posterior
    if not isinstance(posterior, Posterior):
        return None
    start_decay = decay_of_start(motion, earliest_s, end_s, decay)
    models = StartModels(motion, posterior, earliest_s, end_s, start_decay)
    if models.n < 4:
        return None
    coarse = models.solved(
        np.arange(earliest_s, latest_s + 1e-9, _COARSE_S), until_s=latest_s + _TELLS_S
    )
    likely = coarse.start_s[coarse.evidence > coarse.evidence.max() - _NEGLIGIBLE]
    fine = models.solved(
        np.arange(
            max(earliest_s, float(likely[0]) - _COARSE_S),
            min(latest_s, float(likely[-1]) + _COARSE_S) + 1e-9,
            _FINE_S,
        )
    )
    random = np.random.default_rng([_SEED, draws, int(1000.0 * max(earliest_s, 0.0))])
    odds = np.exp(fine.evidence - fine.evidence.max())
    owner = systematic(odds, _SPARE_DRAWS * draws, random)
    chosen, number = np.unique(owner, return_counts=True)
    drawn = draw_starts(fine, chosen, number, random, end_s, FIRST_S + SECOND_S)
    plausible = np.concatenate([_plausibility(one, end_s) for one in drawn.each])
    kept = systematic(plausible, draws, random)
    grid = np.linspace(earliest_s, end_s, max(2, round((end_s - earliest_s) / spacing_s) + 1))
    start_s = fine.start_s[owner][kept] + UNSEEN_START_S * random.standard_normal(draws)
    return StandingStart(
        start_s=np.clip(start_s, earliest_s, latest_s),
        paths=drawn.paths(grid, kept),
    )


def _plausibility(drawn: DrawnStart, end_s: float) -> FloatArray:
    """Return the weight of each draw of a start by how its pull goes on, shape (k,)."""
    after = np.minimum(drawn.start_s + np.array([FIRST_S, FIRST_S + SECOND_S]), end_s)
    early, late = drawn.paths(after).speed_mps
    # While the throttle opens, half of that time is lost.
    first = early / (FIRST_S - 0.5 * sum(length for length, _ in OPENING))
    second = np.maximum((late - early) / SECOND_S, 0.1)
    share = ndtr((first / second - _PULL_SHARE) / _PULL_SPREAD)
    return _OTHERWISE + (1.0 - _OTHERWISE) * np.asarray(share)
