"""Rides against the set-up: what its keys give together beside what the rides show without them.

A second fit knows nothing of the set-up. What it finds of a quantity (the road speed without load,
the force at the current limit on the mass) stands against what the keys give of it; where the two
cannot both be, every key that went in is named, since rides tell the product alone.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.core.estimate import LEVEL, QUANTILE, Estimate
from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.drive import Drive
from ridelog.machine.fit import fit, from_setup
from ridelog.machine.priors import Said
from ridelog.machine.setup import MachineSetup

# Machines of the second fit; a chance of one in a hundred needs no more. Own choice:
# time.
_MACHINES = 400
# Keys are contradicted if what they give would lie so far off by chance this rarely, either way:
# own choice, METHOD.md, "Rides against the set-up".
_CHANCE = 0.02
# Rides tell a quantity where they leave this share of what was open of its logarithm: own choice.
_TOLD = 0.45

_TYRE = ("tyre_circumference_m", "tyre_diameter_m")
_RATIO = ("front_teeth", "rear_teeth", "second_front_teeth", "second_rear_teeth", "gearbox_ratio")
_PACK = ("battery_cells", "battery_nominal_v", "battery_full_v", "battery_chemistry")
_MASS = ("machine_mass_kg", "rider_mass_kg", "load_mass_kg")
_SPEED = ("motor_rpm_per_v", "motor_rated_rpm", "motor_rated_v")


@dataclass(frozen=True)
class _Check:
    """One quantity that rides tell and keys give.

    unknown : of ``priors.UNKNOWNS``, let loose where a key of it is believed against the rides.
    needed : a key of each of these must be given. keys : all that go in.
    """

    unknown: str
    words: str
    of: Callable[[Drive], FloatArray]
    needed: tuple[tuple[str, ...], ...]
    keys: tuple[str, ...]
    guess: str


_CHECKS = (
    _Check(
        "no_load_mps", "speed without load", lambda d: d.no_load_mps,
        (_TYRE, ("rear_teeth", "gearbox_ratio"), _PACK[:3], _SPEED[:2]),
        (*_SPEED, *_PACK[:3], *_RATIO, *_TYRE),
        "a lower drive mode, another tooth, another tyre?",
    ),
    _Check(
        "motor_limit_n", "pull at the motor current limit",
        lambda d: d.force_per_amp_n * d.motor_limit_a / (d.mass_kg * d.inertia_factor),
        (("motor_limit_a",), _SPEED[:2], ("rear_teeth", "gearbox_ratio"), _TYRE,
         ("machine_mass_kg",), ("rider_mass_kg",)),
        ("motor_limit_a", *_SPEED, *_RATIO, *_TYRE, *_MASS),
        "a lower current setting, another mass?",
    ),
    _Check(
        "limit_power_w", "power on the mass at the battery limit",
        lambda d: d.efficiency * d.limit_power_w / (d.mass_kg * d.inertia_factor),
        (("battery_limit_a",), _PACK[:3], ("machine_mass_kg",), ("rider_mass_kg",)),
        ("battery_limit_a", *_PACK[:3], *_MASS),
        "a lower current setting, a weak pack, another mass?",
    ),
    _Check(
        "rolling_n", "rolling resistance",
        lambda d: d.load.a_n / (d.mass_kg * STANDARD_GRAVITY_MPS2 * d.inertia_factor),
        (("rolling_resistance",),), ("rolling_resistance",),
        "soft tyres, other ground, a brake that drags?",
    ),
    _Check(
        "drag_c_ns2pm2", "air drag on the mass",
        lambda d: d.load.c_ns2pm2 / (d.mass_kg * d.inertia_factor),
        (("drag_area_m2",), ("machine_mass_kg",), ("rider_mass_kg",)),
        ("drag_area_m2", *_MASS),
        "another seat, another rider?",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Contradicted:
    """Keys that together give what the rides do not show.

    keys : those given. ratio : what the rides show over what the keys give. chance : of lying so
    far off, either way, if all keys were right.
    """

    unknown: str
    words: str
    keys: tuple[str, ...]
    ratio: Estimate
    chance: float
    guess: str

    def sentence(self, setup: MachineSetup) -> str:
        """Return the contradiction in a sentence that names every key with its value."""
        given = setup.given()
        named = ", ".join(f"{key} = {given[key]}" for key in self.keys)
        percent = [f"{100.0 * x:.0f}" for x in (self.ratio.value, self.ratio.low, self.ratio.high)]
        rarely = f"1 in {max(round(1.0 / max(self.chance, 1e-4)), 2)}"
        return (
            f"the rides look like {percent[0]} % ({percent[1]} to {percent[2]}) of the "
            f"{self.words} that {named} give{'s' if len(self.keys) == 1 else ' together'} (chance "
            f"of that if right: {rarely}): one of them is wrong, or {self.guess}"
        )


def known_without_keys(rides: Sequence[CalibrationData]) -> Drive:
    """Return the machines that rides leave possible where nothing is given."""
    return fit(MachineSetup(), rides, count=_MACHINES).drive


def contradicted_keys(
    setup: MachineSetup,
    rides: Sequence[CalibrationData],
    said: Said,
    blind: Drive | None = None,
) -> tuple[Contradicted, ...]:
    """Return the keys that the rides contradict, the surest first.

    What is loose already, because one of its keys is believed, is not checked again. ``blind`` is
    ``known_without_keys(rides)`` where several set-ups are held against the same rides.
    """
    given = setup.given()
    checks = [
        one
        for one in _CHECKS
        if one.unknown not in said.loose and all(any(k in given for k in ks) for ks in one.needed)
    ]
    if not checks or not rides:
        return ()
    blind = blind or known_without_keys(rides)
    before = from_setup(MachineSetup(), 2 * _MACHINES).drive
    keyed = from_setup(setup, 4 * _MACHINES, said).drive
    found = []
    for check in checks:
        shown, gives, open_before = (np.log(check.of(drive)) for drive in (blind, keyed, before))
        if np.std(shown) > _TOLD * np.std(open_before):
            continue
        apart = (shown[:, None] - gives[None, :]).ravel()
        middle = float(np.median(apart))
        # Beyond the drawn ones a tail falls off as a normal one does.
        facing = float(np.quantile(apart, 0.05 if middle > 0.0 else 0.95))
        sd = max(abs(middle - facing) / QUANTILE, 1e-6)
        chance = float(2.0 * np.exp(_log_tail(abs(middle) / sd)))
        if chance < _CHANCE:
            low, high = np.quantile(apart, [0.5 - 0.5 * LEVEL, 0.5 + 0.5 * LEVEL])
            value, first, last = (float(np.exp(x)) for x in (middle, low, high))
            ratio = Estimate(value, first, last, LEVEL)
            keys = tuple(key for key in check.keys if key in given)
            found.append(Contradicted(check.unknown, check.words, keys, ratio, chance, check.guess))
    return tuple(sorted(found, key=lambda one: one.chance))


def loosened(believed: frozenset[str]) -> frozenset[str]:
    """Return the unknowns that are let loose because a key of theirs is believed."""
    return frozenset(one.unknown for one in _CHECKS if believed & set(one.keys))


def _log_tail(z: float) -> float:
    from scipy.special import log_ndtr

    return float(log_ndtr(-z))
