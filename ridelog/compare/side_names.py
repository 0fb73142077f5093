"""How the two sides of a comparison are called."""

from dataclasses import dataclass

from ridelog.core.text import clean


@dataclass(frozen=True)
class SideNames:
    """How the two sides are called: as heads, within a sentence, and at length."""

    heads: tuple[str, str]
    said: tuple[str, str]
    at_length: tuple[str, str]


BEFORE_AND_AFTER = SideNames(
    ("before", "after"), ("before", "after"), ("before the change", "after the change")
)


def names_of_sides(modes: tuple[str, str] | None) -> SideNames:
    """Return how two sides are called: before and after, or by their drive modes."""
    if modes is None:
        return BEFORE_AND_AFTER
    first, second = (clean(mode) for mode in modes)
    said = (f"in {first}", f"in {second}")
    return SideNames((first, second), said, said)
