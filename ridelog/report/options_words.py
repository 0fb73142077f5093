"""Options side by side in words: what page, paper and screen are laid out from."""

from dataclasses import dataclass, replace
from typing import Literal

from ridelog import __version__
from ridelog.analysis.subject import ALWAYS
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import (
    MINUS,
    SPEED,
    TIME,
    TRAVEL,
    Quantity,
    as_printed,
    bare,
    bounds,
    cost_words,
    money_words,
)
from ridelog.core.units import SpeedUnit
from ridelog.machine.options import OptionsPredicted
from ridelog.machine.possible import PredictedFigure
from ridelog.present.words import capital, clean, count_words, within
from ridelog.report.aim import Aim, more_is_better
from ridelog.report.foremost import kinds_of_danger
from ridelog.report.letterhead import Letterhead
from ridelog.report.option_risks import (
    LETTERS,
    OptionRisk,
    columns_of,
    open_points,
    option_risks,
    warning_sentences,
)
from ridelog.report.options_json import AS_IT_IS
from ridelog.report.predict_words import change_words, held_word, turn_words
from ridelog.report.ride_page import Sources

# Where a machine has no such figure.
NONE = "–"
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
    """One column: its letter, name, the change in words, the workshop's note, what to tick.

    warning : what is foremost about it in a few words: "dangerous, not for a child".
    """

    letter: str
    name: str
    change: str
    note: str
    choice: str
    warning: str = ""


@dataclass(frozen=True)
class OptionDecision:
    """What the owner may decide for: in a list, in the history, and its price and hours alone."""

    shown: str
    said: str
    price: str = ""
    hours: str = ""


@dataclass(frozen=True)
class OptionsWords:
    """Everything that the sheet of options says, in the order in which it says it.

    alike : in a sentence the figures that no option moves, which have no row.
    """

    title: str
    workshop: str
    contact: str
    note: str
    basis: str
    sentences: tuple[str, ...]
    warnings: tuple[str, ...]
    heads: tuple[OptionHead, ...]
    rows: tuple[OptionRow, ...]
    alike: str
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
    letterhead: Letterhead | None = None,
    note: str = "",
) -> OptionsWords:
    """Return what the sheet of options says.

    ``aim`` is what the owner wants, which decides what is called better; ``note`` is free text.
    """
    paper = letterhead or Letterhead()
    sources = Sources()
    name = clean(found.setup.name or "The machine")
    rows, alike = _parted(_rows(found, unit, aim))
    shown = [one for one in found.now if one.figure.name in shown_names(found)]
    rides = count_words(len(found.rides), "ride") if found.rides else "the set-up alone, no ride"
    return OptionsWords(
        title=f"{name}: {count_words(len(found.outcomes), 'option')} to choose from",
        workshop=paper.workshop,
        contact=paper.contact,
        note=clean(note.strip()),
        basis=f"Predicted from {rides}. A prediction, not a measurement.",
        sentences=option_sentences(found, unit, aim),
        warnings=warning_sentences(found, unit),
        heads=_heads(found),
        rows=rows,
        alike=alike,
        breaks=option_risks(columns_of(found), unit, sources),
        open=open_points(found),
        brackets="Under each figure: where the truth should lie, right 9 times out of 10. With "
        "its sign: how much the change alone moves the figure. It may be a little apart from the "
        "difference of the two figures, because the machine as it is was measured and the changed "
        "one is computed, and each is rounded by itself. Same: less than 1 %; too close: it may be "
        "more or less.",
        notes=tuple(clean(note) for note in (*found.notes, turn_words(shown)) if note),
        always=ALWAYS,
        sources=tuple(sources.listed),
        check="Every figure can be computed again from the logs: ridelog verify options.json "
        "--logs FOLDER.",
        version=__version__,
        decisions=_decisions(found),
    )


