"""A ride of the book in words, the same in lists on the page and on the terminal."""

from collections.abc import Mapping
from datetime import datetime

from ridelog.core import quantity
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.words import duration_words, zone_words

_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()


def top_speed(figures: Mapping[str, Estimate]) -> Estimate | None:
    """Return what "top speed" means: the mean of both directions, else the fastest second."""
    return figures.get("two_way_mps") or figures.get("best_1s_mps")


def speed(figure: Estimate | None, unit: SpeedUnit) -> str:
    """Return a speed with its unit, or a dash."""
    return "–" if figure is None else quantity.value(figure, quantity.SPEED, unit)


def bounds(figure: Estimate | None, unit: SpeedUnit) -> str:
    """Return the bounds of a speed, such as "34.8 to 35.0"."""
    return "" if figure is None else quantity.bounds(figure, quantity.SPEED, unit)


def moment(utc: str) -> str:
    """Return a moment in this machine's zone, named: "9 Jun 2024, 11:05 CEST".

    Without a date it stays in UTC, because nobody knows whether it was in summer time; text that
    is no time gives "time unknown".
    """
    if utc.startswith("T"):
        return f"{utc[1:6]} UTC, no date"
    try:
        there = datetime.fromisoformat(utc).astimezone()
    except (ValueError, OverflowError, OSError):  # the last two where the calendar ends
        return "time unknown"
    return f"{there.day} {_MONTHS[there.month - 1]} {there.year}, {there:%H:%M} {zone_words(there)}"


def day_and_year(start_utc: str) -> tuple[str, str]:
    """Return the day on which a ride began here, such as ("9 Jun", "2024"), a dash without one."""
    words = moment(start_utc).partition(",")[0].rpartition(" ")
    return (words[0], words[2]) if words[2].isdigit() else ("–", "")


def lasting(duration_s: float | None) -> str:
    """Return how long a ride lasts."""
    return "" if duration_s is None else duration_words(duration_s)
