"""The acceleration curve: how hard the machine pulls at each speed, over all runs of a ride."""

from dataclasses import dataclass, field

import numpy as np

from ridelog.analysis.acceleration.runs import GAIN_MPS, RunDraws
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.quantity import both_units
from ridelog.core.track import BoolArray, FloatArray

# Acceleration at a speed is taken from the time between this much below and this much above it.
# Own choice: a narrower step is timed worse, a wider one rounds a bend of the curve off.
HALF_STEP_MPS = 0.5
# The first whole step above opening and half a step, 0.75 + 0.5: derived from both.
_LOWEST_MPS = 1.5
# Own choice: points closer together share most of their step, further apart they miss a bend; a
# fast machine has them further apart, since more than so many lengthen the list alone.
_STEP_MPS, _MOST_POINTS = 0.5, 40
# The last of a pull is left out: there the throttle is let go. Share of its highest speed; own
# choice: more counts the letting go in, less hides the end of the curve.
_USED_SHARE = 0.93
# A run that pulls less than this share of the hardest was not ridden at full throttle, as far as
# can be told; common practice, no source.
_FULL_SHARE = 0.7
# So many runs are held against all others at once, so that memory does not grow with the square of
# their number. Own choice: more than most rides have.
_COMPARED = 64
# Tyres hold no more, as with brakings: a faster gain is a jump of the receiver. [m/s²]
_MOST_MPS2 = 10.0
# While the throttle opens a machine gains about this; the curve begins above it. Own choice: an
# opening of 0.45 s at an even rate up to 3.3 m/s²; harder starts read low at their first speed.
_OPENING_MPS = 0.75
# Standing pull: the mean from here, where the throttle has opened, to there. Own choice: a lower
# start counts the opening in, a higher end speeds at which power is the limit.
_STANDING_FROM_MPS, _STANDING_TO_MPS = 1.0, 2.5
# Runs within this of one direction count as the same, and as opposite within it of 180 degrees.
# Own choice: a slope along the way still counts by 0.87; wider, both ways no longer cancel it.
_SAME_WAY_RAD = np.radians(30.0)


@dataclass(frozen=True)
class AccelerationAt:
    """Acceleration at one speed, and how many runs stand behind it."""

    speed_mps: float
    accel_mps2: Estimate
    runs: int


@dataclass(frozen=True)
class AccelerationCurve:
    """Acceleration of the machine against speed.

    curve : the speeds at which it is known.
    standing_mps2 : mean acceleration from 1 to 2.5 m/s over the standing starts. [m/s²]
    peak_power_speed_mps : speed at which acceleration times speed is highest; None with a
        ``peak_power_reason``. [m/s]
    runs_used, runs_left_out : runs behind the curve, and those that pulled clearly less.
    both_ways : whether they go in opposite directions, each direction weighing the same: the pull
        of a slope then cancels; otherwise it is not corrected.
    direction_difference_mps2 : by how much the accelerations of both directions differ, slope and
        wind; None without both. [m/s²]
    reason : why there is no curve, else empty.
    speed_mps : shape (k,), the grid of the curve. [m/s]
    columns : shape (k, 1 + 2 draws), for joint use, NaN where unknown. [m/s²]
    """

    curve: tuple[AccelerationAt, ...] = ()
    standing_mps2: Estimate | None = None
    peak_power_speed_mps: Estimate | None = None
    peak_power_reason: str = ""
    runs_used: int = 0
    runs_left_out: int = 0
    both_ways: bool = False
    direction_difference_mps2: Estimate | None = None
    reason: str = ""
    speed_mps: FloatArray = field(default_factory=lambda: np.zeros(0), repr=False)
    columns: FloatArray = field(default_factory=lambda: np.zeros((0, 3)), repr=False)

    def columns_at(self, speed_mps: float) -> FloatArray:
        """Return the acceleration at a speed for every draw, NaN outside the curve. [m/s²]"""
        if not len(self.speed_mps):
            return np.full(3, np.nan)
        if not self.speed_mps[0] <= speed_mps <= self.speed_mps[-1]:
            return np.full(self.columns.shape[1], np.nan)
        right = int(np.searchsorted(self.speed_mps, speed_mps))
        found: FloatArray = self.columns[right]
        # At a speed of the grid itself its neighbours may be unknown.
        if self.speed_mps[right] > speed_mps:
            low, high = self.speed_mps[right - 1], self.speed_mps[right]
            share = (speed_mps - low) / (high - low)
            found = self.columns[right - 1] * (1.0 - share) + found * share
        return found

    def at(self, speed_mps: float) -> Estimate | None:
        """Return the acceleration at a speed, None outside the curve. [m/s²]"""
        return estimate(self.columns_at(speed_mps))

    def sharp(self, speed_mps: FloatArray) -> FloatArray:
        """Return the acceleration at speeds (k,) for every draw, freed from the width of the steps.

        The curve tells the mean of 1 / acceleration over a step of h to either side of each speed,
        which rounds a kink off: METHOD.md of acceleration, (3). Between its speeds it is
        interpolated without overshoot, since a straight line would cut the bend. NaN outside the
        curve, and everywhere if fewer than two speeds are known. [m/s²]
        """
        # Loads slowly, and only a calibration needs it.
        from scipy.interpolate import PchipInterpolator

        known = np.isfinite(self.columns).all(axis=1) & (self.columns > 0.0).all(axis=1)
        if known.sum() < 2:
            return np.full((len(speed_mps), self.columns.shape[1]), np.nan)
        slowness = 1.0 / self.columns[known]
        at = self.speed_mps[known]
        step = np.diff(at)
        sharp = slowness.copy()
        # A speed whose neighbours are not alike far away, at an end or beside a hole, stays as it
        # is.
        inner = 1 + np.flatnonzero(np.isclose(step[:-1], step[1:]))
        bend = slowness[inner - 1] - 2.0 * slowness[inner] + slowness[inner + 1]
        sharp[inner] -= bend * (HALF_STEP_MPS / step[inner - 1, None]) ** 2 / 6.0
        found: FloatArray = PchipInterpolator(at, sharp, axis=0, extrapolate=False)(speed_mps)
        return 1.0 / found


