"""Where a ride picks up speed: standing starts and rolling runs, up to where they end."""

from dataclasses import dataclass, field

import numpy as np

from ridelog.analysis.launches.windows import Window, default_windows
from ridelog.core.crossings import at_own_times, cumulative_trapezoid, first_reached
from ridelog.core.flags import Flag
from ridelog.core.spans import Span
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.motion import DRAWS, Motion
from ridelog.filtering.standing_start.acceleration_decay import (
    AccelerationDecay,
    acceleration_decay_of,
)
from ridelog.filtering.standing_start.paths import draw_standing_start

# Slower than this, as far as the speed's own uncertainty tells, the machine may be standing; the
# limit widens with the uncertainty, but never so far that slow travel could hide in it. Own choice:
# above what receivers wander at a stand (some cm/s), up to the crawl whose course is noise.
_STAND_MPS, _STAND_SD, _WIDEST_MPS = 0.25, 2.0, 0.5
# A stop shorter than this is a turn of the wheels through zero, and cannot be told from one. Own
# choice: longer would time quick restarts as rolling runs.
_SHORTEST_STAND_S = 0.6
# Walking pace and a little: a machine that gets no faster has been moved, not launched. Regulation
# (EU) 168/2013, Article 2(2)(a), leaves vehicles of at most 6 km/h (1.67 m/s) out.
LEAST_TOP_MPS = 2.0
# A run ends when the speed has fallen by a seventh and by this much from its highest. Own choice:
# less ends it at a bump or a shift of gear, more draws the braking after it in.
_FALL_SHARE, _FALL_MPS = 0.15, 0.4
# A crawl on the way up: over so long less than this share of the run's best acceleration, below
# this share of its top speed. What follows is a run of its own. Own choice: stricter, a bump parts
# a start; laxer, its time holds the crawl.
_DWELL_S, _DWELL_SHARE, _DWELL_BELOW = 1.5, 0.25, 0.5
# How much of a stand is looked at; own choice: more adds nothing about the start.
_LOOK_BACK_S = 3.0
# The stop before may end in a jolt; so much of the stand is left out, the lesser of the two. Own
# choice: what a suspension takes to settle, and most of a short stand is kept.
_AFTER_STOP_S, _AFTER_STOP_SHARE = 0.3, 0.3
_REJECTED = Flag.JUMP | Flag.SPEED_JUMP
# A rolling run gains at least this, and this share of the ride's highest speed. Own choice: less
# is a ripple of steady riding, and holds hardly two points of the curve.
GAIN_MPS, _GAIN_SHARE = 2.0, 0.35
# Fixes looked through at first for the end of a run; the end found is exact for any number.
_FIRST_LOOK = 256


@dataclass(frozen=True)
class AccelerationRun:
    """One span of gaining speed on the fitted path.

    standing : whether it began at rest.
    earliest_s, latest_s : when the machine surely stood and surely moved (standing), or twice the
        instant from which the speed rises (rolling). [s]
    low_mps : speed at its beginning, 0 from rest. [m/s]
    end_s : when the speed begins to fall, or the piece ends. [s]
    top_mps : highest speed on the way. [m/s]
    top_s : when. [s]
    course_rad : direction from its beginning to its fastest point.
    """

    standing: bool
    earliest_s: float
    latest_s: float
    low_mps: float
    end_s: float
    top_mps: float
    top_s: float
    course_rad: float


