"""What options break and leave open: each caution once, and what stands at the headline."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ridelog.analysis.subject import GRAVITY_WORDS, Caution
from ridelog.core.quantity import both_units, for_reader
from ridelog.core.units import MPS_PER_KMH, SpeedUnit
from ridelog.machine.electrics import by_kind
from ridelog.machine.options import OptionsPredicted
from ridelog.present.words import capital, clean, first_sentence, joined
from ridelog.report.foremost import kinds_of_danger
from ridelog.report.options_json import AS_IT_IS
from ridelog.report.ride_page import Sources

LETTERS = "ABCDEF"
# A number with its unit and its bounds, which stay with it where several stand in its place.
_NUMBER = re.compile(
    r"(?:\d[\d.,]*\d|\d)(?: (?:km/h|mph|m/s²|m|ft|s|A|V|g|%)(?!\w))?(?: \([\d.,]+ to [\d.,]+\))?"
)
# Of so many columns with one number more are not worth naming: own choice.
_MANY = 3


@dataclass(frozen=True)
class OptionRisk:
    """Something that options break or leave open, and the letters of those that do."""

    who: str
    label: str
    text: str
    mark: int | None = None


def option_risks(
    columns: Mapping[str, Sequence[Caution]], unit: SpeedUnit, sources: Sources
) -> tuple[OptionRisk, ...]:
    """Return every caution once, the gravest first, with those it holds for.

    ``columns`` has the cautions of each column by what it is called. Sentences that differ in their
    numbers alone are one, in which each column has its own.
    """
    told: dict[tuple[str, str], dict[str, str]] = {}
    first: dict[tuple[str, str], Caution] = {}
    for who, cautions in columns.items():
        for caution in cautions:
            if not caution.general:
                words = clean(first_sentence(for_reader(caution.text, unit)))
                key = caution.code, _NUMBER.sub("", words)
                told.setdefault(key, {})[who] = words
                first.setdefault(key, caution)
    return tuple(
        OptionRisk(
            "All" if len(told[key]) == len(columns) else capital(", ".join(told[key])),
            GRAVITY_WORDS[caution.gravity],
            _merged(told[key]),
            sources.mark(caution.source),
        )
        for key, caution in sorted(first.items(), key=lambda item: -item[1].gravity)
    )


def _merged(told: Mapping[str, str]) -> str:
    """Return one sentence of several that differ in their numbers: "48 m (A) or 50 m (C)".

    The most that share a number are the others: "85 A (76 to 96, D) or 112 A (81 to 136, others)".
    """
    each = {who: [found[0] for found in _NUMBER.finditer(words)] for who, words in told.items()}
    between = _NUMBER.split(next(iter(told.values())))
    parts = [between[0]]
    for place, rest in enumerate(between[1:]):
        whose: dict[str, list[str]] = {}
        for who, numbers in each.items():
            whose.setdefault(numbers[place], []).append(who)
        most = max(map(len, whose.values()))
        named = sorted(whose.items(), key=lambda item: len(item[1]) == most >= _MANY)
        parts.append(
            " or ".join(
                number if len(whose) == 1 else _with(number, who, last=n == len(named) - 1)
                for n, (number, who) in enumerate(named)
            )
        )
        parts.append(rest)
    return "".join(parts)


def _with(number: str, who: Sequence[str], *, last: bool) -> str:
    """Return a number with those it holds for, in the brackets of its bounds if it has some."""
    words = "others" if last and len(who) >= _MANY else ", ".join(who)
    return f"{number[:-1]}, {words})" if number.endswith(")") else f"{number} ({words})"


def open_points(found: OptionsPredicted) -> tuple[OptionRisk, ...]:
    """Return what is not confirmed: names of parts, once for the options that share them."""
    by_parts: dict[str, list[str]] = {}
    for number, one in enumerate(found.outcomes):
        parts = by_kind(words.partition(":")[0] for words in one.open)
        if parts:
            by_parts.setdefault(parts, []).append(LETTERS[number])
    return tuple(
        OptionRisk(", ".join(letters), "Not confirmed", f"{capital(parts)}.")
        for parts, letters in by_parts.items()
    )


def warning_sentences(found: OptionsPredicted, unit: SpeedUnit) -> tuple[str, ...]:
    """Return who is dangerous, for no child, and within the class: what stands at the headline."""
    columns = columns_of(found)
    kinds = {who: kinds_of_danger(cautions) for who, cautions in columns.items()}
    told = []
    for kind in ("dangerous", "not for a child"):
        who = [each for each in columns if kind in kinds[each]]
        if len(who) == len(columns):
            told.append(f"{capital(kind)}, whatever is chosen.")
        elif who:
            told.append(f"{capital(kind)}: {_named(who)}.")
    if found.setup.class_speed_kmh is not None:
        within = [each for each in columns if "above its class" not in kinds[each]]
        limit = both_units(found.setup.class_speed_kmh * MPS_PER_KMH)
        told.append(f"Within {limit}, its class or advised speed: {_named(within)}.")
    return tuple(for_reader(one, unit) for one in told)


def _named(who: list[str]) -> str:
    """Return columns in a sentence: "as it is and options B and C"."""
    letters = [each for each in who if each != AS_IT_IS]
    options = f"option{'s' * (len(letters) > 1)} {joined(letters)}" if letters else ""
    now = AS_IT_IS if AS_IT_IS in who else ""
    return " and ".join(filter(None, (now, options))) or "nothing"


def columns_of(found: OptionsPredicted) -> dict[str, tuple[Caution, ...]]:
    """Return the cautions of each column by what it is called, the machine as it is first."""
    named = {AS_IT_IS: found.cautions_now}
    return named | {
        letter: one.cautions for letter, one in zip(LETTERS, found.outcomes, strict=False)
    }
