"""A set-up file as the book keeps it: read, checked, and explained in sentences."""

import tomllib

from ridelog.core.errors import SetupError
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_check import contradictions
from ridelog.machine.setup_file import problems_of, setup_text


def blank_text(machine: str, state: str) -> str:
    """Return a set-up file in which every key is explained and unknown, but for its names."""
    return setup_text(MachineSetup(name=machine[:100], state=state[:100]))


def problems_in_text(text: str) -> list[str]:
    """Return a sentence for everything in a set-up file that cannot be."""
    try:
        return [doubt.text for doubt in contradictions(setup_of_text(text))]
    except SetupError as error:
        return [error.problem, *_further(text)]


def setup_of_text(text: str) -> MachineSetup:
    """Return the set-up that a file's text describes; an empty one describes nothing.

    Raises
    ------
    SetupError
        With the first thing that cannot be.
    """
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SetupError(
            f"the set-up file is no TOML: {error}.",
            "a line is `key = value`; words stand in quotation marks, a comment after #.",
        ) from error
    problems = problems_of(values, text)
    if problems:
        raise SetupError(problems[0], "mend it in the set-up file.")
    return MachineSetup(**values)


def known_of_text(text: str) -> MachineSetup:
    """Return the set-up of a file, or one that says nothing where the file cannot be read."""
    try:
        return setup_of_text(text)
    except SetupError:
        return MachineSetup()


def _further(text: str) -> list[str]:
    try:
        return problems_of(tomllib.loads(text), text)[1:]
    except (tomllib.TOMLDecodeError, RecursionError):
        return []
