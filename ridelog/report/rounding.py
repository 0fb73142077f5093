"""Both sides of a compared figure as they are printed, and why these may not add up."""

from collections.abc import Iterable

from ridelog.compare.comparison import Compared
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import MINUS, as_printed, bare, rough_bounds, together
from ridelog.core.units import SpeedUnit

_ROUNDED = (
    "A difference may be a little apart from that of the two figures beside it: each is rounded by "
    "itself."
)


def side_words(compared: Compared, unit: SpeedUnit) -> tuple[str, str]:
    """Return what a figure was before and after, without unit; ranges of one in doubt."""
    if compared.difference is None:
        return "", ""
    sides, quantity = (compared.difference.before, compared.difference.after), compared.quantity
    if compared.doubt:
        before, after = (rough_bounds(side, quantity, unit) for side in sides)
    else:
        before, after = together(sides, quantity, unit)
    return before, after


def moved(compared: Compared, unit: SpeedUnit) -> Estimate | None:
    """Return how a figure moved as it is printed beside both sides, None for no difference."""
    if compared.difference is None:
        return None
    told = compared.difference
    if compared.doubt:
        return told.difference
    return as_printed(told.difference, (told.before, told.after), compared.quantity, unit)


def rounding_words(figures: Iterable[Compared], reader: SpeedUnit) -> str:
    """Return why printed sides and differences do not add up, empty where all of them do."""
    return "" if all(_adds_up(each, reader) for each in figures) else _ROUNDED


def _adds_up(compared: Compared, reader: SpeedUnit) -> bool:
    told = moved(compared, reader)
    if told is None or compared.doubt:  # ranges are not taken from each other
        return True
    words = bare(told, compared.quantity, reader, signed=True)
    before, after, change = (_printed(each) for each in (*side_words(compared, reader), words))
    # A millionth is the arithmetic of printed decimals, not a digit of them.
    return abs(after - before - change) < 1e-6


def _printed(words: str) -> float:
    return float(words.replace(MINUS, "-").replace(",", ""))
