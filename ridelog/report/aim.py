"""What the owner wants of the machine: it decides which way a figure is called better."""

from enum import StrEnum

from ridelog.analysis.energy import WHEEL_ENERGY
from ridelog.core.quantity import CURRENT, POWER, TIME, Quantity


class Aim(StrEnum):
    """What a change is made for."""

    QUICKER = "quicker"
    FASTER = "faster"
    TAMER = "tamer"
    FARTHER = "farther"

    @property
    def words(self) -> str:
        """What is meant by it, in as few words as find room beside it in a list."""
        return _MEANT[self]


_MEANT = {
    Aim.QUICKER: "from standing",
    Aim.FASTER: "top speed",
    Aim.TAMER: "slower, softer",
    Aim.FARTHER: "less energy",
}


# Figures of which less is better whatever the aim, by how their names begin.
_LESS = ("energy", WHEEL_ENERGY, "stopping", "braking_distance", "reverse", "coasting")
# Figures of how fast the machine is, of which a tamer one has less.
_SPEED = ("top_speed", "two_way", "best_", "pull_at", "exit_speed")


def more_is_better(name: str, quantity: Quantity, aim: Aim | None) -> bool | None:
    """Return whether more of a figure is what the owner wants, None where it is neither."""
    tamer = aim is Aim.TAMER
    if quantity is TIME or name.endswith(" distance"):
        return tamer
    if name.startswith(_SPEED):
        return not tamer
    if quantity in (CURRENT, POWER) or name.startswith(_LESS):
        return False
    if name.startswith(("climb", "range", "tip_over", "mean_braking")):
        return True
    return None
