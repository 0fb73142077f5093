"""Drawn speeds over one run, and when each of them passes a speed or has covered a distance."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.acceleration.runs import AccelerationRun, find_runs
from ridelog.analysis.launches.windows import Window, default_windows
from ridelog.core.crossings import at_own_times, cumulative_trapezoid, first_reached
from ridelog.core.spans import Span
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import DRAWS, Motion
from ridelog.filtering.standing_start.acceleration_decay import (
    AccelerationDecay,
    acceleration_decay_of,
)
from ridelog.filtering.standing_start.paths import draw_standing_start

_SPACING_S = 0.05
_SEED = 20261127
# Paths are drawn this far beyond what is needed of the fitted path, and never longer than this.
_BEYOND_S, _LONGEST_S = 1.5, 90.0
# A rolling run is looked at up to this share of its highest speed.
_USED_SHARE = 0.95
# Of rolling runs no more than this many are drawn, spread evenly: each further one adds little.
_MOST_ROLLING = 16


@dataclass(frozen=True)
class RunDraws:
    """Possible courses of one run, every column of its own.

    A rolling run has the columns of ``Paths`` (fitted, sharp, cautious). A standing start has draws
    of the posterior of its start, all alike; ``columns`` makes of their figures what
    ``interval.estimate`` expects.

    Attributes
    ----------
    run : AccelerationRun
    start_s : shape (k,), when the speed leaves zero; the beginning of a rolling run. [s]
    time_s : shape (m,). [s]
    speed_mps, distance_m : shape (m, k); the distance counts from ``start_s``. [m/s], [m]
    """

    run: AccelerationRun
    start_s: FloatArray
    time_s: FloatArray
    speed_mps: FloatArray
    distance_m: FloatArray

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

    def covers(self, distance_m: float) -> FloatArray:
        """Return when each column has covered a distance, shape (k,), NaN where never. [s]"""
        if distance_m <= 0.0:
            return self.start_s
        goal = np.array([distance_m])
        covered: FloatArray = first_reached(self.time_s, self.distance_m, self.distance_m, goal)[0]
        return covered

    def speed_at(self, time_s: FloatArray) -> FloatArray:
        """Return the speed of each column at its own time, shape (k,). [m/s]"""
        return at_own_times(self.time_s, self.speed_mps, time_s)

    def distance_at(self, time_s: FloatArray) -> FloatArray:
        """Return the distance covered by each column at its own time, shape (k,). [m]"""
        return at_own_times(self.time_s, self.distance_m, time_s)


def draw_runs(
    motion: Motion,
    *,
    windows: tuple[Window, ...] | None = None,
    rollout_m: float = 0.0,
    excluded: tuple[Span, ...] = (),
    rolling: bool = True,
) -> tuple[RunDraws, ...]:
    """Return the drawn courses of a ride's standing starts and rolling runs, in time order.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    windows, rollout_m, excluded
        As in ``measure_launches``: paths are drawn as far as these need.
    rolling : bool
        Whether rolling runs are drawn as well.
    """
    runs = find_runs(motion, excluded=excluded)
    kept = [run for run in runs if not run.standing] if rolling else []
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
    else:
        paths = motion.paths(run.earliest_s, until_s, draws=DRAWS, spacing_s=_SPACING_S)
        time_s, speed = paths.time_s, paths.speed_mps
        start_s = np.full(speed.shape[1], run.earliest_s)
    return RunDraws(run, start_s, time_s, speed, cumulative_trapezoid(time_s, speed))


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
