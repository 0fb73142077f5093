"""Reverse travel in one line of a terminal."""

from ridelog.analysis.reverse import Reverse
from ridelog.core.units import SpeedUnit
from ridelog.present.words import bounds_words, count_words, joined, speed_words


def reverse_lines(reverse: Reverse, unit: SpeedUnit) -> tuple[tuple[str, str], ...]:
    """Return the line for the terminal, none if nothing went backwards."""
    sure = reverse.spans
    if reverse.top_speed is not None:
        low, high = bounds_words(reverse.top_speed, unit)
        speed = f"{speed_words(reverse.top_speed, unit)} ({low} to {high})"
        words = f"{speed}, {reverse_way(reverse, unit)}"
        return (("Reverse", f"{words} in {count_words(len(sure), 'stretch', 'stretches')}"),)
    if reverse.possible_spans:
        at = joined([f"{start:.0f} s" for start, _ in reverse.possible_spans[:3]])
        return (("Reverse", f"perhaps, at {at}: the log cannot settle it"),)
    return ()


def reverse_way(reverse: Reverse, unit: SpeedUnit) -> str:
    """Return the way covered backwards, such as "22 m"."""
    return f"{unit.from_metres(reverse.distance_m):.0f} {unit.distance_label}"
