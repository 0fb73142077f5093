"""A set-up as a TOML file: asked for, written, read; what is wrong in it, where, what was meant."""

import json
import re
import tomllib
from collections.abc import Callable
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from ridelog.core.bounded_read import read_at_most
from ridelog.core.errors import SetupError
from ridelog.core.units import SETUP_UNITS
from ridelog.machine.setup import KEYS, Key, MachineSetup
from ridelog.machine.setup_check import contradictions

# A set-up is a page of text; anything longer is another file. Own choice.
_MOST_BYTES = 200_000
# A key is taken for a slip of another that shares this much with it: one or two letters in ten.
# Less alike are other words with another meaning (own choice: "front_tooth" is one, "cells_series"
# none).
_A_SLIP = 0.8
_NUMBER = re.compile(r"line (\d+): ")
_NEXT = "mend it in the file; `ridelog setup new` writes one with every key explained."


def read_setup(path: Path) -> MachineSetup:
    """Return the set-up in a TOML file.

    SetupError if the file cannot be read, is no TOML, or holds a key or value that cannot be; the
    first problem, with the number of further ones. ``problems_in`` lists all.
    """
    text = _text_of(path)
    values = _parsed(f"{path.name}: this", text)
    problems = problems_of(values, text)
    if problems:
        more = len(problems) - 1
        advice = _NEXT[:-1] + (f"; {more} more found by `ridelog setup check`." if more else ".")
        raise SetupError(f"{path.name}: {problems[0]}", advice)
    return MachineSetup(**values)


def problems_in(path: Path) -> list[str]:
    """Return a sentence for each key or value in a file that cannot be.

    SetupError if the file cannot be read or is no TOML at all.
    """
    text = _text_of(path)
    return problems_of(_parsed(f"{path.name}: this", text), text)


def setup_of_text(text: str) -> MachineSetup:
    """Return the set-up that a file's text describes; an empty one describes nothing.

    SetupError with the first thing that cannot be.
    """
    values = _parsed("the set-up file", text)
    problems = problems_of(values, text)
    if problems:
        raise SetupError(problems[0], "mend it in the set-up file.")
    return MachineSetup(**values)


def problems_in_text(text: str) -> list[str]:
    """Return a sentence for everything in a set-up file's text that cannot be."""
    try:
        values = _parsed("the set-up file", text)
    except SetupError as error:
        return [error.problem]
    problems = problems_of(values, text)
    return problems or [doubt.text for doubt in contradictions(MachineSetup(**values))]


def problems_of(values: dict[str, Any], text: str = "") -> list[str]:
    """Return a sentence for each key or value that cannot be, with its line where it has one."""
    found: list[str] = []
    known: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, dict):
            found.append(
                f"{_line(text, name)}[{name}]: the file has no sections; write each key by itself, "
                "without a heading in brackets."
            )
        elif name not in KEYS:
            found.append(_line(text, name) + unknown_key(name, value))
        else:
            known[name] = value
    try:
        MachineSetup(**known)
    except ValidationError as error:
        for problem in error.errors():
            name = str(problem["loc"][0])
            found.append(_line(text, name) + _wrong_value(KEYS[name], known[name], problem))

    def place(sentence: str) -> int:
        match = _NUMBER.match(sentence)
        return int(match[1]) if match else 0

    return sorted(found, key=place)


def unknown_key(name: str, value: Any = None) -> str:
    """Return what is wrong with a key that does not exist and which one was probably meant."""
    stem, _, suffix = name.rpartition("_")
    for key in KEYS.values():
        if stem and key.unit and key.name.rpartition("_")[0] == stem and suffix in SETUP_UNITS:
            right = _converted(key, suffix, value)
            return f"{name}: the unit must be {_unit_words(key)}; write {right}."
    near = get_close_matches(name, KEYS, n=1, cutoff=_A_SLIP)
    if near:
        unit = KEYS[near[0]].unit
        return f"{name}: unknown key; did you mean {near[0]}" + (f", in {unit}?" if unit else "?")
    return f"{name}: unknown key; `ridelog setup new` writes a file with all of them."


def _wrong_value(key: Key, value: Any, problem: Any) -> str:
    kind = str(problem["type"])
    shown = f'"{value}"' if isinstance(value, str) else str(value).lower()
    if kind == "literal_error":
        return f"{key.name} = {shown}: must be {problem['ctx']['expected']}."
    if kind in ("bool_type", "string_type"):
        wanted = "true or false" if kind == "bool_type" else "words in quotation marks"
        return f"{key.name} = {shown}: must be {wanted}."
    if kind == "string_too_long":
        return f"{key.name}: at most {problem['ctx']['max_length']} letters, got {len(value)}."
    if kind in ("greater_than_equal", "less_than_equal"):
        return _out_of_range(key, float(value))
    if isinstance(value, str) and (number := re.match(r"\s*(-?[\d.]+)\s*(.*)", value)):
        return (
            f"{key.name} = {shown}: must be a number in {_unit_words(key)}, without quotation "
            f"marks or unit; write {key.name} = {number[1]} if that is {_unit_words(key)}."
        )
    whole = "a whole number" if kind.startswith("int") else "a number"
    if isinstance(value, float) and not abs(value) < float("inf"):
        return f"{key.name} = {shown}: must be {whole} in {_unit_words(key)}."
    return f"{key.name} = {shown}: must be {whole}" + (f" in {key.unit}." if key.unit else ".")


