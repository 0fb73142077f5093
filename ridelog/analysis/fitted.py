"""The fitted path of each piece on an even grid: where analyses look for what happened."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.windows import windows_of
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion, Paths

# Own choice: four instants in the shortest mean taken on it (0.4 s); figures are of drawn paths.
SPACING_S = 0.1
# Own choice: a piece ends at a hole of 3.5 intervals, so a fix lies beside a stretch even at 8 s
# between fixes; more only takes time.
_NEAR_S = 30.0
# Below this speed a direction is held from before. Own choice: a little above the crawl of 0.5 m/s
# whose course is noise; higher, a bend of a crawling machine counts as a straight.
_HELD_MPS = 0.7


@dataclass(frozen=True)
class FittedPath:
    """The most probable motion over one piece; arrays of shape (m,).

    speed_mps is over ground, accel_mps2 its rate of change, yaw_rate_radps clockwise positive.
    usable : whether a figure may be taken from around here (see ``windows_of``).
    """

    time_s: FloatArray
    speed_mps: FloatArray
    accel_mps2: FloatArray
    yaw_rate_radps: FloatArray
    usable: BoolArray


def fitted_paths(motion: Motion, *, spacing_s: float = SPACING_S) -> Iterator[FittedPath]:
    """Yield the fitted path of every piece of a second and more."""
    windows = windows_of(motion, 1.0)
    for piece in motion.pieces:
        if piece.end_s - piece.start_s < 1.0:
            continue
        paths = motion.paths(piece.start_s, piece.end_s, draws=0, spacing_s=spacing_s)
        velocity = paths.velocity_mps[:, :, 0]
        accel = paths.acceleration_mps2[:, :, 0]
        speed = np.hypot(velocity[:, 0], velocity[:, 1])
        turning = velocity[:, 1] * accel[:, 0] - velocity[:, 0] * accel[:, 1]
        moving = np.maximum(speed, 0.3)
        yield FittedPath(
            time_s=paths.time_s,
            speed_mps=speed,
            accel_mps2=paths.tangential_accel_mps2[:, 0],
            yaw_rate_radps=np.where(speed > 0.3, turning / moving**2, 0.0),
            usable=_usable(paths.time_s, windows.start_s, windows.usable),
        )


def usable_between(motion: Motion, start_s: float, end_s: float) -> bool:
    """Return whether a figure may be taken from the stretch between two times as a whole."""
    # Fixes are at most some seconds apart within a piece.
    near = (start_s - _NEAR_S, end_s + _NEAR_S)
    windows = windows_of(motion, end_s - start_s, near=near)
    if not len(windows.start_s):
        return False
    # Windows start at fixes: the one that begins nearest to the stretch stands for it.
    nearest = int(np.argmin(np.abs(windows.start_s - start_s)))
    return bool(windows.usable[nearest])


def along_speed(paths: Paths, least_mps: float = _HELD_MPS) -> FloatArray:
    """Return the velocity along the fitted path's direction, shape (m, 1 + 2 draws). [m/s]

    Unlike the length of the velocity it scatters about zero at rest. Where the fitted path crawls,
    its direction is held from the nearest earlier instant at which it did not.
    """
    fitted = paths.velocity_mps[:, :, 0]
    speed = np.hypot(fitted[:, 0], fitted[:, 1])
    sure = speed > least_mps
    if not sure.any():
        sure = speed >= speed.max()
    index = np.maximum.accumulate(np.where(sure, np.arange(len(speed)), -1))
    index = np.where(index < 0, int(np.flatnonzero(sure)[0]), index)
    unit = fitted[index] / speed[index, None]
    along: FloatArray = (unit[:, None] @ paths.velocity_mps)[:, 0]
    return along


def _usable(time_s: FloatArray, start_s: FloatArray, usable: BoolArray) -> BoolArray:
    """Return for each instant whether no window that may not carry a figure holds it."""
    bad = np.sort(start_s[~usable])
    before = np.searchsorted(bad, time_s, side="right") - np.searchsorted(bad, time_s - 1.0)
    result: BoolArray = before == 0
    return result
