"""Rides against the set-up: each key tried along its own direction, all else within its range.

Where the machines that set-up and rides leave possible had to move far, each group of keys that
rides cannot tell apart is let loose in a fit of its own, with everything else as the set-up has it.
How far what it gives moves says whether the rides contradict it; how likely the rides then are says
which key explains them, and which others would as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr, softmax

from ridelog.core.estimate import LEVEL, QUANTILE, Estimate
from ridelog.core.track import FloatArray
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.fit import Fitted, fit
from ridelog.machine.priors import COUNT, INDEX, UNKNOWNS, Said, machines_of
from ridelog.machine.setup import MachineSetup

# Machines of each fit with one group loose: a chance of one in a hundred needs no more. Own
# choice: time.
_MACHINES = 400
# Keys are tried only where the rides moved an unknown by more than the spread of its range; own
# choice: less is what right keys do (`tests/suites/predict_keys.py`), and trying takes time.
_MOVED = 1.0
# So seldom is any key of a right set-up contradicted, over all that are tried (Holm, 1979): own
# choice.
CHANCE = 0.05
# Rides tell of a loose unknown where at most so much is left of its variance: with more, the
# precision is the chance of some hundred draws. Own choice: METHOD.md (25).
_LEFT = 0.75
# Keys are named, the likeliest first, until one of them is the wrong one this surely: own choice.
_NAMED = 0.95

_TYRE = ("tyre_circumference_m", "tyre_diameter_m")
_RATIO = ("front_teeth", "rear_teeth", "second_front_teeth", "second_rear_teeth", "gearbox_ratio")
_PACK = ("battery_cells", "battery_nominal_v", "battery_full_v", "battery_chemistry")
_MASS = ("machine_mass_kg", "rider_mass_kg", "load_mass_kg")
_SPEED = ("motor_rpm_per_v", "motor_rated_rpm", "motor_rated_v")


@dataclass(frozen=True)
class _Group:
    """Keys that rides cannot tell apart: only what they give together shows.

    unknown : of ``priors.UNKNOWNS``, let loose to try them. words : what they give. keys : those
    that are named. beside : further ones that go into what rides tell of it, so that it is left
    to the rides where one of these is believed. guess : what else it may be.
    """

    unknown: str
    words: str
    keys: tuple[str, ...]
    beside: tuple[str, ...]
    guess: str


_GROUPS = (
    _Group(
        "no_load_mps", "speed without load", (*_SPEED, *_RATIO, *_TYRE), _PACK,
        "a lower drive mode, another tooth, another tyre?",
    ),
    _Group(
        "battery_v", "volts of the pack", _PACK, (), "cells that are empty, another chemistry?",
    ),
    _Group(
        "motor_limit_n", "pull at the motor current limit", ("motor_limit_a",),
        (*_SPEED, *_RATIO, *_TYRE, *_MASS), "a lower current setting?",
    ),
    _Group(
        "limit_power_w", "power at the battery limit", ("battery_limit_a",),
        (*_PACK, *_MASS), "a lower current setting, a weak pack?",
    ),
    _Group("mass_kg", "mass with rider", _MASS, (), "another rider, a load?"),
    _Group(
        "rolling_n", "rolling resistance", ("rolling_resistance",), (),
        "soft tyres, other ground, a brake that drags?",
    ),
    _Group(
        "drag_c_ns2pm2", "air drag", ("drag_area_m2",), _MASS, "another seat, another clothing?",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Explanation:
    """Keys that, were one of them wrong, would explain the rides.

    keys : those given. ratio : what the rides show over what the keys give. sure : how likely it is
        that one of these is the wrong one, if one key is.
    """

    unknown: str
    words: str
    keys: tuple[str, ...]
    ratio: Estimate
    sure: float
    guess: str

    def words_with(self, setup: MachineSetup) -> str:
        """Return what the keys, each with its value, would have to give."""
        given = setup.given()
        named = ", ".join(f"{key} = {given[key]}" for key in self.keys)
        percent = [f"{100.0 * x:.0f}" for x in (self.ratio.value, self.ratio.low, self.ratio.high)]
        return (
            f"{percent[0]} % ({percent[1]} to {percent[2]}) of the {self.words} that {named} "
            f"give{'s' if len(self.keys) == 1 else ' together'} ({self.guess})"
        )


@dataclass(frozen=True)
class Contradicted:
    """A set-up that cannot have ridden so.

    explanations : which keys it may be, the likeliest first; the rides cannot tell these apart.
    chance : of rides as far off, if all keys were right.
    """

    explanations: tuple[Explanation, ...]
    chance: float

    @property
    def keys(self) -> tuple[str, ...]:
        """Return the keys of all explanations, those of the likeliest first."""
        return tuple(key for one in self.explanations for key in one.keys)

    def sentence(self, setup: MachineSetup) -> str:
        """Return the contradiction in a sentence that names every key with its value."""
        rarely = f"1 in {max(round(1.0 / max(self.chance, 1e-4)), 2)}"
        first, *others = [one.words_with(setup) for one in self.explanations]
        return (
            f"the rides do not fit the set-up (chance of that if all of it is right: {rarely}). "
            f"They look like {first}"
            + "".join(f", or like {one}" for one in others)
            + ": one of these keys is wrong, or the machine was not ridden as it says"
        )


@dataclass(frozen=True)
class Tried:
    """One group of keys let loose.

    keys : those given. away_log, sd_log : how far what they give lies from what the rides show, and
        the spread of that if all keys are right, in logarithms. log_evidence, ratio : of the fit.
    """

    unknown: str
    words: str
    guess: str
    keys: tuple[str, ...]
    away_log: float
    sd_log: float
    log_evidence: float
    ratio: Estimate


def contradicted_keys(
    fitted: Fitted,
    rides: Sequence[CalibrationData],
    said: Said,
    found: Sequence[Tried] | None = None,
) -> Contradicted | None:
    """Return what the rides contradict of a set-up, None if nothing.

    ``fitted`` are the machines of set-up and ``rides``, with ``said``. What is loose already,
    because one of its keys is believed, is not tried again. ``found`` is what ``tried_keys`` made
    of them, where that is known.
    """
    if not fitted.rides or np.abs(np.median(fitted.z, axis=0)).max() < _MOVED:
        return None
    tried = list(tried_keys(fitted.setup, rides, said) if found is None else found)
    if not tried:
        return None
    furthest = max(abs(one.away_log) / one.sd_log for one in tried)
    chance = len(tried) * 2.0 * float(np.exp(log_ndtr(-furthest)))
    if chance > CHANCE:
        return None
    tried.sort(key=lambda one: -one.log_evidence)
    sure = softmax([one.log_evidence for one in tried])
    count = 1 + int(np.searchsorted(np.cumsum(sure), _NAMED))
    return Contradicted(
        tuple(
            Explanation(one.unknown, one.words, one.keys, one.ratio, float(share), one.guess)
            for one, share in zip(tried[:count], sure, strict=False)
        ),
        chance,
    )


def tried_keys(setup: MachineSetup, rides: Sequence[CalibrationData], said: Said) -> list[Tried]:
    """Return what the rides make of each group of keys that they tell of, let loose on its own.

    The posterior of a loose number z, which began as a standard normal one, is that of the rides
    alone with 1 / v - 1 of precision about their own value of z (v its variance); as the set-up has
    it, z is known to the share of its spread that is left: machine (25).
    """
    given = setup.given()
    found = []
    for group in _GROUPS:
        keys = tuple(key for key in group.keys if key in given)
        loose = replace(said, loose=said.loose | {group.unknown})
        tight_log, loose_log = (_reach(group.unknown, setup, one) for one in (said, loose))
        # Loose as it is: none of its keys is given, or one is believed.
        if not keys or abs(tight_log) > 0.99 * abs(loose_log):
            continue
        fitted = fit(setup, rides, count=_MACHINES, said=loose)
        z = fitted.z[:, INDEX[group.unknown]]
        middle = float(np.median(z))
        # The side that faces what the set-up gives, beyond which it falls off as a normal one.
        facing = float(np.quantile(z, 0.05 if middle > 0.0 else 0.95))
        variance = max(((middle - facing) / QUANTILE) ** 2, 1e-6)
        if variance > _LEFT:
            continue
        precision = 1.0 / variance - 1.0
        ratio = np.exp(loose_log * z)
        low, high = np.quantile(ratio, [0.5 - 0.5 * LEVEL, 0.5 + 0.5 * LEVEL])
        found.append(
            Tried(
                group.unknown, group.words, group.guess, keys,
                loose_log * middle / (variance * precision),
                float(np.hypot(loose_log / precision**0.5, tight_log)), fitted.log_evidence,
                Estimate(float(np.median(ratio)), float(low), float(high), LEVEL),
            )
        )  # fmt: skip
    return found


def _reach(unknown: str, setup: MachineSetup, said: Said) -> float:
    """Return by how much one spread of its range moves the logarithm of an unknown."""
    z: FloatArray = np.zeros((2, COUNT))
    z[1, INDEX[unknown]] = 1.0
    first, second = np.log(UNKNOWNS[INDEX[unknown]].of(machines_of(setup, z, said)))
    return float(second - first)


def loosened(believed: frozenset[str]) -> frozenset[str]:
    """Return the unknowns that are let loose because a key that goes into them is believed."""
    return frozenset(one.unknown for one in _GROUPS if believed & {*one.keys, *one.beside})
