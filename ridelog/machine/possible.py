"""The machines that a set-up and rides leave possible, and their figures before and after."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.figure import Figure
from ridelog.analysis.launches.windows import Window
from ridelog.analysis.settings import REACTION_S
from ridelog.core.errors import SetupError
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.change import SetupChange, at_charge, changed_drive, on_ground
from ridelog.machine.conditions import Conditions
from ridelog.machine.drive import Drive, on_slope
from ridelog.machine.figures import PossibleFigure, figures_of
from ridelog.machine.fit import Fitted, fit, from_setup
from ridelog.machine.key_check import contradicted_keys, loosened
from ridelog.machine.on_strip import true_on_level
from ridelog.machine.priors import Said
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_check import contradictions

# A hard stop of a small machine if nobody measured one; 3.5 m/s² is asked of vehicles up to
# 25 km/h (StVZO § 41 (4), eKFV § 4 (1)); the spread is common practice, no source.
_DECEL_MPS2, _DECEL_LOG_SD = 3.5, 0.25


@dataclass(frozen=True)
class PredictedFigure:
    """One figure now and after the change; None where the machine has no such figure.

    figure : name, title, quantity; its estimate is that after the change, its reason says why there
        is none.
    now : what the rides measured, where they tell it; else ``fitted_now``.
    fitted_now : what the possible machines have now.
    difference : after the change less now, both of the possible machines.
    limited_by : what holds the changed machine back (one of drive.LIMITS), limited_now the present
        one; share : the share of possible machines that the former holds back.
    """

    figure: Figure
    now: Estimate | None
    fitted_now: Estimate | None
    difference: Estimate | None
    limited_now: str
    limited_by: str
    share: float

    @property
    def changed(self) -> Estimate | None:
        """The figure after the change."""
        return self.figure.estimate


def possible_machines(
    setup: MachineSetup, rides: Sequence[CalibrationData], conditions: Conditions
) -> "PossibleMachines":
    """Return the machines that set-up and rides leave possible.

    ``rides`` is what rides on ``setup`` told; without any the set-up alone decides.

    SetupError if the set-up contradicts itself where a figure would have to be chosen, or the rides
    contradict it.
    """
    refuse_contradictions(setup)
    said = Said(conditions.rides_charge, loosened(conditions.believed))
    fitted = fit(setup, rides, said=said) if rides else from_setup(setup, said=said)
    _refuse_contradicted(fitted, rides, said)
    return PossibleMachines(fitted, rides, conditions)


def refuse_contradictions(setup: MachineSetup) -> None:
    """Do nothing, or raise SetupError if a figure of the set-up would have to be chosen."""
    blocked = [doubt.text for doubt in contradictions(setup) if doubt.blocks]
    if blocked:
        raise SetupError(blocked[0], "settle this first; nothing was predicted.")


def _refuse_contradicted(fitted: Fitted, rides: Sequence[CalibrationData], said: Said) -> None:
    found = contradicted_keys(fitted, rides, said)
    if found is not None:
        raise SetupError(
            found.sentence(fitted.setup),
            "correct the set-up; or if the keys are as they should be, say so with `--believe "
            f"{found.keys[0]}` (or another of them): what they give together is then left to the "
            "rides.",
        )


class PossibleMachines:
    """The machines of one fit, with what else was seen on the rides.

    measured : figures that the rides tell and no model: the hardest turn.
    """

    def __init__(
        self, fitted: Fitted, rides: Sequence[CalibrationData], conditions: Conditions
    ) -> None:
        self.fitted, self.conditions = fitted, conditions
        self.measured: dict[str, Estimate] = {}
        count = len(fitted.drive.mass_kg)
        rng = np.random.default_rng(4)
        stops = [stop for ride in rides for stop in ride.decel_mps2]
        given = fitted.setup.brake_decel_mps2
        if stops:
            # A stop to come is like one of those seen: which one, and its own uncertainty.
            chosen = rng.integers(0, len(stops), count)
            sd = np.array([stop.sd for stop in stops])
            values = np.array([stop.value for stop in stops])
            self.decel = np.maximum(values[chosen] + sd[chosen] * rng.standard_normal(count), 0.3)
        else:
            centre, spread = (given, 0.1) if given is not None else (_DECEL_MPS2, _DECEL_LOG_SD)
            self.decel = centre * np.exp(spread * rng.standard_normal(count))
        turns = [ride.lateral_mps2 for ride in rides if ride.lateral_mps2 is not None]
        self.lateral: FloatArray | None = None
        if turns:
            hardest = max(turns, key=lambda turn: turn.value)
            draws = hardest.value + hardest.sd * rng.standard_normal(count)
            self.lateral = np.maximum(draws, 0.0)
            self.measured["lateral_accel_mps2"] = hardest

    def drive(self, change: SetupChange) -> Drive:
        """Return the machines after a change, under the conditions asked for."""
        asked = self.conditions
        drive = changed_drive(self.fitted.drive, self.fitted.setup, change)
        ground = change.setup.surface
        if asked.surface is not None and asked.surface != ground:
            drive = on_ground(drive, ground, asked.surface)
        if asked.charge is not None:
            drive = at_charge(drive, change.setup, asked.charge)
        return on_slope(drive, asked.slope) if asked.slope else drive

    def measured_too(
        self, told: Mapping[str, Estimate], windows: Sequence[Window]
    ) -> dict[str, Estimate]:
        """Return which present figures the rides measured, of those that were told of them."""
        if self.conditions.other_than_ridden:
            return dict(self.measured)
        return {**self.measured, **true_on_level(self.fitted, told, windows)}

    def figures(self, change: SetupChange, windows: Sequence[Window]) -> list[PossibleFigure]:
        """Return every figure of the machines after a change."""
        drive = self.drive(change)
        decel = self.decel
        if "brake_decel_mps2" in change.asked:
            decel = np.full_like(decel, change.setup.brake_decel_mps2)
        return figures_of(
            drive, change.setup, windows,
            decel_mps2=decel,
            lateral_mps2=self.lateral,
            at=self.conditions.at,
            full=self.conditions.charge is None,
        )  # fmt: skip


def paired(
    now: list[PossibleFigure], after: list[PossibleFigure], measured: Mapping[str, Estimate]
) -> tuple[PredictedFigure, ...]:
    """Return figures of the same machines now and after a change, and how they differ."""
    old = {figure.name: figure for figure in now}
    found = []
    for one in after:
        before = old.get(one.name)
        first = None if before is None else estimate_of_possible(before.values)
        second = estimate_of_possible(one.values)
        difference = None if before is None else estimate_of_possible(one.values - before.values)
        limited_now = before.limited_by[0] if before else ""
        limited_by, share = one.limited_by
        reason = ""
        if second is None:
            reason = "the changed machine does not reach it, or cannot start"
        elif first is None:
            reason = "the present machine does not reach it"
        if first is None and second is None and one.at_mps is not None:
            continue
        figure = Figure(one.name, one.title, one.quantity, second, reason, at_mps=one.at_mps)
        seen = measured.get(one.name)
        found.append(
            PredictedFigure(
                figure, seen or first, first, difference, limited_now, limited_by,
                share,
            )
        )  # fmt: skip
    return tuple(found)


def basis_notes(
    setup: MachineSetup, rides: Sequence[CalibrationData], asked: Conditions
) -> list[str]:
    """Return what the figures hold for and what they assume, a sentence each."""
    notes = [_conditions_words(setup, rides, asked)]
    if not rides:
        notes.append(
            "No ride was given: the answer rests on the set-up and on handbook ranges alone."
        )
    if not any(ride.decel_mps2 for ride in rides) and setup.brake_decel_mps2 is None:
        low, high = (
            _DECEL_MPS2 * np.exp(sign * QUANTILE * _DECEL_LOG_SD) / STANDARD_GRAVITY_MPS2
            for sign in (-1.0, 1.0)
        )
        notes.append(
            "No hard stop was measured: the stopping distance takes "
            f"{_DECEL_MPS2 / STANDARD_GRAVITY_MPS2:.2f} g ({low:.2f} to {high:.2f}), what slow "
            "vehicles must reach (StVZO § 41 (4))."
        )
    notes.append(
        f"The stopping distance includes {REACTION_S:g} s until the brake is touched (common "
        "practice, no source)."
    )
    return notes


def _conditions_words(
    setup: MachineSetup, rides: Sequence[CalibrationData], asked: Conditions
) -> str:
    """Return in a sentence what the figures hold for."""
    where = (
        "on the level"
        if not asked.slope
        else f"on {100.0 * abs(asked.slope):g} % {'uphill' if asked.slope > 0.0 else 'downhill'}"
    )
    ground = asked.surface or setup.surface
    on = f"on {ground}" if ground else "on the ground of the rides" if rides else "on any ground"
    full = "with the charge of the rides" if rides else "whatever the charge"
    known = asked.charge or asked.rides_charge
    if known is not None:
        full = f"with the battery {100.0 * known[0]:.0f} % full"
    return f"Speeds and launches are {where} in still air, {on}, {full}."
