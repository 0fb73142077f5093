"""Launches and pull in the words that the terminal and the page share."""

from ridelog.analysis.acceleration.measure import PullCurve
from ridelog.analysis.launches.measure import Launches, WindowSummary
from ridelog.analysis.launches.windows import suited
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.words import count_words, plain_speed


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


def launch_lines(
    launches: Launches, pull: PullCurve, unit: SpeedUnit, *, chosen: bool
) -> tuple[tuple[str, str], ...]:
    """Return at most two lines for the terminal, none without a launch or a pull."""
    lines: list[tuple[str, str]] = []
    first = headline_window(shown_summaries(launches, unit, chosen=chosen))
    if first is not None and first.best is not None:
        words = f"{first.window.label} in {time_words(first.best)}"
        if first.attempts > 1:
            words += f", best of {first.attempts}"
        lines.append(("From standing", words + rollout_words(launches, unit)))
    if pull.standing_pull is not None:
        words = f"{accel_words(pull.standing_pull)} from standing"
        half = half_pull_mps(pull)
        if half is not None:
            words += f"; half is left at {plain_speed(half, unit, 0)}"
        lines.append(("Pull", words))
    return tuple(lines)


def time_words(time: Estimate) -> str:
    """Return a time with its bounds, such as "2.41 s (2.33 to 2.49)"."""
    places = 2 if time.high - time.low < 1.0 else 1
    return f"{time.value:.{places}f} s ({time.low:.{places}f} to {time.high:.{places}f})"


def accel_words(accel: Estimate) -> str:
    """Return an acceleration with its bounds, such as "2.1 m/s² (2.0 to 2.3)"."""
    places = 2 if accel.high - accel.low < 0.2 else 1
    low, high = f"{accel.low:.{places}f}", f"{accel.high:.{places}f}"
    return f"{accel.value:.{places}f} m/s² ({low} to {high})"


def rollout_words(launches: Launches, unit: SpeedUnit) -> str:
    """Return what a rollout allowance took off, empty if none was asked for."""
    if launches.rollout_m == 0.0:
        return ""
    way = unit.from_metres(launches.rollout_m)
    return f", clock started after {way:.3g} {unit.distance_label} of rollout"


def half_pull_mps(pull: PullCurve) -> float | None:
    """Return the speed at which half of the standing pull is left, None if the curve ends above."""
    if pull.standing_pull is None:
        return None
    goal = 0.5 * pull.standing_pull.value
    known = [
        (float(speed), accel.value)
        for speed, accel in zip(pull.speed_mps, pull.accel, strict=True)
        if accel is not None
    ]
    for (low, before), (high, after) in zip(known, known[1:], strict=False):
        if before >= goal > after:
            return low + (before - goal) / (before - after) * (high - low)
    return None


def pull_basis(pull: PullCurve) -> str:
    """Return what the curve rests on."""
    words = f"Mean of {count_words(pull.runs_used, 'pull')}"
    if pull.runs_left_out:
        words += (
            f"; {pull.runs_left_out} more pulled less than 70 % as hard and count as part throttle"
        )
    return words
