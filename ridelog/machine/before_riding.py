"""What is looked at before a ride: the usual points, and what nobody has confirmed of the set-up.

A list to be ticked replaces neither an inspection nor licensed work; local codes come first.
"""

import re
from dataclasses import dataclass

from ridelog.machine.electrics import electrical_sheet
from ridelog.machine.setup import KEYS, MachineSetup
from ridelog.machine.setup_check import contradictions

# Common practice, no source: what riders of small machines look at each time.
USUAL = (
    "Gear on: helmet, gloves, long sleeves and trousers, closed shoes.",
    "Closed private ground, allowed for this; nobody in the way, and a run-out long enough.",
    "Brakes tried at walking pace: both bite.",
    "The throttle springs back by itself; the switch or key cuts the drive off.",
    "Wheels, axles, steering, chain and guards are tight; nothing hangs loose.",
    "Battery held fast; plugs and wires firm, unchafed, and cold.",
    "Whoever rides fits the machine in age and size, begins slowly, and has help at hand.",
    "Work on brakes, wiring or battery was done by competent hands, licensed where codes ask.",
)
_KEY = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")


@dataclass(frozen=True)
class LookedAt:
    """What to look at before a ride, each as a sentence.

    ``always`` are the usual points, after what contradicts itself in the set-up; ``unconfirmed`` is
    what nobody has read off the machine's parts.
    """

    always: tuple[str, ...]
    unconfirmed: tuple[str, ...] = ()


def points_before_riding(setup: MachineSetup | None) -> LookedAt:
    """Return what to look at before a ride; None is a machine of which nothing is known."""
    if setup is None:
        return LookedAt(USUAL)
    if not setup.given():
        return LookedAt(USUAL, ("The set-up is empty: nothing of its electrics is confirmed.",))
    wrong = [f"Contradiction: {doubt.text}" for doubt in contradictions(setup)]
    lines = electrical_sheet(setup)
    wrong += [
        f"Contradiction, {line.name}: {_in_words(line.text)}"
        for line in lines
        if line.state == "contradicts" and not line.elsewhere
    ]
    unknown = (
        f"Not confirmed, {line.name}: {_in_words(line.text)}"
        for line in lines
        if line.state == "not confirmed"
    )
    return LookedAt((*wrong, *USUAL), tuple(unknown))


def _in_words(text: str) -> str:
    """Return a line of the sheet with the questions of its keys in place of their names."""

    def asked(found: re.Match[str]) -> str:
        key = KEYS.get(found[0])
        return f"“{key.question}”" if key else found[0]

    return _KEY.sub(asked, text)
