"""Standing starts and rolling windows of a ride, for comparing: each direction weighs the same."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from ridelog.analysis.comparable import (
    HEADLINE_WEIGHT,
    LESS,
    Measure,
    Reading,
    Rides,
    harmonic_mean_of,
    mean_of,
)
from ridelog.analysis.launches.measure import Launch, WindowTime
from ridelog.analysis.launches.windows import Window, suited
from ridelog.analysis.ridden import RiddenRide, courses_apart_deg
from ridelog.analysis.wind import wind_excess
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
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


def launch_measures(before: Rides, after: Rides, unit: SpeedUnit) -> list[Measure]:
    """Return time and way of every window that rides of both sides were timed over.

    Without windows that were asked for, those that are round in ``unit``.
    """
    measures: list[Measure] = []
    weight, way = HEADLINE_WEIGHT, False
    for window in _common_windows(before, after, unit):
        label = window.label
        measures.append(
            Measure(
                label,
                _title(window),
                "s",
                LESS,
                partial(_time, label),
                # The first start from standing is a headline, the others are details of it.
                weight=weight if window.standing else 1.0,
                one_direction=True,
                short=label,
                explained="mean of the ride's full starts, both directions alike"
                if window.standing
                else "rolling, mean of the ride's runs, both directions alike",
            )
        )
        if window.standing and window.to_mps is not None and not way:
            way = True
            measures.append(
                Measure(
                    f"{label} distance",
                    f"way to reach {label.partition('-')[2]}",
                    "m",
                    LESS,
                    partial(_length, label),
                    one_direction=True,
                    short=f"Way to {label.partition('-')[2]}",
                    explained="way from standing to that speed",
                )
            )
        if window.standing:
            weight = 1.0
    return measures


def _title(window: Window) -> str:
    if window.to_mps is None:
        return f"time for the first {window.label.partition('-')[2]}"
    start, _, end = window.label.partition("-")
    return f"time from {start} to {end}"


def _common_windows(before: Rides, after: Rides, unit: SpeedUnit) -> list[Window]:
    sides = []
    for rides in (before, after):
        windows: dict[str, Window] = {}
        for ride in rides:
            windows |= {s.window.label: s.window for s in ride.result.launches.summaries}
        sides.append(windows)
    common = tuple(window for label, window in sides[0].items() if label in sides[1])
    asked = all(ride.result.settings.windows for ride in (*before, *after))
    # The usual windows come in both families of units: one of them is enough to compare.
    return list(common if asked else suited(common, unit))


def _time(label: str, ride: RiddenRide) -> Reading:
    return _balanced(ride, label, lambda each: each.time, timed=True)


def _length(label: str, ride: RiddenRide) -> Reading:
    return _balanced(ride, label, lambda each: each.length, timed=False)


def _balanced(
    ride: RiddenRide, label: str, figure: Callable[[_Filled], Estimate | None], *, timed: bool
) -> Reading:
    """Return the mean over both directions of the full starts of each.

    ``timed``: whether the figure is a time, whose beginning is too gentle to be seen.
    """
    filled = [one for launch in ride.result.launches.launches if (one := _filled(launch, label))]
    filled = [one for one in filled if figure(one) is not None]
    if not filled:
        return Reading(None, ride.result.launches.reason or _why_none(ride, label))
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
        return Reading(
            None,
            f"its two directions differ by a factor of {max(values) / min(values):.1f}: wind or "
            "slope decides it",
        )
    mean, unseen = harmonic_mean_of(means), timed and filled[0].window.standing
    return Reading(
        mean,
        both_ways=mean if both else None,
        course_deg=None if both else _mean_course(filled),
        shared_sd=_shared_sd([len(_full(way)) for way in ways if way]) if unseen else 0.0,
        wind_excess=_wind_excess(ride, filled, means[0], means[1], mean.value) if both else 0.0,
    )


def _wind_excess(
    ride: RiddenRide, filled: list[_Filled], there: Estimate, back: Estimate, mean: float
) -> float:
    window, time_s = filled[0].window, float(np.mean([one.time.value for one in filled]))
    best = ride.result.top_speed.two_way or ride.result.top_speed.best_1s
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


def _why_none(ride: RiddenRide, label: str) -> str:
    for launch in ride.result.launches.launches:
        for each in launch.windows:
            if each.window.label == label and each.reason:
                return each.reason
    return "the ride was not timed over it"


def _mean_course(filled: list[_Filled]) -> float:
    angles = np.radians([one.course_deg for one in filled])
    return float(np.degrees(np.arctan2(np.sin(angles).sum(), np.cos(angles).sum())) % 360.0)
