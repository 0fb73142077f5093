"""Options side by side in words: what page, paper and screen are laid out from."""

from dataclasses import dataclass
from typing import Literal

from ridelog import __version__
from ridelog.analysis.subject import ALWAYS, DANGER, GRAVITY_WORDS, Caution
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import (
    MINUS,
    SPEED,
    TIME,
    TRAVEL,
    Quantity,
    bare,
    bounds,
    for_reader,
    hours_words,
    money_words,
)
from ridelog.core.units import SpeedUnit
from ridelog.machine.electrics import by_kind
from ridelog.machine.figures import TIP_OVER
from ridelog.machine.options import OptionOutcome, OptionsPredicted
from ridelog.machine.possible import PredictedFigure
from ridelog.present.words import capital, clean, count_words, first_sentence, joined
from ridelog.report.aim import Aim, more_is_better
from ridelog.report.letterhead import Letterhead
from ridelog.report.options_json import AS_IT_IS
from ridelog.report.predict_words import change_words, held_word
from ridelog.report.ride_page import Sources

LETTERS = "ABCDEF"
# A smaller share of a figure is no reason to choose one option: own choice.
_WORTH = 0.01
Kind = Literal["", "better", "worse", "other", "same"]


@dataclass(frozen=True)
class OptionCell:
    """One figure of one option: value and bounds without unit, how it moved, and whether wanted.

    kind : "same" where no difference is shown, "other" where it is neither better nor worse.
    """

    value: str
    bounds: str = ""
    change: str = ""
    kind: Kind = ""


@dataclass(frozen=True)
class OptionRow:
    """One figure of every column, the machine as it is first."""

    title: str
    unit: str
    cells: tuple[OptionCell, ...]


@dataclass(frozen=True)
class OptionHead:
    """One column: its letter, name, the change in words, the workshop's note, what to tick."""

    letter: str
    name: str
    change: str
    note: str
    choice: str


@dataclass(frozen=True)
class OptionRisk:
    """Something that options break or leave open, and the letters of those that do."""

    who: str
    label: str
    text: str
    mark: int | None = None


@dataclass(frozen=True)
class OptionDecision:
    """What the owner may decide for: in a list, in the history, and its price and hours alone."""

    shown: str
    said: str
    price: str = ""
    hours: str = ""


@dataclass(frozen=True)
class OptionsWords:
    """Everything that the sheet of options says, in the order in which it says it."""

    title: str
    workshop: str
    contact: str
    note: str
    basis: str
    sentences: tuple[str, ...]
    heads: tuple[OptionHead, ...]
    rows: tuple[OptionRow, ...]
    breaks: tuple[OptionRisk, ...]
    open: tuple[OptionRisk, ...]
    brackets: str
    notes: tuple[str, ...]
    always: str
    sources: tuple[str, ...]
    check: str
    version: str
    decisions: tuple[OptionDecision, ...]


def options_words(
    found: OptionsPredicted,
    unit: SpeedUnit,
    *,
    aim: Aim | None = None,
    paper: Letterhead | None = None,
    note: str = "",
) -> OptionsWords:
    """Return what the sheet of options says.

    ``aim`` is what the owner wants, which decides what is called better; ``note`` is free text.
    """
    paper = paper or Letterhead()
    sources = Sources()
    name = clean(found.setup.name or "The machine")
    rides = count_words(len(found.rides), "ride") if found.rides else "the set-up alone, no ride"
    return OptionsWords(
        title=f"{name}: {count_words(len(found.outcomes), 'option')} to choose from",
        workshop=paper.workshop,
        contact=paper.contact,
        note=clean(note.strip()),
        basis=f"Predicted from {rides}. A prediction, not a measurement.",
        sentences=option_sentences(found, unit, aim),
        heads=_heads(found),
        rows=_rows(found, unit, aim),
        breaks=_breaks(found, unit, sources),
        open=_open(found),
        brackets="Under each figure: where the truth should lie, right 9 times out of 10. With "
        "its sign: how much the change alone moves the figure. It may be a little apart from the "
        "difference of the two figures, because the machine as it is was measured and the changed "
        "one is computed, and each is rounded by itself. Same: less than 1 %; too close: it may be "
        "more or less.",
        notes=(*(clean(note) for note in found.notes), *_turn_note(found)),
        always=ALWAYS,
        sources=tuple(sources.listed),
        check="Every figure can be computed again from the logs: ridelog verify options.json "
        "--logs FOLDER.",
        version=__version__,
        decisions=_decisions(found),
    )


def _turn_note(found: OptionsPredicted) -> tuple[str, ...]:
    """Return what the share of g means, if the machine's threshold is told."""
    if not any(one.figure.name == TIP_OVER[0] and one.now for one in found.now):
        return ()
    return (
        "A turn of 1 g pushes sideways as hard as machine and rider weigh: the threshold holds for "
        "even ground and a rider who sits upright; slope, ruts and bumps lower it.",
    )


