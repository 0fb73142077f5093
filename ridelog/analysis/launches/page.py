"""The sections about standing starts and about pull on the page of a ride."""

from functools import partial

import numpy as np

from ridelog.analysis.acceleration.measure import PullCurve
from ridelog.analysis.acceleration.plot import pull_figure
from ridelog.analysis.launches.measure import Launch, Launches, WindowSummary
from ridelog.analysis.launches.plot import launches_figure
from ridelog.analysis.launches.words import (
    accel_words,
    half_pull_mps,
    headline_window,
    launch_lines,
    pull_basis,
    rollout_words,
    shown_summaries,
    time_words,
)
from ridelog.analysis.ride import RideResult
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import bounds_words, capital, count_words, plain_speed, speed_words

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
_TRADE = (
    "Shorter gearing lifts the left end of this curve and lowers the speed at which it ends; "
    "taller gearing does the opposite. More current lifts the left, more voltage the right end."
)


def launches_section(result: RideResult, unit: SpeedUnit) -> Section:
    """Return what the page says of standing starts; without any, one sentence."""
    launches = result.launches
    chosen = bool(result.settings.windows)
    summaries = shown_summaries(launches, unit, chosen=chosen)
    lines = launch_lines(launches, result.pull, unit, chosen=chosen)
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


def pull_section(result: RideResult, unit: SpeedUnit) -> Section:
    """Return what the page says of acceleration against speed."""
    pull = result.pull
    if pull.reason:
        return Section("pull", "Pull against speed", f"No pull curve: {pull.reason}.")
    slope = f"{capital(pull.slope_note)}."
    return Section(
        name="pull",
        heading="Pull against speed",
        lead=_pull_lead(pull, unit),
        pictures=(draw_picture("pull", _pull_label(pull, unit), partial(pull_figure, pull, unit)),),
        table=_pull_table(pull, unit),
        notes=(
            f"{pull_basis(pull)}. {slope}",
            "It is what is left for gaining speed: the drive's pull less rolling and air drag.",
            _TRADE,
        ),
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


def _pull_lead(pull: PullCurve, unit: SpeedUnit) -> str:
    words = []
    if pull.standing_pull is not None:
        words.append(f"From standing it pulls with {accel_words(pull.standing_pull)}")
        half = half_pull_mps(pull)
        if half is not None:
            words.append(f"half of that is left at {plain_speed(half, unit, 0)}")
    else:
        known = [
            (speed, accel)
            for speed, accel in zip(pull.speed_mps, pull.accel, strict=True)
            if accel is not None
        ]
        speed, accel = max(known, key=lambda pair: pair[1].value)
        words.append(
            f"It pulls hardest at {plain_speed(float(speed), unit, 0)}, with {accel_words(accel)}; "
            "no standing start tells more"
        )
    if pull.peak_power_speed is not None:
        low, high = bounds_words(pull.peak_power_speed, unit)
        words.append(
            f"it does most work at {speed_words(pull.peak_power_speed, unit)} ({low} to {high})"
        )
    return "; ".join(words) + "."


def _pull_table(pull: PullCurve, unit: SpeedUnit) -> Table:
    rows: list[tuple[str, ...]] = []
    if pull.standing_pull is not None:
        rows.append(("from standing", accel_words(pull.standing_pull), ""))
    known = [k for k, accel in enumerate(pull.accel) if accel is not None]
    # Five speeds tell the curve.
    for k in [known[i] for i in np.unique(np.linspace(0, len(known) - 1, 5).round().astype(int))]:
        accel = pull.accel[k]
        if accel is not None:
            rows.append(
                (
                    plain_speed(float(pull.speed_mps[k]), unit),
                    accel_words(accel),
                    f"{int(pull.runs_at[k])}",
                )
            )
    return Table(("Speed", "Acceleration", "Pulls"), tuple(rows))


def _pull_label(pull: PullCurve, unit: SpeedUnit) -> str:
    known = [
        (float(speed), accel)
        for speed, accel in zip(pull.speed_mps, pull.accel, strict=True)
        if accel is not None
    ]
    (low, first), (high, last) = known[0], known[-1]
    return (
        f"Acceleration against speed: {accel_words(first)} at {plain_speed(low, unit)}, "
        f"{accel_words(last)} at {plain_speed(high, unit)}."
    )
