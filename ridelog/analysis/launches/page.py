"""The sections about standing starts and about pull on the page of a ride."""

from functools import partial

from ridelog.analysis.launches.measure import Launch, Launches, WindowSummary
from ridelog.analysis.launches.plot import launches_figure
from ridelog.analysis.launches.words import (
    headline_window,
    launch_lines,
    rollout_words,
    shown_summaries,
    time_words,
)
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import capital, count_words, plain_speed

# Attempts written out in a row of the table; more are counted.
_MOST_ATTEMPTS = 8
_HOW_TIMED = (
    "The clock starts when the machine first moves. That moment lies between two fixes: it comes "
    "from a model in which the machine stands, then pulls, and its doubt is part of the bounds."
)
_BEST_IS_FREED = (
    "The smallest of several uncertain times is smaller by luck; the best is freed from that, so "
    "it may lie above the smallest attempt."
)


def launches_section(ride: MeasuredRide, unit: SpeedUnit) -> Section:
    """Return what the page says of standing starts; without any, one sentence."""
    launches = ride["launches"]
    chosen = bool(ride.settings.windows)
    summaries = shown_summaries(launches, unit, chosen=chosen)
    lines = launch_lines(ride, unit)
    if not launches.launches:
        return Section("launches", "From standing", f"{capital(launches.reason)}.", lines=lines)
    rollout = rollout_words(launches, unit)
    notes = [_HOW_TIMED if not rollout else f"{_HOW_TIMED} Here: {rollout.lstrip(', ')}."]
    if any(summary.attempts > 1 for summary in summaries):
        notes.append(_BEST_IS_FREED)
    why = _why_empty(launches, summaries)
    if why:
        notes.append(why)
    return Section(
        name="launches",
        heading="From standing",
        lead=_lead(launches, summaries, unit),
        pictures=_launch_pictures(launches, unit),
        table=_table(launches, summaries),
        notes=tuple(notes),
        lines=lines,
    )


def _lead(launches: Launches, summaries: tuple[WindowSummary, ...], unit: SpeedUnit) -> str:
    count = count_words(len(launches.launches), "standing start")
    first = headline_window(summaries)
    if first is None or first.best is None:
        fastest = max(launch.top_mps for launch in launches.launches)
        return (
            f"{count}, up to {plain_speed(fastest, unit)}; none of them fills a window that can be "
            "timed."
        )
    words = (
        f"{first.window.label} in {first.best.value:.2f} s at best, between {first.best.low:.2f} "
        f"and {first.best.high:.2f} s in 9 rides of 10{rollout_words(launches, unit)}"
    )
    if first.attempts > 1 and first.median is not None:
        words += f"; median of {first.attempts} attempts {first.median.value:.2f} s"
    return f"{words}. {count} in this ride."


def _table(launches: Launches, summaries: tuple[WindowSummary, ...]) -> Table | None:
    rows = []
    for summary in summaries:
        if summary.best is None:
            continue
        times = [_time_of(launch, summary) for launch in launches.launches]
        words = [f"{time.value:.2f}" if time else "none" for time in times[:_MOST_ATTEMPTS]]
        more = len(times) - _MOST_ATTEMPTS
        rows.append(
            (
                summary.window.label,
                time_words(summary.best),
                time_words(summary.median)
                if summary.median and summary.attempts > 1
                else "as best",
                ", ".join(words) + (f" and {more} more" if more > 0 else ""),
            )
        )
    return Table(("Window", "Best", "Median", "Every attempt in s"), tuple(rows)) if rows else None


def _time_of(launch: Launch, summary: WindowSummary) -> Estimate | None:
    return next(timed.time for timed in launch.windows if timed.window == summary.window)


def _why_empty(launches: Launches, summaries: tuple[WindowSummary, ...]) -> str:
    empty = [s.window for s in summaries if s.best is None]
    if not empty:
        return ""
    reasons = {
        timed.reason
        for launch in launches.launches
        for timed in launch.windows
        if timed.window in empty
    }
    labels = ", ".join(window.label for window in empty)
    return f"No time for {labels}: {'; '.join(sorted(reasons))}."


def _launch_pictures(launches: Launches, unit: SpeedUnit) -> tuple[Picture, ...]:
    label = (
        f"Speed against seconds since the start for {count_words(len(launches.launches), 'start')};"
        f" the fastest reaches {plain_speed(max(x.top_mps for x in launches.launches), unit)}."
    )
    return (draw_picture("launches", label, partial(launches_figure, launches, unit)),)
