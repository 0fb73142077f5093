"""How the importer words a place, a value and a count in its sentences."""

from collections.abc import Sequence

from ridelog.core.text import clean

# Longer values are cut: the sentence must stay one line on a terminal.
_SHOWN_LETTERS = 40


def shown(value: str | bytes) -> str:
    """Return a value from a log, quoted, printable and short enough for one sentence."""
    text = value.decode("utf-8", "replace") if isinstance(value, bytes) else value
    text = clean(" ".join(text.split()))
    if len(text) > _SHOWN_LETTERS:
        text = text[:_SHOWN_LETTERS] + "..."
    return f"'{text}'"


def shown_name(name: str) -> str:
    """Return a file name that cannot break the line of a message."""
    return clean(name) or "(no name)"


def counted(number: int, noun: str, plural: str | None = None) -> str:
    """Return a number with its noun in the right form: 1 fix, 2 fixes."""
    return f"{number:,} {noun if number == 1 else (plural or noun + 's')}"


def places(lines: Sequence[int]) -> str:
    """Return the first line numbers of a list: line 7, or lines 7, 9, 12 and 5 more."""
    numbers = [str(line) for line in lines[:3]]
    more = len(lines) - len(numbers)
    if len(lines) == 1:
        return f"line {numbers[0]}"
    if more > 0:
        return f"lines {', '.join(numbers)} and {more:,} more"
    return f"lines {', '.join(numbers[:-1])} and {numbers[-1]}"
