"""What the book keeps, as frozen records; times of day are ISO 8601 in UTC."""

from dataclasses import dataclass, field
from typing import Any

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
MARK_KINDS: dict[str, str] = {"reverse": "reverse", "left_out": "left out"}


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
    """A stretch that the rider marked: driven in reverse, or left out of every figure."""

    id: int
    kind: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Figure:
    """A figure of a result under its name, with its interval, for lists and histories."""

    value: float
    low: float
    high: float


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
    """A result on its way into the book.

    Attributes
    ----------
    version, settings : what made it.
    document : the JSON object that scripts read.
    figures : for lists and histories, by name.
    attachments : what pages need beside it (traces, drawn pictures), by name.
    """

    version: str
    settings: dict[str, Any]
    document: dict[str, Any]
    figures: dict[str, Figure] = field(default_factory=dict)
    attachments: dict[str, bytes] = field(default_factory=dict)
