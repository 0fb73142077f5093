"""What the book keeps, as frozen records, and what people may write into them.

Times of day are ISO 8601 in UTC; text is trimmed, of bounded length, and shows what it holds.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from ridelog.core.errors import BookError
from ridelog.core.estimate import Estimate
from ridelog.core.text import clean

# Long enough for any name, short enough for any screen. Own choice.
_MOST_NAME, _MOST_TEXT = 200, 20_000

# What a rider can note about a ride: name in the book, words for people.
CONDITIONS: dict[str, str] = {
    "rider": "Rider",
    "load": "Rider and load, mass",
    "charge": "Battery charge at the start",
    "tyre_pressure": "Tyre pressure",
    "surface": "Surface",
    "wind": "Wind",
    "temperature": "Air temperature",
}
# Beside the conditions: how the log itself is read, where it is a table that does not say it.
COLUMNS = "columns"
NOTED: dict[str, str] = {**CONDITIONS, COLUMNS: "Which column is which"}
# What can be asked: name in the book, words for people.
ANSWER_KINDS: dict[str, str] = {
    "comparison": "before and after", "stated": "against a statement", "modes": "drive modes",
    "prediction": "what if", "options": "options",
}  # fmt: skip
MARK_KINDS: dict[str, str] = {
    "reverse": "reverse", "left_out": "left out", "mode": "drive mode",
}  # fmt: skip


@dataclass(frozen=True)
class MachineEntry:
    """A machine whose rides are kept."""

    id: int
    name: str
    note: str
    added_utc: str


@dataclass(frozen=True)
class SetupState:
    """How a machine was set up from a day on; ``toml`` is its set-up file, possibly empty."""

    id: int
    machine_id: int
    name: str
    since_utc: str
    toml: str
    added_utc: str


# What stands in a machine's history beside its rides: kind in the book, words for people.
WORK_KINDS: dict[str, str] = {
    "change": "change",
    "part": "part",
    "decision": "decision",
    "note": "note",
}


@dataclass(frozen=True)
class WorkEntry:
    """Something that was done to a machine, bought for it or decided about it, on a day."""

    id: int
    machine_id: int
    day: str
    kind: str
    words: str
    price: float | None
    currency: str
    hours: float | None
    added_utc: str


@dataclass(frozen=True)
class PhotoEntry:
    """A photo of a machine; its bytes lie among the originals under ``sha256``."""

    id: int
    machine_id: int
    sha256: str
    size_bytes: int
    file: str
    kind: str
    day: str
    words: str
    added_utc: str


@dataclass(frozen=True)
class RideEntry:
    """One ride: its log and where it belongs.

    ``state`` is "waiting" (no figures yet), "ready", or "failed" with the ``problem`` in words.
    """

    id: int
    sha256: str
    size_bytes: int
    file: str
    format: str
    start_utc: str
    duration_s: float | None
    state: str
    problem: str
    machine_id: int | None
    setup_id: int | None
    added_utc: str
    machine: str
    setup: str


@dataclass(frozen=True)
class Note:
    """Words about a ride, with the time they were written."""

    id: int
    words: str
    written_utc: str


@dataclass(frozen=True)
class MarkEntry:
    """A stretch that the rider marked: driven in reverse, left out, or in a drive mode by name."""

    id: int
    kind: str
    name: str
    start_s: float
    end_s: float

    @property
    def words(self) -> str:
        """What it is, for people: "left out", "drive mode eco"."""
        return f"{MARK_KINDS[self.kind]} {self.name}".rstrip()


@dataclass(frozen=True)
class KeptAnswer:
    """What was asked of a machine's rides and set-ups, and the answer in one sentence.

    ``asked`` says it so that it can be asked again after the book was made anew: rides by the
    SHA-256 of their logs, set-ups by name; ``words`` are the paper's, which may differ.
    """

    id: int
    machine_id: int
    kind: str
    asked: dict[str, Any]
    words: dict[str, str]
    title: str
    answer: str
    made_utc: str


@dataclass(frozen=True)
class PointEntry:
    """Something to look at before a ride, and whether whoever rode had ticked it."""

    words: str
    ticked: bool
    noted_utc: str


@dataclass(frozen=True)
class StoredResult:
    """What was computed of a ride, with the version and settings that made it."""

    id: int
    ride_id: int
    version: str
    settings: dict[str, Any]
    document: dict[str, Any]
    made_utc: str


@dataclass(frozen=True)
class NewResult:
    """A result on its way into the book, with what made it.

    ``figures`` are for lists and histories; ``attachments`` are what pages need beside it.
    """

    version: str
    settings: dict[str, Any]
    document: dict[str, Any]
    figures: dict[str, Estimate] = field(default_factory=dict)
    attachments: dict[str, bytes] = field(default_factory=dict)


def now_utc() -> str:
    """Return the present moment as the book writes it, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def checked_name(what: str, name: str) -> str:
    """Return a name of one line; BookError if it is empty or too long."""
    name = " ".join(clean(name, mark=" ").split())
    if not name:
        raise BookError(f"{what}: the name is empty.", "give it a name.")
    if len(name) > _MOST_NAME:
        raise BookError(
            f"{what}: the name has {len(name):,} letters, {_MOST_NAME} are the most.", "shorten it."
        )
    return name


def checked_text(what: str, text: str, most: int = _MOST_TEXT) -> str:
    """Return a text of several lines; BookError if it is too long."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = clean(text, keep="\n\t").strip()
    if len(text) > most:
        raise BookError(
            f"{what}: the text has {len(text):,} letters, {most:,} are the most.", "shorten it."
        )
    return text


def checked_day(day: str) -> str:
    """Return a day as YYYY-MM-DD, or nothing for nothing; BookError if it is no day."""
    day = day.strip()
    try:
        return date.fromisoformat(day[:10]).isoformat() if day else ""
    except ValueError as error:
        raise BookError(
            f"{day[:40]!r} is no day.", "write it as year-month-day, such as 2024-06-09."
        ) from error


def shown_file(name: str) -> str:
    """Return a log's name as it is shown: no folders, no control characters, bounded."""
    base = name.replace("\\", "/").rsplit("/", 1)[-1]
    base = clean(base).strip()
    if len(base) > _MOST_NAME:
        base = base[: _MOST_NAME - 21] + "…" + base[-20:]
    return base or "unnamed log"
