"""One ride on one terminal screen: the figure first, then what it rests on."""

import textwrap

from ridelog.analysis import SUBJECTS
from ridelog.analysis.ride import NOT_MEASURED
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.core.flags import FLAG_SENTENCES, Flag
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.present.words import (
    FLAG_WORDS,
    bounds_words,
    clean,
    clock_words,
    count_words,
    duration_words,
    joined,
    shortened,
    speed_words,
)
from ridelog.report.sentences import (
    five_seconds,
    gap_words,
    rate_words,
    raw_peak_words,
    signal_summary,
    two_way,
    why_not_the_peak,
)

WIDTH = 80
_LABEL = 17


def ride_lines(ride: MeasuredRide, unit: SpeedUnit) -> list[tuple[str, str]]:
    """Return the screen about one ride, in lines of at most 80 letters; no caution is cut.

    Returns
    -------
    list of (text, style)
        ``style`` is "headline", "caution", "quiet" or "" and only adds colour: the text says it.
    """
    lines = _head(ride.source)
    top = ride["top_speed"]
    if top.best_1s_mps is None:
        lines += [(line, "headline") for line in _item("Top speed", f"none: {top.reason}")]
    else:
        low, high = bounds_words(top.best_1s_mps, unit)
        lines.append(
            (
                f"{'Top speed':<{_LABEL}}{speed_words(top.best_1s_mps, unit)}, between {low} and "
                f"{high} {unit.label} in 9 rides of 10",
                "headline",
            )
        )
        lines.append((" " * _LABEL + "mean of the fastest second, over ground", "quiet"))
        lines += _plain(_item("Best 5 seconds", five_seconds(ride, unit)))
        lines += _plain(_item("Both directions", two_way(ride, unit)))
    reading = f"{raw_peak_words(ride, unit)}, not the figure: {why_not_the_peak(ride, unit)}"
    if top.raw_peak_mps == top.raw_peak_mps:
        lines += _plain(_item("Highest reading", reading))
    for subject in SUBJECTS:
        for name, words in subject.lines(ride, unit):
            lines += _plain(_item(name, words))
    lines.append(("", ""))
    lines += _plain(_item("Signal", ride["signal"].verdict))
    lines += _plain(_item("", signal_summary(ride["signal"])))
    flags = _flags_in_short(ride["signal"])
    if flags:
        lines += _plain(_item("", flags, most=2))
    particular = [
        # The verdict on the signal stands above already.
        caution
        for caution in ride.cautions
        if not caution.general and caution.code != "weak_signal"
    ]
    for caution in particular:
        lines += [(line, "caution") for line in _item("Caution", caution.text)]
    lines.append(("", ""))
    lines += [(line, "caution") for line in _item("Always", _ALWAYS)]
    lines += _plain(_item("Not measured", joined(list(NOT_MEASURED)) + "."))
    return lines


def signal_lines(source: RideSource, signal: SignalQuality) -> list[tuple[str, str]]:
    """Return the screen about one log's signal, the verdict first."""
    lines = _head(source)
    lines += [(line, "headline") for line in textwrap.wrap(signal.verdict, WIDTH)]
    lines.append(("", ""))
    lines += _plain(_item("Settled", _settled(source, signal)))
    lines += _plain(_item("Fixes", signal_summary(signal)))
    lines += _plain(_item("Rate", f"{rate_words(signal.rate_hz)}{_longest(signal)}"))
    lines += _plain(_item("Gaps", gap_words(signal)))
    lines += _plain(_item("Speed", _speed_source(signal)))
    lines += _plain(_item("Satellites", _sky(signal)))
    if signal.void_epochs:
        lines += _plain(
            _item("Without a fix", count_words(signal.void_epochs, "time", "times") + " in the log")
        )
    if signal.counts:
        lines.append(("", ""))
        lines.append(("What is known against some fixes:", ""))
        for name, count in signal.counts.items():
            lines += _plain(_item(f"{count:>7,}  ", FLAG_SENTENCES[Flag[name]], label=9))
    for title, sentences in (
        ("It can support:", signal.supports),
        ("It cannot show:", signal.cannot_support),
    ):
        lines += [("", ""), (title, "")]
        for sentence in sentences:
            lines += _plain(_item("  -", sentence, label=4))
    return lines


_ALWAYS = (
    "Protective gear, closed private ground, local law and codes. Wiring, battery and brakes "
    "belong in competent hands, licensed where codes ask."
)


def _head(source: RideSource) -> list[tuple[str, str]]:
    when = f"{clock_words(source.start_utc, source.end_utc)} ({duration_words(source.duration_s)})"
    name = shortened(clean(source.file), WIDTH)
    one = f"{name}  {when}"
    lines = [one] if len(one) <= WIDTH else [name, *textwrap.wrap(when, WIDTH)]
    return [*((line, "quiet") for line in lines), ("", "")]


def _item(name: str, text: str, *, most: int | None = None, label: int = _LABEL) -> list[str]:
    """Return a label and a text beside it, wrapped, cut to ``most`` lines with an ellipsis."""
    return textwrap.wrap(
        clean(text),
        WIDTH,
        initial_indent=f"{name:<{label}}",
        subsequent_indent=" " * label,
        max_lines=most,
        placeholder=" …",
        break_on_hyphens=False,
    )


def _plain(lines: list[str]) -> list[tuple[str, str]]:
    return [(line, "") for line in lines]


def _flags_in_short(signal: SignalQuality) -> str:
    words = [
        f"{FLAG_WORDS[Flag[name]]} {count:,}"
        for name, count in signal.counts.items()
        if Flag[name] is not Flag.STANDSTILL
    ]
    return "Flagged fixes: " + ", ".join(words) if words else ""


def _settled(source: RideSource, signal: SignalQuality) -> str:
    if signal.settled_s != signal.settled_s:
        return "never in this log; no figure is taken from it"
    after = signal.settled_s - source.start_s
    if after < 1.0:
        return "from the first fix on"
    return f"{after:.0f} s after the first fix; no figure is taken from before"


def _longest(signal: SignalQuality) -> str:
    if signal.longest_step_s != signal.longest_step_s:
        return ""
    return f", at most {signal.longest_step_s:.3g} s between two"


def _speed_source(signal: SignalQuality) -> str:
    source = (
        "reported by the receiver"
        if signal.speed_source == "reported"
        else "worked out from positions, none is reported"
    )
    if signal.speed_sd_mps != signal.speed_sd_mps:
        return source
    # 1.645: the normal quantile of a two-sided 90 % interval.
    reach = SPEED_UNITS["km/h"].from_mps(1.645 * signal.speed_sd_mps)
    return f"{source}; at one instant known to ±{reach:.1f} km/h (9 in 10)"


def _sky(signal: SignalQuality) -> str:
    words = []
    if signal.satellites_median == signal.satellites_median:
        words.append(f"{signal.satellites_median:.0f} used (median)")
    if signal.hdop_median == signal.hdop_median:
        words.append(f"dilution of precision (HDOP) {signal.hdop_median:.1f} (median)")
    return ", ".join(words) or "the log tells neither their number nor the dilution of precision"
