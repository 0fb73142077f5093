"""Reads what was written of rides and machines, in an export or beside the originals.

Nothing damaged gets past here: each file is checked as a whole, and gives a sentence if it fails.
Whatever is always written has to be there, since a word that is spoilt would else count as none.
"""

import hashlib
import json
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ridelog.book.machines import MOST_TOML
from ridelog.book.originals import MOST_LOG_BYTES, is_sha256
from ridelog.book.records import NOTED, PointEntry, checked_day, checked_name, checked_text
from ridelog.core.errors import BookError
from ridelog.core.text import clean

# A JSON file of one ride. Own choice.
_MOST_JSON_BYTES = 64 * 1024 * 1024
ADVICE = "export the book again; the other rides were read."
# Longer than a year no ride lasts; what a book counts fits into SQLite's integers.
_Seconds = Annotated[float, Field(ge=-1e9, le=1e9)]
_Short = Annotated[str, Field(max_length=40)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, allow_inf_nan=False)


class WrittenSetup(_Part):
    """A set-up state."""

    name: str
    since: _Short
    toml: str


class WrittenWork(_Part):
    """Something done to a machine."""

    day: _Short
    kind: Literal["change", "part", "decision", "note"]
    words: str
    price: Annotated[float, Field(ge=0.0, le=1e6)] | None
    currency: _Short
    hours: Annotated[float, Field(ge=0.0, le=1e4)] | None
    added_utc: _Short


class WrittenPhoto(_Part):
    """A photo of a machine."""

    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    size_bytes: Annotated[int, Field(ge=0, le=MOST_LOG_BYTES)]
    file: str
    kind: Literal["jpeg", "png"]
    day: _Short
    words: str
    added_utc: _Short

    @property
    def exported_name(self) -> str:
        """Name of the photo among the files of an export."""
        return photo_name(self.sha256, self.kind)


class WrittenAnswer(_Part):
    """What was asked of a machine, and the answer."""

    kind: Literal["comparison", "stated", "modes", "prediction", "options"]
    asked: dict[str, Any]
    words: dict[str, str]
    title: str
    answer: str
    made_utc: _Short


class WrittenMachine(_Part):
    """A machine with its set-up states; older books tell nothing of its history and answers."""

    name: str
    note: str
    setups: tuple[WrittenSetup, ...]
    work: Annotated[tuple[WrittenWork, ...], Field(max_length=2_000)] = ()
    photos: Annotated[tuple[WrittenPhoto, ...], Field(max_length=500)] = ()
    kept: Annotated[tuple[WrittenAnswer, ...], Field(max_length=500)] = ()


class WrittenMachines(_Part):
    """All machines of a book."""

    schema_: Literal["ridelog.book/1"] = Field(alias="schema")
    machines: tuple[WrittenMachine, ...]


class WrittenNote(_Part):
    """A note on a ride."""

    words: str
    written_utc: _Short


class WrittenMark(_Part):
    """A marked stretch of a ride."""

    kind: Literal["reverse", "left_out", "mode"]
    # Older books named none.
    name: str = ""
    start_s: _Seconds
    end_s: _Seconds


class WrittenPoint(_Part):
    """Something to look at before a ride."""

    words: str
    ticked: bool
    noted_utc: _Short


class WrittenFigure(_Part):
    """A figure with its interval."""

    value: float
    low: float
    high: float


class WrittenResult(_Part):
    """What an export says of a ride's newest result, beside its document."""

    version: _Short
    settings: dict[str, Any]
    figures: dict[str, WrittenFigure]


