"""Why a verdict reads as it does, and what all verdicts of a comparison say together."""

from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.verdict import BETTER, CANNOT_SAY, FAMILY_LEVEL, WORSE
from ridelog.core.units import SpeedUnit
from ridelog.present.measure_words import amount_words, bounds_of, change_words, figure_words
from ridelog.present.words import count_words

# What may be wind is told from this share of the interval's width on.
_WORTH_TELLING = 0.1


def reason_words(compared: Compared, reader: SpeedUnit, figures: int) -> str:
    """Return why one verdict reads as it does.

    Parameters
    ----------
    compared : Compared
        One measure.
    reader : SpeedUnit
        In which speeds are told.
    figures : int
        How many figures were tested together.
    """
    unit, difference, verdict = compared.figure.quantity.si, compared.difference, compared.verdict
    if difference is None:
        return f"{_capital(compared.obstacle)}."
    change = change_words(difference.difference, unit, reader)
    bounds = bounds_of(difference.difference, unit, reader, signed=True)
    if verdict.word == CANNOT_SAY:
        return (
            f"One ride a side: how far rides differ by themselves is unknown. Within these two "
            f"rides the difference is {change} ({bounds}); two more rides a side would tell."
        )
    wind, part = "", difference.wind_part
    if abs(part) > _WORTH_TELLING * (difference.difference.high - difference.difference.low):
        amount = amount_words(part, unit, reader)
        of_it = part * difference.difference.value > 0.0
        wind = (
            f" {amount} of it may be wind or slope."
            if of_it
            else f" Wind or slope may hide {amount} more."
        )
    if verdict.word in (BETTER, WORSE):
        return (
            f"{change} ({bounds}) is more than receivers and the scatter between rides explain."
            + wind
        )
    words = f"The difference seen, {change} ({bounds}), may be chance."
    if verdict.smallest_shown is not None:
        words += (
            f" These rides would have shown {amount_words(verdict.smallest_shown, unit, reader)} "
            "nine times out of ten."
        )
    if difference.difference.low > 0.0 or difference.difference.high < 0.0:
        words += (
            " Its own interval leaves out nought, but among "
            f"{count_words(figures, 'figure')} one such is no surprise."
        )
    return words + _more(compared) + wind


def _more(compared: Compared) -> str:
    more = compared.verdict.more_rides
    if more is not None:
        return f" {_capital(count_words(more, 'more ride'))} a side would settle it."
    return " Even twelve more rides a side would not settle one this small."


def crossing_words(comparison: Comparison, reader: SpeedUnit) -> str:
    """Return where the pull curves cross, or what they show instead; empty without curves."""
    curves = comparison.pull
    if curves is None or any(each.contrast is None for each in curves.differences):
        return ""
    if curves.crossing is None:
        signs = {
            1 if d.difference.low > 0.0 else -1 if d.difference.high < 0.0 else 0
            for d in curves.differences
        }
        if signs == {1}:
            return "After the change it pulls harder at every speed that was compared."
        if signs == {-1}:
            return "After the change it pulls less at every speed that was compared."
        return "No speed is shown at which the pull curves cross."
    at = curves.crossing.speed_mps
    below, above = ("harder", "less") if curves.crossing.harder_below else ("less", "harder")
    return (
        f"After the change it pulls {below} below {figure_words(at, 'm/s', reader)} "
        f"({bounds_of(at, 'm/s', reader)}) and {above} above."
    )


def false_alarm_words(comparison: Comparison) -> str:
    """Return how false alarms among several figures are kept rare."""
    tested = tested_count(comparison)
    if not tested:
        return ""
    return (
        f"{_capital(count_words(tested, 'figure was', 'figures were'))} tested together so that a "
        f"machine that did not change is called better or worse in any of them in at most "
        f"{100.0 * FAMILY_LEVEL:.0f} comparisons of 100 (Holm's steps; top speed, start and pull "
        "have a larger share)."
    )


def tested_count(comparison: Comparison) -> int:
    """Return how many figures were tested together."""
    return sum(each.verdict.tested is not None for each in comparison.figures)


def method_words(comparison: Comparison) -> str:
    """Return from what the intervals of the differences were made."""
    methods = {each.difference.method for each in comparison.figures if each.difference}
    if "one ride a side" in methods:
        return (
            "One ride a side: how far rides differ by themselves is unknown, so nothing is called "
            "better or worse. The intervals are those within each ride, what the receivers leave "
            "open; two more rides a side would tell."
        )
    first = (
        "The intervals hold both the receivers' errors and the scatter between rides of one side"
    )
    if methods == {"welch"}:
        return f"{first} (Welch's interval, never narrower than the receivers alone allow)."
    return (
        f"{first} (Student's t; where a side has few rides, the rides of both sides are taken to "
        "scatter alike)."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
