"""The sentences about one ride that the terminal and the page share."""

from ridelog.analysis.ride import NOT_MEASURED
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.present.words import (
    bounds_words,
    capital,
    count_words,
    course_words,
    duration_words,
    joined,
    plain_speed,
    share_words,
    speed_words,
)

# Slower than any ride: what receivers show when they stand; common practice, no source.
_STANDING_MPS = 0.3


def meaning(ride: MeasuredRide) -> str:
    """Return what the headline figure says, in one sentence."""
    best = ride["top_speed"].best_1s_mps
    if best is None:
        return f"No top speed can be given: {ride['top_speed'].reason}."
    if best.high < _STANDING_MPS:
        return "The machine hardly moved where the signal could be trusted."
    return (
        "The mean over its fastest second, over ground; bounds made this way hold the true speed "
        "in 9 rides of 10."
    )


def why_not_the_peak(ride: MeasuredRide, unit: SpeedUnit) -> str:
    """Return why the largest single reading is not the figure."""
    top = ride["top_speed"]
    if top.raw_peak_mps != top.raw_peak_mps:
        return ""
    fixes = count_words(ride["signal"].fixes_used, "fix", "fixes")
    if top.raw_peak_kind == "reported":
        return f"the largest of {fixes} is the one whose error points up most."
    return (
        "it comes from two neighbouring positions, whose metres of error, divided by a short time, "
        "look like speed."
    )


def five_seconds(ride: MeasuredRide, unit: SpeedUnit) -> str:
    """Return the best five seconds, or why there are none."""
    best = ride["top_speed"].best_5s_mps
    if best is None:
        return "no five seconds in a row carry a figure"
    low, high = bounds_words(best, unit)
    return f"{speed_words(best, unit)} ({low} to {high})"


def two_way(ride: MeasuredRide, unit: SpeedUnit) -> str:
    """Return the mean of both directions with its two runs, or why there is none."""
    top = ride["top_speed"]
    if top.two_way_mps is None:
        return f"none: {top.reason or 'no two opposite runs'}"
    low, high = bounds_words(top.two_way_mps, unit)
    runs = joined(
        [f"{speed_words(run.speed, unit)} {course_words(run.course_deg)}" for run in top.runs]
    )
    return f"{speed_words(top.two_way_mps, unit)} ({low} to {high}), mean of {runs}"


def signal_summary(signal: SignalQuality) -> str:
    """Return what the log holds: fixes, rate, gaps, settling."""
    used = (
        f"all {signal.fixes_read:,} fixes used"
        if signal.fixes_used == signal.fixes_read
        else f"{signal.fixes_used:,} of {signal.fixes_read:,} fixes used"
    )
    gaps = count_words(len(signal.gaps), "gap") if signal.gaps else "no gaps"
    return (
        f"{used}, {share_words(signal.usable_share)} may carry a figure; "
        f"{rate_words(signal.rate_hz)}; {gaps}"
    )


def rate_words(rate_hz: float) -> str:
    """Return how often the receiver spoke."""
    if rate_hz >= 0.95:
        return f"{rate_hz:.3g} {'fix' if abs(rate_hz - 1.0) < 0.005 else 'fixes'} a second"
    return f"one fix every {1.0 / rate_hz:.3g} s"


def gap_words(signal: SignalQuality) -> str:
    """Return how many gaps there are and how long they last together."""
    if not signal.gaps:
        return "none"
    return f"{count_words(len(signal.gaps), 'gap')}. {gap_sentence(signal)}"


def gap_sentence(signal: SignalQuality) -> str:
    """Return how long the gaps last together, as a sentence."""
    lost = duration_words(sum(end - start for start, end in signal.gaps))
    if len(signal.gaps) == 1:
        return f"The gap lasts {lost}; nothing is estimated inside it."
    return f"The gaps last {lost} together; nothing is estimated inside them."


def not_measured() -> str:
    """Return what no log can show and how that limits the figure."""
    return (
        f"{capital(joined(list(NOT_MEASURED)))}. The figures hold for this ride as it was ridden; "
        "another day, rider or charge can move them by more than the interval."
    )


def raw_peak_words(ride: MeasuredRide, unit: SpeedUnit) -> str:
    """Return the largest single reading, or that there is none."""
    peak = ride["top_speed"].raw_peak_mps
    return plain_speed(peak, unit) if peak == peak else "none in the log"
