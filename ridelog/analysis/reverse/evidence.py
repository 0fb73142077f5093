"""What the smoothed motion shows of its velocity, in the steps that the heading grid takes.

The filter's own motion is the evidence, not the raw readings: it joins positions and reported
velocity, leaves out what it does not believe, and knows how fast the machine was between two fixes
a second apart. Measured against raw readings: DEVELOPERS.md, "Reverse".
"""

import numpy as np

from ridelog.analysis.reverse.heading_hmm import Steps
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion, Paths

# Five steps a second resolve a stop of half a second; more repeat the same errors.
STEP_S = 0.2
# Errors of the smoothed velocity hold on for about a second, so five steps are one observation.
# Halved or trebled, no simulated ride came out differently.
_CORRELATED_S = 1.0
# No velocity is better known than this: slow errors of a receiver (2-8 cm/s, own measurement on
# public logs, DEVELOPERS.md).
_LEAST_SD_MPS = 0.05
# Steps are this close around everything slower than this, and one a second elsewhere.
_SLOW_MPS, _AROUND_S, _THINNED = 2.2, 3.0, 5
# Long pieces are asked for in parts, to bound memory.
_LONGEST_PART_S = 600.0


def steps_of(motion: Motion) -> Steps:
    """Return the velocities of a ride in steps, close where it is slow and thinned elsewhere."""
    parts = [
        fitted(motion, first, last, STEP_S)
        for piece in motion.pieces
        for first, last in _parts(piece.start_s, piece.end_s)
    ]
    if not parts:
        return Steps(np.zeros(0), np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    time_s = np.concatenate([path.time_s for path in parts])
    velocity = np.concatenate([path.velocity_mps[:, :, 0] for path in parts])
    slow = time_s[np.hypot(velocity[:, 0], velocity[:, 1]) < _SLOW_MPS]
    kept = np.arange(len(time_s)) % _THINNED == 0
    kept |= _within(time_s, slow, _AROUND_S)
    # The ends of a piece stay, and the instant that two parts share is taken once.
    kept |= np.diff(time_s, append=np.inf) > 2.0 * STEP_S
    kept |= np.diff(time_s, prepend=-np.inf) > 2.0 * STEP_S
    kept &= np.diff(time_s, prepend=-np.inf) > 1e-6
    time_s, velocity = time_s[kept], velocity[kept]

    rows = np.flatnonzero(motion.used & np.isfinite(motion.speed_sd_mps))
    rows = rows[np.argsort(motion.track.time_s[rows], kind="stable")]
    sd = np.interp(time_s, motion.track.time_s[rows], motion.speed_sd_mps[rows])
    step_s = np.diff(time_s, prepend=time_s[0] - STEP_S)
    return Steps(
        time_s=time_s,
        velocity_mps=velocity,
        sd_mps=np.maximum(sd, _LEAST_SD_MPS),
        weight=np.clip(step_s / _CORRELATED_S, 0.0, 1.0),
    )


def fitted(motion: Motion, start_s: float, end_s: float, spacing_s: float) -> Paths:
    """Return the fitted path alone, evenly spaced by about ``spacing_s``, both ends included."""
    count = max(1, round((end_s - start_s) / spacing_s))
    return motion.paths(start_s, end_s, draws=0, spacing_s=(end_s - start_s) / count)


def _parts(start_s: float, end_s: float) -> list[tuple[float, float]]:
    count = max(1, int(np.ceil((end_s - start_s) / _LONGEST_PART_S)))
    edges = np.linspace(start_s, end_s, count + 1).tolist()
    return list(zip(edges[:-1], edges[1:], strict=True))


def _within(time_s: FloatArray, marks_s: FloatArray, reach_s: float) -> BoolArray:
    """Return which times lie within a reach of any of the (sorted) marks."""
    first = np.searchsorted(marks_s, time_s - reach_s)
    after = np.searchsorted(marks_s, time_s + reach_s, side="right")
    result: BoolArray = after > first
    return result
