"""What an address asks for after its question mark, read once by one model.

Whatever comes becomes a value that the pages can use, or a sentence; never a mistake of theirs.
"""

import math
import re
from typing import Annotated, Any, Literal, cast

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from starlette.datastructures import QueryParams

from ridelog.book.records import CONDITIONS
from ridelog.core.errors import RideLogError
from ridelog.machine.cost import LONGEST_CURRENCY
from ridelog.machine.setup import KEYS
from ridelog.report.aim import Aim

# What names a machine or its state is no change of it.
CHANGEABLE = tuple(key.name for key in KEYS.values() if key.group != "The machine")
# A number of a ride or page: ASCII digits alone, short enough for the book (SQLite: 64 bits).
_DIGITS = re.compile(r"[0-9]{1,15}")


def _digits(text: Any) -> int | None:
    return int(text) if isinstance(text, str) and _DIGITS.fullmatch(text) else None


def _all_digits(texts: Any) -> tuple[int, ...]:
    found = (_digits(text) for text in texts)
    return tuple(dict.fromkeys(number for number in found if number is not None))


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _cut(most: int) -> Any:
    return BeforeValidator(lambda text: str(text)[:most])


Number = Annotated[int | None, BeforeValidator(_digits)]
Numbers = Annotated[tuple[int, ...], BeforeValidator(_all_digits)]
Real = Annotated[float | None, AfterValidator(_finite)]
Given = Annotated[bool, BeforeValidator(lambda text: text is not None)]


def _one_of(*names: str) -> Any:
    """Accept one of some words; the first stands for every other."""
    return BeforeValidator(lambda text: text if text in names else names[0])


class Query(BaseModel):
    """Every parameter of every page; a number that is none counts as not given.

    ``machine_name``, ``setup_name`` and ``conditions`` come with a log; ``start_s``, ``end_s`` and
    ``columns`` say what part of a trace, in how many columns of pixels.
    """

    model_config = ConfigDict(frozen=True)

    find: Annotated[str, _cut(200)] = ""
    machine: Number = None
    named: Number = None
    page: Number = None
    before: Numbers = ()
    after: Numbers = ()
    ride: Numbers = ()
    workshop: Annotated[str, _cut(100)] = ""
    contact: Annotated[str, _cut(200)] = ""
    note: Annotated[str, _cut(500)] = ""
    aim: Annotated[str, _one_of("", *Aim)] = ""
    done: Annotated[str, _cut(300)] = ""
    price: Annotated[str, _cut(60)] = ""
    hours: Annotated[str, _cut(60)] = ""
    currency: Annotated[str, _cut(LONGEST_CURRENCY)] = ""
    open: Annotated[str, _cut(300)] = ""
    paper: Annotated[Literal["a4", "us-letter"], _one_of("a4", "us-letter")] = "a4"
    asked: Given = False
    saved: Annotated[str, _cut(20)] = ""
    day: Annotated[str, _cut(40)] = ""
    speed: Annotated[str, _cut(20)] = ""
    within: Annotated[str, _cut(20)] = ""
    by: Annotated[str, _cut(100)] = ""
    first: Annotated[str, _cut(200)] = ""
    second: Annotated[str, _cut(200)] = ""
    large: Given = False
    sweep: Annotated[str, _cut(40)] = ""
    changes: dict[str, Annotated[str, _cut(40)]] = {}
    shade: Annotated[Literal["light", "dark"], _one_of("light", "dark")] = "light"
    start_s: Real = Field(default=None, alias="from")
    end_s: Real = Field(default=None, alias="to")
    columns: Real = None
    name: Annotated[str, _cut(1000)] = ""
    machine_name: Annotated[str, _cut(1000)] = ""
    setup_name: Annotated[str, _cut(1000)] = ""
    conditions: dict[str, Annotated[str, _cut(200)]] = {}
    back: Annotated[str, _cut(600)] = ""


_LISTS = ("before", "after", "ride")


def asked_in(query: QueryParams) -> Query:
    """Return what a query asks for.

    RideLogError where a time or a width is no number at all.
    """
    given: dict[str, Any] = {name: query[name] for name in query if name not in _LISTS}
    given |= {name: query.getlist(name) for name in _LISTS}
    for part, names in (("changes", CHANGEABLE), ("conditions", CONDITIONS)):
        given[part] = {name: query[name] for name in names if name in query}
    try:
        return Query.model_validate(given)
    except ValidationError as error:
        name = cast(str, error.errors()[0]["loc"][0])
        raise RideLogError(f"{name}: this is no number.", "load the page again.") from error
