"""Braking: from which speed, over what distance, how hard, each from every drawn path."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ridelog.analysis.braking.corners import (
    Corner,
    falling_corner,
    find_slowings,
    resting_corner,
    rising_corner,
)
from ridelog.analysis.fitted import along_speed, fitted_paths, usable_between
from ridelog.core.crossings import at_own_times, cumulative_trapezoid
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, even_normals
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion, Paths

if TYPE_CHECKING:
    from ridelog.analysis.braking.stopping import StoppingDistance

# A stop ends in rest: slower than this, or than this many standard deviations of the speed. Own
# choice: above what receivers wander at a stand (some cm/s); a slower crawl counts as rest.
_REST_MPS, _REST_SD = 0.35, 2.0
# The straight lines on either side of a corner are fitted over this long, or this many intervals
# between fixes; the corner is looked for within this of where the deceleration is half there.
_LINE_S, _LINE_INTERVALS = 1.0, 2.5
_SEARCH_S, _SEARCH_INTERVALS = 0.6, 1.0
# Share of a braking that the line after brake-on may take up, and that before its end. Own choice:
# they overlap by a fifth, so that neither holds the corner of the other.
_LINE_SHARE = 0.6
# Mean fully developed deceleration is taken between these shares of the initial speed; from
# memory (UN R13-H, R78); StVZO § 41 (12) has the idea, not the shares.
_DEVELOPED_FROM, _DEVELOPED_TO = 0.8, 0.1
# An interval wider than its figure says nothing: own choice.
_WIDEST = 1.0
# No tyre brakes harder than this: skid tests of off-road tyres show a friction of 0.58-0.88 (FME
# report for The Oregonian (2007)), sports tyres have 1.0 (common practice, no source).
_MOST_MPS2 = 10.0
# Own choice: the fits place a corner between its instants; a finer one mostly takes time.
_SPACING_S = 0.05
# How long a brake builds up is hardly in the log, and about half of it is a shift of brake-on.
# Taken as at once one time in three, else 0.1 to 0.4 s (common practice, no source), it spreads by
# 0.14 s.
_UNSEEN_BRAKE_ON_S = 0.069
_SEED = 20261127
# The cautious draws spread every corner of the ride over two seconds. Of a braking's two corners
# more is known, since a line on either side locates them: the spread of distance and deceleration
# counts to this share. Chosen by the coverage on simulated rides, where positions five times a
# second and more carry more than the cautious draws grant, once a second less.
_SHARE_REPORTED, _SHARE_POSITIONS, _SHARE_SLOW_POSITIONS = 0.75, 0.6, 1.0
_SLOW_S = 0.3


@dataclass(frozen=True)
class Braking:
    """One braking, from the first touch of the brake to rest or to its release.

    Attributes
    ----------
    start_s, end_s : brake-on and rest (or release) on the fitted path. [s]
    from_mps, to_mps : speeds there; ``to_mps`` is 0 for a stop.
    distance_m, mean_decel_mps2, initial_speed_mps : with intervals.
    developed_decel_mps2 : mean fully developed deceleration, None unless the braking ends below a
        tenth of its initial speed.
    decel_columns : mean deceleration on every column of ``Paths``. [m/s²]
    """

    start_s: float
    end_s: float
    from_mps: float
    to_mps: float
    distance_m: Estimate
    mean_decel_mps2: Estimate
    initial_speed_mps: Estimate
    developed_decel_mps2: Estimate | None
    decel_columns: FloatArray = field(repr=False)

    @property
    def is_stop(self) -> bool:
        """Whether the machine came to rest."""
        return self.to_mps == 0.0


@dataclass(frozen=True)
class Brakings:
    """Every braking of a ride in time order; ``reason`` says why there is none.

    Attributes
    ----------
    each : in time order.
    reason : why there is none.
    stops_from_speed : those that end at rest and began well above walking pace for this ride.
    mean_mps2 : mean deceleration over them, None where nothing can be said.
    stopping : distance to rest from the ride's fastest second, None where that is not known.
    """

    each: tuple[Braking, ...]
    reason: str = ""
    stops_from_speed: tuple[Braking, ...] = ()
    mean_mps2: Estimate | None = None
    stopping: "StoppingDistance | None" = None

    @property
    def stops(self) -> tuple[Braking, ...]:
        """The brakings that end at rest."""
        return tuple(one for one in self.each if one.is_stop)

    @property
    def hardest(self) -> Braking | None:
        """The braking of greatest mean deceleration, None without any."""
        return max(self.each, key=lambda one: one.mean_decel_mps2.value, default=None)


def measure_brakings(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> Brakings:
    """Return the brakings of a ride with their figures.

    A braking counts from above walking pace on, if it takes off 1.5 m/s and more. Mean
    deceleration is (v1² - v2²) / (2 s) with the distance s from the first touch of the brake to
    rest or release, as the eKFV Annex, no. 2.2.4, has it for stops.
    """
    sd = motion.usual_speed_sd_mps
    found: list[Braking] = []
    doubtful = 0
    for path in fitted_paths(motion):
        for span in find_slowings(path, sd, motion.rate_hz, excluded):
            braking = _measured(motion, span, sd)
            if braking is None:
                doubtful += 1
            else:
                found.append(braking)
    if found:
        return Brakings(tuple(found))
    if doubtful:
        return Brakings((), "where the machine slowed down, the signal does not carry a figure")
    return Brakings((), "nowhere does the machine slow down harder than rolling freely may")


def mean_decel_mps2(
    from_mps: FloatArray | float, to_mps: FloatArray | float, distance_m: FloatArray | float
) -> FloatArray:
    """Return (v1² - v2²) / (2 s), the mean of a deceleration over the distance. [m/s²]

    Source
    ------
    METHOD.md of braking, (4). eKFV (BGBl. I 2019 p. 756), Annex, no. 2.2.4, for a stop (v2 = 0);
    StrabVO (Austria), Annex 1: a = V² / (25.92 s) with V in km/h, which is the same.
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    square = np.square(from_mps) - np.square(to_mps)
    result: FloatArray = square / (2.0 * np.where(distance > 0.0, distance, np.nan))
    return result


