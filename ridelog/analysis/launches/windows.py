"""Windows of a launch in words: from one speed to another, or from standing over a distance."""

import re
from dataclasses import dataclass
from typing import TypeVar

from ridelog.core.errors import RideLogError
from ridelog.core.units import (
    METRES_PER_FOOT,
    METRES_PER_INCH,
    METRES_PER_MILE,
    MPS_PER_KMH,
    SPEED_UNITS,
    SPEED_WORDS,
    SpeedUnit,
)

_SPEEDS = {**SPEED_WORDS, "kmh": MPS_PER_KMH, "kph": MPS_PER_KMH}
# Kilometres by definition, the others from ``units``.
_LENGTHS = {
    "m": 1.0,
    "ft": METRES_PER_FOOT,
    "in": METRES_PER_INCH,
    "mi": METRES_PER_MILE,
    "mile": METRES_PER_MILE,
    "km": 1000.0,
}
# How a unit is printed, if not as it was written.
_PRINTED = {"kmh": "km/h", "kph": "km/h", "mile": "mi"}
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_WINDOW = re.compile(rf"\s*{_NUMBER}\s*(?:-|–|to)\s*{_NUMBER}\s*([a-z/]+)\s*", re.IGNORECASE)
_LENGTH = re.compile(rf"\s*{_NUMBER}\s*([a-z]+)\s*", re.IGNORECASE)
# Beyond this no small machine goes; a window up there is a slip of the unit. Own choice.
_MOST_MPS, _MOST_M = 100.0, 5000.0
# No staging beam lets a machine roll further before it starts the clock; common practice, no
# source.
_MOST_ROLLOUT_M = 2.0
# Defaults end below the highest speed, where a crossing is still steep enough to be timed. Own
# choice.
_REACHED_SHARE = 0.92


@dataclass(frozen=True)
class Window:
    """One window: between two speeds, or from standing over a distance.

    label : as printed, such as "0-20 km/h".
    from_mps : speed at which it begins, 0 for a standing start. [m/s]
    to_mps : speed at which it ends, None for a window of distance. [m/s]
    distance_m : its length, None for a window of speed. [m]
    """

    label: str
    from_mps: float
    to_mps: float | None
    distance_m: float | None

    @property
    def standing(self) -> bool:
        """Whether it begins at rest."""
        return self.from_mps == 0.0


AnyWindow = TypeVar("AnyWindow", bound=Window)


def parse_window(text: str) -> Window:
    """Return the window that a text such as ``0-20 km/h``, ``10-20 mph`` or ``0-60 ft`` names.

    RideLogError if the text names no window, with what was written and what would do.
    """
    found = _WINDOW.fullmatch(text)
    if found is None:
        raise RideLogError(
            f'the window "{text}" is not two numbers and a unit.',
            "write it like 0-20 km/h, 10-20 mph, 0-30 m or 0-60 ft.",
        )
    first, last, unit = found[1].replace(",", "."), found[2].replace(",", "."), found[3].lower()
    if unit not in _SPEEDS and unit not in _LENGTHS:
        raise RideLogError(
            f'the window "{text}" has the unit "{found[3]}", which is not known here.',
            "use km/h, mph, m/s or kn for speeds, m, ft, km or mi for distances.",
        )
    start, end = float(first), float(last)
    if end <= start:
        raise RideLogError(
            f'the window "{text}" ends at {last} and begins at {first}: it must rise.',
            f"write the lower value first, such as {last}-{first} {unit}."
            if end < start
            else "write two different values.",
        )
    label = f"{first}-{last} {_PRINTED.get(unit, unit)}"
    if unit in _SPEEDS:
        top = end * _SPEEDS[unit]
        if top > _MOST_MPS:
            raise RideLogError(
                f'the window "{text}" ends at {top:.0f} m/s, faster than any small machine.',
                "check the unit.",
            )
        return Window(label, start * _SPEEDS[unit], top, None)
    if start != 0.0:
        raise RideLogError(
            f'the window "{text}" begins at {first} {unit}: a distance is counted from standing.',
            f"write 0-{last} {unit}.",
        )
    length = end * _LENGTHS[unit]
    if length > _MOST_M:
        raise RideLogError(
            f'the window "{text}" is {length:.0f} m long, longer than any launch.',
            f"choose a distance up to {_MOST_M:.0f} m.",
        )
    return Window(label, 0.0, None, length)


def parse_rollout(text: str) -> float:
    """Return a rollout allowance written like ``1 ft``, ``12 in`` or ``0.3 m``. [m]

    RideLogError if the text is no length from 0 to 2 m.
    """
    found = _LENGTH.fullmatch(text)
    unit = found[2].lower() if found else ""
    length = (
        float(found[1].replace(",", ".")) * _LENGTHS[unit] if found and unit in _LENGTHS else -1
    )
    if not 0.0 <= length <= _MOST_ROLLOUT_M:
        raise RideLogError(
            f'the rollout "{text}" is not a length from 0 to {_MOST_ROLLOUT_M:g} m.',
            "write it like 1 ft, 7 in or 0.3 m, or leave it out: it is off by default.",
        )
    return length


def default_windows(top_mps: float) -> tuple[Window, ...]:
    """Return the windows that a machine of some top speed can fill, in km/h and m, mph and feet.

    From standing to 20 km/h (10 mph) and to the highest round speed that is passed with some
    acceleration left; from half of that to it, rolling; and over 30 m (60 ft).
    """
    return tuple(
        parse_window(words)
        for unit, first, length in (("km/h", 20, "0-30 m"), ("mph", 10, "0-60 ft"))
        for words in (
            *_round_windows(_REACHED_SHARE * top_mps / _SPEEDS[unit], first, unit),
            length,
        )
    )


def _round_windows(reach: float, first: int, unit: str) -> list[str]:
    if reach < 10.0:
        return [f"0-5 {unit}"] if reach >= 5.0 else []
    last = 10 * int(reach // 10)
    words = [f"0-{end} {unit}" for end in sorted({min(first, last), last})]
    half = max(10, 10 * round(last / 20))
    return [*words, f"{half}-{last} {unit}"] if half < last else words


def suited(windows: tuple[AnyWindow, ...], unit: SpeedUnit) -> tuple[AnyWindow, ...]:
    """Return those windows that are written in a unit or in the distances that go with it."""
    endings = (f" {unit.label}", f" {unit.distance_label}")
    return tuple(window for window in windows if window.label.endswith(endings))


def round_in(window: Window) -> str:
    """Return the label of the unit of speed whose readers take a window, empty for none."""
    return next((name for name, unit in SPEED_UNITS.items() if suited((window,), unit)), "")