def _decisions(found: OptionsPredicted) -> tuple[OptionDecision, ...]:
    """Return what may be decided for, the machine as it is first."""
    listed = [OptionDecision(capital(AS_IT_IS), AS_IT_IS)]
    for number, one in enumerate(found.outcomes):
        option = one.option
        change = change_words(found.setup, one.change)
        said = f"{clean(option.name)} ({change})" if change else clean(option.name)
        cost = [
            "" if option.price is None else money_words([option.price], clean(found.currency)),
            "" if option.hours is None else hours_words(option.hours),
        ]
        listed.append(
            OptionDecision(
                f"{LETTERS[number]} {', '.join([said, *(part for part in cost if part)])}",
                said,
                "" if option.price is None else money_words([option.price], ""),
                "" if option.hours is None else f"{option.hours:g}",
            )
        )
    return tuple(listed)


def option_sentences(
    found: OptionsPredicted, unit: SpeedUnit, aim: Aim | None = None
) -> tuple[str, ...]:
    """Return for anyone who is fastest, quickest and goes farthest, what was aimed at first."""
    top = ("Tamest", "is tamer") if aim is Aim.TAMER else ("Fastest", "is faster")
    told = [
        _best(found, unit, "top_speed_mps", *top),
        _best(found, unit, _start_name(found), "Starts quickest", "starts quicker"),
        _best(found, unit, _range_name(found), "Goes farthest", "goes farther"),
    ]
    danger = [
        letter for letter, one in zip(LETTERS, found.outcomes, strict=False) if _dangerous(one)
    ]
    order = {Aim.QUICKER: (1, 0, 2), Aim.FARTHER: (2, 0, 1)}.get(aim or Aim.FASTER, (0, 1, 2))
    told = [told[place] for place in order]
    told.append(f"Dangerous as it stands: {joined(danger)}, see below." if danger else "")
    return tuple(sentence for sentence in told if sentence)


def _best(found: OptionsPredicted, unit: SpeedUnit, name: str, lead: str, does: str) -> str:
    ends = found.end(name)
    if ends is None:
        return ""
    quantity = _quantity(found, name)
    least = quantity is TIME or lead == "Tamest"
    best = ends.least if least else ends.most
    if 0 in best:
        return f"Whether any {does} is too close to call."
    names = [f"{LETTERS[n - 1]} ({clean(found.outcomes[n - 1].option.name)})" for n in best]
    first = found.outcomes[best[0] - 1].get(name)
    now = next((one for one in found.now if one.figure.name == name), None)
    if len(best) > 1 or first is None or first.changed is None or now is None or now.now is None:
        either = f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]
        return f"{lead}: {either}."
    instead = f"{_plain(first.changed, quantity, unit)} instead of {_bare(now.now, quantity, unit)}"
    what = "" if quantity is not TIME else f"{first.figure.title_in(unit)} in "
    far = f" at {first.figure.title.rpartition(' at ')[2]}" if quantity is TRAVEL else ""
    return f"{lead}: {names[0]}, {what}{instead}{far}."


def _quantity(found: OptionsPredicted, name: str) -> Quantity:
    every = [*found.now, *(each for one in found.outcomes for each in one.figures)]
    return next((one.figure.quantity for one in every if one.figure.name == name), SPEED)


def _start_name(found: OptionsPredicted) -> str:
    """Return the first launch window: from standing where there is one."""
    return next((name for name in found.windows if name.startswith("0-")), "")


def _range_name(found: OptionsPredicted) -> str:
    return f"range_at_{found.conditions.at[0].name}_m"


def _dangerous(outcome: OptionOutcome) -> bool:
    return any(caution.gravity == DANGER for caution in outcome.cautions)


def _heads(found: OptionsPredicted) -> tuple[OptionHead, ...]:
    name = capital(AS_IT_IS)
    heads = [OptionHead("", name, "", "", name)]
    for letter, one in zip(LETTERS, found.outcomes, strict=False):
        heads.append(
            OptionHead(
                letter,
                clean(one.option.name),
                change_words(found.setup, one.change),
                clean(one.option.note),
                f"{letter} (dangerous)" if _dangerous(one) else letter,
            )
        )
    return tuple(heads)


def shown_names(found: OptionsPredicted) -> list[str]:
    """Return the names of the figures that owners are shown, in their order."""
    travel = [
        name
        for at in found.conditions.at
        for name in (f"energy_at_{at.name}_j_per_m", f"range_at_{at.name}_m")
    ]
    return ["top_speed_mps", _start_name(found), "climb_at_8_kmh", *travel, "stopping_distance_m",
            "tip_over_mps2", "battery_current_peak_a", "motor_current_peak_a"]  # fmt: skip


