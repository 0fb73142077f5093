"""A speed display against the log: factor, offset and delay, and the rules it must meet."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ridelog.core.errors import NotEnoughDataError
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.track import FloatArray, Track
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.importer.display_readings import DisplayReadings

# The delays that are looked at, display (2): a display lags by up to a few seconds, and the clock
# of whoever noted it may run ahead. Own choice. [s]
_EARLIEST_S, _LATEST_S, _STEP_S = -3.0, 6.0, 0.01
# Each drawn path is fitted at so many delays, evenly over those that are twice as far from the best
# as any that the readings leave possible (display (2)), and at least so far. Own choices; between
# them the least sum of squares is that of a parabola. [1, 1, s]
_DELAYS, _POSSIBLE, _AROUND_S = 61, 1e-6, 0.25
# Paths are drawn with this spacing over the readings of so long at once, which fits into memory.
# Own choice. [s]
_SPACING_S, _AT_ONCE_S = 0.05, 60.0
# Below this a wheel's sensor misses turns and a display shows zero. Own choice. [m/s]
_SLOWEST_MPS = 1.0
_LEAST_READINGS = 5
# A display lags by about a second: an interval wider than this says that the readings tell no
# delay. Own choice. [s]
_WIDEST_S = 2.0
_KMH = SPEED_UNITS["km/h"]


@dataclass(frozen=True)
class DisplayPoint:
    """One reading beside the truth at the time that it stood for."""

    time_s: float
    shown_mps: float
    true_mps: Estimate


@dataclass(frozen=True)
class DisplayLimit:
    """A rule for displays; ``met`` is None where the readings do not decide it."""

    rule: str
    met: bool | None
    source: str


@dataclass(frozen=True)
class DisplayCheck:
    """What readings tell of a display: shown(t) = factor x true(t - delay) + offset.

    Attributes
    ----------
    factor, offset_mps, delay_s : None with a ``reason`` where the readings do not tell it.
    tested_mps : lowest and highest true speed of the readings. [m/s]
    unused : readings at a gap of the log, or below walking pace.
    """

    factor: Estimate
    offset_mps: Estimate
    delay_s: Estimate | None
    reason: str
    points: tuple[DisplayPoint, ...]
    tested_mps: tuple[float, float]
    unused: int
    limits: tuple[DisplayLimit, ...]


def check_display(
    motion: Motion, time_s: FloatArray, shown_mps: FloatArray, step_mps: float
) -> DisplayCheck:
    """Return how a display relates to a log.

    Parameters
    ----------
    motion : Motion
        Of the log.
    time_s, shown_mps : ndarray, shape (n,)
        When something was read off, since the log's first fix, and what. [s, m/s]
    step_mps : float
        To which the display rounds. [m/s]

    Raises
    ------
    NotEnoughDataError
        If fewer than five readings lie inside the log, or all at one speed.
    """
    delays_s = np.arange(_EARLIEST_S, _LATEST_S + 0.5 * _STEP_S, _STEP_S)
    rows = motion.known_rows
    known_s, speed = motion.track.time_s[rows], motion.speed_mps[rows]
    inside = _inside(motion, time_s)
    true = np.interp(time_s[:, None] - delays_s[None, :], known_s, speed)
    moving = inside & (np.median(true, axis=1) > _SLOWEST_MPS) & (shown_mps > _SLOWEST_MPS)
    if moving.sum() < _LEAST_READINGS:
        raise NotEnoughDataError(
            f"only {int(moving.sum())} of {len(time_s)} readings lie inside the log and above "
            "walking pace, so the display cannot be judged.",
            f"note at least {_LEAST_READINGS} readings at several speeds.",
        )
    true, shown, at_s = true[moving], shown_mps[moving], time_s[moving]
    fit = _Fit(true, shown, step_mps)
    best = int(np.argmin(fit.rss))
    tested = true[:, best]
    if np.ptp(tested) <= 2.0 * fit.sd_mps:
        raise NotEnoughDataError(
            "all readings were taken at one speed, so factor and offset cannot be told apart.",
            "note readings at low, middle and high speed.",
        )
    drawn = _drawn(motion, fit, at_s, shown, delays_s)
    factor, offset = drawn.factor, drawn.offset_mps
    delay = _estimate(delays_s[best], drawn.delay_s)
    reason = ""
    if delay.high - delay.low > _WIDEST_S:
        reason = "the readings were taken at steady speeds, which tell no delay"
    elif best in (0, len(delays_s) - 1):
        reason = "the display and the log are further apart in time than a display can lag"
    points = tuple(
        DisplayPoint(float(when), float(value), _estimate(float(each[best]), near))
        for when, value, each, near in zip(at_s, shown, true, drawn.true_mps, strict=True)
    )
    span = float(tested.min()), float(tested.max())
    return DisplayCheck(
        factor=_estimate(float(fit.slope[best]), factor),
        offset_mps=_estimate(float(fit.intercept[best]), offset),
        delay_s=None if reason else delay,
        reason=reason,
        points=points,
        tested_mps=span,
        unused=int(len(time_s) - moving.sum()),
        limits=_limits(span, factor, offset),
    )


def readings_of(second: Motion, track: Track) -> DisplayReadings:
    """Return the speeds of a second receiver as readings, one a second.

    NotEnoughDataError if the two logs have no common clock.
    """
    here, there = track.start_utc, second.track.start_utc
    if here is None or there is None:
        raise NotEnoughDataError(
            "one of the logs has no clock, so the two cannot be laid over each other.",
            "record both with times.",
        )
    rows = second.known_rows
    time_s = second.track.time_s[rows]
    kept = np.concatenate([[True], np.diff(np.floor(time_s)) > 0]) if len(rows) else rows > 0
    shift_s = (there - here).total_seconds()
    return DisplayReadings(time_s[kept] + shift_s, second.speed_mps[rows][kept], 0.0)


def right_circumference(set_m: float, check: DisplayCheck) -> Estimate:
    """Return the wheel's circumference with which a display would have the right factor. [m]

    A display multiplies turns by the circumference it was given: display (4).
    """
    low, high = set_m / check.factor.high, set_m / check.factor.low
    return Estimate(set_m / check.factor.value, low, high)


class _Fit:
    """The straight line through the readings at every delay: display (1) to (3)."""

    def __init__(self, true: FloatArray, shown: FloatArray, step_mps: float) -> None:
        n = len(shown)
        mean_true, mean_shown = true.mean(axis=0), float(shown.mean())
        spread = ((true - mean_true) ** 2).sum(axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            self.slope = ((true - mean_true) * (shown - mean_shown)[:, None]).sum(0) / spread
        self.slope = np.nan_to_num(self.slope, nan=1.0, posinf=1.0, neginf=1.0)
        self.intercept = mean_shown - self.slope * mean_true
        residual = shown[:, None] - self.intercept - self.slope * true
        self.rss = (residual**2).sum(axis=0)
        self.freedom = max(n - 3, 1)
        self.best = int(np.argmin(self.rss))
        best = residual[:, self.best]
        self._variance, self._step = float(best @ best) / self.freedom, step_mps
        # Readings at a steady speed share their rounding: fewer count than were noted, display (3).
        alike = float(best[1:] @ best[:-1]) / max(float(best @ best), 1e-30)
        self._alike = min(max(alike, 0.0), 0.9)
        self.sd_mps = self.reading_sd_mps(0.0)

    def reading_sd_mps(self, path_variance: float) -> float:
        """Return how far a reading scatters, the paths' own share of the residuals taken off."""
        # A display's rounding, GUM (JCGM 100:2008) F.2.2.1, is the least that a reading scatters.
        variance = max(self._variance - path_variance, self._step**2 / 12.0)
        return float(np.sqrt(variance * (1.0 + self._alike) / (1.0 - self._alike)))

    def possible(self, delays_s: FloatArray) -> FloatArray:
        """Return the delays at which drawn paths are fitted: display (2)."""
        excess = (self.rss - self.rss.min()) / (self.freedom * self.sd_mps**2)
        weight = (1.0 + excess) ** (-0.5 * (self.freedom + 1.0))
        left = delays_s[weight > _POSSIBLE]
        best_s = delays_s[self.best]
        low_s = min(best_s - 2.0 * (best_s - left[0]), best_s - _AROUND_S)
        high_s = max(best_s + 2.0 * (left[-1] - best_s), best_s + _AROUND_S)
        found: FloatArray = np.linspace(max(low_s, _EARLIEST_S), min(high_s, _LATEST_S), _DELAYS)
        return found


