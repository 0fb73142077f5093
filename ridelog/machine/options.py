"""Some changes side by side: every one predicted from the same possible machines."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ridelog.analysis.figure import Figure
from ridelog.analysis.launches.windows import Window
from ridelog.analysis.subject import Caution
from ridelog.core.errors import SetupError
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.quantity import ENERGY_PER_LENGTH, TRAVEL, Quantity
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.change import SetupChange, changed
from ridelog.machine.conditions import Conditions
from ridelog.machine.cost import NO_CURRENCY
from ridelog.machine.electrics import electrical_sheet
from ridelog.machine.figures import TIP_OVER, PossibleFigure
from ridelog.machine.possible import (
    PredictedFigure,
    basis_notes,
    paired,
    possible_machines,
    refuse_contradictions,
)
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup, pack_voltage

# One is a prediction; more columns find no room on a page. Own choice.
FEWEST, MOST = 2, 6


@dataclass(frozen=True)
class ChangeOption:
    """One change that could be made: what, for how much money, in how many hours of work."""

    name: str
    asked: Mapping[str, Any]
    price: float | None = None
    hours: float | None = None
    note: str = ""


@dataclass(frozen=True)
class OptionOutcome:
    """What one option would do.

    figures : as of a prediction; differences are to the machine as it is. cautions : what it
    breaks. open : what nobody has confirmed of the parts that it touches, a sentence each.
    """

    option: ChangeOption
    change: SetupChange
    figures: tuple[PredictedFigure, ...]
    cautions: tuple[Caution, ...]
    open: tuple[str, ...]

    def get(self, name: str) -> PredictedFigure | None:
        """Return a figure by its name, None if it was not predicted."""
        return next((one for one in self.figures if one.figure.name == name), None)


@dataclass(frozen=True)
class Ends:
    """Who has least and most of a figure: 0 for the machine as it is, then the options from 1.

    Several stand there if the possible machines do not tell them apart.
    """

    name: str
    least: tuple[int, ...]
    most: tuple[int, ...]


@dataclass(frozen=True)
class OptionsPredicted:
    """Options side by side with the machine as it is.

    now : its figures, as the rides measured them where they tell. cautions_now : what is wrong with
    it already. measured : names of figures that the rides measured.
    """

    setup: MachineSetup
    currency: str
    rides: tuple[str, ...]
    now: tuple[PredictedFigure, ...]
    cautions_now: tuple[Caution, ...]
    outcomes: tuple[OptionOutcome, ...]
    ends: tuple[Ends, ...]
    notes: tuple[str, ...]
    windows: tuple[str, ...]
    measured: frozenset[str]
    conditions: Conditions

    def end(self, name: str) -> Ends | None:
        """Return who has least and most of a figure, None if nobody has it."""
        return next((one for one in self.ends if one.name == name), None)


def predict_options(
    setup: MachineSetup,
    rides: Sequence[CalibrationData],
    options: Sequence[ChangeOption],
    windows: Sequence[Window],
    *,
    currency: str = NO_CURRENCY,
    measured: Mapping[str, Estimate] | None = None,
    conditions: Conditions | None = None,
    seen: Sequence[Caution] = (),
) -> OptionsPredicted:
    """Return what each option would do to the machine of some rides.

    The machine is fitted once, and every option changes the same possible machines, so that what
    they do not know of it cancels in each difference. Arguments are as of ``predict.predict``.

    SetupError as for a prediction, with the name of the option.
    """
    changes = changes_of(setup, options)
    conditions = conditions or Conditions()
    machines = possible_machines(setup, rides, conditions)
    known = machines.measured_too(measured or {}, windows)
    now = machines.figures(SetupChange({}, setup, ()), windows)
    present = tuple(
        one
        if one.changed is not None
        else replace(one, figure=replace(one.figure, reason="the machine does not reach it"))
        for one in paired(now, now, known)
    )
    every = [now]
    outcomes = []
    for option, change in zip(options, changes, strict=True):
        after = machines.figures(change, windows)
        every.append(after)
        figures = paired(now, after, known)
        # Both of the fitted machine: a ride's own figure beside one of a model is no difference.
        pairs = {one.figure.name: (one.fitted_now, one.changed) for one in figures}
        outcomes.append(
            OptionOutcome(
                option,
                change,
                (*figures, *_missing(change.setup, figures, conditions)),
                risks(setup, change.setup, pairs, seen),
                _open(setup, change.setup, pairs),
            )
        )
    return OptionsPredicted(
        setup=setup,
        currency=currency,
        rides=machines.fitted.rides,
        now=(*present, *_missing(setup, present, conditions)),
        cautions_now=risks(
            setup, setup, {one.figure.name: (one.fitted_now, one.changed) for one in present}, seen
        ),
        outcomes=tuple(outcomes),
        ends=_ends(every),
        notes=tuple(
            dict.fromkeys(
                (
                    *(f"{o.option.name}: {n}" for o in outcomes for n in o.change.notes),
                    *basis_notes(setup, rides, conditions),
                )
            )
        ),
        windows=tuple(window.label for window in windows),
        measured=frozenset(known),
        conditions=conditions,
    )


def changes_of(setup: MachineSetup, options: Sequence[ChangeOption]) -> tuple[SetupChange, ...]:
    """Return the set-up after each option.

    SetupError for the first that cannot be, with its name.
    """
    refuse_contradictions(setup)
    found = []
    for option in options:
        try:
            found.append(changed(setup, option.asked))
        except SetupError as error:
            raise SetupError(f"{option.name}: {error.problem}", error.advice) from error
    return tuple(found)


def _ends(every: Sequence[Sequence[PossibleFigure]]) -> tuple[Ends, ...]:
    """Return who has least and most of each figure that at least two of the machines have."""
    found = []
    for name in dict.fromkeys(figure.name for side in every for figure in side):
        draws = {
            number: one.values
            for number, side in enumerate(every)
            for one in side
            if one.name == name and estimate_of_possible(one.values) is not None
        }
        if len(draws) < 2:
            continue
        middle = {number: float(np.nanmedian(values)) for number, values in draws.items()}
        sides = []
        for first in (min(middle, key=middle.__getitem__), max(middle, key=middle.__getitem__)):
            apart = {n: estimate_of_possible(draws[n] - draws[first]) for n in draws}
            sides.append(tuple(n for n, e in apart.items() if e and e.low <= 0.0 <= e.high))
        found.append(Ends(name, sides[0], sides[1]))
    return tuple(found)


def _missing(
    setup: MachineSetup, figures: Sequence[PredictedFigure], conditions: Conditions
) -> tuple[PredictedFigure, ...]:
    """Return figures that an owner asks for but the set-up lacks a key for, with the reason."""
    held = {one.figure.name for one in figures}
    wanted: list[tuple[str, str, Quantity, str]] = []
    lacks = "battery voltage" if setup.battery_capacity_ah else "battery_capacity_ah"
    for at in conditions.at:
        why = "the machine does not hold this speed"
        name, title = f"energy_at_{at.name}_j_per_m", f"energy at {at.label}"
        wanted.append((name, title, ENERGY_PER_LENGTH, why))
        known = setup.battery_capacity_ah and pack_voltage(setup)
        why = why if known else f"the set-up gives no {lacks}"
        wanted.append((f"range_at_{at.name}_m", f"range at {at.label}", TRAVEL, why))
    keys = ("track_width_m", "cg_height_m")
    lack = " and ".join(key for key in keys if getattr(setup, key) is None)
    wanted.append((*TIP_OVER, f"the set-up gives no {lack}"))
    return tuple(
        PredictedFigure(Figure(name, title, quantity, None, why), None, None, None, "", "", 0.0)
        for name, title, quantity, why in wanted
        if name not in held
    )


# Keys whose change other volts follow, and those that let other currents flow.
_VOLTS = ("battery_cells", "battery_chemistry", "battery_nominal_v", "battery_full_v")
_CURRENTS = ("battery_limit_a", "motor_limit_a", "fuse_a", "wire_mm2", "wire_length_m",
             "battery_capacity_ah", "battery_max_a", "connector_max_a")  # fmt: skip


def _open(
    before: MachineSetup,
    after: MachineSetup,
    pairs: Mapping[str, tuple[Estimate | None, Estimate | None]],
) -> tuple[str, ...]:
    """Return what nobody has confirmed of the parts that a change touches."""
    volts = _differ(before, after, _VOLTS)
    now, then = pairs.get("battery_current_peak_a", (None, None))
    more = now is not None and then is not None and then.value > 1.01 * now.value
    amperes = more or _differ(before, after, _CURRENTS)
    touched = {
        "volts": volts,
        "watts": volts,
        "amperes": amperes,
        "drop": amperes,
        "cells": amperes,
        "sag": amperes,
    }
    return tuple(
        f"{line.name}: not confirmed; {line.text}"
        for line in electrical_sheet(after)
        if line.state == "not confirmed" and touched.get(line.name.rpartition(" ")[2], False)
    )


def _differ(before: MachineSetup, after: MachineSetup, keys: Sequence[str]) -> bool:
    return any(getattr(before, key) != getattr(after, key) for key in keys)