class WrittenRide(_Part):
    """One ride; ``result`` stands in exports alone."""

    file: str
    sha256: str
    format: _Short
    start_utc: _Short
    duration_s: _Seconds | None
    added_utc: _Short
    machine: str | None
    setup: str | None
    conditions: dict[str, str]
    notes: Annotated[tuple[WrittenNote, ...], Field(max_length=500)]
    marks: Annotated[tuple[WrittenMark, ...], Field(max_length=100)]
    # Older books wrote none.
    before_riding: Annotated[tuple[WrittenPoint, ...], Field(max_length=100)] = ()
    result: WrittenResult | None = None

    def tells_figures(self) -> bool:
        """Return whether figures, or that there are none, are spoken of at all."""
        return "result" in self.model_fields_set

    def points(self) -> tuple[PointEntry, ...]:
        """Return what was looked at before the ride, as the book would write it."""
        told = ((checked_text("point", one.words).split(), one) for one in self.before_riding)
        return tuple(
            PointEntry(" ".join(words), one.ticked, one.noted_utc[:20])
            for words, one in told
            if words
        )

    def known_conditions(self) -> dict[str, str]:
        """Return the conditions that this version of the book knows."""
        return {name: value for name, value in self.conditions.items() if name in NOTED}


_Any = TypeVar("_Any", WrittenMachines, WrittenRide)


def photo_name(sha256: str, kind: str) -> str:
    """Return the name of a photo among the files of an export."""
    return f"{sha256}.{'jpg' if kind == 'jpeg' else kind}"


def read_machines(path: Path) -> WrittenMachines:
    """Return the machines of a file; BookError if it is not as it was written."""
    found = _read(path, WrittenMachines)
    for machine in found.machines:
        checked_name("machines.json", machine.name)
        checked_text("machines.json", machine.note)
        for setup in machine.setups:
            checked_name("machines.json", setup.name)
            checked_day(setup.since)
            checked_text("machines.json", setup.toml, MOST_TOML)
        dated = [(each.day, each.words) for each in machine.work]
        for day, words in [*dated, *((each.day, each.words) for each in machine.photos)]:
            checked_day(day)
            checked_text("machines.json", words)
    return found


def read_ride(path: Path) -> WrittenRide:
    """Return what is written of one ride; BookError if the file is not as it was written."""
    found = _read(path, WrittenRide)
    if not is_sha256(found.sha256):
        raise BookError(
            f"{_shown(path)}: {clean(found.sha256[:20])!r} is no SHA-256 of a log.", ADVICE
        )
    return found


def read_document(path: Path) -> dict[str, Any]:
    """Return the JSON object in a file; BookError if there is none, or one with no number."""
    data = _bytes(path)
    try:
        document = json.loads(data, parse_constant=_no_number)
        json.dumps(document, allow_nan=False, ensure_ascii=False).encode()
    except (ValueError, RecursionError) as error:
        raise _no_json(path, error) from error
    if not isinstance(document, dict):
        raise BookError(f"{_shown(path)}: the file does not hold a JSON object.", ADVICE)
    return document


def read_log(place: Path) -> bytes:
    """Return the bytes of the one log in a ride's folder; BookError if there is not just one."""
    logs = sorted(place.glob("original.*"))
    if len(logs) != 1:
        raise BookError(f"{place.name}: there are {len(logs)} logs, expected one.", ADVICE)
    return _bytes(logs[0], MOST_LOG_BYTES)


def read_photo(place: Path, sha256: str) -> bytes:
    """Return the bytes of an exported photo; BookError if they are gone or have changed."""
    data = _bytes(place, MOST_LOG_BYTES)
    if hashlib.sha256(data).hexdigest() != sha256:
        raise BookError(f"{_shown(place)}: the photo does not match its SHA-256.", ADVICE)
    return data


def _read(path: Path, kind: type[_Any]) -> _Any:
    document = read_document(path)
    try:
        return kind.model_validate(document)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise BookError(
            f"{_shown(path)}: {clean(where)[:80]} is not as it was written ({first['msg']}).",
            ADVICE,
        ) from error


def _bytes(path: Path, most: int = _MOST_JSON_BYTES) -> bytes:
    try:
        if path.stat().st_size > most:
            raise BookError(f"{_shown(path)}: the file is too large to be of an export.", ADVICE)
        return path.read_bytes()
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise BookError(
            f"{_shown(path)}: the file cannot be read ({reason}).",
            "give the folder that `ridelog book export` wrote.",
        ) from error


def _no_json(path: Path, error: Exception) -> BookError:
    return BookError(f"{_shown(path)}: the file is no JSON ({clean(str(error))[:200]}).", ADVICE)


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _shown(path: Path) -> str:
    return clean(f"{path.parent.name}/{path.name}")
