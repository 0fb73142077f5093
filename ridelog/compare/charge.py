"""What the battery's charge alone could do to a figure between two sides of a comparison."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from ridelog.compare.noted import FULL, charges_in, conditions_in
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import QUANTILE
from ridelog.machine.conditions import parse_charge, parse_volts
from ridelog.machine.pack import resting_share
from ridelog.machine.setup import MachineSetup

# Who notes nothing may have ridden with anything from this to full; below, most controllers slow
# down or cut off. Common practice, no source.
LEAST_CHARGE = 0.25
# Pack and winding take up to this share of the volts at the top speed: common practice, no source.
_SAG = 0.15
# Volts at rest before and after a ride, as a book notes them: "53.1/50.8 V".
_PAIR = re.compile(r"(\d+(?:[.,]\d+)?)\s*v?\s*/\s*(\d+(?:[.,]\d+)?)\s*v", re.IGNORECASE)
# Of a pack that was full at the start, rides of some minutes leave this much: own choice.
_OF_FULL = (0.97, 0.04)


@dataclass(frozen=True)
class ChargeAlone:
    """By what factors the charge alone could have moved a figure, from before to after.

    low, high : of the figure after over that before: of the volts, until ``of_top``, ``of_pull``,
        ``of_time``, ``of_way`` or ``of_energy`` make a figure's of them.
    told : "before", "after", "both" or "neither" side's charge is noted; "modes" of one log.
    """

    low: float
    high: float
    told: str

    def moves(self, before: float) -> tuple[float, float]:
        """Return the least and the most by which it could have moved a figure, in its unit."""
        return (self.low - 1.0) * before, (self.high - 1.0) * before

    @property
    def share(self) -> float:
        """Return the larger of both moves, as a share of the figure before."""
        return max(self.high - 1.0, 1.0 - self.low)

    @property
    def opens_starts(self) -> bool:
        """Return whether starts and pulls are held against it: charges unknown, or not alike.

        Between two modes of one log only what the pack lost meanwhile differs, too little for them.
        """
        alike = self.told == "both" and self.low <= 1.0 <= self.high
        return not alike and self.told != "modes"

    def of_top(self) -> "ChargeAlone":
        """Return what it could do to a top speed, METHOD.md (21); nothing under a current limit."""
        return self._of(lambda volts: 1.0 + _gain(volts, 0.0))

    def of_pull(self, share: float) -> "ChargeAlone":
        """Return what it could do to the pull at a speed, a share of the top speed, (22)."""
        return self._of(lambda volts: 1.0 + _gain(volts, share))

    def of_time(self, share: float) -> "ChargeAlone":
        """Return what it could do to time or way of a window that ends at a share of the top."""
        return self._of(lambda volts: _inverse(1.0 + _gain(volts, share)))

    def of_way(self) -> "ChargeAlone":
        """Return what it could do to the time over a distance, (23)."""
        return self._of(lambda volts: _inverse(1.0 + _gain(volts, 0.0)))

    def of_energy(self) -> "ChargeAlone":
        """Return what it could do to the energy at the wheels over a distance, (24)."""
        return self._of(lambda volts: max(1.0 + _gain(volts, 0.0), 0.0) ** 2)

    def _of(self, factor: Callable[[float], float]) -> "ChargeAlone":
        """Return the factor of a figure at both ends, with 1 for a current limit."""
        ends = (factor(self.low), factor(self.high), 1.0)
        return replace(self, low=min(ends), high=max(ends))


def _gain(volts: float, share: float) -> float:
    """Return by what share of itself the pull at a share of the top speed moves at most."""
    left = (1.0 - _SAG) * (1.0 - share)
    if left <= 0.0:
        return -1.0 if volts < 1.0 else np.inf
    return max((volts - 1.0) / left, -1.0)


def _inverse(factor: float) -> float:
    return 1.0 / factor if factor > 0.0 else np.inf


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
    found = charges_in(conditions_in(noted).get("battery charge", ""))
    if not found or found == [FULL]:
        return (0.97, 1.0) if found else None
    try:
        each = [parse_charge(part, setup) for part in found]
    except RideLogError:
        return None
    low = min(mean - QUANTILE * sd for mean, sd in each)
    high = max(mean + QUANTILE * sd for mean, sd in each)
    return max(low, 0.0), min(high, 1.0)


def charge_of_rides(notes: Iterable[str], setup: MachineSetup) -> tuple[float, float] | None:
    """Return the charge during rides and its standard deviation, from what was noted of each.

    A note holds a share, volts at rest, or these before and after. None where a ride has none that
    tells.
    """
    each = [_ridden(words, setup) for words in notes]
    told = [one for one in each if one is not None]
    if not told or len(told) < len(each):
        return None
    means = [mean for mean, _ in told]
    return float(np.mean(means)), float(np.hypot(np.std(means), max(sd for _, sd in told)))


def _ridden(words: str, setup: MachineSetup) -> tuple[float, float] | None:
    found = charges_in(words)
    if found == [FULL]:
        return _OF_FULL
    try:
        if pair := _PAIR.search(words):
            return parse_volts(f"{pair[1]}/{pair[2]}", setup)
        return parse_charge(found[0], setup) if len(found) == 1 else None
    except RideLogError:
        return None
