"""A ride's time over a window as one figure: full starts only, each direction weighing the same."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.figure import harmonic_mean_of, mean_of
from ridelog.analysis.launches.measure import Launch, Launches, WindowTime
from ridelog.analysis.launches.windows import Window
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.wind import wind_excess
from ridelog.core.estimate import Estimate
from ridelog.core.geodesy import courses_apart_deg
from ridelog.filtering.standing_start.paths import UNSEEN_START_S

# Directions whose times differ by more than this tell of wind or slope and not of the machine;
# common practice, no source.
_MOST_APART = 1.5
# A window ends below this share of the top speed, or nothing is left to pull there.
_MOST_OF_TOP = 0.97


@dataclass(frozen=True)
class _Filled:
    """A launch that filled a window."""

    window: Window
    course_deg: float
    time: Estimate
    length: Estimate | None


@dataclass(frozen=True)
class Balanced:
    """One figure over a ride's full starts; members as in ``analysis.figure.Comparable``."""

    estimate: Estimate | None
    reason: str = ""
    both_ways: Estimate | None = None
    course_deg: float | None = None
    wind_excess: float = 0.0
    shared_sd: float = 0.0


def balanced_time(ride: MeasuredRide, window: Window) -> Balanced:
    """Return the time over a window. [s]"""
    return _balanced(ride, window.label, lambda each: each.time, timed=True)


def balanced_length(ride: MeasuredRide, window: Window) -> Balanced:
    """Return the distance covered in a window of speeds. [m]"""
    return _balanced(ride, window.label, lambda each: each.length, timed=False)


def _balanced(
    ride: MeasuredRide, label: str, figure: Callable[[_Filled], Estimate | None], *, timed: bool
) -> Balanced:
    """Return the mean over both directions of the full starts of each.

    ``timed``: whether the figure is a time, whose beginning is too gentle to be seen.
    """
    filled = [one for launch in ride["launches"].launches if (one := _filled(launch, label))]
    filled = [one for one in filled if figure(one) is not None]
    if not filled:
        return Balanced(None, ride["launches"].reason or _why_none(ride, label))
    first = filled[0].course_deg
    ways = [
        [one for one in filled if (courses_apart_deg(one.course_deg, first) <= 90.0) == same]
        for same in (True, False)
    ]
    means = [
        mean_of([value for one in _full(way) if (value := figure(one)) is not None])
        for way in ways
        if way
    ]
    both = len(means) == 2
    values = [each.value for each in means]
    if both and max(values) > _MOST_APART * min(values):
        return Balanced(
            None,
            f"its two directions differ by a factor of {max(values) / min(values):.1f}: wind or "
            "slope decides it",
        )
    mean, unseen = harmonic_mean_of(means), timed and filled[0].window.standing
    return Balanced(
        mean,
        both_ways=mean if both else None,
        course_deg=None if both else _mean_course(filled),
        shared_sd=_shared_sd([len(_full(way)) for way in ways if way]) if unseen else 0.0,
        wind_excess=_wind_excess(ride, filled, means[0], means[1], mean.value) if both else 0.0,
    )


def _wind_excess(
    ride: MeasuredRide, filled: list[_Filled], there: Estimate, back: Estimate, mean: float
) -> float:
    window, time_s = filled[0].window, float(np.mean([one.time.value for one in filled]))
    best = ride["top_speed"].two_way_mps or ride["top_speed"].best_1s_mps
    top_mps = best.value if best else np.inf
    # Over a distance an even pull ends at twice the mean speed.
    end_mps = window.to_mps or 2.0 * (window.distance_m or 0.0) / time_s
    return wind_excess(
        there,
        back,
        mean,
        from_mps=window.from_mps,
        to_mps=min(end_mps, _MOST_OF_TOP * top_mps),
        top_mps=top_mps,
        time_s=time_s,
    )


def _shared_sd(starts: list[int]) -> float:
    """Return what is unseen of the starts, as it is part of the mean: a number for each way."""
    return UNSEEN_START_S * float(np.sqrt(sum(1.0 / count for count in starts))) / len(starts)


def _full(starts: list[_Filled]) -> list[_Filled]:
    """Return the starts that are not clearly slower than the quickest: the half-hearted go."""
    quickest = min(starts, key=lambda one: one.time.value)
    return [one for one in starts if one.time.low <= quickest.time.high]


def _filled(launch: Launch, label: str) -> _Filled | None:
    found: WindowTime | None = next(
        (each for each in launch.windows if each.window.label == label), None
    )
    if found is None or found.time is None:
        return None
    course = float(np.degrees(launch.course_rad) % 360.0)
    return _Filled(found.window, course, found.time, found.length)


def _why_none(ride: MeasuredRide, label: str) -> str:
    launches: Launches = ride["launches"]
    for launch in launches.launches:
        for each in launch.windows:
            if each.window.label == label and each.reason:
                return each.reason
    return "the ride was not timed over it"


def _mean_course(filled: list[_Filled]) -> float:
    angles = np.radians([one.course_deg for one in filled])
    return float(np.degrees(np.arctan2(np.sin(angles).sum(), np.cos(angles).sum())) % 360.0)
