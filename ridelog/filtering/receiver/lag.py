"""How far a receiver's reported velocity runs behind its own positions, and what to do about it.

Receivers smooth speed more than position, so that what they report belongs to a time some tenths of
a second ago. Over a time in which the machine accelerates the two disagree; the shift that makes
them agree best is the lag. The velocities are then moved back, and where the motion bends within
the receiver's memory they are believed less: what was averaged cannot be sharpened again.
"""

from dataclasses import dataclass, replace

import numpy as np

from ridelog.core.crossings import cumulative_trapezoid
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.observations import Observations

# Lags that are looked for: a smoothed position may also run behind the velocity a little. Own
# choices: a lag at either end is none; the parabola finds it between the steps. [s]
_EARLIEST_S, _LATEST_S, _STEP_S = -1.0, 3.0, 0.1
# Displacements compared are those over about this long: shorter ones are mostly position noise. Own
# choice, w of receiver (1).
_WINDOW_S = 1.0
# A lag counts if it is this many standard deviations from none, and long enough to matter:
# own choices, beside receiver (2).
_PLAINLY, _LEAST_S = 3.0, 0.05
# So many seconds of riding must speak for it. On simulated rides more were too many for a ride of
# one pass, and with so many no lag was made up.
_LEAST_WINDOWS = 8
# More windows than this (an hour of riding, one a second) are thinned evenly: they tell a lag of a
# hundredth of a second. Own choice: more cost time.
_MOST_WINDOWS = 4000
# Misfits beyond this many usual ones are jumps and count no more than at the limit: own
# choice, beyond four medians lies one in 2^16 of normal noise of two axes.
_LIMIT = 4.0
# Errors of neighbouring windows are alike for some seconds: common practice, no source.
_ALIKE = 3.0
# By how much a bend is off, in second differences that it shows over the lag: the larger of the
# two of receiver (3), 0.37 / 0.40.
_ERROR_OF_BEND = 0.9
# Squared bends are freed of what the usual noise of a reported velocity makes of them, so that
# steady riding is not taken for bends: the same as real receivers showed at most (habits.py).
_USUAL_NOISE_MPS = 0.08


@dataclass(frozen=True)
class Lag:
    """How far reported velocity runs behind; negative if it runs ahead. [s]"""

    lag_s: float
    sd_s: float

    @property
    def counts(self) -> bool:
        """Whether it is plainly there."""
        return abs(self.lag_s) > max(_PLAINLY * self.sd_s, _LEAST_S)


