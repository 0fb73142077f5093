"""Lateral acceleration and radius of a turn, as means over windows of drawn paths."""

import numpy as np

from ridelog.analysis.windows import Windows
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Paths


def speed_by_fixes(paths: Paths, fix_s: FloatArray) -> FloatArray:
    """Return the speed at the fixes, linear in between, shape (m, columns). [m/s]

    Between fixes a second apart the course of a tight turn swings by 70 degrees; a smooth curve
    between the two velocities cuts that corner, and its speed dips by up to a tenth where the
    machine held it.

    Parameters
    ----------
    paths : Paths
        Fitted path and draws over one turn.
    fix_s : ndarray, shape (n,)
        Times of the fixes, increasing. [s]
    """
    time_s, speed = paths.time_s, paths.speed_mps
    knots = fix_s[(fix_s > time_s[0] + 1e-6) & (fix_s < time_s[-1] - 1e-6)]
    knots = np.concatenate([time_s[:1], knots, time_s[-1:]])
    nearest = np.clip(np.searchsorted(time_s, knots), 1, len(time_s) - 1)
    nearest -= (knots - time_s[nearest - 1]) < (time_s[nearest] - knots)
    nearest = np.unique(nearest)
    right = np.clip(np.searchsorted(time_s[nearest], time_s, side="right"), 1, len(nearest) - 1)
    first, last = nearest[right - 1], nearest[right]
    share = ((time_s - time_s[first]) / (time_s[last] - time_s[first]))[:, None]
    result: FloatArray = speed[first] + share * (speed[last] - speed[first])
    return result


def mean_laterals(
    paths: Paths, length_s: float, usable: BoolArray, speed_mps: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the mean lateral acceleration of every usable window.

    Parameters
    ----------
    paths : Paths
        Fitted path and draws over one turn.
    length_s : float
        Length of the windows, to the nearest step of the grid. [s]
    usable : ndarray of bool, shape (m,)
        Whether a window may start at each instant of the grid.
    speed_mps : ndarray, shape (m, columns)
        From ``speed_by_fixes``. [m/s]

    Returns
    -------
    start_s : shape (k,). [s]
    mean_mps2 : shape (k, columns), means of v dψ/dt, positive clockwise. [m/s²]
    """
    first, last, span_s = _windows(paths, length_s, usable)
    # Between two instants of the grid the course swings by the angle between the two velocities;
    # v dψ/dt integrates to the mean speed times that angle.
    lateral = _summed(0.5 * (speed_mps[1:] + speed_mps[:-1]) * paths.turned_rad)
    return paths.time_s[first], (lateral[last] - lateral[first]) / span_s


def radii(paths: Paths, length_s: float, usable: BoolArray, speed_mps: FloatArray) -> FloatArray:
    """Return the radius of every usable window: way by course change, either side positive.

    Parameters as in ``mean_laterals``; shape (k, columns). Windows must lie inside the turn, else
    straight parts count in. [m]
    """
    first, last, _ = _windows(paths, length_s, usable)
    course = _summed(paths.turned_rad)
    way = _summed(0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(paths.time_s)[:, None])
    angle = np.abs(course[last] - course[first])
    result: FloatArray = (way[last] - way[first]) / np.maximum(angle, 1e-6)
    return result


def _summed(steps: FloatArray) -> FloatArray:
    """Return the sum of the steps since the first instant, one row longer."""
    sums = np.empty((len(steps) + 1, steps.shape[1]))
    sums[0] = 0.0
    np.cumsum(steps, axis=0, out=sums[1:])
    return sums


def chosen_and_held(figures: FloatArray, spread: FloatArray | None = None) -> FloatArray:
    """Return the columns from which a largest window's figure is estimated, shape (columns,).

    What choosing adds is told by the best window of each draw, of sharp and cautious draws in equal
    parts: the error of a single window lies between the two readings (1.0 to 1.6 times the sharp,
    0.5 to 1.0 times the cautious). The width comes from the fitted path's own best window in the
    cautious draws: the best of many windows is a flatter function of the errors than any one of
    them, since on an even turn every draw finds another window as good: METHOD.md of handling, (3).

    Parameters
    ----------
    figures : ndarray, shape (windows, 1 + 2 draws)
        A figure of every window on every column of ``Paths``.
    spread : ndarray, of the same shape, optional
        Figures to take the width from, where those do not hold all that is uncertain.
    """
    draws = (figures.shape[1] - 1) // 2
    best = figures.max(axis=0)
    half = draws // 2
    choosing = np.concatenate([best[1 : 1 + draws - half], best[1 + draws : 1 + draws + half]])
    widths = figures if spread is None else spread
    held = widths[int(figures[:, 0].argmax()), 1 + draws :]
    return np.concatenate([best[:1], choosing, held])


def greatest_of(columns: list[FloatArray]) -> FloatArray:
    """Return the columns of the greatest among turns, each from ``chosen_and_held``."""
    stacked = np.stack(columns)
    draws = (stacked.shape[1] - 1) // 2
    chosen = stacked[:, : 1 + draws].max(axis=0)
    return np.concatenate([chosen, stacked[int(stacked[:, 0].argmax()), 1 + draws :]])


def usable_at(windows: Windows, time_s: FloatArray) -> BoolArray:
    """Return where a window may start: the windows at the fixes on either side are usable."""
    if not len(windows.start_s):
        return np.zeros(len(time_s), dtype=bool)
    last = len(windows.start_s) - 1
    right = np.minimum(np.searchsorted(windows.start_s, time_s - 1e-6), last)
    left = np.maximum(np.searchsorted(windows.start_s, time_s + 1e-6, side="right") - 1, 0)
    result: BoolArray = windows.usable[left] & windows.usable[right]
    return result


def _windows(
    paths: Paths, length_s: float, usable: BoolArray
) -> tuple[np.ndarray, np.ndarray, float]:
    """Return first and last instants of the usable windows, and their true length."""
    spacing = float(paths.time_s[1] - paths.time_s[0])
    width = max(1, round(length_s / spacing))
    first = np.flatnonzero(usable[: max(0, len(paths.time_s) - width)])
    return first, first + width, width * spacing