@dataclass(frozen=True)
class _DrawnDisplay:
    """Factor, offset and delay of every drawn path, and its speeds at the readings."""

    factor: FloatArray
    offset_mps: FloatArray
    delay_s: FloatArray
    true_mps: FloatArray


def _drawn(
    motion: Motion, fit: _Fit, at_s: FloatArray, shown: FloatArray, delays_s: FloatArray
) -> _DrawnDisplay:
    """Return what every cautious path says of the display, with readings scattered anew.

    The straight line needs sums over the readings alone, which are taken piece by piece.
    """
    random = np.random.default_rng(0)
    tried_s, best_s = fit.possible(delays_s), float(delays_s[fit.best])
    parts = [_speeds(motion, at_s[rows], tried_s, best_s) for rows in _at_once(motion, at_s)]
    draws = parts[0][0].shape[-1]
    there = np.concatenate([at_best for _, at_best in parts])
    own = float((there - there.mean(axis=1, keepdims=True)).var(axis=1).mean())
    sd_mps = fit.reading_sd_mps(fit.slope[fit.best] ** 2 * own)
    # Few readings know their own scatter badly: Student's t with as many degrees of freedom.
    scale = sd_mps * np.sqrt(fit.freedom / random.chisquare(fit.freedom, draws))
    again = shown[:, None] + scale * random.standard_normal((len(shown), draws))
    n, done = len(shown), 0
    sums = np.zeros((3, len(tried_s), draws))
    for speeds, _ in parts:
        rows = slice(done, done + speeds.shape[1])
        done = rows.stop
        sums[0] += speeds.sum(axis=1)
        sums[1] += np.einsum("dnk,dnk->dk", speeds, speeds)
        sums[2] += np.einsum("dnk,nk->dk", speeds, again[rows])
    mean_true, mean_shown = sums[0] / n, again.mean(axis=0)
    spread = np.maximum(sums[1] - n * mean_true**2, 1e-12)
    slope = (sums[2] - n * mean_true * mean_shown) / spread
    rss = ((again - mean_shown) ** 2).sum(axis=0) - slope**2 * spread
    column = np.arange(draws)
    least = np.argmin(rss, axis=0)
    inner = np.clip(least, 1, len(tried_s) - 2)
    before, middle, after = (rss[inner + step, column] for step in (-1, 0, 1))
    bend = before - 2.0 * middle + after
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.where((bend > 0.0) & (least == inner), 0.5 * (before - after) / bend, 0.0)
    factor = slope[least, column]
    return _DrawnDisplay(
        factor,
        mean_shown - factor * mean_true[least, column],
        tried_s[least] + shift * (tried_s[1] - tried_s[0]),
        there,
    )


