"""Launches and pull in the words that the terminal and the page share."""

from ridelog.analysis.launches.measure import Launches, WindowSummary
from ridelog.analysis.launches.windows import suited
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit


def shown_summaries(
    launches: Launches, unit: SpeedUnit, *, chosen: bool
) -> tuple[WindowSummary, ...]:
    """Return the windows to show: those the user chose, or the usual ones of his units."""
    windows = tuple(summary.window for summary in launches.summaries)
    kept = windows if chosen else suited(windows, unit)
    return tuple(summary for summary in launches.summaries if summary.window in kept)


def headline_window(summaries: tuple[WindowSummary, ...]) -> WindowSummary | None:
    """Return the window that says most in one line: the first from standing that was filled."""
    standing = [s for s in summaries if s.window.standing and s.best is not None]
    speeds = [s for s in standing if s.window.to_mps is not None]
    return next(iter(speeds or standing), None)


def launch_lines(ride: MeasuredRide, unit: SpeedUnit) -> tuple[tuple[str, str], ...]:
    """Return at most one line for the terminal, none without a launch."""
    launches, chosen = ride["launches"], bool(ride.settings.windows)
    first = headline_window(shown_summaries(launches, unit, chosen=chosen))
    if first is None or first.best is None:
        return ()
    words = f"{first.window.label} in {time_words(first.best)}"
    if first.attempts > 1:
        words += f", best of {first.attempts}"
    return (("From standing", words + rollout_words(launches, unit)),)


def time_words(time: Estimate) -> str:
    """Return a time with its bounds, such as "2.41 s (2.33 to 2.49)"."""
    places = 2 if time.high - time.low < 1.0 else 1
    return f"{time.value:.{places}f} s ({time.low:.{places}f} to {time.high:.{places}f})"


def rollout_words(launches: Launches, unit: SpeedUnit) -> str:
    """Return what a rollout allowance took off, empty if none was asked for."""
    if launches.rollout_m == 0.0:
        return ""
    way = unit.from_metres(launches.rollout_m)
    return f", clock started after {way:.3g} {unit.distance_label} of rollout"
