"""Texts from outside, fit to be shown, and how places and counts are put into sentences."""

import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the command line starts without numpy
    from ridelog.core.track import IntArray

# Longer values are cut: the sentence must stay one line on a terminal. Own choice: half a
# line of 80, the rest for the sentence.
_SHOWN_LETTERS = 40
# No more of a value is looked at: a log may hold one of a hundred million letters. Own
# choice: far more than is shown.
_LOOKED_AT = 1000

# Control and format characters, half surrogates, and what ends a line or a paragraph.
_UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")


def clean(text: str, mark: str = "\N{REPLACEMENT CHARACTER}", keep: str = "") -> str:
    """Return a text that cannot steer a terminal: unseen characters become a visible mark.

    The text comes from a log, a file name or a form; unseen characters in ``keep``, such as line
    ends, stay.
    """
    return "".join(
        mark if unicodedata.category(letter) in _UNSEEN and letter not in keep else letter
        for letter in text
    )


def shown(value: str | bytes) -> str:
    """Return a value from a log, quoted, printable and short enough for one sentence."""
    head = value[:_LOOKED_AT]
    text = head.decode("utf-8", "replace") if isinstance(head, bytes) else head
    text = clean(" ".join(text.split()))
    if len(text) > _SHOWN_LETTERS:
        text = text[:_SHOWN_LETTERS] + "..."
    return f"'{text}'"


def shown_name(name: str) -> str:
    """Return a file name that cannot break the line of a message."""
    return clean(name) or "(no name)"


def count_words(count: int, one: str, many: str | None = None) -> str:
    """Return a number with its noun in the right form: 1 gap, or 2,117 fixes."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def about_lines(
    lines: "IntArray", noun: str, what: str, end: str = "", first: str = "", word: str = "line"
) -> list[str]:
    """Return one sentence about some lines of a log, none if there are none.

    Such as "2 values of ele cannot be read as a number (lines 7 and 9; first 'x') and were not
    used."; ``end`` is written for several, ``word`` says what is counted where no lines are.
    """
    if not len(lines):
        return []
    where = places(lines.tolist(), word) + (f"; first {first}" if first else "")
    end = end.replace("were", "was") if len(lines) == 1 else end
    return [f"{count_words(len(lines), noun)} {what} ({where}){end and ' '}{end}."]


def places(lines: Sequence[int], word: str = "line") -> str:
    """Return the first line numbers of a list: line 7, or lines 7, 9, 12 and 5 more."""
    numbers = [str(line) for line in lines[:3]]
    more = len(lines) - len(numbers)
    if len(lines) == 1:
        return f"{word} {numbers[0]}"
    if more > 0:
        return f"{word}s {', '.join(numbers)} and {more:,} more"
    return f"{word}s {', '.join(numbers[:-1])} and {numbers[-1]}"
