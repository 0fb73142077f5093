"""Where a ride picks up speed: standing starts and pulls from a crawl, up to where they end."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.stretches import Stretch
from ridelog.filtering.motion import Motion
from ridelog.flags import Flag
from ridelog.track import BoolArray, FloatArray

# Slower than this, as far as the speed's own uncertainty tells, the machine may be standing; the
# limit widens with the uncertainty, but never so far that slow travel could hide in it.
_STAND_MPS, _STAND_SD, _WIDEST_MPS = 0.25, 2.0, 0.5
# A stop shorter than this is a turn of the wheels through zero, and cannot be told from one.
_SHORTEST_STAND_S = 0.6
# Walking pace, 6 km/h (standards that name it: see DEVELOPERS.md), and a little: a machine that
# gets no faster has been moved, not launched.
LEAST_TOP_MPS = 2.0
# A run ends when the speed has fallen by a seventh and by this much from its highest.
_FALL_SHARE, _FALL_MPS = 0.15, 0.4
# How much of a stand is looked at; more adds nothing about the start.
_LOOK_BACK_S = 3.0
# The stop before may end in a jolt; so much of the stand is left out.
_AFTER_STOP_S, _AFTER_STOP_SHARE = 0.3, 0.3
# A rolling pull gains at least this, and this share of the ride's highest speed.
_GAIN_MPS, _GAIN_SHARE = 2.0, 0.35


@dataclass(frozen=True)
class Run:
    """One stretch of gaining speed on the fitted path.

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


def find_runs(motion: Motion, *, excluded: tuple[Stretch, ...] = ()) -> tuple[Run, ...]:
    """Return the standing starts and rolling pulls of a ride in time order.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches that may not carry one, such as reverse travel.
    """
    runs: list[Run] = []
    rows = np.flatnonzero(motion.used & np.isfinite(motion.speed_mps))
    rows = rows[np.argsort(motion.track.time_s[rows], kind="stable")]
    time_s = motion.track.time_s[rows]
    for piece in motion.pieces:
        inside = (time_s >= piece.start_s - 1e-6) & (time_s <= piece.end_s + 1e-6)
        if inside.sum() >= 4:
            runs += _runs_of_piece(motion, rows[inside])
    known = np.isfinite(motion.settled_s)
    return tuple(
        run
        for run in runs
        if known
        and run.latest_s >= motion.settled_s
        and _believed(motion, run)
        and not any(run.earliest_s < last and run.end_s > first for first, last in excluded)
    )


def _runs_of_piece(motion: Motion, rows: np.ndarray) -> list[Run]:
    time_s, speed = motion.track.time_s[rows], motion.speed_mps[rows]
    sd = motion.speed_sd_mps[rows]
    east, north = motion.east_m[rows], motion.north_m[rows]
    limit = np.clip(_STAND_SD * sd, _STAND_MPS, _WIDEST_MPS)
    ride_top = float(np.nanmax(motion.speed_mps))
    found: list[Run] = []
    here = 0
    while here < len(rows):
        rising = np.flatnonzero(speed[here:] >= LEAST_TOP_MPS)
        if not len(rising):
            break
        up = here + int(rising[0])
        end, top = _fall(speed, up)
        # The slowest moment before: from there on the speed rises.
        low = here + int(np.argmin(speed[here : up + 1]))
        slow = speed < limit
        stood = np.flatnonzero(slow[here : up + 1])
        course = float(np.arctan2(east[top] - east[low], north[top] - north[low]))
        if len(stood):
            last = here + int(stood[-1])
            first = _stand_begins(speed, limit, here, last)
            length = time_s[last] - time_s[first]
            if length >= _SHORTEST_STAND_S and _stayed(east, north, first, last, motion):
                jolt = 0.0 if first == 0 else min(_AFTER_STOP_S, _AFTER_STOP_SHARE * length)
                found.append(
                    Run(
                        True,
                        float(max(time_s[first] + jolt, time_s[last] - _LOOK_BACK_S)),
                        float(time_s[up]),
                        0.0,
                        float(time_s[end]),
                        float(speed[top]),
                        float(time_s[top]),
                        course,
                    )
                )
                here = end + 1
                continue
        if speed[top] - speed[low] >= max(_GAIN_MPS, _GAIN_SHARE * ride_top) and low > 0:
            began = float(time_s[low])
            found.append(
                Run(
                    False,
                    began,
                    began,
                    float(speed[low]),
                    float(time_s[end]),
                    float(speed[top]),
                    float(time_s[top]),
                    course,
                )  # fmt: skip
            )
        here = end + 1
    return found


def _fall(speed: FloatArray, up: int) -> tuple[int, int]:
    """Return where the speed has fallen from its highest, and where it was highest."""
    highest = np.maximum.accumulate(speed[up:])
    fallen = np.flatnonzero(highest - speed[up:] > np.maximum(_FALL_SHARE * highest, _FALL_MPS))
    stop = up + int(fallen[0]) if len(fallen) else len(speed) - 1
    top = up + int(np.argmax(speed[up : stop + 1]))
    return stop, top


def _stand_begins(speed: FloatArray, limit: FloatArray, here: int, last: int) -> int:
    """Return from where on the speed stays near zero up to ``last``; short bumps are let be."""
    moving = np.flatnonzero(speed[here : last + 1] > 1.6 * limit[here : last + 1])
    first = here + int(moving[-1]) + 1 if len(moving) else here
    near: BoolArray = speed[first : last + 1] < limit[first : last + 1]
    return first + int(np.argmax(near))


def _stayed(east: FloatArray, north: FloatArray, first: int, last: int, motion: Motion) -> bool:
    """Return whether the place did not change over a stand by more than slow travel would."""
    moved = float(np.hypot(east[last] - east[first], north[last] - north[first]))
    length = float(last - first) / motion.rate_hz
    return moved <= 0.2 * length + 2.0 * motion.noise.position_white_m + 0.3


def _believed(motion: Motion, run: Run) -> bool:
    """Return whether the fixes on the way up are ones a figure may be taken from."""
    time_s = motion.track.time_s
    rows = motion.used & (time_s >= run.earliest_s) & (time_s <= run.top_s)
    if rows.sum() < 3:
        return False
    flags = motion.flags[rows]
    jumps = np.mean((flags & np.uint32(Flag.JUMP | Flag.SPEED_JUMP)) != 0)
    settling = np.mean((flags & np.uint32(Flag.SETTLING)) != 0)
    return bool(jumps < 0.34 and settling < 0.2)