def _out_of_range(key: Key, value: float) -> str:
    assert key.low is not None and key.high is not None
    unit = f" {key.unit}" if key.unit else ""
    start = f"{key.name} = {value:g}: "
    if value < 0.0:
        return start + f"cannot be negative; between {key.low:g} and {key.high:g}{unit}."
    if value == 0.0:
        if key.name.endswith("teeth"):
            return start + "a sprocket without teeth cannot be; leave the key out if unknown."
        return start + "cannot be zero; leave the key out if it is unknown."
    text = (
        start + f"outside what ridelog takes for a small machine, {key.low:g} to {key.high:g}{unit}"
    )
    if key.usual:
        low, high = key.usual
        for factor in (10.0, 100.0, 1000.0):
            for guess in (value / factor, value * factor):
                if low <= guess <= high:
                    return text + f"; was {guess:g}{unit} meant?"
    return text + "."


def _converted(key: Key, suffix: str, value: Any) -> str:
    """Return the right key with the value converted, or without a value if that cannot be."""
    dimension, factor = SETUP_UNITS[suffix]
    wanted = SETUP_UNITS.get(key.name.rpartition("_")[2])
    if wanted is None or wanted[0] != dimension or isinstance(value, bool):
        return key.name
    if not isinstance(value, int | float):
        return key.name
    return f"{key.name} = {value * factor / wanted[1]:.4g}"


def _unit_words(key: Key) -> str:
    return key.unit or "no unit"


def _line(text: str, name: str) -> str:
    match = re.search(rf"^[ \t]*\[?[\"']?{re.escape(name)}[\"']?\s*[=.\]]", text, re.MULTILINE)
    return f"line {text.count(chr(10), 0, match.start()) + 1}: " if match else ""


def _text_of(path: Path) -> str:
    if not path.exists():
        raise SetupError(
            f"{path}: there is no such file.",
            "check the name, or write one with `ridelog setup new FILE`.",
        )
    try:
        data = read_at_most(path, _MOST_BYTES)
        if len(data) > _MOST_BYTES:
            raise SetupError(
                f"{path.name}: {max(path.stat().st_size, len(data))} bytes are too many for a "
                "set-up.",
                "give the set-up's TOML file, not a log.",
            )
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise SetupError(
            f"{path.name}: byte {error.start} is no UTF-8 text.", "save the file as UTF-8 text."
        ) from error
    except OSError as error:
        raise SetupError(
            f"{path.name}: the file cannot be read ({(error.strerror or '').lower()}).",
            "check that it is a file and its rights.",
        ) from error


def _parsed(what: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SetupError(
            f"{what} is no TOML: {error}.",
            "a line is `key = value`; words stand in quotation marks, a comment after #.",
        ) from error


def ask_setup(ask: Callable[[str], str], tell: Callable[[str], None]) -> MachineSetup:
    """Return a set-up from answers to the questions in order.

    An empty answer leaves a key out; a comma is taken as a decimal point; a wrong answer is told
    and asked again.

    ``ask`` shows a question and returns what was typed; ``tell`` shows a line.
    """
    answers: dict[str, Any] = {}
    group = ""
    for key in KEYS.values():
        if key.group != group:
            group = key.group
            tell(f"\n{group}")
        while True:
            typed = ask(f"{key.question}{f' [{key.unit}]' if key.unit else ''}: ").strip()
            if not typed:
                break
            value = read_value(key, typed)
            problems = problems_of({key.name: value})
            if not problems:
                answers[key.name] = value
                break
            tell(f"  {problems[0]}")
    return MachineSetup(**answers)


def setup_text(setup: MachineSetup) -> str:
    """Return a set-up as the text of its file; keys that are unknown stand as comments."""
    known = setup.given()
    lines = [
        "# A machine in one state, for ridelog. Every key may be left out: it is then unknown.",
        "# Write a new file for every state you ride, so that before stays before.",
    ]
    group = ""
    for key in KEYS.values():
        if key.group != group:
            group = key.group
            lines += ["", f"# {group}"]
        unit = f" [{key.unit}]" if key.unit else ""
        lines.append(f"# {key.question}.{unit}")
        if key.name in known:
            lines.append(line_of(key.name, known[key.name]))
        else:
            lines.append(f"# {key.name} =")
    text = "\n".join(lines) + "\n"
    # What is written must read back as it was.
    assert MachineSetup(**tomllib.loads(text)) == setup
    return text


# Keys that are answered with yes or no.
_YES_OR_NO = ("has_reverse", "adult_rider")


def read_value(key: Key, typed: str) -> Any:
    """Return an answer as the kind of value that its key takes, or as typed if it is none."""
    if typed.lower() in ("true", "yes", "y", "false", "no", "n") and key.name in _YES_OR_NO:
        return typed.lower() in ("true", "yes", "y")
    if key.low is None:
        return typed
    number = typed.replace(",", ".", 1) if typed.count(",") == 1 and "." not in typed else typed
    try:
        value = float(number)
    except ValueError:
        return typed
    whole = MachineSetup.model_fields[key.name].annotation == (int | None)
    return int(value) if whole and value == int(value) else value


def line_of(name: str, value: Any) -> str:
    """Return the line of a key in a set-up file."""
    return f"{name} = {_toml(value)}"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for one: TOML wants the delete character escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
