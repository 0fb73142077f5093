"""Which column of a table is which: by its head, or as the user says; the rest is asked."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from ridelog.core.errors import RideLogError
from ridelog.core.text import shown
from ridelog.importer.table_names import UNIT_OF, Head, folded

KEYS: Final = (
    "time", "date", "lat", "lon", "height", "speed", "course", "hdop", "satellites", "accuracy",
    "speed_accuracy",
)  # fmt: skip
DAY_ORDERS: Final = ("d/m/y", "m/d/y", "y/m/d")
_PARTS = re.compile(rf",\s*(?=(?:{'|'.join(KEYS)})\s*=)")
_OFFSET = re.compile(r"[+-]\d\d:?\d\d")
_SUFFIX = re.compile(r"(?:^|:)([+-]\d\d:\d\d|[^:]+)$")
_LEFT_OUT = "none"


@dataclass(frozen=True)
class Column:
    """A column of the table and how its cells are read.

    index : its place, counted from 0.
    unit, zone, day_order : "" where nothing is said.
    head : what its head says.
    """

    index: int
    head: Head
    unit: str = ""
    zone: str = ""
    day_order: str = ""


@dataclass(frozen=True)
class Told:
    """What the user says of one key: a column's name or number, and how it is read."""

    name: str = ""
    unit: str = ""
    zone: str = ""
    day_order: str = ""


@dataclass
class Questions:
    """What a table does not tell, and what an answer might look like."""

    asked: list[str] = field(default_factory=list)
    answers: dict[str, str] = field(default_factory=dict)

    def ask(self, key: str, question: str, answer: str) -> None:
        """Add a question: a part of a sentence, and a likely answer to it."""
        self.asked.append(question)
        self.answers[key] = answer

    def raise_if_any(self, where: str) -> None:
        """Raise RideLogError with all questions and the words that would answer them."""
        if self.asked:
            raise AskedError(where, self)


class AskedError(RideLogError):
    """A table can be read once its user has answered what it does not tell."""

    def __init__(self, where: str, questions: Questions) -> None:
        answers = ",".join(f"{key}={words}" for key, words in questions.answers.items())
        super().__init__(
            f"{where}: {'; '.join(questions.asked)}; nothing is guessed.",
            f'say so, such as --columns "{answers}" (as it is in your table).',
        )


def parse_columns(words: str) -> dict[str, str]:
    """Return what ``--columns`` says of each key, such as "time=Zeit:UTC,lat=3,speed=km/h".

    A key is one of KEYS. Behind it stands the name of a column or its number counted from 1, then
    units, a zone or the order of a date, each after a colon; or these alone for the column that is
    known by its head; or "none" to leave it out.

    RideLogError if a part is not of this form.
    """
    told: dict[str, str] = {}
    for part in filter(None, (one.strip() for one in _PARTS.split(words))):
        key, equals, value = part.partition("=")
        key = key.strip()
        if key not in KEYS or not equals or not value.strip() or key in told:
            raise RideLogError(
                f"{shown(part)}: this names no column, or one twice.",
                f'write KEY=COLUMN, such as "time=Zeit:UTC,speed=km/h", with {", ".join(KEYS)}.',
            )
        told[key] = value.strip()
    return told


def _told(key: str, value: str, heads: Sequence[Head]) -> Told:
    """Return what the user's words say of a key; a column of that name goes before a unit."""
    found = Told()
    names = {folded(head.text) for head in heads}
    while value and folded(value) not in names:
        match = _SUFFIX.search(value)
        part = match[1].strip() if match else ""
        more = _suffix(key, part)
        if not match or more is None:
            break
        found = replace(found, **more)
        value = value[: match.start()].strip()
    return replace(found, name=value)


def _suffix(key: str, part: str) -> dict[str, str] | None:
    """Return what one word behind a colon says, None if it is the name of a column."""
    plain = folded(part)
    if plain in UNIT_OF.get(key, {}):
        return {"unit": UNIT_OF[key][plain]}
    if key in ("time", "date") and plain in DAY_ORDERS:
        return {"day_order": plain}
    if key == "time":
        if plain in ("utc", "gmt", "z"):
            return {"zone": "UTC"}
        if _OFFSET.fullmatch(part) or ("/" in part and zone_of(part) is not None):
            return {"zone": part}
    return None


