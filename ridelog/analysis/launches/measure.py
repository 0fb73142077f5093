"""Standing starts: how long each took over every window, and the best and median of them."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from ridelog.analysis.acceleration.run_draws import RunDraws, draw_runs
from ridelog.analysis.launches.windows import Window, default_windows
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, estimate_of_possible
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion


@dataclass(frozen=True)
class WindowTime:
    """One window of one launch.

    Attributes
    ----------
    window : Window
    time : how long it took, None with a ``reason`` if it cannot be said. [s]
    exit_speed : speed at its end. [m/s]
    length : way from its beginning to its end. [m]
    columns : shape (1 + 2 draws,), the time of every drawn path for joint use; NaN where none. [s]
    """

    window: Window
    time: Estimate | None
    exit_speed: Estimate | None
    length: Estimate | None
    reason: str
    columns: FloatArray = field(repr=False)


@dataclass(frozen=True)
class Launch:
    """One standing start.

    Attributes
    ----------
    start_s : when the speed left zero, most probably. [s]
    start : the same with its interval, seconds since the first fix.
    top_mps : highest speed reached before the speed fell again. [m/s]
    end_s : when it began to fall. [s]
    course_rad : direction from its start to its fastest point.
    windows : one entry for each window asked for, in that order.
    curve_s, curve_mps : the mean drawn speed for a picture, seconds since ``start_s``.
    """

    start_s: float
    start: Estimate
    top_mps: float
    end_s: float
    course_rad: float
    windows: tuple[WindowTime, ...]
    curve_s: FloatArray = field(repr=False)
    curve_mps: FloatArray = field(repr=False)


@dataclass(frozen=True)
class WindowSummary:
    """One window over all launches of a ride.

    Attributes
    ----------
    window : Window
    best, median : over the launches that filled it, freed from the bias of choosing. [s]
    attempts : how many filled it.
    columns : shape (attempts, 1 + 2 draws), for joint use. [s]
    """

    window: Window
    best: Estimate | None
    median: Estimate | None
    attempts: int
    columns: FloatArray = field(repr=False)


@dataclass(frozen=True)
class Launches:
    """Every standing start of a ride.

    Attributes
    ----------
    launches : in time order.
    summaries : one for each window.
    rollout_m : way after which the clock of standing windows starts, 0 unless asked for. [m]
    reason : why there is none, else empty.
    drawn : the courses drawn for them and for rolling pulls, for others that need them.
    """

    launches: tuple[Launch, ...]
    summaries: tuple[WindowSummary, ...]
    rollout_m: float
    reason: str
    drawn: tuple[RunDraws, ...] = field(default=(), repr=False, compare=False)

    def summary(self, label: str) -> WindowSummary | None:
        """Return the summary of a window by its label, None if it was not asked for."""
        return next((s for s in self.summaries if s.window.label == label), None)


def measure_launches(
    motion: Motion,
    *,
    windows: tuple[Window, ...] | None = None,
    rollout_m: float = 0.0,
    excluded: tuple[Span, ...] = (),
    drawn: tuple[RunDraws, ...] | None = None,
) -> Launches:
    """Return every standing start of a ride with its times.

    A launch starts when the machine first moves. With a rollout allowance the clock of standing
    windows, and the way of those over a distance, count from where that way is covered instead:
    sqrt(2 r / a) later at constant acceleration, half a second and more on a slow machine.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    windows : tuple of Window, optional
        From ``parse_window``; those that suit the speed reached if left out.
    rollout_m : float
        0 for none. [m]
    excluded : tuple of (start_s, end_s)
        Stretches that may not hold one, such as reverse travel.
    drawn : tuple of RunDraws, optional
        From ``draw_runs`` with the same windows, rollout and stretches, if at hand.

    Source
    ------
    Own derivation: DEVELOPERS.md, "The standing start". Rollout: constant acceleration.
    """
    if drawn is None:
        drawn = draw_runs(
            motion, windows=windows, rollout_m=rollout_m, excluded=excluded, rolling=False
        )
    standing = [one for one in drawn if one.run.standing]
    if windows is None:
        windows = default_windows(max((one.run.top_mps for one in standing), default=0.0))
    launches = [_launch(one, windows, rollout_m) for one in standing]
    return Launches(
        launches=tuple(launches),
        summaries=tuple(_summary(launches, index, w) for index, w in enumerate(windows)),
        rollout_m=rollout_m,
        reason="" if launches else "the ride holds no standing start to 2 m/s or more",
        drawn=drawn,
    )


def _launch(drawn: RunDraws, windows: tuple[Window, ...], rollout_m: float) -> Launch:
    start = estimate_of_possible(drawn.start_s)
    assert start is not None  # every draw has a start
    since = drawn.time_s - start.value
    shown = since >= -1.0
    return Launch(
        start_s=start.value,
        start=start,
        top_mps=drawn.run.top_mps,
        end_s=drawn.run.end_s,
        course_rad=drawn.run.course_rad,
        windows=tuple(_window_times(drawn, windows, rollout_m)),
        curve_s=since[shown],
        curve_mps=drawn.speed_mps[shown].mean(axis=1),
    )


def _window_times(
    drawn: RunDraws, windows: tuple[Window, ...], rollout_m: float
) -> Iterator[WindowTime]:
    """Yield every window of a launch; the speeds of all of them are looked for at once."""
    named = {speed for w in windows for speed in (w.from_mps, w.to_mps) if speed}
    speeds = np.array(sorted(named))
    passed = dict(zip(speeds.tolist(), drawn.passes(speeds), strict=True)) if named else {}
    started = drawn.covers(rollout_m)
    for window in windows:
        begin = started if window.standing else passed[window.from_mps]
        if window.distance_m is not None:
            end = drawn.covers(window.distance_m + rollout_m)
        else:
            end = passed[window.to_mps or 0.0]
        yield _window_time(drawn, window, begin, end)


def _window_time(drawn: RunDraws, window: Window, begin: FloatArray, end: FloatArray) -> WindowTime:
    end = np.where(end > begin, end, np.nan)
    columns = drawn.columns(end - begin)
    # Draws of a posterior are what the truth may be: their quantiles, skew included.
    time = estimate_of_possible(end - begin)
    if time is None:
        return WindowTime(window, None, None, None, _why_none(drawn, window), columns)
    if window.distance_m is None:
        exact = float(window.to_mps or 0.0)
        exit_speed: Estimate | None = Estimate(exact, exact, exact)
        length = estimate_of_possible(drawn.way_at(end) - drawn.way_at(begin))
    else:
        exit_speed = estimate_of_possible(drawn.speed_at(end))
        length = Estimate(window.distance_m, window.distance_m, window.distance_m)
    return WindowTime(window, time, exit_speed, length, "", columns)


def _why_none(drawn: RunDraws, window: Window) -> str:
    if window.distance_m is not None:
        return "the launch ends before this distance"
    if drawn.run.top_mps < 1.02 * (window.to_mps or 0.0):
        return "the launch does not clearly reach this speed"
    return "the crossings cannot be told from the fixes"


def _summary(launches: list[Launch], index: int, window: Window) -> WindowSummary:
    columns = [
        launch.windows[index].columns
        for launch in launches
        if launch.windows[index].time is not None
    ]
    if not columns:
        return WindowSummary(window, None, None, 0, np.zeros((0, 0)))
    table = np.stack(columns)
    if len(columns) == 1:
        only = next(t.time for t in (x.windows[index] for x in launches) if t.time is not None)
        return WindowSummary(window, only, only, 1, table)
    # A draw without a crossing must not decide which attempt was best.
    filled = np.where(np.isfinite(table), table, np.nanmean(table, axis=1)[:, None])
    best = estimate(filled.min(axis=0), smallest=0.0)
    median = estimate(np.median(filled, axis=0), smallest=0.0)
    if best is not None and median is not None and best.value > median.value:
        # With equal attempts the freeing from luck overshoots by its own error.
        best = Estimate(median.value, min(best.low, median.value), best.high, best.level)
    return WindowSummary(window, best, median, len(columns), table)
