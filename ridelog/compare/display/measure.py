"""A speed display against the log: factor, offset and delay, and the rules it must meet."""

from dataclasses import dataclass

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
_EARLIEST_S, _LATEST_S, _STEP_S = -3.0, 6.0, 0.05
# Below this a wheel's sensor misses turns and a display shows zero. Own choice. [m/s]
_SLOWEST_MPS = 1.0
_LEAST_READINGS = 5
# A display lags by about a second: an interval wider than this says that the readings tell no
# delay. Own choice. [s]
_WIDEST_S = 2.0
_DRAWS = 400
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
    fit = _Fit(true, shown, step_mps, motion.usual_speed_sd_mps)
    best = int(np.argmin(fit.rss))
    tested = true[:, best]
    if np.ptp(tested) <= 2.0 * fit.sd_mps:
        raise NotEnoughDataError(
            "all readings were taken at one speed, so factor and offset cannot be told apart.",
            "note readings at low, middle and high speed.",
        )
    chosen, factor, offset = fit.drawn(_DRAWS)
    delay = _estimate(delays_s[best], delays_s[chosen])
    reason = ""
    if delay.high - delay.low > _WIDEST_S:
        reason = "the readings were taken at steady speeds, which tell no delay"
    elif best in (0, len(delays_s) - 1):
        reason = "the display and the log are further apart in time than a display can lag"
    points = tuple(
        DisplayPoint(
            float(when), float(value), _estimate(float(each[best]), each[chosen] + fit.common)
        )
        for when, value, each in zip(at_s, shown, true, strict=True)
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

    def __init__(
        self, true: FloatArray, shown: FloatArray, step_mps: float, log_sd_mps: float
    ) -> None:
        n = len(shown)
        mean_true, mean_shown = true.mean(axis=0), float(shown.mean())
        self._spread = ((true - mean_true) ** 2).sum(axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            self.slope = ((true - mean_true) * (shown - mean_shown)[:, None]).sum(0) / self._spread
        self.slope = np.nan_to_num(self.slope, nan=1.0, posinf=1.0, neginf=1.0)
        self.intercept = mean_shown - self.slope * mean_true
        residual = shown[:, None] - self.intercept - self.slope * true
        self.rss = (residual**2).sum(axis=0)
        self._mean_true, self._n, self._log_sd = mean_true, n, log_sd_mps
        best = residual[:, int(np.argmin(self.rss))]
        # A display's rounding, GUM (JCGM 100:2008) F.2.2.1, is the least that a reading scatters.
        variance = max(float(best @ best) / max(n - 3, 1), step_mps**2 / 12.0)
        # Readings at a steady speed share their rounding: fewer count than were noted, display (3).
        alike = float(best[1:] @ best[:-1]) / max(float(best @ best), 1e-30)
        alike = min(max(alike, 0.0), 0.9)
        self.sd_mps = float(np.sqrt(variance * (1.0 + alike) / (1.0 - alike)))

    def drawn(self, draws: int) -> tuple["np.ndarray", FloatArray, FloatArray]:
        """Return the number of the delay, factor and offset of each draw."""
        random = np.random.default_rng(0)
        freedom = max(self._n - 3, 1)
        # Few readings know their own scatter badly: Student's t with as many degrees of freedom.
        scale = self.sd_mps * np.sqrt(freedom / random.chisquare(freedom, draws))
        excess = (self.rss - self.rss.min()) / (freedom * self.sd_mps**2)
        weight = (1.0 + excess) ** (-0.5 * (freedom + 1.0))
        total = np.cumsum(weight / weight.sum())
        at = np.searchsorted(total, (np.arange(draws) + 0.5) / draws)
        at = random.permutation(np.minimum(at, len(total) - 1))
        spread = np.maximum(self._spread[at], 1e-12)
        slope = self.slope[at] + scale * random.standard_normal(draws) / np.sqrt(spread)
        middle = self.intercept[at] + self.slope[at] * self._mean_true[at]
        middle += scale * random.standard_normal(draws) / np.sqrt(self._n)
        # What all of the log's speeds share goes into the offset alone.
        self.common = self._log_sd * random.standard_normal(draws)
        return at, slope, middle - slope * self._mean_true[at] - slope * self.common


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