def _measured(motion: Motion, span: Span, sd_mps: float) -> Braking | None:
    start_s, end_s = span
    interval = 1.0 / motion.rate_hz
    line = max(_LINE_S, _LINE_INTERVALS * interval)
    search = max(_SEARCH_S, _SEARCH_INTERVALS * interval)
    if not usable_between(motion, start_s, end_s):
        return None
    paths = motion.paths(start_s - line, end_s + line, spacing_s=_SPACING_S)
    speed = along_speed(paths)
    time_s = paths.time_s
    density = _noise_density(motion, sd_mps)
    length = end_s - start_s
    after = min(line, _LINE_SHARE * length)

    near = _between(time_s, start_s - line, start_s + after)
    begin = falling_corner(
        time_s[near],
        speed[near],
        (start_s - search, start_s + min(search, 0.5 * after)),
        density,
    )
    near = _between(time_s, end_s - after, end_s + line)
    between = (end_s - min(search, 0.5 * after), end_s + search)
    rest = max(_REST_MPS, _REST_SD * sd_mps)
    later = (time_s >= end_s) & (time_s <= end_s + search)
    stops = bool(later.any()) and float(np.abs(speed[later, 0]).min()) < rest
    if stops:
        end = resting_corner(time_s[near], speed[near], between, density)
    else:
        end = rising_corner(time_s[near], speed[near], between, density)
    return _figures(paths, speed, begin, end, stops, _spread_share(motion))


