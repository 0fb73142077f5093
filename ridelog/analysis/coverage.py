"""How much of the distance was logged by fixes close enough to tell the speed of any one second."""

import numpy as np

from ridelog.core.flags import Flag
from ridelog.core.geodesy import to_local
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.observations import CRAWL_MPS

# Fixes further apart than this do not tell what the machine did in any one second between them:
# METHOD.md, (1). The tenth of a second is for stamps that jitter.
LONGEST_HOLE_S = 2.1
# Where less than half of the distance was seen, the fastest second was more likely missed.
LEAST_SEEN = 0.5
# The interval is meant to hold in nine rides of ten: from so much of the distance unseen on, the
# second that was missed can be the whole of that tenth.
WELL_SEEN = 0.9


def rows_in_time(motion: Motion, wanted: BoolArray) -> IntArray:
    """Return the rows of a mask over the track in order of time."""
    rows = np.flatnonzero(wanted)
    return rows[np.argsort(motion.track.time_s[rows], kind="stable")]


def raw_places(motion: Motion, rows: IntArray) -> FloatArray:
    """Return the logged positions of some rows, shape (m, 2), east and north. [m]"""
    track = motion.track
    places = to_local(track.latitude_deg[rows], track.longitude_deg[rows], *motion.origin_deg)
    return np.stack(places, axis=1)


def seen_share(motion: Motion) -> float:
    """Return the share of the distance between fixes LONGEST_HOLE_S apart at most, 0 to 1.

    The distance is counted and not the time, so that a logger which pauses while the machine stands
    loses nothing. Across a longer interval it is the straight line, the least it can be. Neither
    what came before the receiver had settled nor what lies between two segments of the log counts:
    the log does not claim to tell of it. 1 for a ride without any distance. METHOD.md, (2).
    """
    track = motion.track
    after = motion.settled_s if np.isfinite(motion.settled_s) else -np.inf
    with np.errstate(invalid="ignore"):
        rows = rows_in_time(motion, motion.used & (track.time_s >= after))
    smoothed = np.isfinite(motion.speed_mps[rows])
    # A jump that nobody smoothed would be a long distance.
    kept = smoothed | ((motion.flags[rows] & np.uint32(Flag.JUMP)) == 0)
    rows, smoothed = rows[kept], smoothed[kept]
    step = np.diff(track.time_s[rows])
    place = np.where(
        smoothed[:, None],
        np.stack([motion.east_m[rows], motion.north_m[rows]], axis=1),
        raw_places(motion, rows),
    )
    chord = np.hypot(*np.diff(place, axis=0).T)
    speed = motion.speed_mps[rows]
    seen = (step <= LONGEST_HOLE_S) & smoothed[1:] & smoothed[:-1]
    # Between near fixes the smoothed speed counts: chords would add their noise up.
    distance_m = np.where(seen, 0.5 * (speed[1:] + speed[:-1]) * step, chord)
    # On the whole slower than a crawl: it stood, and the position wandered.
    distance_m[~seen & (chord < CRAWL_MPS * step)] = 0.0
    distance_m[np.diff(track.segment[rows]) != 0] = 0.0
    total = float(distance_m.sum())
    return float(distance_m[seen].sum()) / total if total > 0.0 else 1.0
