"""How figures, times and names are put into words, the same on the terminal and on the page."""

import re
import textwrap
from datetime import datetime

from ridelog.core.flags import Flag
from ridelog.core.text import clean as clean
from ridelog.core.text import count_words as count_words

WIDTH = 80
# A longer sentence is cut at its semicolon, so that each risk stays a line or two. Letters.
_LONG = 160
# A screen: its lines, each with "headline", "caution", "quiet" or "" as a style that only adds
# colour, since the text says it.
Lines = list[tuple[str, str]]
# What every screen and page says once about what stands in brackets.
BRACKETS = "In brackets: where the true value should lie, right 9 times out of 10."
# Short names of the flags, for labels; the sentences are in ridelog.core.flags.
FLAG_WORDS: dict[Flag, str] = {
    Flag.NO_FIX: "no fix",
    Flag.NO_TIME: "no time",
    Flag.DUPLICATE_TIME: "same time twice",
    Flag.BACKWARD_TIME: "clock stepped back",
    Flag.DEAD_RECKONING: "position guessed",
    Flag.SETTLING: "settling",
    Flag.POOR_GEOMETRY: "poor geometry",
    Flag.FEW_SATELLITES: "few satellites",
    Flag.JUMP: "position jump",
    Flag.SPEED_JUMP: "speed jump",
    Flag.GAP: "gap",
    Flag.STANDSTILL: "standstill",
    Flag.NO_POSITION: "no position",
    Flag.REPEATED: "position repeated",
    Flag.COURSE_FROZEN: "course frozen",
    Flag.CONTRADICTED: "speed against position",
}
_MONTHS = (
    "January February March April May June July August September October November December"
).split()
_POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def wrapped(text: str, style: str = "", label: str = "") -> Lines:
    """Return a text as lines of at most WIDTH letters, its label before the first of them."""
    lines = textwrap.wrap(
        clean(text), WIDTH, initial_indent=label, subsequent_indent=" " * len(label),
        break_on_hyphens=False,
    )  # fmt: skip
    return [(line, style) for line in lines]


def capital(text: str) -> str:
    """Return a text that begins with a capital letter."""
    return text[:1].upper() + text[1:]


def within(text: str) -> str:
    """Return a text that begins with a small letter, as it goes on within a sentence."""
    return text[:1].lower() + text[1:]


def shortened(text: str, width: int) -> str:
    """Return a text of at most ``width`` letters, its middle left out if it was longer."""
    if len(text) <= width:
        return text
    tail = (width - 1) // 2
    return text[: width - 1 - tail] + "…" + text[-tail:]


def duration_words(duration_s: float) -> str:
    """Return a length of time such as "3 min 32 s"."""
    total = round(duration_s)
    if total < 60:
        return f"{duration_s:.1f} s" if duration_s < 10 else f"{total} s"
    minutes, seconds = divmod(total, 60)
    if minutes < 60:
        return f"{minutes} min {seconds} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min"


def elapsed_words(time_s: float) -> str:
    """Return a time in a ride as a clock that began with it: "0:28.3", "1:04:36.0"."""
    tenths = round(abs(time_s) * 10.0)
    sign = "-" if time_s < 0 and tenths else ""
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    head = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    return f"{sign}{head}:{rest // 10:02d}.{rest % 10}"


def clock_words(start_utc: str, end_utc: str) -> str:
    """Return when a ride took place: "8 June 2024, 11:00:00 to 11:03:31 CEST".

    The zone is that of this machine, which ``TZ`` may set; a log without a date stays in UTC.
    """
    if not start_utc:
        return "time of day unknown"
    if start_utc.startswith("T"):
        return f"{start_utc[1:9]} to {end_utc[1:9]} UTC, no date in the log"
    first, last = (datetime.fromisoformat(each).astimezone() for each in (start_utc, end_utc))
    ending = f"{last:%H:%M:%S} {zone_words(last)}"
    if first.date() != last.date():
        ending = f"{_date_words(last)}, {ending}"
    return f"{_date_words(first)}, {first:%H:%M:%S} to {ending}"


def zone_words(moment: datetime) -> str:
    """Return the short name of a moment's zone, or its distance to UTC where it has none."""
    name = moment.tzname() or ""
    if name.isalpha() and len(name) <= 5:
        return name
    away = f"{moment:%z}"
    return f"UTC{away[:3]}:{away[3:5]}"


def _date_words(moment: datetime) -> str:
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def course_words(course_deg: float) -> str:
    """Return the nearest of eight points of the compass, such as "north-east"."""
    return _POINTS[round(course_deg / 45.0) % 8]


def share_words(share: float) -> str:
    """Return a share as whole per cent that never rounds to all or nothing wrongly."""
    percent = round(100.0 * share)
    if percent == 100 and share < 1.0:
        return "over 99 %"
    if percent == 0 and share > 0.0:
        return "under 1 %"
    return f"{percent} %"


def joined(words: list[str]) -> str:
    """Return words as a list in a sentence: "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]


def first_sentence(text: str) -> str:
    """Return the first sentence of a text; of a long one the part before its semicolon."""
    # An abbreviation such as "no. 3" goes on with a figure or a small letter.
    found = re.match(r".*?[.!](?= [A-Z]|$)", text)
    first = found[0] if found else text
    return first if len(first) <= _LONG else f"{first.split(';')[0].rstrip('.')}."
