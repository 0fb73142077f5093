"""What neither logs nor notes tell of the conditions of a comparison, and what was noted alike."""

from ridelog.compare.comparison import Comparison
from ridelog.compare.noted import not_measured, noted_alike
from ridelog.present.words import capital, clean, joined

# What differs from day to day, and the condition that leaves it open.
_OTHERS = {"rider": "rider mass", "charge": "battery charge"}


def unmeasured_words(comparison: Comparison) -> str:
    """Return what neither a log nor a note of both sides tells, in a list."""
    unknown = not_measured(comparison.noted_before, comparison.noted_after)
    return joined(list(unknown)) or "what was noted"


def alike_words(comparison: Comparison) -> str:
    """Return which conditions were noted the same on both sides, empty for none."""
    alike = noted_alike(comparison.noted_before, comparison.noted_after)
    if not alike:
        return ""
    where = "of these rides"
    if comparison.modes is None:
        where = f"the same {' and '.join(comparison.names.said)}"
    return f"Noted {where}: {joined([f'{name} {clean(words)}' for name, words in alike.items()])}."


def conditions_words(comparison: Comparison) -> str:
    """Return what the sheet says of conditions: unknown, noted alike, and why it counts."""
    unknown = not_measured(comparison.noted_before, comparison.noted_after)
    *first, last = ("day", *(word for word, name in _OTHERS.items() if name in unknown))
    another = f"{', '.join(first)} or {last}" if first else last
    told = (
        f"{capital(unmeasured_words(comparison))}.",
        alike_words(comparison),
        f"Another {another} can move these figures by more than the brackets say; only what is "
        "the same on both sides cancels.",
    )
    return " ".join(filter(None, told))
