"""Options side by side on the terminal."""

import textwrap

from ridelog.core.quantity import money_words
from ridelog.core.units import SpeedUnit
from ridelog.machine.options import OptionsPredicted
from ridelog.present.words import WIDTH, Lines, clean, wrapped
from ridelog.report.aim import Aim
from ridelog.report.options_words import OptionsWords, options_words


def options_lines(found: OptionsPredicted, unit: SpeedUnit, aim: Aim | None = None) -> Lines:
    """Return the screen about options, lines of at most 80 letters."""
    words = options_words(found, unit, aim=aim)
    lines = [*wrapped(words.title, "quiet"), ("", "")]
    for sentence in (*words.sentences, *words.warnings):
        lines += wrapped(sentence, "headline")
    lines.append(("", ""))
    for head, one in zip(words.heads[1:], found.outcomes, strict=True):
        price = "" if one.option.price is None else plain_price(one.option.price, found.currency)
        hours = "" if one.option.hours is None else f"{one.option.hours:g} h"
        parts = [head.name, head.change, price, hours, head.note]
        lines += wrapped(", ".join(part for part in parts if part), "", f"{head.letter}  ")
    lines += [("", ""), *_table(words), ("", ""), *wrapped(words.alike), ("", "")]
    for risk in (*words.breaks, *words.open):
        lines += wrapped(f"{risk.who}: {risk.text}", "caution", f"{risk.label}  ")
    for note in ("✓ better, ✗ worse. " + words.brackets, *words.notes):
        lines += wrapped(note, "quiet")
    return lines + wrapped(f"Always: {words.always}", "caution")


def plain_price(price: float, currency: str) -> str:
    """Return a price with its currency: "620 EUR"."""
    return money_words([price], clean(currency))


# So many letters are left at least for the titles of a table.
_LEAST_ROOM = 16


def _table(words: OptionsWords) -> Lines:
    """Return the table; where not all columns find room, one below the other, each with now."""
    heads = ["now", *(head.letter for head in words.heads[1:])]
    rows = [row for row in words.rows if row.title not in ("Price", "Hours of work")]
    titles = [f"{row.title} ({row.unit})" if row.unit else row.title for row in rows]
    # What is the same as it is has no figure of its own: the word stands in its place.
    values = [[cell.value or cell.change for cell in row.cells] for row in rows]
    changes = [
        [
            cell.change.replace("better", "✓").replace("worse", "✗") if cell.value else ""
            for cell in row.cells
        ]
        for row in rows
    ]
    widths = [max(map(len, column)) for column in zip(heads, *values, *changes, strict=True)]
    lines: Lines = []
    left = list(range(1, len(heads)))
    while left:
        shown = [0]
        while left and _width(widths, [*shown, left[0]]) <= WIDTH - _LEAST_ROOM:
            shown.append(left.pop(0))
        if shown == [0]:
            shown.append(left.pop(0))
        room = min(WIDTH - _width(widths, shown), max(map(len, titles)))
        room = max(room, _LEAST_ROOM)

        def line(title: str, cells: list[str], shown: list[int] = shown, room: int = room) -> str:
            told = "".join(f"  {cells[place]:>{widths[place]}}" for place in shown)
            return f"{title:<{room}}{told}".rstrip()

        lines.append((line("", heads), "quiet"))
        for title, cells, moved in zip(titles, values, changes, strict=True):
            first, *more = textwrap.wrap(title, room, break_on_hyphens=False)
            lines.append((line(first, cells), ""))
            if any(moved) or more:
                lines.append((line(f" {more[0]}" if more else "", moved), "quiet"))
            lines += [(f" {each}", "quiet") for each in more[1:]]
        lines += [("", "")] if left else []
    return lines


def _width(widths: list[int], places: list[int]) -> int:
    return sum(widths[place] + 2 for place in places)