def _rows(found: OptionsPredicted, unit: SpeedUnit, aim: Aim | None) -> tuple[OptionRow, ...]:
    rows = []
    options = [one.option for one in found.outcomes]
    if any(one.price is not None for one in options):
        cells = [
            OptionCell("" if one.price is None else money_words([one.price], "")) for one in options
        ]
        rows.append(OptionRow("Price", clean(found.currency), (OptionCell(""), *cells)))
    if any(one.hours is not None for one in options):
        cells = [OptionCell("" if one.hours is None else f"{one.hours:g}") for one in options]
        rows.append(OptionRow("Hours of work", "", (OptionCell(""), *cells)))
    for name in shown_names(found):
        now = next((one for one in found.now if one.figure.name == name), None)
        after = [one.get(name) for one in found.outcomes]
        known = next((one for one in (now, *after) if one is not None), None)
        if known is None:
            continue
        quantity = known.figure.quantity
        first = _cell(now, now.now if now else None, unit)
        cells = [_cell(one, one.changed if one else None, unit, aim, moved=True) for one in after]
        rows.append(OptionRow(known.figure.short_in(unit), quantity.label(unit), (first, *cells)))
    held = [next((one for one in found.now if one.figure.name == "top_speed_mps"), None)]
    held += [one.get("top_speed_mps") for one in found.outcomes]
    cells = [OptionCell("" if one is None else held_word(one)) for one in held]
    rows.append(OptionRow("Top speed held by", "", tuple(cells)))
    return tuple(rows)


def _cell(
    one: PredictedFigure | None,
    value: Estimate | None,
    unit: SpeedUnit,
    aim: Aim | None = None,
    *,
    moved: bool = False,
) -> OptionCell:
    if one is None or value is None:
        return OptionCell("–", "" if one is None else one.figure.reason)
    quantity = one.figure.quantity
    ends = bounds(value, quantity, unit)
    # Where only a range can be told it stands in the place of the figure.
    words, below = (bare(value, quantity, unit), ends) if value.firm else (ends, "")
    if not moved or one.difference is None:
        return OptionCell(words, below)
    change = bare(one.difference, quantity, unit, signed=True)
    least = _WORTH * abs(value.value)
    if not change.startswith(("+", MINUS)) or abs(one.difference.value) < least:
        return OptionCell(words, below, "same", "same")
    if one.difference.low <= 0.0 <= one.difference.high:
        return OptionCell(words, below, "too close", "same")
    wanted = more_is_better(one.figure.name, quantity, aim)
    if wanted is None:
        return OptionCell(words, below, change, "other")
    kind: Kind = "better" if wanted is (one.difference.value > 0.0) else "worse"
    return OptionCell(words, below, f"{change} {kind}", kind)


def _breaks(found: OptionsPredicted, unit: SpeedUnit, sources: Sources) -> tuple[OptionRisk, ...]:
    """Return every caution once, the gravest first, with the letters of those it holds for."""
    sides = [("as it is", found.cautions_now)]
    sides += [(LETTERS[n], one.cautions) for n, one in enumerate(found.outcomes)]
    who: dict[str, list[str]] = {}
    told: dict[str, set[str]] = {}
    first: dict[str, Caution] = {}
    first_letter: dict[str, str] = {}
    for letter, cautions in sides:
        for caution in cautions:
            if not caution.general:
                # One sentence for all that break the same: numbers differ from option to option.
                who.setdefault(caution.code, []).append(letter)
                told.setdefault(caution.code, set()).add(first_sentence(caution.text))
                held = first.get(caution.code)
                if held is None or (caution.value or 0.0) > (held.value or 0.0):
                    first[caution.code], first_letter[caution.code] = caution, letter
    listed = []
    for code, caution in sorted(first.items(), key=lambda item: -item[1].gravity):
        words = first_sentence(for_reader(caution.text, unit))
        if len(told[code]) > 1:
            words = f"{words[:-1]} ({first_letter[code]}, the most)."
        letters = ", ".join(who[code])
        listed.append(
            OptionRisk(
                letters, GRAVITY_WORDS[caution.gravity], clean(words),
                sources.mark(caution.source),
            )
        )  # fmt: skip
    return tuple(listed)


def _open(found: OptionsPredicted) -> tuple[OptionRisk, ...]:
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


def _plain(estimate: Estimate, quantity: Quantity, unit: SpeedUnit) -> str:
    return f"{_bare(estimate, quantity, unit)} {quantity.label(unit)}"


def _bare(estimate: Estimate, quantity: Quantity, unit: SpeedUnit) -> str:
    return (bare if estimate.firm else bounds)(estimate, quantity, unit)
