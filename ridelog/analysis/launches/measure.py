"""Standing starts: how long each took over every window, and the ride's figure of each window."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ridelog.analysis.acceleration.runs import LEAST_TOP_MPS, RunDraws
from ridelog.analysis.figure import harmonic_mean_of, mean_of
from ridelog.analysis.launches.windows import Window, default_windows
from ridelog.core.crossings import at_own_times
from ridelog.core.estimate import Estimate
from ridelog.core.geodesy import courses_apart_deg
from ridelog.core.interval import estimate_of_possible
from ridelog.core.quantity import both_units
from ridelog.core.track import FloatArray
from ridelog.filtering.standing_start.paths import UNSEEN_START_S

# Directions whose figures differ by more than this tell of wind or slope and not of the machine;
# common practice, no source.
_MOST_APART = 1.5


@dataclass(frozen=True)
class MeanOfStarts:
    """One figure over the full starts of a ride.

    mean : None with a ``reason``.
    directions : mean of each direction, that of the first start first; two if both were ridden.
    full : for each direction the places of its full starts among the launches.
    course_deg : where the starts go if they all go one way, else None.
    shared_sd : standard deviation of the error that all starts share: it stays in their mean.
    """

    mean: Estimate | None
    reason: str
    directions: tuple[Estimate, ...] = ()
    full: tuple[tuple[int, ...], ...] = ()
    course_deg: float | None = None
    shared_sd: float = 0.0

    @property
    def both_ways(self) -> Estimate | None:
        """The mean if it balances both directions."""
        return self.mean if len(self.directions) == 2 else None


def mean_of_starts(
    course_deg: Sequence[float],
    time_s: Sequence[Estimate | None],
    figure: Sequence[Estimate | None],
    shared_sd: float = 0.0,
) -> MeanOfStarts:
    """Return the mean over both directions of the full starts of each.

    Full are the starts that are not clearly slower than the quickest of their direction: the
    half-hearted go. METHOD.md, (5) and (6).

    Parameters
    ----------
    course_deg : sequence of float
        Direction of each start.
    time_s, figure : sequence of Estimate or None
        How long each took, and what is averaged: the times themselves, or another figure.
    shared_sd : float
        Standard deviation of the part of the figure's error that is the same in all starts.
    """
    told = {
        place: (time, one)
        for place, (time, one) in enumerate(zip(time_s, figure, strict=True))
        if time is not None and one is not None
    }
    if not told:
        return MeanOfStarts(None, "no start was timed over it")
    first = course_deg[next(iter(told))]
    alike = [place for place in told if courses_apart_deg(course_deg[place], first) <= 90.0]
    opposite = [place for place in told if place not in alike]
    full = tuple(_full(way, told) for way in (alike, opposite) if way)
    directions = tuple(mean_of([told[place][1] for place in way], shared_sd) for way in full)
    values = [each.value for each in directions]
    if len(values) == 2 and max(values) > _MOST_APART * min(values):
        reason = (
            f"its two directions differ by a factor of {max(values) / min(values):.1f}: wind or "
            "slope decides it"
        )
        return MeanOfStarts(None, reason, directions, full)
    course = _mean_course([course_deg[place] for place in told]) if len(values) == 1 else None
    mean = harmonic_mean_of(list(directions), shared_sd)
    return MeanOfStarts(mean, "", directions, full, course, shared_sd)


def _full(way: list[int], told: Mapping[int, tuple[Estimate, Estimate]]) -> tuple[int, ...]:
    quickest = min((told[place][0] for place in way), key=lambda time: time.value)
    return tuple(place for place in way if told[place][0].low <= quickest.high)


def _mean_course(courses_deg: list[float]) -> float:
    angles = np.radians(courses_deg)
    return float(np.degrees(np.arctan2(np.sin(angles).sum(), np.cos(angles).sum())) % 360.0)


@dataclass(frozen=True)
class WindowTime(Window):
    """One window of one launch.

    time_s : how long it took, None with a ``reason`` if it cannot be said. [s]
    exit_speed_mps : speed at its end. [m/s]
    length_m : distance from its beginning to its end. [m]
    """

    time_s: Estimate | None
    exit_speed_mps: Estimate | None
    length_m: Estimate | None
    reason: str


@dataclass(frozen=True)
class Launch:
    """One standing start.

    start_s : when the speed left zero, most probably. [s]
    start_estimate_s : the same with its interval, seconds since the first fix.
    top_mps : highest speed reached before the speed fell again. [m/s]
    course_deg : direction from its start to its fastest point.
    windows : one entry for each window asked for, in that order.
    curve_s, curve_mps : the mean drawn speed for a picture, seconds since ``start_s``.
    """

    start_s: float
    start_estimate_s: Estimate
    top_mps: float
    course_deg: float
    windows: tuple[WindowTime, ...]
    curve_s: FloatArray = field(repr=False)
    curve_mps: FloatArray = field(repr=False)


@dataclass(frozen=True)
class WindowFigure(Window):
    """The ride's one figure of a window, over all launches.

    attempts : how many launches filled it.
    full_starts : the places among the launches of those in the mean.
    time_s : mean of the full starts, both directions alike; None with a ``reason``. [s]
    length_m : the same of the distance covered in a window of speed. [m]
    time, length : both means with their directions.
    """

    attempts: int
    full_starts: tuple[int, ...]
    time_s: Estimate | None
    length_m: Estimate | None
    reason: str
    time: MeanOfStarts = field(repr=False)
    length: MeanOfStarts = field(repr=False)


@dataclass(frozen=True)
class Launches:
    """Every standing start of a ride.

    launches : in time order.
    windows : the figure of each window.
    rollout_m : distance after which the clock of standing windows starts, 0 unless asked for. [m]
    reason : why there is none, else empty.
    drawn : the courses drawn for them and for rolling runs, for others that need them.
    """

    launches: tuple[Launch, ...]
    windows: tuple[WindowFigure, ...]
    rollout_m: float
    reason: str
    drawn: tuple[RunDraws, ...] = field(default=(), repr=False, compare=False)


def measure_launches(
    drawn: tuple[RunDraws, ...],
    *,
    windows: tuple[Window, ...] | None = None,
    rollout_m: float = 0.0,
) -> Launches:
    """Return every standing start of a ride with its times.

    A launch starts when the machine first moves. With a rollout allowance the clock of standing
    windows, and the length of those over a distance, count from where it is covered instead: half
    a second and more on a slow machine, METHOD.md of launches, (1) to (4). ``drawn`` comes from
    ``draw_runs`` with the same windows and rollout; without windows those that suit the speed
    reached are timed.
    """
    standing = [one for one in drawn if one.run.standing]
    if windows is None:
        windows = default_windows(max((one.run.top_mps for one in standing), default=0.0))
    launches = tuple(_launch(one, windows, rollout_m) for one in standing)
    alike_s = max((one.alike_s for one in standing), default=UNSEEN_START_S)
    none = f"the ride holds no standing start to {both_units(LEAST_TOP_MPS)} or more"
    reason = "" if launches else none
    return Launches(
        launches=launches,
        windows=tuple(_figure_of(launches, at, w, reason, alike_s) for at, w in enumerate(windows)),
        rollout_m=rollout_m,
        reason=reason,
        drawn=drawn,
    )


def _launch(drawn: RunDraws, windows: tuple[Window, ...], rollout_m: float) -> Launch:
    start = estimate_of_possible(drawn.start_s)
    assert start is not None  # every draw has a start
    since = drawn.time_s - start.value
    shown = since >= -1.0
    return Launch(
        start_s=start.value,
        start_estimate_s=start,
        top_mps=drawn.run.top_mps,
        course_deg=float(np.degrees(drawn.run.course_rad) % 360.0),
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
    gone_m = drawn.gone_m()
    started = drawn.covers(rollout_m, gone_m)
    for window in windows:
        begin = started if window.standing else passed[window.from_mps]
        if window.distance_m is not None:
            end = drawn.covers(window.distance_m + rollout_m, gone_m)
        else:
            end = passed[window.to_mps or 0.0]
        yield _window_time(drawn, gone_m, window, begin, end)


def _window_time(
    drawn: RunDraws, gone_m: FloatArray, window: Window, begin: FloatArray, end: FloatArray
) -> WindowTime:
    end = np.where(end > begin, end, np.nan)
    # Draws of a posterior are what the truth may be: their quantiles, skew included.
    time = estimate_of_possible(end - begin)
    if time is None:
        return WindowTime(*_named(window), None, None, None, _why_none(drawn, window))
    if window.distance_m is None:
        exact = float(window.to_mps or 0.0)
        exit_speed: Estimate | None = Estimate(exact, exact, exact)
        length = estimate_of_possible(
            at_own_times(drawn.time_s, gone_m, end) - at_own_times(drawn.time_s, gone_m, begin)
        )
    else:
        exit_speed = estimate_of_possible(drawn.speed_at(end))
        length = Estimate(window.distance_m, window.distance_m, window.distance_m)
    return WindowTime(*_named(window), time, exit_speed, length, "")


def _why_none(drawn: RunDraws, window: Window) -> str:
    if window.distance_m is not None:
        return "the launch ends before this distance"
    if drawn.run.top_mps < 1.02 * (window.to_mps or 0.0):
        return "the launch does not clearly reach this speed"
    return "the crossings cannot be told from the fixes"


def _figure_of(
    launches: tuple[Launch, ...], place: int, window: Window, reason: str, alike_s: float
) -> WindowFigure:
    """Return the figure of the window at one place; ``reason``: why there is no launch at all."""
    each = [launch.windows[place] for launch in launches]
    course_deg = [launch.course_deg for launch in launches]
    times = [one.time_s for one in each]
    # How the throttle opens is alike in all starts and shifts each by the same.
    time = mean_of_starts(course_deg, times, times, alike_s if window.standing else 0.0)
    length = mean_of_starts(course_deg, times, [one.length_m for one in each])
    attempts = sum(one is not None for one in times)
    if not attempts:
        reason = next((one.reason for one in each), reason)
    return WindowFigure(
        *_named(window),
        attempts=attempts,
        full_starts=tuple(sorted(start for way in time.full for start in way)),
        time_s=time.mean,
        length_m=length.mean,
        reason=time.reason if attempts else reason,
        time=time,
        length=length,
    )


def _named(window: Window) -> tuple[str, float, float | None, float | None]:
    return window.label, window.from_mps, window.to_mps, window.distance_m
