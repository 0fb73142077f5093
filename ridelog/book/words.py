"""What people may write into the book: trimmed, of bounded length, printable."""

from datetime import date

from ridelog.core.errors import BookError
from ridelog.core.text import clean

# Long enough for any name, short enough for any screen. Own choice.
MOST_NAME, MOST_TEXT = 200, 20_000


def checked_name(what: str, name: str) -> str:
    """Return a name of one line.

    Raises
    ------
    BookError
        If it is empty or too long.
    """
    name = " ".join(clean(name, mark=" ").split())
    if not name:
        raise BookError(f"{what}: the name is empty.", "give it a name.")
    if len(name) > MOST_NAME:
        raise BookError(
            f"{what}: the name has {len(name):,} letters, {MOST_NAME} are the most.",
            "shorten it.",
        )
    return name


def checked_text(what: str, text: str, most: int = MOST_TEXT) -> str:
    """Return a text of several lines.

    Raises
    ------
    BookError
        If it is too long.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = "".join(letter if letter in "\n\t" else clean(letter) for letter in text).strip()
    if len(text) > most:
        raise BookError(
            f"{what}: the text has {len(text):,} letters, {most:,} are the most.", "shorten it."
        )
    return text


def checked_day(day: str) -> str:
    """Return a day as YYYY-MM-DD, or nothing for nothing.

    Raises
    ------
    BookError
        If it is no day.
    """
    day = day.strip()
    try:
        return date.fromisoformat(day[:10]).isoformat() if day else ""
    except ValueError as error:
        raise BookError(
            f"{day[:40]!r} is no day.", "write it as year-month-day, such as 2024-06-09."
        ) from error


def shown_file(name: str) -> str:
    """Return a log's name as it is shown: no folders, no control characters, bounded."""
    base = clean(name.replace("\\", "/").rsplit("/", 1)[-1]).strip()
    if len(base) > MOST_NAME:
        base = base[: MOST_NAME - 21] + "…" + base[-20:]
    return base or "unnamed log"
