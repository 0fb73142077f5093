"""A ride of the book in words, the same in lists on the page and on the terminal."""

from datetime import datetime

from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.words import (
    bounds_words,
    duration_words,
    speed_words,
)

_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()


def speed(figure: Estimate | None, unit: SpeedUnit) -> str:
    """Return a speed with its unit, or a dash."""
    return "–" if figure is None else speed_words(figure, unit)


def bounds(figure: Estimate | None, unit: SpeedUnit) -> str:
    """Return the bounds of a speed, such as "34.8 to 35.0"."""
    if figure is None:
        return ""
    low, high = bounds_words(figure, unit)
    return f"{low} to {high}"


def moment(start_utc: str) -> str:
    """Return when a ride began: "9 Jun 2024, 09:05", or as much of it as the log gives."""
    if start_utc.startswith("T"):
        return f"{start_utc[1:6]}, no date"
    try:
        start = datetime.fromisoformat(start_utc)
    except ValueError:
        return "time unknown"
    return f"{start.day} {_MONTHS[start.month - 1]} {start.year}, {start:%H:%M}"


def day_and_year(start_utc: str) -> tuple[str, str]:
    """Return the day on which a ride began, such as ("9 Jun", "2024"), a dash without one."""
    words = moment(start_utc).partition(",")[0].rpartition(" ")
    return (words[0], words[2]) if words[2].isdigit() else ("–", "")


def lasting(duration_s: float | None) -> str:
    """Return how long a ride lasts."""
    return "" if duration_s is None else duration_words(duration_s)
