"""What neither logs nor notes tell of the conditions of a comparison, and what was noted."""

from collections.abc import Mapping

from ridelog.compare.comparison import Comparison
from ridelog.compare.noted import not_measured, noted_alike, noted_once
from ridelog.present.words import capital, clean, joined

# What differs from day to day, and the condition that leaves it open.
_OTHERS = {"rider": "rider mass", "charge": "battery charge"}


def unmeasured_words(comparison: Comparison) -> str:
    """Return what neither a log nor a note of both sides tells, in a list."""
    unknown = not_measured(comparison.noted_before, comparison.noted_after)
    return joined(list(unknown)) or "what was noted"


def noted_words(comparison: Comparison) -> str:
    """Return which conditions were noted, the same on both sides or on one, empty for none."""
    before, after = comparison.noted_before, comparison.noted_after
    said = comparison.names.said
    alike = "of these rides" if comparison.modes else f"the same {' and '.join(said)}"
    return " ".join(
        f"Noted {where}: {_listed(noted)}."
        for where, noted in (
            (alike, noted_alike(before, after)),
            (f"only {said[0]}", noted_once(before, after)),
            (f"only {said[1]}", noted_once(after, before)),
        )
        if noted
    )


def _listed(noted: Mapping[str, str]) -> str:
    return joined([f"{name} {clean(words)}" for name, words in noted.items()])


def conditions_words(comparison: Comparison) -> str:
    """Return what the sheet says of conditions: unknown, noted, and why it counts."""
    unknown = not_measured(comparison.noted_before, comparison.noted_after)
    *first, last = ("day", *(word for word, name in _OTHERS.items() if name in unknown))
    another = f"{', '.join(first)} or {last}" if first else last
    told = (
        f"{capital(unmeasured_words(comparison))}.",
        noted_words(comparison),
        f"Another {another} can move these figures by more than the brackets say; only what is "
        "the same on both sides cancels.",
    )
    return " ".join(filter(None, told))
