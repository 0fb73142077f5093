"""Standing starts and rolling windows, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from ridelog.analysis.acceleration.run_draws import draw_runs
from ridelog.analysis.figure import HEADLINE_WEIGHT, LOWER, Comparable, Figure
from ridelog.analysis.launches.balanced import Balanced, balanced_length, balanced_time
from ridelog.analysis.launches.json import launches_json
from ridelog.analysis.launches.measure import Launches, measure_launches
from ridelog.analysis.launches.windows import Window, parse_window, round_in
from ridelog.analysis.launches.words import launch_lines
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.quantity import LENGTH, TIME, Quantity
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section


class StandingStarts(Subject):
    """How long a start takes, over windows of speed and of distance."""

    name = "launches"
    needs = ("reverse",)

    def measure(self, ride: MeasuredRide) -> Launches:
        """Return every standing start, and the runs drawn for them."""
        settings = ride.settings
        windows = tuple(parse_window(words) for words in settings.windows) or None
        rollout_m = settings.rollout_m
        drawn = draw_runs(ride.motion, windows=windows, rollout_m=rollout_m, excluded=ride.excluded)
        return measure_launches(ride.motion, windows=windows, rollout_m=rollout_m, drawn=drawn)

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the time over every window; of the first from standing also the way."""
        weighted: set[str] = set()
        told_way: set[str] = set()
        for window in (summary.window for summary in ride["launches"].summaries):
            where = "" if ride.settings.windows else round_in(window)
            first = window.standing and where not in weighted
            # The first start from standing is a headline, the others are details of it.
            weight = HEADLINE_WEIGHT if first else 1.0
            yield _figure(
                window.label, _title(window), TIME, balanced_time(ride, window), where,
                weight=weight, short=window.label,
                explained="mean of the full starts, both directions alike"
                if window.standing
                else "rolling, mean of the runs, both directions alike",
            )  # fmt: skip
            if window.standing:
                weighted.add(where)
            if window.standing and window.to_mps is not None and where not in told_way:
                told_way.add(where)
                end = window.label.partition("-")[2]
                yield _figure(
                    f"{window.label} distance", f"distance to reach {end}", LENGTH,
                    balanced_length(ride, window), where,
                    short=f"Distance to {end}", explained="from standing to that speed",
                )  # fmt: skip

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the time of the start that says most."""
        return launch_lines(ride, reader)

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about standing starts."""
        from ridelog.analysis.launches.page import launches_section

        yield launches_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the members about standing starts of the result."""
        return launches_json(ride["launches"])


def _title(window: Window) -> str:
    if window.to_mps is None:
        return f"time for the first {window.label.partition('-')[2]}"
    start, _, end = window.label.partition("-")
    return f"time from {start} to {end}"


def _figure(
    name: str,
    title: str,
    quantity: Quantity,
    told: Balanced,
    where: str,
    *,
    weight: float = 1.0,
    short: str,
    explained: str,
) -> Figure:
    return Figure(
        name,
        title,
        quantity,
        told.estimate,
        told.reason,
        Comparable(
            LOWER,
            weight,
            one_direction=True,
            both_ways=told.both_ways,
            course_deg=told.course_deg,
            wind_excess=told.wind_excess,
            shared_sd=told.shared_sd,
        ),
        short=short,
        explained=explained,
        round_in=where,
    )
