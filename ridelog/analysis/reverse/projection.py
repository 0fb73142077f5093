"""What the fixes say along the heading: way and signed speed, forward positive.

Positions and velocities are laid along the body's heading, which the fitted path shows where the
machine moves and which goes on through a stop. What is then left has one dimension and a sign.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.reverse.evidence import fitted
from ridelog.analysis.reverse.heading_hmm import Steps
from ridelog.analysis.reverse.readings import Readings
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.observations import CRAWL_MPS

# The fitted path is looked at this finely, and shows a heading from this speed on, or from this
# many of its standard deviations.
_FINE_S, _MOVING_MPS, _MOVING_SD = 0.05, 0.3, 2.5
# Least white noise of a position, so that a file without any divides by something. [m]
_LEAST_M = 0.01


@dataclass(frozen=True)
class Along:
    """The fixes around one end of a reverse along the heading; arrays of shape (m,).

    Attributes
    ----------
    time_s : of the fixes that the filter believed. [s]
    way_m : seen way since the first of them, forward positive. [m]
    speed_mps : reported, forward positive; NaN where none. [m/s]
    crawling : whether that speed only says "slow"; it is then 0.
    path_time_s, path_mps : shape (k,), the fitted path and its speed along the heading.
    white_m, drift_mps, white_mps, slow_mps : the receiver's noise, white and slow, of positions and
        of the reported speed.
    """

    time_s: FloatArray
    way_m: FloatArray
    speed_mps: FloatArray
    crawling: BoolArray
    path_time_s: FloatArray
    path_mps: FloatArray
    white_m: float
    drift_mps: float
    white_mps: float
    slow_mps: float


def along_heading(
    motion: Motion,
    readings: Readings,
    steps: Steps,
    backing: BoolArray,
    start_s: float,
    end_s: float,
) -> Along:
    """Return the fixes of a stretch inside one piece, laid along the heading.

    ``backing`` says for each step whether the machine went backwards there.
    """
    path = fitted(motion, start_s, end_s, _FINE_S)
    time_s, place = path.time_s, path.position_m[:, :, 0]
    ahead = _headings(path.velocity_mps[:, :, 0], time_s, steps, backing)
    # The believed position slides with the drift, as the fixes do, so it is followed, not speed.
    between = 0.5 * (ahead[1:] + ahead[:-1])
    way = np.concatenate([[0.0], np.cumsum((np.diff(place, axis=0) * between).sum(axis=1))])

    inside = (readings.time_s >= start_s - 1e-6) & (readings.time_s <= end_s + 1e-6)
    at_s = readings.time_s[inside]
    unit = _at(at_s, time_s, ahead)
    unit /= np.hypot(unit[:, 0], unit[:, 1])[:, None]
    beside = readings.position_m[inside] - _at(at_s, time_s, place)
    speed = (readings.velocity_mps[inside] * unit).sum(axis=1)
    told = readings.speed_mps[inside]
    # Below a crawl a course that is blank or repeats itself says nothing of the sign.
    repeats = np.diff(readings.velocity_mps[inside], axis=0, prepend=np.nan)
    crawling = (told < CRAWL_MPS) & (np.isnan(speed) | (repeats == 0.0).all(axis=1))
    noise = motion.noise
    return Along(
        time_s=at_s,
        way_m=np.interp(at_s, time_s, way) + (beside * unit).sum(axis=1),
        speed_mps=np.where(crawling, 0.0, speed),
        crawling=crawling,
        path_time_s=time_s,
        path_mps=(path.velocity_mps[:, :, 0] * ahead).sum(axis=1),
        white_m=max(noise.position_white_m, _LEAST_M),
        drift_mps=noise.drift_mps,
        white_mps=noise.speed_white_mps or np.inf,
        slow_mps=noise.slow_speed_mps or 0.0,
    )


def _headings(
    velocity: FloatArray, time_s: FloatArray, steps: Steps, backing: BoolArray
) -> FloatArray:
    """Return where the nose points at every instant, shape (k, 2), turning evenly in between."""
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    sure = speed > np.maximum(
        _MOVING_MPS, _MOVING_SD * np.interp(time_s, steps.time_s, steps.sd_mps)
    )
    if not sure.any():
        sure = speed >= speed.max()
    back = np.interp(time_s, steps.time_s, backing.astype(np.float64)) > 0.5
    course = np.arctan2(velocity[:, 0], velocity[:, 1]) + np.pi * back
    heading = np.interp(time_s, time_s[sure], np.unwrap(course[sure]))
    return np.stack([np.sin(heading), np.cos(heading)], axis=1)


def _at(at_s: FloatArray, time_s: FloatArray, values: FloatArray) -> FloatArray:
    return np.stack([np.interp(at_s, time_s, values[:, axis]) for axis in (0, 1)], axis=1)
