"""What is looked at before a ride: the usual points, and what nobody has confirmed of the set-up.

A list to be ticked replaces neither an inspection nor licensed work; local codes come first.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from ridelog.machine.electrics import SheetLine, by_kind, electrical_sheet, in_words
from ridelog.machine.setup import MachineSetup
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
        f"Contradiction, {line.name}: {in_words(line.text)}"
        for line in lines
        if line.state == "contradicts" and not line.elsewhere
    ]
    unknown = (f"Not confirmed, {line.name}: {in_words(line.text)}" for line in _open(lines))
    return LookedAt((*wrong, *USUAL), tuple(unknown))


def left_open(setup: MachineSetup) -> str:
    """Return what contradicts itself in a set-up, and in one sentence what nobody has confirmed.

    Empty if there is neither, or if the set-up says nothing at all.
    """
    if not setup.given():
        return ""
    wrong = [each for each in points_before_riding(setup).always if each not in USUAL]
    open_lines = by_kind(line.name for line in _open(electrical_sheet(setup)))
    return " ".join([*wrong, *([f"Not confirmed by anyone: {open_lines}."] if open_lines else [])])


def _open(lines: Sequence[SheetLine]) -> list[SheetLine]:
    return [line for line in lines if line.state == "not confirmed"]
