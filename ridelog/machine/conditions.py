"""The conditions a prediction is asked for: slope, ground, charge, speeds; and the rides' volts."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ridelog.core.errors import SetupError
from ridelog.core.units import MPS_PER_KMH, SPEED_WORDS
from ridelog.machine.ground import GROUNDS
from ridelog.machine.pack import charge_of_volts, resting_full_v
from ridelog.machine.setup import MachineSetup

_SPEEDS = {**SPEED_WORDS, "kmh": MPS_PER_KMH, "kph": MPS_PER_KMH}
_NUMBER = r"([+-]?\d+(?:[.,]\d+)?)"
_SHARE = re.compile(rf"\s*{_NUMBER}\s*%\s*")
_VOLTS = re.compile(rf"\s*{_NUMBER}\s*v?\s*", re.IGNORECASE)
_SPEED = re.compile(rf"\s*{_NUMBER}\s*([a-z/]+)\s*", re.IGNORECASE)
# Steeper than any strip that small machines are tested on, faster than any of them. Own
# choices: beyond is a slip of the pen.
_STEEPEST, _FASTEST_MPS = 0.4, 40.0
# A display of charge is believed to this, one standard deviation: own choice.
_CHARGE_SD = 0.04
# A pack at rest lies within this share of the volts that its set-up gives: own choices, wider than
# the curves of pack.KINDS.
_LEAST_SHARE, _MOST_SHARE = 0.6, 1.06


@dataclass(frozen=True)
class SpeedAsked:
    """A speed for energy and range, and the words that name it: 20_kmh, "20 km/h". [m/s]"""

    name: str
    label: str
    speed_mps: float


# Where nobody asks for a speed: own choice.
USUAL_SPEEDS = (SpeedAsked("20_kmh", "20 km/h", 20.0 * MPS_PER_KMH),)


@dataclass(frozen=True)
class Conditions:
    """What a prediction is asked for beside the change; None: as during the rides, on the level.

    slope : rise over run. surface : of ``ground.GROUNDS``. charge : of the pack and its standard
    deviation, shares. at : speeds for energy and range. rides_charge : what is said of the charge
    during the rides, likewise. believed : keys of the set-up that are right whatever rides say.
    """

    slope: float | None = None
    surface: str | None = None
    charge: tuple[float, float] | None = None
    at: tuple[SpeedAsked, ...] = USUAL_SPEEDS
    rides_charge: tuple[float, float] | None = None
    believed: frozenset[str] = frozenset()

    @property
    def other_than_ridden(self) -> bool:
        """Whether figures hold elsewhere than on the level, as ridden."""
        return bool(self.slope) or self.surface is not None or self.charge is not None


def parse_slope(text: str) -> float:
    """Return the rise over run that "4%" or "-3 %" names.

    Raises
    ------
    SetupError
        For any other form, or beyond 40 %.
    """
    found = _SHARE.fullmatch(text)
    slope = _number(found[1]) / 100.0 if found else np.inf
    if not abs(slope) <= _STEEPEST:
        raise SetupError(
            f'the slope "{text}" is not a rise in per cent from -40 to 40.',
            "write it like 4%, which is 4 m of rise on 100 m of way; -4% is downhill.",
        )
    return slope


def parse_surface(text: str) -> str:
    """Return a kind of ground.

    Raises
    ------
    SetupError
        For a word that is none.
    """
    if text not in GROUNDS:
        raise SetupError(
            f'the ground "{text}" is not known here.', f"use one of {', '.join(GROUNDS)}."
        )
    return text


def parse_charge(text: str, setup: MachineSetup) -> tuple[float, float]:
    """Return charge and its standard deviation from "25%" or resting volts such as "48.2 V".

    Raises
    ------
    SetupError
        For another form, or volts that the pack of the set-up cannot have at rest.
    """
    if found := _SHARE.fullmatch(text):
        share = _number(found[1]) / 100.0
        if not 0.0 <= share <= 1.0:
            raise SetupError(
                f'the charge "{text}" lies outside 0 to 100 %.', "write it like 25% or 48.2 V."
            )
        return share, _CHARGE_SD
    if not (found := _VOLTS.fullmatch(text)):
        raise SetupError(
            f'the charge "{text}" is neither per cent nor volts.', "write it like 25% or 48.2 V."
        )
    return _charge_of(_number(found[1]), setup)


def parse_volts(text: str, setup: MachineSetup) -> tuple[float, float]:
    """Return the charge during rides from resting volts before and after, such as "53.1/50.8".

    Raises
    ------
    SetupError
        As ``parse_charge``, or if the volts rise.
    """
    parts = [part.strip() for part in text.split("/")]
    found = [_VOLTS.fullmatch(part) for part in parts]
    if len(parts) > 2 or not all(found):
        raise SetupError(
            f'"{text}" are no resting volts before and after.', "write them like 53.1/50.8."
        )
    volts = [_number(one[1]) for one in found if one]
    if volts[-1] > 1.01 * volts[0]:
        raise SetupError(
            f'"{text}": the pack has more volts after the ride than before.',
            "write the volts before the ride first, both after some minutes of rest.",
        )
    each = [_charge_of(one, setup) for one in volts]
    first, last = each[0], each[-1]
    # Rides lie anywhere between the two.
    spread = np.hypot((first[0] - last[0]) / np.sqrt(12.0), max(first[1], last[1]))
    return 0.5 * (first[0] + last[0]), float(spread)


def parse_at(texts: Iterable[str]) -> tuple[SpeedAsked, ...]:
    """Return the speeds that texts such as "20 km/h" or "12 mph" name, the usual one without any.

    Raises
    ------
    SetupError
        For a text that is no speed from above nought to 40 m/s.
    """
    found = []
    for text in texts:
        match = _SPEED.fullmatch(text)
        unit = match[2].lower() if match else ""
        factor = _SPEEDS.get(unit, 0.0)
        speed = _number(match[1]) * factor if match else 0.0
        if not 0.0 < speed <= _FASTEST_MPS:
            raise SetupError(
                f'"{text}" is no speed of a small machine.', 'write it like "20 km/h" or "12 mph".'
            )
        assert match is not None
        unit = {"kmh": "km/h", "kph": "km/h"}.get(unit, unit)
        number = f"{_number(match[1]):g}"
        found.append(SpeedAsked(f"{number}_{unit.replace('/', '')}", f"{number} {unit}", speed))
    return tuple(found) or USUAL_SPEEDS


def parse_believed(names: Iterable[str], setup: MachineSetup) -> frozenset[str]:
    """Return keys of the set-up that are believed whatever the rides say.

    Raises
    ------
    SetupError
        For a name that the set-up does not give.
    """
    given = setup.given()
    for name in names:
        if name not in given:
            raise SetupError(
                f"{name} cannot be believed: the set-up does not give it.",
                f"name one of its keys: {', '.join(given)}.",
            )
    return frozenset(names)


def _charge_of(volts: float, setup: MachineSetup) -> tuple[float, float]:
    full = resting_full_v(setup)
    if full is None:
        raise SetupError(
            f"{volts:g} V tell no charge: the set-up gives no battery.",
            "add battery_cells and battery_chemistry, or say the charge in per cent.",
        )
    if not _LEAST_SHARE * full <= volts <= _MOST_SHARE * full:
        raise SetupError(
            f"{volts:g} V at rest do not fit the set-up's pack, which has {full:.1f} V when full.",
            "check volts, battery_cells and battery_chemistry.",
        )
    told = charge_of_volts(setup, volts)
    assert told is not None
    return told


def _number(text: str) -> float:
    return float(text.replace(",", "."))
