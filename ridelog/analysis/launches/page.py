"""What the terminal and the page say of standing starts."""

from collections.abc import Iterator
from functools import partial

from ridelog.analysis.launches.measure import Launches, WindowFigure
from ridelog.analysis.launches.windows import suited
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import LENGTH, SPEED, TIME, bare, plain, text_or_span
from ridelog.core.text import count_words
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Section, Table, draw_picture
from ridelog.present.words import capital

# Starts written out in a row of the table; more are counted.
_MOST_STARTS = 8
_HOW_TIMED = (
    "The clock starts when the machine first moves. That moment lies between two fixes: it is "
    "worked out from how the machine stands and then pulls away, and its doubt is part of every "
    "interval."
)
_HOW_AVERAGED = (
    "Each time is the mean of the full starts, and both directions count the same. A start that is "
    "clearly slower than the quickest one of its direction is left out."
)
_ONE_WAY = "All starts went one way: wind or slope may be part of these times."


def window_lines(ride: MeasuredRide, reader: SpeedUnit) -> Iterator[tuple[str, str]]:
    """Yield what the terminal says: the window that says most, or each one that was asked for."""
    launches: Launches = ride["launches"]
    if not ride.settings.windows:
        if words := first_window_words(ride, reader):
            yield "From standing", words
        return
    for window in launches.windows:
        rollout = _rollout_words(launches, reader) if window.standing and window.time_s else ""
        title = "From standing" if window.standing else "Rolling"
        yield title, _figure_words(window, ride, reader) + rollout


def first_window_words(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return the ride's figure of the window that says most, empty if no start filled one."""
    first = _first_window(_shown(ride, reader))
    if first is None:
        return ""
    return _figure_words(first, ride, reader) + _rollout_words(ride["launches"], reader)


def launches_section(ride: MeasuredRide, reader: SpeedUnit) -> Section:
    """Return what the page says of standing starts; without any, one sentence."""
    from ridelog.analysis.launches.plot import launches_figure

    launches: Launches = ride["launches"]
    if not launches.launches:
        return Section("launches", "From standing", f"{capital(launches.reason)}.")
    windows = _shown(ride, reader)
    fastest = plain(max(one.top_mps for one in launches.launches), SPEED, reader)
    starts = count_words(len(launches.launches), "standing start")
    first, told = _first_window(windows), first_window_words(ride, reader)
    if first is not None and first.attempts < len(launches.launches):
        told += f". The ride holds {starts}"
    label = (
        f"Speed against seconds since the start, {count_words(len(launches.launches), 'start')}; "
        f"the fastest reaches {fastest}."
    )
    return Section(
        name="launches",
        heading="From standing",
        lead=f"{told}."
        if told
        else f"{starts}, up to {fastest}; none of them fills a window that can be timed.",
        pictures=(draw_picture("launches", label, partial(launches_figure, launches, reader)),),
        table=_table(ride, windows, reader),
        notes=tuple(_notes(launches, windows, reader)),
    )


def _shown(ride: MeasuredRide, reader: SpeedUnit) -> list[WindowFigure]:
    """Return the windows to show: those the user chose, or the usual ones of his units."""
    windows: tuple[WindowFigure, ...] = ride["launches"].windows
    return [one for one in windows if ride.settings.windows or suited((one,), reader)]


def _first_window(windows: list[WindowFigure]) -> WindowFigure | None:
    """Return the first window from standing that has a figure, one of speed if there is one."""
    standing = [one for one in windows if one.standing and one.attempts]
    standing.sort(key=lambda one: (one.time_s is None, one.to_mps is None))
    return next(iter(standing), None)


def _figure_words(window: WindowFigure, ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return "0-20 km/h in 2.69 s (2.60 to 2.78), mean of 4 full starts", or why there is none."""
    time = window.time_s
    if time is None:
        return f"{window.label} cannot be said: {window.reason}"
    full = len(window.full_starts)
    slower = window.attempts - full
    noun = "full start" if window.standing else "full run"
    basis = f"mean of {full} {noun}s" if full > 1 else f"one {noun}"
    basis += f", {slower} slower left out" if slower else ""
    return f"{window.label} in {text_or_span(time, TIME, reader, ride['signal'].too_weak)}, {basis}"


def _rollout_words(launches: Launches, reader: SpeedUnit) -> str:
    """Return what a rollout allowance took off, empty if none was asked for."""
    if launches.rollout_m == 0.0:
        return ""
    return f", clock started after {plain(launches.rollout_m, LENGTH, reader)} of rollout"


def _table(ride: MeasuredRide, windows: list[WindowFigure], reader: SpeedUnit) -> Table | None:
    launches: Launches = ride["launches"]
    rows = []
    for window in windows:
        if not window.attempts:
            continue
        time = window.time_s
        figure = "cannot be said"
        if time is not None:
            figure = text_or_span(time, TIME, reader, ride["signal"].too_weak)
        place = launches.windows.index(window)
        starts = [
            _start_words(launch.windows[place].time_s, reader, number in window.full_starts)
            for number, launch in enumerate(launches.launches)
        ]
        more = len(starts) - _MOST_STARTS
        each = ", ".join(starts[:_MOST_STARTS]) + (f" and {more} more" if more > 0 else "")
        rows.append((window.label + ("" if window.standing else ", rolling"), figure, each))
    return Table(("Window", "Mean of the full starts", "Every start in s"), tuple(rows))


def _start_words(time: Estimate | None, reader: SpeedUnit, full: bool) -> str:
    if time is None:
        return "none"
    return bare(time, TIME, reader) + ("" if full else " left out")


def _notes(launches: Launches, windows: list[WindowFigure], reader: SpeedUnit) -> Iterator[str]:
    rollout = _rollout_words(launches, reader)
    yield f"{_HOW_TIMED} Here: {rollout.lstrip(', ')}." if rollout else _HOW_TIMED
    filled = [one for one in windows if one.attempts]
    if any(one.attempts > 1 for one in filled):
        yield _HOW_AVERAGED
    if any(one.time.course_deg is not None for one in filled):
        yield _ONE_WAY
    silent = [one for one in filled if one.time_s is None]
    yield from (f"No time for {one.label}: {one.reason}." for one in silent)
    if empty := [one for one in windows if not one.attempts]:
        reasons = {
            timed.reason
            for launch in launches.launches
            for timed in launch.windows
            if timed.label in [one.label for one in empty]
        }
        labels = ", ".join(one.label for one in empty)
        yield f"No time for {labels}: {'; '.join(sorted(reasons))}."
