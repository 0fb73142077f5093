"""A comparison on one terminal screen: the sentence first, then every figure with its verdict."""

import textwrap

from ridelog.analysis.ride import NOT_MEASURED
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.rides import RiddenRide
from ridelog.compare.verdict import BETTER, WORSE
from ridelog.report.headline import headline, title_of
from ridelog.report.measure_words import (
    bounds_of,
    change_words,
    factor_and_label,
    number_words,
    places,
)
from ridelog.report.verdict_words import (
    crossing_words,
    false_alarm_words,
    method_words,
    reason_words,
    tested_count,
)
from ridelog.report.wording import clean, clock_words, count_words, joined, shortened
from ridelog.units import SpeedUnit

WIDTH = 80
_TITLE = 28


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
    lines.append(("", ""))
    for compared in comparison.measures:
        lines += _measure_lines(compared, unit)
    crossing = crossing_words(comparison, unit)
    if crossing:
        lines += [("", ""), *((line, "") for line in _wrapped(crossing))]
    figures = tested_count(comparison)
    why: dict[str, list[str]] = {}
    for each in comparison.measures:
        if each.verdict.word not in (BETTER, WORSE):
            reason = reason_words(each, unit, figures)
            why.setdefault(reason, []).append(title_of(each.measure, unit))
    if why:
        lines.append(("", ""))
    for reason, titles in why.items():
        lines += [(line, "") for line in _wrapped(f"{_capital(joined(titles))}: {reason}")]
    lines.append(("", ""))
    for words in (method_words(comparison), false_alarm_words(comparison)):
        lines += [(line, "quiet") for line in _wrapped(words)]
    if comparison.mismatches:
        lines.append(("", ""))
        lines.append(("Besides the change itself:", "caution"))
        for mismatch in comparison.mismatches:
            lines += [(line, "caution") for line in _wrapped(mismatch.text, "  - ", "    ")]
    lines.append(("", ""))
    lines += [(line, "caution") for line in _wrapped(_ALWAYS)]
    lines += [(line, "") for line in _wrapped(f"Not measured: {joined(list(NOT_MEASURED))}.")]
    return lines


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


def _side_words(rides: tuple[RiddenRide, ...]) -> str:
    names = joined([shortened(ride.name, 40) for ride in rides])
    days = list(
        dict.fromkeys(
            clock_words(ride.result.source.start_utc, ride.result.source.end_utc).split(",")[0]
            for ride in rides
        )
    )
    return f"{count_words(len(rides), 'ride')}, {joined(days)}: {names}"


def _measure_lines(compared: Compared, unit: SpeedUnit) -> list[tuple[str, str]]:
    title = _capital(title_of(compared.measure, unit))
    difference, word = compared.difference, compared.verdict.word
    if difference is None:
        return [(f"{title:<{_TITLE}} {word}", "")]
    factor, label = factor_and_label(compared.measure.unit, unit)
    count = min(places(side, factor) for side in (difference.before, difference.after))
    first, second = (
        number_words(factor * side.value, count) for side in (difference.before, difference.after)
    )
    change = change_words(difference.difference, compared.measure.unit, unit)
    bounds = bounds_of(difference.difference, compared.measure.unit, unit, signed=True)
    levels = f"{first} to {second} {label}"
    one = f"{title:<{_TITLE}} {levels:<20} {word}"
    style = "headline" if word in (BETTER, WORSE) else ""
    return [(one, style), (f"{'':<{_TITLE}} {change} ({bounds} in 9 of 10)", "quiet")]


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        clean(text), WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
