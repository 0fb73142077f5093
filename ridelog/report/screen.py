"""One ride on one terminal screen: the figure first, then what it rests on."""

from ridelog.analysis.figure import HEADLINE_WEIGHT
from ridelog.analysis.ride import NOT_MEASURED, SUBJECTS
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.signal.subject import signal_items
from ridelog.analysis.subject import ALWAYS, GRAVITY_WORDS, MeasuredRide, ModeOfRide, RideSource
from ridelog.core.flags import FLAG_SENTENCES, Flag
from ridelog.core.quantity import for_reader
from ridelog.core.units import SpeedUnit
from ridelog.present.words import (
    BRACKETS,
    WIDTH,
    Lines,
    clean,
    clock_words,
    duration_words,
    elapsed_words,
    joined,
    shortened,
    wrapped,
)

_LABEL, _SHORT_LABEL = 17, 9


def ride_lines(ride: MeasuredRide, unit: SpeedUnit) -> Lines:
    """Return the screen about one ride, in lines of at most 80 letters; no caution is cut."""
    lines = _head(ride.source)
    style = "headline"
    for subject in SUBJECTS:
        if subject.name == "signal":
            lines += [("", ""), (BRACKETS, "quiet"), ("", "")]
        for name, words in subject.lines(ride, unit):
            lines += _item(name, words, style)
            style = ""
    for mode in ride.modes:
        lines += _item(shortened(clean(mode.name), 16), mode_words(mode, unit))
    lines.append(("", ""))
    for caution in ride.cautions:
        # The verdict on the signal stands above already.
        if not caution.general and caution.code != "weak_signal":
            words = for_reader(caution.text, unit)
            lines += _item(GRAVITY_WORDS[caution.gravity], words, "caution", _SHORT_LABEL)
    lines += [*_item("Always", ALWAYS, "caution", _SHORT_LABEL), ("", "")]
    return lines + _item("Not measured", joined(list(NOT_MEASURED)) + ".")


def mode_words(mode: ModeOfRide, unit: SpeedUnit) -> str:
    """Return the first figures of a drive mode, or why there is none."""
    spans = joined([f"{elapsed_words(a)} to {elapsed_words(b)}" for a, b in mode.spans])
    told = [
        f"{figure.title_in(unit)} {figure.words_in(unit)}"
        for figure in mode.ride.figures.values()
        if figure.estimate is not None
        and figure.comparable is not None
        and figure.comparable.weight == HEADLINE_WEIGHT
        and figure.round_in in ("", unit.label)
    ]
    why = next((figure.reason for figure in mode.ride.figures.values() if figure.reason), "")
    return f"{spans}: {'; '.join(told) or why or 'no figure'}"


def signal_lines(source: RideSource, signal: SignalQuality, unit: SpeedUnit) -> Lines:
    """Return the screen about one log's signal, the verdict first."""
    lines = [*_head(source), *wrapped(signal.verdict, "headline"), ("", "")]
    for name, words in signal_items(signal, source.start_s, unit):
        lines += _item(name, words)
    if signal.counts:
        lines += [("", ""), ("What is known against some fixes:", "")]
        for name, count in signal.counts.items():
            lines += wrapped(FLAG_SENTENCES[Flag[name]], "", f"{count:>7,}  ")
    for title, sentences in (
        ("It can support:", signal.supports),
        ("It cannot show:", signal.cannot_support),
    ):
        lines += [("", ""), (title, "")]
        for sentence in sentences:
            lines += wrapped(sentence, "", "  - ")
    return lines


def _head(source: RideSource) -> Lines:
    when = f"{clock_words(source.start_utc, source.end_utc)} ({duration_words(source.duration_s)})"
    name = shortened(clean(source.file), WIDTH)
    one = f"{name}  {when}"
    both = [(one, "quiet")] if len(one) <= WIDTH else [(name, "quiet"), *wrapped(when, "quiet")]
    return [*both, ("", "")]


def _item(name: str, text: str, style: str = "", label: int = _LABEL) -> Lines:
    """Return a label and a text beside it, wrapped."""
    return wrapped(text, style, f"{name:<{label}}")
