"""One ride on one terminal screen: the figure first, then what it rests on."""

import textwrap

from ridelog.analysis.ride import NOT_MEASURED, SUBJECTS
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.signal.subject import signal_items
from ridelog.analysis.subject import (
    ALWAYS,
    GRAVITY_WORDS,
    MeasuredRide,
    RideSource,
)
from ridelog.core.flags import FLAG_SENTENCES, Flag
from ridelog.core.units import SpeedUnit
from ridelog.present.words import (
    BRACKETS,
    clean,
    clock_words,
    duration_words,
    joined,
    shortened,
)

WIDTH = 80
_LABEL, _SHORT_LABEL = 17, 9


def ride_lines(ride: MeasuredRide, unit: SpeedUnit) -> list[tuple[str, str]]:
    """Return the screen about one ride, in lines of at most 80 letters; no caution is cut.

    Returns
    -------
    list of (text, style)
        ``style`` is "headline", "caution", "quiet" or "" and only adds colour: the text says it.
    """
    lines = _head(ride.source)
    style = "headline"
    for subject in SUBJECTS:
        if subject.name == "signal":
            lines += [("", ""), (BRACKETS, "quiet"), ("", "")]
        for name, words in subject.lines(ride, unit):
            lines += [(line, style) for line in _item(name, words)]
            style = ""
    lines.append(("", ""))
    for caution in ride.cautions:
        # The verdict on the signal stands above already.
        if not caution.general and caution.code != "weak_signal":
            label = GRAVITY_WORDS[caution.gravity]
            lines += [(line, "caution") for line in _item(label, caution.text, _SHORT_LABEL)]
    lines += [(line, "caution") for line in _item("Always", ALWAYS, _SHORT_LABEL)]
    lines.append(("", ""))
    return lines + _plain(_item("Not measured", joined(list(NOT_MEASURED)) + "."))


def signal_lines(
    source: RideSource, signal: SignalQuality, unit: SpeedUnit
) -> list[tuple[str, str]]:
    """Return the screen about one log's signal, the verdict first."""
    lines = _head(source)
    lines += [(line, "headline") for line in textwrap.wrap(signal.verdict, WIDTH)]
    lines.append(("", ""))
    for name, words in signal_items(signal, source.start_s, unit):
        lines += _plain(_item(name, words))
    if signal.counts:
        lines.append(("", ""))
        lines.append(("What is known against some fixes:", ""))
        for name, count in signal.counts.items():
            lines += _plain(_item(f"{count:>7,}  ", FLAG_SENTENCES[Flag[name]], _SHORT_LABEL))
    for title, sentences in (
        ("It can support:", signal.supports),
        ("It cannot show:", signal.cannot_support),
    ):
        lines += [("", ""), (title, "")]
        for sentence in sentences:
            lines += _plain(_item("  -", sentence, 4))
    return lines


def _head(source: RideSource) -> list[tuple[str, str]]:
    when = f"{clock_words(source.start_utc, source.end_utc)} ({duration_words(source.duration_s)})"
    name = shortened(clean(source.file), WIDTH)
    one = f"{name}  {when}"
    lines = [one] if len(one) <= WIDTH else [name, *textwrap.wrap(when, WIDTH)]
    return [*((line, "quiet") for line in lines), ("", "")]


def _item(name: str, text: str, label: int = _LABEL) -> list[str]:
    """Return a label and a text beside it, wrapped."""
    return textwrap.wrap(
        clean(text),
        WIDTH,
        initial_indent=f"{name:<{label}}",
        subsequent_indent=" " * label,
        break_on_hyphens=False,
    )


def _plain(lines: list[str]) -> list[tuple[str, str]]:
    return [(line, "") for line in lines]