def find_lag(seen: Observations) -> Lag | None:
    """Return the lag of the reported velocity, None if the ride cannot tell.

    Source
    ------
    Own derivation: receiver (1) and (2); least squares as in any text.
    """
    velocity, known = _velocity(seen)
    time_s = seen.time_s
    if known.sum() < _LEAST_WINDOWS or not np.isfinite(seen.velocity_mps[:, 0]).any():
        return None
    times, speeds = time_s[known], velocity[known]
    distance = cumulative_trapezoid(times, speeds)
    width = max(1, round(_WINDOW_S / seen.usual_interval_s))
    first, last = _windows(seen, known, width)
    # A machine at rest tells nothing, and its small misfits would set the measure for the others.
    rides = (velocity[first] ** 2).sum(axis=1) + (velocity[last] ** 2).sum(axis=1) > 0.0
    first, last = first[rides], last[rides]
    if len(first) < _LEAST_WINDOWS * width:
        return None
    # Windows overlap, and a long ride has many times what the lag needs: some are enough.
    stride = -(-len(first) // _MOST_WINDOWS)
    first, last = first[::stride], last[::stride]
    moved = seen.position_m[last] - seen.position_m[first]
    lags = np.arange(_EARLIEST_S, _LATEST_S + 0.5 * _STEP_S, _STEP_S)
    misfit = np.empty((len(lags), len(first)))
    for number, lag in enumerate(lags.tolist()):
        after = _distance_at(time_s[last] + lag, times, distance, speeds)
        before = _distance_at(time_s[first] + lag, times, distance, speeds)
        misfit[number] = np.hypot(*(after - before - moved).T)
    usual = float(np.median(misfit[np.argmin(np.median(misfit, axis=1))])) / 1.1774
    bounded = np.minimum(misfit, _LIMIT * max(usual, 1e-3) * 1.1774)
    # As if there were one window after the other.
    total = np.square(bounded).sum(axis=1) * stride / width
    best = int(np.argmin(total))
    if not 2 <= best < len(lags) - 2:
        return None
    # A parabola over two steps to either side: wide enough for the noise of the sums.
    curve, slope, _ = np.polyfit(
        lags[best - 2 : best + 3] - lags[best], total[best - 2 : best + 3], 2
    )
    if curve <= 0.0:
        return None
    shift = float(np.clip(-0.5 * slope / curve, -_STEP_S, _STEP_S))
    square = float(total[best]) * width / (2.0 * stride * len(first))
    return Lag(float(lags[best]) + shift, float(np.sqrt(_ALIKE * square / curve)))


def without_lag(seen: Observations, lag: Lag) -> Observations:
    """Return the observations with every reported velocity at the time that it belongs to.

    Between fixes the reported velocity is interpolated; where there are none near, nothing is
    reported. ``bandwidth_error_mps`` tells how far each may be off because the receiver averaged.
    """
    time_s, wanted = seen.time_s, seen.time_s + lag.lag_s
    velocity, known = _velocity(seen)
    right = np.clip(np.searchsorted(time_s, wanted), 1, len(time_s) - 1)
    left = right - 1
    near = (time_s[right] - time_s[left] <= 1.5 * seen.usual_interval_s) & ~seen.breaks[left]
    near &= known[left] & known[right] & (wanted >= time_s[0]) & (wanted <= time_s[-1])
    share = ((wanted - time_s[left]) / (time_s[right] - time_s[left]))[:, None]
    moved = (1.0 - share) * velocity[left] + share * velocity[right]
    nearest = np.where(share[:, 0] < 0.5, left, right)
    crawl = near & seen.crawl[nearest]
    moved[~near | crawl] = np.nan
    # A bend anywhere between the two readings spoils what is interpolated between them.
    bandwidth_error = _bandwidth_error(seen, velocity, known, abs(lag.lag_s))
    return replace(
        seen,
        velocity_mps=moved,
        crawl=crawl,
        bandwidth_error_mps=np.maximum(bandwidth_error[left], bandwidth_error[right]),
    )


def _bandwidth_error(
    seen: Observations, velocity: FloatArray, known: BoolArray, lag_s: float
) -> FloatArray:
    """Return how far the velocity reported at each fix may be off: receiver (4)."""
    reach = max(lag_s, seen.usual_interval_s)
    # Means over half the lag to either side keep the noise of single readings out of the bend.
    half = 0.5 * lag_s if lag_s > 2.0 * seen.usual_interval_s else 0.0
    times, values = seen.time_s[known], velocity[known]
    distance = cumulative_trapezoid(times, values)

    def around(at_s: FloatArray) -> FloatArray:
        columns = []
        for axis in (0, 1):
            if half:
                begin, end = (np.clip(at_s + side, *times[[0, -1]]) for side in (-half, half))
                gone = np.interp(end, times, distance[:, axis]) - np.interp(
                    begin, times, distance[:, axis]
                )
                columns.append(gone / np.maximum(end - begin, 1e-9))
            else:
                columns.append(np.interp(at_s, times, values[:, axis]))
        return np.stack(columns, axis=1)

    at_s = seen.time_s
    bend = around(at_s + reach) - 2.0 * around(at_s) + around(at_s - reach)
    square = (bend**2).sum(axis=1)
    # Bends of the noise alone: weights 1, 4 and 1, both axes, over the readings in each mean.
    noise = 12.0 * _USUAL_NOISE_MPS**2 / max(1.0, 2.0 * half / seen.usual_interval_s)
    # It errs alike over the lag, however many fixes that holds, so it must not average out.
    alike = max(1.0, lag_s / seen.usual_interval_s)
    bandwidth_error: FloatArray = _ERROR_OF_BEND * np.sqrt(
        0.5 * alike * np.maximum(square - noise, 0.0)
    )
    return bandwidth_error


def _velocity(seen: Observations) -> tuple[FloatArray, BoolArray]:
    """Return reported velocities with zero at a crawl, and where anything is reported."""
    velocity = np.where(seen.crawl[:, None], 0.0, seen.velocity_mps)
    known = np.isfinite(velocity[:, 0])
    return np.where(known[:, None], velocity, 0.0), known


def _distance_at(
    at_s: FloatArray, time_s: FloatArray, distance: FloatArray, velocity: FloatArray
) -> FloatArray:
    """Return the distance covered by some times, by the cubic of Hermite."""
    left = np.clip(np.searchsorted(time_s, at_s, side="right") - 1, 0, len(time_s) - 2)
    span = np.diff(time_s)[left]
    u = (at_s - time_s[left]) / span
    rest = 1.0 - u
    start, end = (rest**2 * (1.0 + 2.0 * u))[:, None], (u**2 * (3.0 - 2.0 * u))[:, None]
    leaving, coming = (span * u * rest**2)[:, None], (span * u**2 * rest)[:, None]
    # Rows taken so cost a tenth of rows indexed.
    gone: FloatArray = start * distance.take(left, axis=0) + leaving * velocity.take(left, axis=0)
    gone += end * distance.take(left + 1, axis=0) - coming * velocity.take(left + 1, axis=0)
    return gone


def _windows(seen: Observations, known: BoolArray, width: int) -> tuple[np.ndarray, np.ndarray]:
    """Return first and last fix of windows whose whole neighbourhood is reported without a gap."""
    time_s = seen.time_s
    first = np.arange(len(time_s) - width)
    last = first + width
    before = np.searchsorted(time_s, time_s[first] + _EARLIEST_S)
    after = np.searchsorted(time_s, time_s[last] + _LATEST_S)
    inside = (time_s[first] + _EARLIEST_S >= time_s[0]) & (after < len(time_s))
    bad = np.concatenate([[0], np.cumsum(np.append(seen.breaks, False) | ~known)])
    whole = inside & (bad[np.minimum(after, len(time_s) - 1) + 1] - bad[before] == 0)
    return first[whole], last[whole]