def measure_acceleration(drawn: tuple[RunDraws, ...]) -> AccelerationCurve:
    """Return the acceleration of a ride against speed, from its runs as ``draw_runs`` gives them.

    At each speed v the acceleration of a run is 1 m/s over the time that it takes from v - 0.5 to
    v + 0.5 m/s: crossings in time are known far better than a slope at an instant. Times are
    averaged over runs of one direction, both directions have the same weight. METHOD.md of
    acceleration, (1) and (2).
    """
    if not drawn:
        return _none(f"the ride holds no run that gains {both_units(GAIN_MPS)} or more")
    highest = max(_USED_SHARE * d.run.top_mps for d in drawn) - HALF_STEP_MPS
    step = _STEP_MPS * max(1.0, np.ceil((highest - _LOWEST_MPS) / _STEP_MPS / _MOST_POINTS))
    speed = np.arange(_LOWEST_MPS, highest + 1e-9, step)
    if len(speed) < 2:
        return _none("no run goes fast enough for a curve")
    table = np.stack([_times(d, speed) for d in drawn])
    full = _full_throttle(2.0 * HALF_STEP_MPS / table[:, :, 0])
    kept = [d.run for d, keep in zip(drawn, full, strict=True) if keep]
    table = table[full]
    side = _sides([run.course_rad for run in kept])
    columns, difference = _averaged(table, side)
    accel = [estimate(row) for row in columns]
    known = np.array([one is not None for one in accel])
    if not known.any():
        return _none("the fixes of the runs do not tell their acceleration")
    columns = np.where(known[:, None], columns, np.nan)
    runs_at = np.isfinite(table[:, :, 0]).sum(axis=0)
    peak, why = _peak_power(speed, columns, known)
    return AccelerationCurve(
        curve=tuple(
            AccelerationAt(float(at), one, int(runs))
            for at, one, runs in zip(speed, accel, runs_at, strict=True)
            if one is not None
        ),
        standing_mps2=_standing(drawn, full),
        peak_power_speed_mps=peak,
        peak_power_reason=why,
        runs_used=len(kept),
        runs_left_out=len(drawn) - len(kept),
        both_ways=bool((side > 0).any() and (side < 0).any()),
        direction_difference_mps2=difference,
        speed_mps=speed,
        columns=columns,
    )


def _times(drawn: RunDraws, speed: FloatArray) -> FloatArray:
    """Return the time across each speed's step, shape (k, columns), NaN outside the run. [s]"""
    top = _USED_SHARE * drawn.run.top_mps
    first = drawn.columns(drawn.start_s)
    out = np.full((len(speed), len(first)), np.nan)
    low, high = speed - HALF_STEP_MPS, speed + HALF_STEP_MPS
    inside = np.flatnonzero((high <= top) & (low >= drawn.run.low_mps + _OPENING_MPS - 1e-9))
    passed = drawn.passes(np.concatenate([low[inside], high[inside]]))
    begins, ends = np.split(passed, 2)
    for index, begin, end in zip(inside, begins, ends, strict=True):
        out[index] = _time_of_gain(drawn, begin, end, 2.0 * HALF_STEP_MPS)
    return out


