"""Asking for a set-up in order, and writing it as a TOML file with every key explained."""

import json
import tomllib
from collections.abc import Callable
from typing import Any

from ridelog.machine.setup import KEYS, Key, MachineSetup
from ridelog.machine.setup_file import problems_of


def ask_setup(ask: Callable[[str], str], tell: Callable[[str], None]) -> MachineSetup:
    """Return a set-up from answers to the questions in order.

    An empty answer leaves a key out; a comma is taken as a decimal point; a wrong answer is told
    and asked again.

    Parameters
    ----------
    ask : callable
        Shows a question and returns what was typed.
    tell : callable
        Shows a line: headings, and what was wrong with an answer.
    """
    answers: dict[str, Any] = {}
    group = ""
    for key in KEYS.values():
        if key.group != group:
            group = key.group
            tell(f"\n{group}")
        while True:
            typed = ask(_prompt(key)).strip()
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
            lines.append(f"{key.name} = {_toml(known[key.name])}")
        else:
            lines.append(f"# {key.name} =")
    text = "\n".join(lines) + "\n"
    # What is written must read back as it was.
    assert MachineSetup(**tomllib.loads(text)) == setup
    return text


def _prompt(key: Key) -> str:
    return f"{key.question}" + (f" [{key.unit}]: " if key.unit else ": ")


def read_value(key: Key, typed: str) -> Any:
    """Return an answer as the kind of value that its key takes, or as typed if it is none."""
    if typed.lower() in ("true", "yes", "y", "false", "no", "n") and key.name == "has_reverse":
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


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for one: TOML wants the delete character escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