def _at_once(motion: Motion, at_s: FloatArray) -> list[slice]:
    """Return the readings, those of one piece and of some time together."""
    piece = np.searchsorted([one.start_s for one in motion.pieces], at_s, side="right")
    group = np.floor((at_s - at_s.min()) / _AT_ONCE_S) + 1e6 * piece
    edges = [0, *(np.flatnonzero(np.diff(group)) + 1).tolist(), len(at_s)]
    return [slice(low, high) for low, high in pairwise(edges) if high > low]


def _speeds(
    motion: Motion, at_s: FloatArray, tried_s: FloatArray, best_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return the cautious paths' speeds at readings, shape (delays, n, draws), and at the best."""
    low_s, high_s = at_s.min() - tried_s[-1], at_s.max() - tried_s[0]
    piece = next(p for p in motion.pieces if p.start_s <= at_s[0] <= p.end_s)
    low_s, high_s = max(low_s, piece.start_s), min(high_s, piece.end_s)
    paths = motion.paths(low_s, high_s, spacing_s=_SPACING_S)
    drawn = paths.speed_mps[:, 1 + (paths.speed_mps.shape[1] - 1) // 2 :]

    def at(when_s: FloatArray) -> FloatArray:
        # Beyond the ends of the piece its last speed stands, as for the fitted path.
        place = np.interp(when_s, paths.time_s, np.arange(len(paths.time_s), dtype=float))
        row = np.minimum(place.astype(int), len(paths.time_s) - 2)
        part = (place - row)[:, None]
        speeds: FloatArray = drawn[row] * (1.0 - part) + drawn[row + 1] * part
        return speeds

    return np.stack([at(at_s - delay) for delay in tried_s]), at(at_s - best_s)


def _estimate(value: float, draws: FloatArray) -> Estimate:
    found = estimate(np.concatenate([[value], np.full(len(draws), value), draws]))
    assert found is not None  # every draw is a number
    return found


def _inside(motion: Motion, time_s: FloatArray) -> "np.ndarray":
    inside = np.zeros(len(time_s), dtype=bool)
    for piece in motion.pieces:
        inside |= (time_s >= piece.start_s) & (time_s <= piece.end_s)
    return inside


def _limits(
    span: tuple[float, float], factor: FloatArray, offset: FloatArray
) -> tuple[DisplayLimit, ...]:
    """Return the rules for displays and whether they are met at every speed that was tested."""
    true = np.linspace(*span, 41)[:, None]
    over = factor * true + offset - true
    low, high = np.quantile(over, (0.05, 0.95), axis=1)

    def met(most: FloatArray) -> bool | None:
        if (high < 0.0).any() or (low > most).any():
            return False
        return True if (low >= 0.0).all() and (high <= most).all() else None

    speeds = true[:, 0]
    return (
        DisplayLimit(
            "never below the true speed, and above it by at most a tenth and 4 km/h",
            met(0.1 * speeds + _KMH.to_mps(4.0)),
            "UN Regulation No. 39, paragraph 5.3",
        ),
        DisplayLimit(
            "never below the true speed, and above it by at most a tenth",
            met(0.1 * speeds),
            "eKFV, Annex 2, 2.1.4 (display used for tests of small electric vehicles)",
        ),
    )
