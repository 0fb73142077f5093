"""A comparison on one terminal screen: the sentence first, then every figure with its verdict."""

import textwrap

from ridelog.analysis.ride import NOT_MEASURED
from ridelog.analysis.subject import ALWAYS, GRAVITY_WORDS, MeasuredRide
from ridelog.compare.cautions import cautions_of
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.verdict import BETTER, CANNOT_SAY, NOT_SHOWN, WORSE
from ridelog.core.quantity import bare, bounds
from ridelog.core.units import SpeedUnit
from ridelog.present.words import capital, clean, clock_words, count_words, joined, shortened
from ridelog.report.compare_words import (
    crossing_words,
    false_alarm_words,
    headline,
    headline_figures,
    method_words,
    reason_words,
    side_words,
    tested_count,
)
from ridelog.report.predict_words import agreement_lines

WIDTH = 80
_LABEL = 9
# The longest verdict would leave the titles too little room.
_IN_SHORT = {NOT_SHOWN: "not shown"}
_HEAD = ("", "before", "after", "change", "verdict")


def compare_lines(comparison: Comparison, unit: SpeedUnit) -> list[tuple[str, str]]:
    """Return the screen about a comparison, lines of at most 80 letters.

    Returns
    -------
    list of (text, style)
        ``style`` is "headline", "caution", "quiet" or "" and only adds colour: the text says it.
    """
    lines = [(line, "quiet") for line in _sides(comparison)]
    lines.append(("", ""))
    lines += [(line, "headline") for line in _wrapped(headline(comparison, unit))]
    lines += [("", ""), *_table(comparison, unit)]
    remarks = [crossing_words(comparison, unit), *_reasons(comparison, unit)]
    lines.append(("", ""))
    lines += [(line, "") for text in remarks for line in _wrapped(text)]
    lines.append(("", ""))
    for words in (_BRACKETS, method_words(comparison), false_alarm_words(comparison)):
        lines += [(line, "quiet") for line in _wrapped(words)]
    if comparison.mismatches:
        lines += [("", ""), ("Besides the change itself:", "caution")]
        for mismatch in comparison.mismatches:
            lines += [
                (line, "caution") for line in _wrapped(mismatch.text_in(unit), "  - ", "    ")
            ]
    lines.append(("", ""))
    for caution in cautions_of(comparison):
        if not caution.general:
            lines += _labelled(GRAVITY_WORDS[caution.gravity], caution.text)
    lines += [*_labelled("Always", ALWAYS), ("", "")]
    lines += [(line, "") for line in _wrapped(f"Not measured: {joined(list(NOT_MEASURED))}.")]
    if comparison.predicted is not None:
        told = comparison.predicted
        lines += [("", ""), *agreement_lines(told.prediction, unit, told.after)]
    return lines


_BRACKETS = "In brackets: where the true change should lie, right 9 times out of 10."


def _reasons(comparison: Comparison, unit: SpeedUnit) -> list[str]:
    """Return why figures cannot be told, and why a headline figure was not shown to differ."""
    figures = tested_count(comparison)
    first = [each.figure.name for each in headline_figures(comparison)]
    titles: dict[str, list[str]] = {}
    for each in comparison.figures:
        lone = each.difference is not None and each.difference.contrast is None
        # One ride a side is told once, with the method.
        told = each.verdict.word in (BETTER, WORSE) or lone
        open_one = each.figure.name in first or each.verdict.word == CANNOT_SAY
        if each.doubt or (open_one and not told):
            reason = reason_words(each, unit, figures)
            titles.setdefault(reason, []).append(each.figure.title_in(unit))
    return [f"{capital(joined(names))}: {reason}" for reason, names in titles.items()]


def _sides(comparison: Comparison) -> list[str]:
    return [
        line
        for name, rides in (("Before", comparison.before), ("After", comparison.after))
        for line in _wrapped(f"{_side(rides)}", f"{name:<8}", " " * 8)
    ]


def _side(rides: tuple[MeasuredRide, ...]) -> str:
    names = joined([shortened(ride.name, 40) for ride in rides])
    days = dict.fromkeys(
        clock_words(ride.source.start_utc, ride.source.end_utc).split(",")[0] for ride in rides
    )
    return f"{count_words(len(rides), 'ride')}, {joined(list(days))}: {names}"


def _table(comparison: Comparison, unit: SpeedUnit) -> list[tuple[str, str]]:
    """Return a row for each figure; titles that find no room go on in the next line."""
    rows = [_HEAD, *(_cells(each, unit) for each in comparison.figures)]
    widths = [max(len(row[place]) for row in rows) for place in (1, 2, 3, 4)]
    room = WIDTH - sum(widths) - 2 * len(widths)
    lines = []
    for row in rows:
        cells = [f"{row[1]:>{widths[0]}}", f"{row[2]:>{widths[1]}}", f"{row[3]:<{widths[2]}}"]
        first, *more = textwrap.wrap(row[0], room, break_on_hyphens=False) or [""]
        style = "quiet" if row is _HEAD else "headline" if row[4] in (BETTER, WORSE) else ""
        lines.append(("  ".join((f"{first:<{room}}", *cells, row[4])), style))
        lines += [(f"  {line}", style) for line in more]
    return lines


def _cells(compared: Compared, unit: SpeedUnit) -> tuple[str, str, str, str, str]:
    quantity, word, change = compared.quantity, compared.verdict.word, ""
    if compared.difference is not None:
        moved = compared.difference.difference
        change = f"{bare(moved, quantity, unit, signed=True)} "
        change += f"({bounds(moved, quantity, unit, signed=True)})"
    title = f"{compared.figure.short_in(unit)} ({quantity.label(unit)})"
    return (title, *side_words(compared, unit), change, _IN_SHORT.get(word, word))


def _labelled(label: str, text: str) -> list[tuple[str, str]]:
    return [(line, "caution") for line in _wrapped(text, f"{label:<{_LABEL}}", " " * _LABEL)]


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        clean(text), WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )
