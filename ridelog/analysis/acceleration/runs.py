"""Where a ride picks up speed: standing starts and rolling runs, up to where they end."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray, IntArray
from ridelog.filtering.motion import Motion

# Slower than this, as far as the speed's own uncertainty tells, the machine may be standing; the
# limit widens with the uncertainty, but never so far that slow travel could hide in it.
_STAND_MPS, _STAND_SD, _WIDEST_MPS = 0.25, 2.0, 0.5
# A stop shorter than this is a turn of the wheels through zero, and cannot be told from one.
_SHORTEST_STAND_S = 0.6
# Walking pace and a little: a machine that gets no faster has been moved, not launched. Regulation
# (EU) 168/2013, Article 2(2)(a), leaves vehicles of at most 6 km/h (1.67 m/s) out.
LEAST_TOP_MPS = 2.0
# A run ends when the speed has fallen by a seventh and by this much from its highest.
_FALL_SHARE, _FALL_MPS = 0.15, 0.4
# A crawl on the way up: over so long less than this share of the run's best acceleration, below
# this share of its top speed. What follows is a run of its own.
_DWELL_S, _DWELL_SHARE, _DWELL_BELOW = 1.5, 0.25, 0.5
# How much of a stand is looked at; more adds nothing about the start.
_LOOK_BACK_S = 3.0
# The stop before may end in a jolt; so much of the stand is left out.
_AFTER_STOP_S, _AFTER_STOP_SHARE = 0.3, 0.3
_REJECTED = Flag.JUMP | Flag.SPEED_JUMP
# A rolling run gains at least this, and this share of the ride's highest speed.
GAIN_MPS, _GAIN_SHARE = 2.0, 0.35
# Fixes looked through at first for the end of a run.
_FIRST_LOOK = 256


@dataclass(frozen=True)
class AccelerationRun:
    """One span of gaining speed on the fitted path.

    Attributes
    ----------
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
    """Return the standing starts and rolling runs of a ride in time order.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Spans that may not carry one, such as reverse travel.
    """
    runs: list[AccelerationRun] = []
    for piece in motion.pieces:
        rows = motion.known_between(piece.start_s - 1e-6, piece.end_s + 1e-6)
        if len(rows) >= 4:
            runs += _runs_of_piece(motion, rows)
    known = np.isfinite(motion.settled_s)
    return tuple(
        run
        for run in runs
        if known
        and run.latest_s >= motion.settled_s
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