def _figures(
    paths: Paths, speed: FloatArray, begin: Corner, end: Corner, stops: bool, share: float
) -> Braking | None:
    time_s = paths.time_s
    gone = cumulative_trapezoid(time_s, speed)
    distance = at_own_times(time_s, gone, end.at_s) - at_own_times(time_s, gone, begin.at_s)
    decel = _calmed(mean_decel_mps2(begin.speed_mps, end.speed_mps, distance), share)
    # What the build-up hides is distance at full speed: the same share of both figures.
    hidden = _UNSEEN_BRAKE_ON_S * float(begin.speed_mps[0]) / max(float(distance[0]), 1e-9)
    hidden_share = hidden * _cautious_spread(len(decel))
    decel = decel * (1.0 - hidden_share)
    distance = _calmed(distance, share) * (1.0 + hidden_share)
    initial = estimate(begin.speed_mps, smallest=0.0)
    length = estimate(distance, smallest=0.0)
    mean = estimate(decel)
    if initial is None or length is None or mean is None or mean.value <= 0.0:
        return None
    # A receiver that freezes looks like a braking, but a wide or an impossible one.
    if mean.high - mean.low > _WIDEST * mean.value or mean.value > _MOST_MPS2:
        return None
    return Braking(
        start_s=float(begin.at_s[0]),
        end_s=float(end.at_s[0]),
        from_mps=float(begin.speed_mps[0]),
        to_mps=0.0 if stops else max(0.0, float(end.speed_mps[0])),
        distance_m=length,
        mean_decel_mps2=mean,
        initial_speed_mps=initial,
        developed_decel_mps2=_developed(time_s, speed, gone, begin, share) if stops else None,
        decel_columns=decel,
    )


def _developed(
    time_s: FloatArray, speed: FloatArray, gone: FloatArray, begin: Corner, share: float
) -> Estimate | None:
    """Return the deceleration with the brake fully applied, METHOD.md of braking, (5)."""
    upper, lower = (part * begin.speed_mps for part in (_DEVELOPED_FROM, _DEVELOPED_TO))
    places = []
    for level in (upper, lower):
        below = (speed <= level) & (time_s[:, None] > begin.at_s)
        first = below.argmax(axis=0)
        column = np.arange(speed.shape[1])
        before = np.maximum(first - 1, 0)
        high, low = speed[before, column], speed[first, column]
        rest = np.clip((high - level) / np.maximum(high - low, 1e-9), 0.0, 1.0)
        at = gone[before, column] + rest * (gone[first, column] - gone[before, column])
        places.append(np.where(below.any(axis=0), at, np.nan))
    return estimate(_calmed(mean_decel_mps2(upper, lower, places[1] - places[0]), share))


def _between(time_s: FloatArray, first_s: float, last_s: float) -> slice:
    """Return the instants from one time to another, both included."""
    return slice(
        int(np.searchsorted(time_s, first_s, side="left")),
        int(np.searchsorted(time_s, last_s, side="right")),
    )


def _spread_share(motion: Motion) -> float:
    if motion.speed_source == "reported":
        return _SHARE_REPORTED
    return _SHARE_SLOW_POSITIONS if 1.0 / motion.rate_hz > _SLOW_S else _SHARE_POSITIONS


def _calmed(figures: FloatArray, share: float) -> FloatArray:
    """Return figures whose cautious draws spread to a share about their mean."""
    cautious = figures[1 + (len(figures) - 1) // 2 :]
    middle = float(np.nanmean(cautious)) if np.isfinite(cautious).any() else 0.0
    calmed = middle + share * (cautious - middle)
    return np.concatenate([figures[: len(figures) - len(cautious)], calmed])


def _cautious_spread(columns: int) -> FloatArray:
    """Return normal deviations for the cautious draws, 0 for the other columns, shape (k,)."""
    first = 1 + (columns - 1) // 2
    return np.concatenate([np.zeros(first), even_normals(columns - first, _SEED)])


def _noise_density(motion: Motion, sd_mps: float) -> float:
    """Return the noise of the speed as squared deviation times correlation time. [m²/s]"""
    white = motion.noise.speed_white_mps
    if white is not None:
        return max(white, 0.01) ** 2 / motion.rate_hz
    # What the smoother leaves of differenced positions lasts about as long as it smooths.
    return max(sd_mps, 0.01) ** 2
