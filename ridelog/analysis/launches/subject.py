"""Standing starts and rolling windows, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from ridelog.analysis.acceleration.runs import draw_runs
from ridelog.analysis.figure import HEADLINE_WEIGHT, LOWER, Comparable, Figure
from ridelog.analysis.launches.measure import (
    Launch,
    Launches,
    MeanOfStarts,
    WindowFigure,
    measure_launches,
)
from ridelog.analysis.launches.windows import Window, parse_window, round_in
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.analysis.wind import wind_excess
from ridelog.core.quantity import LENGTH, TIME
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# What wind leaves is bounded up to this share of the top speed at most: own choice, the pull taken
# for it falls to nothing at the top, where the bound would be infinite.
_MOST_OF_TOP = 0.97


class StandingStarts(Subject):
    """How long a start takes, over windows of speed and of distance."""

    name = "launches"
    needs = ("reverse",)
    members: ClassVar[dict[str, Any]] = {
        "launches": tuple[Launch, ...],
        "launches_reason": str,
        "launches_rollout_m": float,
        "launch_windows": tuple[WindowFigure, ...],
    }

    def measure(self, ride: MeasuredRide) -> Launches:
        """Return every standing start, and the runs drawn for them."""
        settings = ride.settings
        windows = tuple(parse_window(words) for words in settings.windows) or None
        rollout_m = settings.rollout_m
        drawn = draw_runs(ride.motion, windows=windows, rollout_m=rollout_m, excluded=ride.excluded)
        return measure_launches(drawn, windows=windows, rollout_m=rollout_m)

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the time over every window; of the first from standing also the distance."""
        weighted: set[str] = set()
        told_distance: set[str] = set()
        for window in ride["launches"].windows:
            where = "" if ride.settings.windows else round_in(window)
            first = window.standing and where not in weighted
            yield Figure(
                window.label, _title(window), TIME, window.time_s, window.reason,
                # The first start from standing is a headline, the others are details of it.
                _comparable(ride, window, window.time, HEADLINE_WEIGHT if first else 1.0),
                short=window.label,
                explained="mean of the full starts, both directions alike"
                if window.standing
                else "rolling, mean of the runs, both directions alike",
                round_in=where,
            )  # fmt: skip
            if window.standing:
                weighted.add(where)
            if window.standing and window.to_mps is not None and where not in told_distance:
                told_distance.add(where)
                end = window.label.partition("-")[2]
                yield Figure(
                    f"{window.label} distance", f"distance to reach {end}", LENGTH,
                    window.length_m, window.length.reason if window.attempts else window.reason,
                    _comparable(ride, window, window.length),
                    short=f"Distance to {end}", explained="from standing to that speed",
                    round_in=where,
                )  # fmt: skip

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the time over the window that says most, or over each that was asked for."""
        from ridelog.analysis.launches.page import window_lines

        yield from window_lines(ride, reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about standing starts."""
        from ridelog.analysis.launches.page import launches_section

        yield launches_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the members about standing starts of the result."""
        launches: Launches = ride["launches"]
        return {
            "launches": launches.launches,
            "launches_reason": launches.reason,
            "launches_rollout_m": launches.rollout_m,
            "launch_windows": launches.windows,
        }


def _title(window: Window) -> str:
    start, _, end = window.label.partition("-")
    return f"time for the first {end}" if window.to_mps is None else f"time from {start} to {end}"


def _comparable(
    ride: MeasuredRide, window: WindowFigure, told: MeanOfStarts, weight: float = 1.0
) -> Comparable:
    return Comparable(
        LOWER,
        weight,
        one_direction=True,
        both_ways=told.both_ways,
        course_deg=told.course_deg,
        wind_excess=_wind_excess(ride, window, told),
        shared_sd=told.shared_sd,
    )


def _wind_excess(ride: MeasuredRide, window: WindowFigure, told: MeanOfStarts) -> float:
    if told.both_ways is None:
        return 0.0
    place = ride["launches"].windows.index(window)
    times = [launch.windows[place].time_s for launch in ride["launches"].launches]
    time_s = float(np.mean([time.value for time in times if time is not None]))
    best = ride["top_speed"].two_way_mps or ride["top_speed"].best_1s_mps
    top_mps = best.value if best else np.inf
    # Over a distance an even pull ends at twice the mean speed.
    end_mps = window.to_mps or 2.0 * (window.distance_m or 0.0) / time_s
    there, back = told.directions
    return wind_excess(
        there,
        back,
        told.both_ways.value,
        from_mps=window.from_mps,
        to_mps=min(end_mps, _MOST_OF_TOP * top_mps),
        top_mps=top_mps,
        time_s=time_s,
    )
