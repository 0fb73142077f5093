"""Texts from outside, fit to be shown."""

import unicodedata

# Control characters, formatting such as a reversal of direction, halves of surrogate pairs, and
# separators of lines and paragraphs (Unicode's general categories).
_STEERING = ("Cc", "Cf", "Cs", "Zl", "Zp")


def clean(text: str, mark: str = "\N{REPLACEMENT CHARACTER}") -> str:
    """Return a text that cannot steer a terminal or a page: what could becomes a visible mark."""
    return "".join(mark if unicodedata.category(one) in _STEERING else one for one in text)
