"""A comparison on one terminal screen: the sentence first, then every figure with its verdict."""

import textwrap

from ridelog.analysis.ride import NOT_MEASURED
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.verdict import BETTER, CANNOT_SAY, WORSE
from ridelog.core.units import SpeedUnit
from ridelog.present.measure_words import (
    bounds_of,
    change_words,
    factor_and_label,
    number_words,
    places,
)
from ridelog.present.words import clean, clock_words, count_words, joined, shortened
from ridelog.report.headline import headline, headline_measures
from ridelog.report.predict_words import agreement_lines
from ridelog.report.verdict_words import (
    crossing_words,
    false_alarm_words,
    method_words,
    reason_words,
    tested_count,
)

WIDTH = 80


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
    lines += [("", ""), (_HEAD, "quiet")]
    lines += [_measure_line(compared, unit) for compared in comparison.figures]
    remarks = [crossing_words(comparison, unit), *_reasons(comparison, unit)]
    lines.append(("", ""))
    lines += [(line, "") for text in remarks for line in _wrapped(text)]
    for words in (method_words(comparison), false_alarm_words(comparison)):
        lines += [(line, "quiet") for line in _wrapped(words)]
    if comparison.mismatches:
        lines += [("", ""), ("Besides the change itself:", "caution")]
        for mismatch in comparison.mismatches:
            lines += [(line, "caution") for line in _wrapped(mismatch.text, "  - ", "    ")]
    lines.append(("", ""))
    lines += [(line, "caution") for line in _wrapped(_ALWAYS)]
    lines += [(line, "") for line in _wrapped(f"Not measured: {joined(list(NOT_MEASURED))}.")]
    if comparison.predicted is not None:
        told = comparison.predicted
        lines += [("", ""), *agreement_lines(told.prediction, unit, told.after)]
    return lines


def _reasons(comparison: Comparison, unit: SpeedUnit) -> list[str]:
    """Return why figures cannot be told, and why a headline figure was not shown to differ."""
    figures = tested_count(comparison)
    first = [each.figure.name for each in headline_measures(comparison)]
    titles: dict[str, list[str]] = {}
    for each in comparison.figures:
        lone = each.difference is not None and each.difference.contrast is None
        # One ride a side is told once, with the method.
        told = each.verdict.word in (BETTER, WORSE) or lone
        if not told and (each.figure.name in first or each.verdict.word == CANNOT_SAY):
            reason = reason_words(each, unit, figures)
            titles.setdefault(reason, []).append(each.figure.title_in(unit))
    return [f"{_capital(joined(names))}: {reason}" for reason, names in titles.items()]


_HEAD = f"{'':<21}{'before':>7}{'after':>7}  {'change (9 in 10)':<23} verdict"
_ALWAYS = (
    "Always: protective gear, closed private ground, local law and codes. Wiring, battery and "
    "brakes belong in competent hands, licensed where codes ask."
)


def _sides(comparison: Comparison) -> list[str]:
    return [
        line
        for name, rides in (("Before", comparison.before), ("After", comparison.after))
        for line in _wrapped(f"{_side_words(rides)}", f"{name:<8}", " " * 8)
    ]


def _side_words(rides: tuple[MeasuredRide, ...]) -> str:
    names = joined([shortened(ride.name, 40) for ride in rides])
    days = list(
        dict.fromkeys(
            clock_words(ride.source.start_utc, ride.source.end_utc).split(",")[0] for ride in rides
        )
    )
    return f"{count_words(len(rides), 'ride')}, {joined(days)}: {names}"


def _measure_line(compared: Compared, unit: SpeedUnit) -> tuple[str, str]:
    difference, word, si = compared.difference, compared.verdict.word, compared.figure.quantity.si
    factor, label = factor_and_label(si, unit)
    title = f"{compared.figure.short_in(unit)} ({label})"
    if difference is None:
        return f"{title:<21}{'':>16}{'':<23} {word}", ""
    count = min(places(side, factor) for side in (difference.before, difference.after))
    before, after = (
        number_words(factor * side.value, count) for side in (difference.before, difference.after)
    )
    change = change_words(difference.difference, si, unit).partition(" ")[0]
    bounds = bounds_of(difference.difference, si, unit, signed=True)
    line = f"{title:<21}{before:>7}{after:>7}  {f'{change} ({bounds})':<23} {word}"
    return line, "headline" if word in (BETTER, WORSE) else ""


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        clean(text), WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
