"""Options as a TOML file: two to six changes with price and hours; what is wrong in it, where."""

import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ridelog.core.bounded_read import read_at_most
from ridelog.core.errors import SetupError
from ridelog.machine.cost import LONGEST_CURRENCY, NO_CURRENCY, amount_in
from ridelog.machine.options import FEWEST, MOST, ChangeOption
from ridelog.machine.setup_file import problems_of

# Some lines for each option; anything longer is another file: own choice.
_MOST_BYTES = 100_000
# A name stands over a narrow column, a note under it: own choice. Letters.
_LONGEST_NAME, _LONGEST_NOTE = 40, 200
_KEYS = ("name", "price", "hours", "note", "change")
_NEXT = (
    'write it like [[option]], then name = "13 teeth", price = 40, hours = 1.5, change = '
    "{ front_teeth = 13 }."
)


def read_options(path: Path) -> tuple[str, tuple[ChangeOption, ...]]:
    """Return the currency and the options of a TOML file.

    SetupError if the file cannot be read, or with the first thing in it that cannot be.
    """
    try:
        data = read_at_most(path, _MOST_BYTES)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise SetupError(
            f"{path.name}: the file cannot be read ({reason}).", "check the name and the folder."
        ) from error
    if len(data) > _MOST_BYTES:
        raise SetupError(
            f"{path.name}: more than {_MOST_BYTES:,} bytes are too many for some options.",
            "give the file that lists them.",
        )
    try:
        document = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SetupError(f"{path.name}: this is no TOML ({error}).", _NEXT) from error
    try:
        return options_of(document)
    except SetupError as error:
        raise SetupError(f"{path.name}: {error.problem}", error.advice) from error


def options_of(document: dict[str, Any]) -> tuple[str, tuple[ChangeOption, ...]]:
    """Return the currency and the options that a document holds.

    SetupError with the first thing in it that cannot be.
    """
    _known(document, ("currency", "option"), "the file")
    currency = _words(document, "currency", "the file", LONGEST_CURRENCY) or NO_CURRENCY
    listed = document.get("option")
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        raise SetupError("there is no [[option]] in it.", _NEXT)
    if not FEWEST <= len(listed) <= MOST:
        raise SetupError(
            f"{len(listed)} options are given; {FEWEST} to {MOST} stand side by side.",
            "leave out the least likely ones."
            if len(listed) > MOST
            else "add another, or ask `ridelog predict` about one change.",
        )
    options = tuple(_option(one, number) for number, one in enumerate(listed, 1))
    names = [one.name.casefold() for one in options]
    double = next((o.name for n, o in enumerate(options) if names.index(names[n]) != n), None)
    if double is not None:
        raise SetupError(f'two options are called "{double}".', "give each a name of its own.")
    return currency, options


def _option(table: dict[str, Any], number: int) -> ChangeOption:
    name = _words(table, "name", f"option {number}", _LONGEST_NAME)
    if not name:
        raise SetupError(f"option {number} has no name.", _NEXT)
    where = f'option "{name}"'
    _known(table, _KEYS, where)
    change = table.get("change")
    if not isinstance(change, dict) or not change:
        raise SetupError(f"{where} changes nothing.", _NEXT)
    problems = problems_of(change)
    if problems:
        raise SetupError(f"{where}: {problems[0]}", "mend it in the file.")
    return ChangeOption(
        name,
        change,
        amount_in(table, "price", f"{where}: "),
        amount_in(table, "hours", f"{where}: "),
        _words(table, "note", where, _LONGEST_NOTE),
    )


def _known(table: dict[str, Any], keys: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in keys:
            near = get_close_matches(key, keys, n=1, cutoff=0.5)
            meant = f"; did you mean {near[0]}?" if near else "."
            raise SetupError(f"{where}: {key} is not known here{meant}", f"use {', '.join(keys)}.")


def _words(table: dict[str, Any], key: str, where: str, longest: int) -> str:
    words = table.get(key, "")
    if not isinstance(words, str):
        raise SetupError(f"{where}: {key} must be words in quotation marks.", _NEXT)
    words = " ".join(words.split())
    if len(words) > longest:
        raise SetupError(
            f"{where}: {key} has {len(words)} letters; at most {longest} find room.", "shorten it."
        )
    return words