def zone_of(name: str) -> ZoneInfo | None:
    """Return a zone by its name, such as Europe/Berlin; None if this computer knows none such."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def choose(
    heads: Sequence[Head], told: dict[str, str], questions: Questions
) -> tuple[dict[str, Column], list[str]]:
    """Return the column of each key and doubts about those that were left out.

    Parameters
    ----------
    heads : sequence of Head
        Of all columns in order.
    told : dict of str
        What the user says, from ``parse_columns``; it goes before what heads say.
    questions : Questions
        Takes what is missing or can be read in two ways.

    RideLogError if the user names a column that is not there.
    """
    chosen: dict[str, Column] = {}
    doubts: list[str] = []
    for key in KEYS:
        said = _told(key, told.get(key, ""), heads)
        if said.name == _LEFT_OUT:
            continue
        if said.name:
            index = _place(heads, key, said.name)
        else:
            found = _candidates(heads, key)
            if not found:
                continue
            if len(found) > 1 and not _alike([heads[one] for one in found]):
                names = " and ".join(shown(heads[one].text) for one in found[:3])
                if key in ("lat", "lon", "speed", "time"):
                    questions.ask(
                        key, f"{names} may each be the {_WORDS[key]}", heads[found[0]].text
                    )
                    continue
                doubts.append(f"{names} may each be the {_WORDS[key]}; the first was read.")
            index = found[0]
        head = heads[index]
        chosen[key] = Column(
            index, head, said.unit or head.unit, said.zone, said.day_order or head.day_order
        )
        if head.kind == key and head.strange_unit and not said.unit and key in UNIT_OF:
            answer = next(iter(dict.fromkeys(UNIT_OF[key].values())))
            questions.ask(key, f"the unit of {shown(head.text)} is none that ridelog knows", answer)
    for key, column in chosen.items():
        if key == "speed_accuracy" and not column.unit and "speed" in chosen:
            chosen[key] = replace(column, unit=chosen["speed"].unit)
    if "course" not in chosen:
        compass = [head.text for head in heads if head.kind == "direction"]
        if compass and "course" not in told:
            doubts.append(
                f"{shown(compass[0])} may be a compass's heading or the course over ground: it "
                f'was not read. If it is the course: --columns "course={compass[0]}".'
            )
    return chosen, doubts


_WORDS: Final = {
    "time": "time", "date": "date", "lat": "latitude", "lon": "longitude", "height": "height",
    "speed": "speed", "course": "course", "hdop": "HDOP", "satellites": "number of satellites",
    "accuracy": "accuracy of position", "speed_accuracy": "accuracy of speed",
}  # fmt: skip


def _place(heads: Sequence[Head], key: str, name: str) -> int:
    """Return the place of a column by its name or number."""
    for same in (str, folded):
        for index, head in enumerate(heads):
            if same(head.text) == same(name):
                return index
    if name.isascii() and name.isdigit() and 1 <= int(name) <= len(heads):
        return int(name) - 1
    names = ", ".join(shown(head.text) for head in heads[:8])
    raise RideLogError(
        f"--columns {key}={name}: the table has no such column (it has {names}).",
        f"name one of these, or its number from 1 to {len(heads)}.",
    )


def _candidates(heads: Sequence[Head], key: str) -> list[int]:
    """Return which columns may be the one of a key: those of the receiver, if it is named."""
    found = [index for index, head in enumerate(heads) if head.kind == key]
    if key in ("lat", "lon", "speed", "course", "height"):
        return [index for index in found if heads[index].of_receiver] or found
    if key == "time":
        # A moment tells more than seconds since the start, and UTC more than local time.
        found = [index for index in found if not heads[index].since_start] or found
        found = [index for index in found if heads[index].zone == "utc"] or found
    return found


def _alike(heads: Sequence[Head]) -> bool:
    """Return whether columns hold one quantity in several units, as their names say."""
    names = {folded(head.text.partition("(")[0].partition("[")[0]).strip() for head in heads}
    units = [head.unit for head in heads]
    return len(names) == 1 and "" not in units and len(set(units)) == len(units)
