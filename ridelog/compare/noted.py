"""What riders noted of the conditions of two sides, and what of it no log measures."""

import re
from collections.abc import Iterable, Mapping

from ridelog.analysis.ride import NOT_MEASURED
from ridelog.machine.before_riding import left_open
from ridelog.machine.setup import MachineSetup
from ridelog.present.words import capital

# Notes of the job, not of the conditions: that they differ from side to side is the change itself.
JOB_NOTES = frozenset(("change", "setup", "done", "price", "hours", "open"))
_MACHINE = "machine"
# By which other words riders note a condition; the longest are those of the book.
_CHARGE, _BATTERY = "battery charge", "battery"
_MASS, _RIDER = "rider mass", "rider and load"
_SAID = {
    _CHARGE: ("charge", _BATTERY, "battery charge at the start"),
    _MASS: ("mass", "load", "rider and load, mass"),
    "tyre pressure": ("tyres", "tyre_pressure"),
    "slope": ("grade",),
}
_NAMES = {said: name for name, listed in _SAID.items() for said in listed}
FULL = "full"
_FULL = (FULL, "fully charged")
_WEIGHED = re.compile(r"\d\s*(?:kg|lbs?)\b", re.IGNORECASE)
_PART = re.compile(r"\d+(?:[.,]\d+)?\s*(?:%|v\b)", re.IGNORECASE)


def charges_in(words: str) -> list[str]:
    """Return the charges that a note tells: shares, volts, or ``FULL`` alone."""
    found = [part.group(0) for part in _PART.finditer(words)]
    return found or [FULL] * (words.strip().lower() in _FULL)


def tells_mass(words: str) -> bool:
    """Return whether a note tells a mass: a number of kilograms or pounds."""
    return bool(_WEIGHED.search(words))


def conditions_in(noted: Mapping[str, str]) -> dict[str, str]:
    """Return the conditions among some notes, each under one name, in alphabetical order."""
    found: dict[str, str] = {}
    for key, words in noted.items():
        name = _NAMES.get(key.strip().lower(), key.strip().lower())
        if name == _CHARGE and not charges_in(words):
            name = _BATTERY  # "new", say: nothing about how full it was
        if name == _MASS and not tells_mass(words):
            name = _RIDER  # "the same", say: nothing that could be weighed
        if name not in JOB_NOTES and name != _MACHINE and words.strip():
            found.setdefault(name, words.strip())
    return dict(sorted(found.items()))


def with_open(noted: Mapping[str, str], setups: Iterable[MachineSetup]) -> dict[str, str]:
    """Return notes in which what set-ups leave open follows what was noted as open."""
    left = list(dict.fromkeys(filter(None, map(left_open, setups))))
    if not left:
        return dict(noted)
    said = capital(noted.get("open", "").strip())
    if said and said[-1] not in ".!?":
        said += "."
    return {**noted, "open": " ".join(filter(None, (said, *left)))}


def not_measured(*sides: Mapping[str, str]) -> tuple[str, ...]:
    """Return what is neither measured nor noted for every side."""
    known = [conditions_in(noted) for noted in sides]
    return tuple(name for name in NOT_MEASURED if not all(name in side for side in known))


def noted_alike(first: Mapping[str, str], second: Mapping[str, str]) -> dict[str, str]:
    """Return the conditions that both sides noted in the same words."""
    known, other = conditions_in(first), conditions_in(second)
    return {name: words for name, words in known.items() if other.get(name) == words}


def noted_once(first: Mapping[str, str], second: Mapping[str, str]) -> dict[str, str]:
    """Return the conditions that the first side alone noted."""
    known, other = conditions_in(first), conditions_in(second)
    return {name: words for name, words in known.items() if name not in other}
