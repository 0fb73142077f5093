"""What the battery's charge alone could do to a figure between two sides of a comparison."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ridelog.core.errors import RideLogError
from ridelog.core.estimate import QUANTILE
from ridelog.machine.conditions import parse_charge
from ridelog.machine.pack import resting_share
from ridelog.machine.setup import MachineSetup

# Under these words riders note the charge; the last is that of the book.
_NAMES = ("charge", "battery", "battery charge", "battery charge at the start")
_PART = re.compile(r"\d+(?:[.,]\d+)?\s*(?:%|v\b)", re.IGNORECASE)
# Who notes nothing may have ridden with anything from this to full; below, most controllers slow
# down or cut off. Common practice, no source.
LEAST_CHARGE = 0.25
# Pack and winding take up to this share of the volts at the top: common practice, no source.
_SAG = 0.15


@dataclass(frozen=True)
class ChargeAlone:
    """By what factors the charge alone could have moved a figure, from before to after.

    low, high : of the figure after over that before: of the volts, until ``of_top``, ``of_pull``,
        ``of_time`` or ``of_way`` make a figure's of them.
    told : "before", "after", "both" or "neither" side's charge is noted; "modes" of one log.
    """

    low: float
    high: float
    told: str

    def covers(self, before: float, low: float, high: float) -> bool:
        """Return whether a difference with its interval lies within what the charge could do."""
        return not (low > (self.high - 1.0) * before or high < (self.low - 1.0) * before)

    @property
    def share(self) -> float:
        """Return the larger of both moves, as a share of the figure before."""
        return max(self.high - 1.0, 1.0 - self.low)

    @property
    def differs(self) -> bool:
        """Return whether the charge is known on both sides, and not the same."""
        return self.told == "both" and not self.low <= 1.0 <= self.high

    def of_top(self) -> "ChargeAlone":
        """Return what it could do to a top speed.

        Where the motor's speed limits it, volts less those that pack and winding take at the load
        are k v; taken as the same load for both, these lose more of themselves than the volts do.
        """
        return replace(self, low=min(_pull(self.low, _SAG), self.low),
                       high=max(_pull(self.high, _SAG), self.high))  # fmt: skip

    def of_pull(self, share: float) -> "ChargeAlone":
        """Return what it could do to the pull at a speed, given as a share of the top speed.

        A motor on its line pulls as 1 - v / V, and V goes with the volts r: (r - x) / (1 - x). One
        held by battery current loses less, one held by motor current nothing: own derivation.
        """
        return replace(self, low=min(_pull(self.low, share), 1.0),
                       high=max(_pull(self.high, share), 1.0))  # fmt: skip

    def of_time(self, share: float) -> "ChargeAlone":
        """Return what it could do to time or way of a window that ends at a share of the top."""
        pull = self.of_pull(share)
        return replace(self, low=1.0 / pull.high, high=1.0 / pull.low if pull.low else np.inf)

    def of_way(self) -> "ChargeAlone":
        """Return what it could do to the time over a distance.

        On the motor's line the whole course goes with the volts, so it takes 1 / r times as long at
        most: own derivation.
        """
        return replace(self, low=min(1.0 / self.high, 1.0), high=max(1.0 / self.low, 1.0))


def _pull(volts: float, share: float) -> float:
    return max(volts - share, 0.0) / (1.0 - share) if share < 1.0 else 0.0


def charge_alone(
    noted_before: Mapping[str, str],
    noted_after: Mapping[str, str],
    setups: tuple[MachineSetup, MachineSetup] | None,
) -> ChargeAlone:
    """Return what the charge alone could do, from what was noted of each side.

    A motor's speed without load goes with the volts, and those with the charge along the curve of
    its chemistry, lithium-ion if no set-up names another.
    """
    sides = (MachineSetup(), MachineSetup()) if setups is None else setups
    told = [
        _noted(noted, setup)
        for noted, setup in zip((noted_before, noted_after), sides, strict=True)
    ]
    ends = []
    for charge, setup in zip(told, sides, strict=True):
        low, high = charge or (LEAST_CHARGE, 1.0)
        ends.append([float(resting_share(setup, np.array([x]))[0]) for x in (low, high)])
    known = [side for side, one in zip(("before", "after"), told, strict=True) if one is not None]
    return ChargeAlone(
        ends[1][0] / ends[0][1],
        ends[1][1] / ends[0][0],
        ("neither", known[0] if known else "", "both")[len(known)],
    )


def _noted(noted: Mapping[str, str], setup: MachineSetup) -> tuple[float, float] | None:
    """Return the least and the greatest charge that a note leaves open, None if it tells none."""
    words = next((noted[name] for name in noted if name.lower() in _NAMES), "")
    found = [part.group(0) for part in _PART.finditer(words)]
    if not found:
        return (0.97, 1.0) if words.strip().lower() in ("full", "fully charged") else None
    try:
        each = [parse_charge(part, setup) for part in found]
    except RideLogError:
        return None
    low = min(mean - QUANTILE * sd for mean, sd in each)
    high = max(mean + QUANTILE * sd for mean, sd in each)
    return max(low, 0.0), min(high, 1.0)