def _time_of_gain(
    drawn: RunDraws, begin_s: FloatArray, end_s: FloatArray, gain_mps: float
) -> FloatArray:
    """Return how long a run takes for a gain on every column, all NaN if it does not tell. [s]"""
    figures = drawn.columns(np.where(end_s > begin_s, end_s - begin_s, np.nan))
    known = np.isfinite(figures)
    if not known[0] or known.mean() <= 0.9 or figures[0] * _MOST_MPS2 < gain_mps:
        return np.full(len(figures), np.nan)
    return np.where(known, figures, figures[known].mean())


def _acceleration_of(gain_mps: float, time_s: FloatArray) -> FloatArray:
    """Return the acceleration of a gain on every column from the time it takes there. [m/s²]

    Linear about the first column: the quotient of a noisy time is high on average, and an
    acceleration should not grow with the noise. METHOD.md of acceleration, (2).
    """
    result: FloatArray = gain_mps / time_s[0] * (2.0 - time_s / time_s[0])
    return result


def _full_throttle(accel: FloatArray) -> BoolArray:
    """Return which runs pull about as hard as each other one over the speeds both share.

    Medians over speeds: a jump of the receiver makes a run look hard at one or two of them.
    """
    full: BoolArray = np.any(np.isfinite(accel), axis=1)
    for first in range(0, len(accel), _COMPARED):
        part = slice(first, first + _COMPARED)
        share = accel[part, None] / accel
        # Runs without a speed in common say nothing of each other.
        share[~np.isfinite(share).any(axis=2)] = 1.0
        full[part] &= np.all(np.nanmedian(share, axis=2) >= _FULL_SHARE, axis=1)
    return full


def _sides(courses: list[float]) -> FloatArray:
    """Return +1 for runs along the usual direction, -1 for those against it, 0 for others."""
    course = np.array(courses)
    if not len(course):
        return course
    # The axis of travel: directions count twice round, so that opposite ones agree.
    axis = 0.5 * np.arctan2(np.sin(2.0 * course).sum(), np.cos(2.0 * course).sum())
    along = np.cos(course - axis)
    near = np.cos(_SAME_WAY_RAD)
    return np.where(along >= near, 1.0, np.where(along <= -near, -1.0, 0.0))


def _averaged(table: FloatArray, side: FloatArray) -> tuple[FloatArray, Estimate | None]:
    """Return the acceleration at each speed, and by how much both directions differ.

    Both directions count alike where both are there.
    Times are averaged over the runs of a direction, and the quotient is taken of the mean: one run
    that a jump of the receiver shortens then counts no more than its share.
    """
    gain = 2.0 * HALF_STEP_MPS
    columns = np.full(table.shape[1:], np.nan)
    differences: list[FloatArray] = []
    for index in range(table.shape[1]):
        rows = table[:, index]
        known = np.isfinite(rows[:, 0])
        there, back = known & (side > 0), known & (side < 0)
        if there.any() and back.any():
            means = [_acceleration_of(gain, rows[way].mean(axis=0)) for way in (there, back)]
            columns[index] = 0.5 * (means[0] + means[1])
            differences.append(means[0] - means[1])
        elif known.any():
            columns[index] = _acceleration_of(gain, rows[known].mean(axis=0))
    return columns, estimate(np.mean(differences, axis=0)) if differences else None


def _standing(drawn: tuple[RunDraws, ...], full: np.ndarray) -> Estimate | None:
    found = []
    gain = _STANDING_TO_MPS - _STANDING_FROM_MPS
    for run, keep in zip(drawn, full, strict=True):
        if not keep or not run.run.standing:
            continue
        begin, end = run.passes(np.array([_STANDING_FROM_MPS, _STANDING_TO_MPS]))
        time_s = _time_of_gain(run, begin, end, gain)
        if np.isfinite(time_s[0]):
            found.append(time_s)
    return estimate(_acceleration_of(gain, np.mean(found, axis=0))) if found else None


def _peak_power(
    speed: FloatArray, columns: FloatArray, known: np.ndarray
) -> tuple[Estimate | None, str]:
    """Return the speed of the highest acceleration times speed, from every draw."""
    power = columns[known] * speed[known][:, None]
    if known.sum() < 4:
        return None, "the curve is too short to show where the power is highest"
    index = np.argmax(power, axis=0)
    if np.mean(index >= len(power) - 2) > 0.1:
        return None, "the power still rises, or has only just stopped to, where the curve ends"
    found = estimate(speed[known][index], smallest=0.0)
    return found, "" if found else "the draws do not agree where the power is highest"


def _none(reason: str) -> AccelerationCurve:
    return AccelerationCurve(peak_power_reason=reason, reason=reason)