def _decisions(found: OptionsPredicted) -> tuple[OptionDecision, ...]:
    """Return what may be decided for, the machine as it is first."""
    listed = [OptionDecision(capital(AS_IT_IS), AS_IT_IS)]
    for number, one in enumerate(found.outcomes):
        option = one.option
        change = change_words(found.setup, one.change)
        said = f"{clean(option.name)} ({change})" if change else clean(option.name)
        cost = cost_words(option.price, option.hours, clean(found.currency))
        listed.append(
            OptionDecision(
                f"{LETTERS[number]} {', '.join(filter(None, (said, cost)))}",
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
    order = {Aim.QUICKER: (1, 0, 2), Aim.FARTHER: (2, 0, 1)}.get(aim or Aim.FASTER, (0, 1, 2))
    told = [told[place] for place in order]
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


def _heads(found: OptionsPredicted) -> tuple[OptionHead, ...]:
    """Return the columns, the machine as it is first."""
    name = capital(AS_IT_IS)
    heads = [OptionHead("", name, "", "", "")]
    heads += [
        OptionHead(
            letter,
            clean(one.option.name),
            change_words(found.setup, one.change),
            clean(one.option.note),
            "",
        )
        for letter, one in zip(LETTERS, found.outcomes, strict=False)
    ]
    told = []
    for head, cautions in zip(heads, columns_of(found).values(), strict=True):
        kinds = kinds_of_danger(cautions)
        choice = f"{head.letter} {head.name}".strip()
        choice += f" ({kinds[0]})" if kinds[:1] == ("dangerous",) else ""
        told.append(replace(head, choice=choice, warning=", ".join(kinds)))
    return tuple(told)


def _parted(rows: tuple[OptionRow, ...]) -> tuple[tuple[OptionRow, ...], str]:
    """Return the rows in which an option differs, and the others in a sentence."""
    alike = [row for row in rows if _is_alike(row)]
    told = [
        f"{within(row.title)} {row.cells[0].value} {row.unit}".rstrip()
        + (f" ({row.cells[0].bounds})" if row.cells[0].bounds else "")
        for row in alike
    ]
    rest = tuple(row for row in rows if row not in alike)
    return rest, f"The same for all: {'; '.join(told)}." if told else ""


def _is_alike(row: OptionRow) -> bool:
    now, *others = row.cells
    if not now.value or now.value == NONE:
        return False
    changes = {one.change for one in others}
    return changes == {"same"} or (changes == {""} and {one.value for one in others} == {now.value})


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
        return OptionCell(NONE, "" if one is None else one.figure.reason)
    quantity = one.figure.quantity
    ends = bounds(value, quantity, unit)
    # Where only a range can be told it stands in the place of the figure.
    words, below = (bare(value, quantity, unit), ends) if value.firm else (ends, "")
    if not moved or one.difference is None:
        return OptionCell(words, below)
    sides = [each for each in (one.now, one.changed) if each is not None]
    told = as_printed(one.difference, sides, quantity, unit)
    change = bare(told, quantity, unit, signed=True, beside=sides)
    least = _WORTH * abs(value.value)
    if not change.startswith(("+", MINUS)) or abs(one.difference.value) < least:
        # As it is: its figure again would look like another where that one was measured.
        return OptionCell("", "", "same", "same")
    if one.difference.low <= 0.0 <= one.difference.high:
        return OptionCell(words, below, "too close", "same")
    wanted = more_is_better(one.figure.name, quantity, aim)
    if wanted is None:
        return OptionCell(words, below, change, "other")
    kind: Kind = "better" if wanted is (one.difference.value > 0.0) else "worse"
    return OptionCell(words, below, f"{change} {kind}", kind)


def _plain(estimate: Estimate, quantity: Quantity, unit: SpeedUnit) -> str:
    return f"{_bare(estimate, quantity, unit)} {quantity.label(unit)}"


def _bare(estimate: Estimate, quantity: Quantity, unit: SpeedUnit) -> str:
    return (bare if estimate.firm else bounds)(estimate, quantity, unit)