def find_runs(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> tuple[AccelerationRun, ...]:
    """Return the standing starts and rolling runs of a ride in time order."""
    each = (motion.known_between(one.start_s - 1e-6, one.end_s + 1e-6) for one in motion.pieces)
    return tuple(
        run
        for rows in each
        if len(rows) >= 4
        for run in _runs_of_piece(motion, rows)
        if run.latest_s >= motion.settled_s
        and _believed(motion, run)
        and not any(run.earliest_s < last and run.end_s > first for first, last in excluded)
    )


def _runs_of_piece(motion: Motion, rows: IntArray) -> list[AccelerationRun]:
    ride = _Ride(
        motion.track.time_s[rows], motion.speed_mps[rows], motion.east_m[rows],
        motion.north_m[rows],
        np.clip(_STAND_SD * motion.speed_sd_mps[rows], _STAND_MPS, _WIDEST_MPS),
    )  # fmt: skip
    least_gain = max(GAIN_MPS, _GAIN_SHARE * float(np.nanmax(motion.speed_mps)))
    found: list[AccelerationRun] = []
    here = 0
    fast = np.flatnonzero(ride.speed >= LEAST_TOP_MPS)
    while True:
        rising = int(np.searchsorted(fast, here))
        if rising == len(fast):
            return found
        up = int(fast[rising])
        end, top = _fall(ride.speed, up)
        low, stood = _stand_before(motion, ride, here, up)
        halt = _dwell(ride, low, top, motion.rate_hz)
        if stood is not None:
            # A start that goes over into a crawl ends there.
            last_top, last_end = (halt[0], halt[0]) if halt else (top, end)
            if ride.speed[last_top] >= LEAST_TOP_MPS:
                found.append(_run(ride, stood, min(up, last_top), low, last_top, last_end))
        if halt is not None or stood is None:
            low = halt[1] if halt else low
            if low > 0 and ride.speed[top] - ride.speed[low] >= least_gain:
                found.append(_run(ride, None, low, low, top, end))
        here = end + 1


@dataclass(frozen=True)
class _Ride:
    """Fixes of one piece in time order, with the speed under which each may be standing."""

    time_s: FloatArray
    speed: FloatArray
    east: FloatArray
    north: FloatArray
    limit: FloatArray


def _run(
    ride: _Ride, stood_s: float | None, up: int, low: int, top: int, end: int
) -> AccelerationRun:
    return AccelerationRun(
        standing=stood_s is not None,
        earliest_s=float(ride.time_s[low]) if stood_s is None else stood_s,
        latest_s=float(ride.time_s[up]),
        low_mps=float(ride.speed[low]) if stood_s is None else 0.0,
        end_s=float(ride.time_s[end]),
        top_mps=float(ride.speed[top]),
        top_s=float(ride.time_s[top]),
        course_rad=float(
            np.arctan2(ride.east[top] - ride.east[low], ride.north[top] - ride.north[low])
        ),
    )


def _stand_before(motion: Motion, ride: _Ride, here: int, up: int) -> tuple[int, float | None]:
    """Return the slowest fix before a rise, and since when it surely stood; None if it did not."""
    slow = np.flatnonzero(ride.speed[here : up + 1] < ride.limit[here : up + 1])
    slowest = here + int(np.argmin(ride.speed[here : up + 1]))
    if not len(slow):
        return slowest, None
    last = here + int(slow[-1])
    # A crawl before the stand may hide in a wide limit: then a narrower one parts them.
    for level in (1.6 * ride.limit, ride.limit, np.full(len(ride.limit), _STAND_MPS)):
        first = _stand_begins(ride.speed, level, here, last)
        length = float(ride.time_s[last] - ride.time_s[first])
        if length >= _SHORTEST_STAND_S and _stayed(ride, first, last, motion):
            jolt = 0.0 if first == 0 else min(_AFTER_STOP_S, _AFTER_STOP_SHARE * length)
            earliest = max(ride.time_s[first] + jolt, ride.time_s[last] - _LOOK_BACK_S)
            return last, float(earliest)
    # The filter may have taken a crawl for standing; the last of it is still a stand.
    late = int(np.searchsorted(ride.time_s, ride.time_s[last] - _LOOK_BACK_S - 1e-6))
    if late > first and late < last and _stayed(ride, late, last, motion):
        return last, float(ride.time_s[late])
    return slowest, None


def _dwell(ride: _Ride, low: int, top: int, rate_hz: float) -> tuple[int, int] | None:
    """Return where a run goes over into a crawl and where it pulls on from there, if it does."""
    time_s, speed = ride.time_s[low : top + 1], ride.speed[low : top + 1]
    length = max(_DWELL_S, 2.0 / rate_hz)
    last = np.searchsorted(time_s, time_s + length - 1e-6)
    whole = last < len(time_s)
    if not whole.any():
        return None
    begin, last = np.flatnonzero(whole), last[whole]
    gain = (speed[last] - speed[begin]) / (time_s[last] - time_s[begin])
    # Not the start itself, where the speed still lingers near zero.
    crawls = (gain < _DWELL_SHARE * gain.max()) & (speed[last] < _DWELL_BELOW * speed[-1])
    crawls &= speed[begin] > 2.0 * ride.limit[low : top + 1][begin]
    if not crawls.any():
        return None
    first, final = np.flatnonzero(crawls)[[0, -1]]
    span = slice(int(begin[final]), int(last[final]) + 1)
    return low + int(begin[first]), low + span.start + int(np.argmin(speed[span]))


def _fall(speed: FloatArray, up: int) -> tuple[int, int]:
    """Return where the speed has fallen from its highest, and where it was highest."""
    # Looked for in ever longer spans: most runs end soon, and a ride has many.
    length = _FIRST_LOOK
    while True:
        ahead = speed[up : up + length]
        highest = np.maximum.accumulate(ahead)
        fallen = np.flatnonzero(highest - ahead > np.maximum(_FALL_SHARE * highest, _FALL_MPS))
        if len(fallen) or up + length >= len(speed):
            break
        length *= 2
    stop = up + int(fallen[0]) if len(fallen) else len(speed) - 1
    top = up + int(np.argmax(speed[up : stop + 1]))
    return stop, top


def _stand_begins(speed: FloatArray, level: FloatArray, here: int, last: int) -> int:
    """Return from where on the speed stays below a level up to ``last``."""
    moving = np.flatnonzero(speed[here : last + 1] > level[here : last + 1])
    return here + int(moving[-1]) + 1 if len(moving) else here


def _stayed(ride: _Ride, first: int, last: int, motion: Motion) -> bool:
    """Return whether the place did not change over a stand by more than slow travel would."""
    moved = float(
        np.hypot(ride.east[last] - ride.east[first], ride.north[last] - ride.north[first])
    )
    length = float(ride.time_s[last] - ride.time_s[first])
    return moved <= 0.2 * length + 2.0 * motion.noise.position_white_m + 0.3


def _believed(motion: Motion, run: AccelerationRun) -> bool:
    """Return whether the fixes on the way up are ones a figure may be taken from."""
    rows = motion.known_between(run.earliest_s, run.top_s)
    if len(rows) < 3:
        return False
    settling = np.mean((motion.flags[rows] & np.uint32(Flag.SETTLING)) != 0)
    # Good fixes of the stand before say nothing of those on the way up.
    rows = rows[motion.speed_mps[rows] > _STAND_MPS]
    doubtful = _REJECTED
    if motion.speed_source != "reported":
        # Badly placed satellites move positions most, as smoothly as a machine moves.
        doubtful |= Flag.POOR_GEOMETRY
    poor = np.mean((motion.flags[rows] & np.uint32(doubtful)) != 0)
    return bool(poor < 0.34 and settling < 0.2)


# Own choice: crossings are linear in between, off by 3 mm/s even at a jerk of 10 m/s³.
_SPACING_S = 0.05
_SEED = 20261127
# Paths are drawn this far beyond what is needed of the fitted path, and never longer than this. Own
# choice: a draw that is slower still gets there; no small machine pulls for so long.
_BEYOND_S, _LONGEST_S = 1.5, 90.0
# A run is drawn up to this share of its highest speed. Own choice: a little beyond the share that
# the curve uses.
_USED_SHARE = 0.95
# Of rolling runs no more than this many are drawn, spread evenly. Own choice: the mean of so many
# has a quarter of the error of one; more mostly take time.
_MOST_ROLLING = 16


@dataclass(frozen=True)
class RunDraws:
    """Possible courses of one run, every column of its own.

    A rolling run has the columns of ``Paths`` (fitted, sharp, cautious). A standing start has draws
    of the posterior of its start, all alike; ``columns`` makes of their figures what
    ``interval.estimate`` expects.

    run : AccelerationRun
    start_s : shape (k,), when the speed leaves zero; the beginning of a rolling run. [s]
    time_s : shape (m,). [s]
    speed_mps : shape (m, k). [m/s]
    alike_s : standard deviation of what is alike in all starts of a machine, in ``start_s``. [s]
    opening : shape (k,), how each opens, as of ``StandingStart``; one nought for all otherwise.
    """

    run: AccelerationRun
    start_s: FloatArray
    time_s: FloatArray
    speed_mps: FloatArray
    alike_s: float = 0.0
    opening: IntArray = field(default_factory=lambda: np.zeros(1, dtype=np.int64))

    def gone_m(self) -> FloatArray:
        """Return the distance since ``start_s``, shape (m, k), made anew each time. [m]

        Kept for every run it would double what the starts of a day's ride take in memory.
        """
        return cumulative_trapezoid(self.time_s, self.speed_mps)

    def columns(self, figures: FloatArray) -> FloatArray:
        """Return a figure of every column, shape (k,), in the order of ``Paths``' columns.

        ``estimate`` takes columns for the truth plus an error and mirrors their spread; draws of a
        posterior are what the truth may be, so they are mirrored here about their mean. Neither
        half is sharper than the other, so no bias is taken off.
        """
        if not self.run.standing:
            return figures
        known = np.isfinite(figures)
        if not known.any():
            return np.full(len(figures) + 1, np.nan)
        middle = float(figures[known].mean())
        return np.concatenate([[middle], 2.0 * middle - figures])

    def passes(self, speeds_mps: FloatArray) -> FloatArray:
        """Return when each column first rises through each speed, shape (speeds, k). [s]

        NaN where it never does.
        """
        highest = np.maximum.accumulate(self.speed_mps, axis=0)
        found = first_reached(self.time_s, highest, self.speed_mps, speeds_mps)
        # What is faster from the first instant on must fall below a speed before it rises again.
        for row in np.flatnonzero((self.speed_mps[0] >= speeds_mps[:, None]).any(axis=1)):
            after = self.time_s[1:, None] >= self.start_s
            found[row] = _first_rising(self.time_s, self.speed_mps, float(speeds_mps[row]), after)
        return found

    def covers(self, distance_m: float, gone_m: FloatArray) -> FloatArray:
        """Return when each column has covered a distance, shape (k,), NaN where never. [s]

        ``gone_m`` is what the method of that name returns.
        """
        if distance_m <= 0.0:
            return self.start_s
        goal = np.array([distance_m])
        covered: FloatArray = first_reached(self.time_s, gone_m, gone_m, goal)[0]
        return covered

    def speed_at(self, time_s: FloatArray) -> FloatArray:
        """Return the speed of each column at its own time, shape (k,). [m/s]"""
        return at_own_times(self.time_s, self.speed_mps, time_s)


def draw_runs(
    motion: Motion,
    *,
    windows: tuple[Window, ...] | None = None,
    rollout_m: float = 0.0,
    excluded: tuple[Span, ...] = (),
) -> tuple[RunDraws, ...]:
    """Return the drawn courses of a ride's standing starts and rolling runs, in time order.

    Paths are drawn as far as the windows and the rollout need, which are those of
    ``measure_launches``.
    """
    runs = find_runs(motion, excluded=excluded)
    kept = [run for run in runs if not run.standing]
    if len(kept) > _MOST_ROLLING:
        places = np.linspace(0, len(kept) - 1, _MOST_ROLLING).round().astype(int)
        kept = [kept[place] for place in places]
    runs = tuple(run for run in runs if run.standing or run in kept)
    if windows is None:
        windows = default_windows(max((run.top_mps for run in runs if run.standing), default=0.0))
    decay = acceleration_decay_of(
        motion, [(run.earliest_s, run.top_s) for run in runs if run.standing]
    )
    drawn = (_draw_run(motion, run, _until(motion, run, windows, rollout_m), decay) for run in runs)
    return tuple(one for one in drawn if one is not None)


def _until(
    motion: Motion, run: AccelerationRun, windows: tuple[Window, ...], rollout_m: float
) -> float:
    """Return up to when a run's paths are needed: most of the run, and all windows."""
    rows = motion.known_between(run.earliest_s, run.end_s)
    time_s, speed = motion.track.time_s[rows], motion.speed_mps[rows]
    distance_m = cumulative_trapezoid(time_s, speed)
    until = float(time_s[np.argmax(speed >= _USED_SHARE * run.top_mps)])
    for window in windows if run.standing else ():
        goal = window.distance_m
        reached = (
            speed >= (window.to_mps or 0.0) if goal is None else distance_m >= goal + rollout_m
        )
        until = max(until, float(time_s[np.argmax(reached)]) if reached.any() else until)
    return min(until + _BEYOND_S, run.end_s, run.earliest_s + _LONGEST_S)


def _draw_run(
    motion: Motion, run: AccelerationRun, until_s: float, decay: AccelerationDecay | None
) -> RunDraws | None:
    """Return the drawn courses of a run up to a time, None if too few fixes lie around it."""
    if run.standing:
        drawn = draw_standing_start(
            motion, run.earliest_s, run.latest_s, until_s, draws=2 * DRAWS, spacing_s=_SPACING_S,
            decay=decay,
        )  # fmt: skip
        if drawn is None:
            return None
        # The draws come sorted by their start; shuffled, each half shows the whole spread.
        order = np.random.default_rng(_SEED).permutation(2 * DRAWS)
        start_s = drawn.start_s[order]
        time_s, speed = drawn.paths.time_s, drawn.paths.speed_mps[:, order]
        speed = np.where(time_s[:, None] <= start_s, 0.0, speed)
        return RunDraws(run, start_s, time_s, speed, drawn.alike_s, drawn.opening[order])
    paths = motion.paths(run.earliest_s, until_s, draws=DRAWS, spacing_s=_SPACING_S)
    speed = paths.speed_mps
    return RunDraws(run, np.full(speed.shape[1], run.earliest_s), paths.time_s, speed)


def _first_rising(
    time_s: FloatArray, values: FloatArray, goal: float, after: BoolArray
) -> FloatArray:
    """Return where each column first rises through a goal, linearly between grid instants."""
    rising = (values[1:] >= goal) & (values[:-1] < goal) & after
    column = np.arange(values.shape[1])
    index = np.argmax(rising, axis=0)
    low, high = values[index, column], values[index + 1, column]
    span = np.where(high > low, high - low, 1.0)
    found = time_s[index] + (goal - low) / span * (time_s[index + 1] - time_s[index])
    result: FloatArray = np.where(rising.any(axis=0), found, np.nan)
    return result
