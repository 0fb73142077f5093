"""A set-up as fields of a form, and its file with what was typed; comments in it stay."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from ridelog.machine.setup import KEYS, Key, MachineSetup
from ridelog.machine.setup_file import line_of, problems_of, read_value, setup_text
from ridelog.web.asked import CHANGEABLE
from ridelog.web.views import Form, PageError

# What a workshop changes and measures most stands first; own choice.
_GROUPS = ("Drive", "Battery", "Controller", "Motor", "Masses", "Wheels and frame", "Use")
# Before a key's name in the form, which has a name and a day of its own.
_PREFIX = "key_"
_YES_OR_NO = (("true", "yes"), ("false", "no"))


@dataclass(frozen=True)
class SetupField:
    """One key as a field: ``choices`` of value and words for one that is chosen, else typed."""

    name: str
    label: str
    unit: str
    hint: str
    value: str
    choices: tuple[tuple[str, str], ...] = ()
    longest: int = 40


def setup_groups(text: str) -> list[tuple[str, list[SetupField]]]:
    """Return every key of a set-up by group, those that matter first, with what its file holds."""
    held = values_in(text)
    return [
        (group, [_field(key, held.get(key.name)) for key in keys])
        for group, keys in keys_by_group()
    ]


@dataclass(frozen=True)
class ChangeField:
    """One key as a field of a change: what it is now in words, and what was typed, if anything."""

    key: SetupField
    now: str
    typed: str

    @property
    def hint(self) -> str:
        """What it is now and what is accepted."""
        parts = (f"now {self.now}" if self.now else "", self.key.hint)
        return "; ".join(part for part in parts if part)


def change_groups(
    given: Mapping[str, Any], typed: Mapping[str, str], first: Sequence[str]
) -> list[tuple[str, list[ChangeField]]]:
    """Return every key that a change may be made to, by group.

    ``given`` is what the set-up holds; the keys of ``first`` stand before all groups, under "".
    """

    def made(key: Key) -> ChangeField:
        held = given.get(key.name)
        now = "" if held is None else f"{_words(held)} {key.unit}".rstrip()
        return ChangeField(_field(key, held), now, typed.get(key.name, ""))

    groups = [("", [made(KEYS[name]) for name in first])]
    for group, keys in keys_by_group():
        rest = [made(key) for key in keys if key.name in CHANGEABLE and key.name not in first]
        if rest:
            groups.append((group, rest))
    return groups


def _words(held: Any) -> str:
    if isinstance(held, bool):
        return "yes" if held else "no"
    return f"{held:g}" if isinstance(held, int | float) else str(held)


def keys_by_group() -> list[tuple[str, list[Key]]]:
    """Return every key of a set-up by group, those that matter first."""
    names = dict.fromkeys([*_GROUPS, *(key.group for key in KEYS.values())])
    return [(group, [key for key in KEYS.values() if key.group == group]) for group in names]


def values_in(text: str) -> dict[str, Any]:
    """Return what the lines of a file say, nothing of one that is no TOML."""
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}


def _field(key: Key, held: Any) -> SetupField:
    kinds = [kind for kind in get_args(MachineSetup.model_fields[key.name].annotation)]
    chosen = [one for kind in kinds for one in get_args(kind)]
    choices = tuple((str(one), str(one)) for one in chosen)
    if bool in kinds:
        choices = _YES_OR_NO
    value = "" if held is None else str(held).lower() if isinstance(held, bool) else str(held)
    longest = 200 if key.low is None else 40
    return SetupField(
        _PREFIX + key.name, key.question, key.unit, key.range_words, value, choices, longest
    )


def text_with(text: str, form: Form, *, name: str, state: str) -> str:
    """Return a set-up's file with what was typed into the form.

    Lines of keys that stay as they were, comments and keys that nobody knows are kept; ``name`` of
    the machine and ``state`` stand in a file that is begun here. PageError at the field of what
    cannot be.
    """
    held, wanted = values_in(text), dict[str, Any]()
    for key in KEYS.values():
        typed = form.get(_PREFIX + key.name)
        if typed is None:
            continue
        value = read_value(key, typed.strip()) if typed.strip() else None
        old = held.get(key.name)
        if value == old and type(value) is type(old):
            continue
        problems = [] if value is None else problems_of({key.name: value})
        if problems:
            raise PageError(problems[0], "correct it here.", field=_PREFIX + key.name)
        wanted[key.name] = value
    if not wanted:
        return text
    begun = text or setup_text(MachineSetup(name=name, state=state))
    for key_name, value in wanted.items():
        begun = _put(begun, key_name, value)
    expected = {k: v for k, v in {**values_in(text or begun), **wanted}.items() if v is not None}
    if values_in(begun) == expected:
        return begun
    # Lines that cannot be edited one by one: all anew, and what stood there below as comments.
    known = {k: v for k, v in expected.items() if k in KEYS and not problems_of({k: v})}
    kept = "".join(f"# {line}\n" for line in text.splitlines())
    return f"{setup_text(MachineSetup(**known))}\n# What stood here before:\n{kept}"


def _put(text: str, name: str, value: Any) -> str:
    """Return a file's text with one key set, or taken out if its value is None."""
    line = f"# {name} =" if value is None else line_of(name, value)
    for pattern in (rf"^[ \t]*{name}[ \t]*=.*$", rf"^#[ \t]*{name}[ \t]*=[ \t]*$"):
        found = re.search(pattern, text, re.MULTILINE)
        if found:
            return f"{text[: found.start()]}{line}{text[found.end() :]}"
    return text if value is None else f"{text.rstrip()}\n{line}\n"
