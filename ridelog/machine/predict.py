"""The next change, answered from the machine as ridden: now, changed, difference, and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ridelog.analysis.figure import Figure
from ridelog.analysis.launches.windows import Window
from ridelog.analysis.settings import REACTION_S
from ridelog.analysis.subject import Caution
from ridelog.core.errors import SetupError
from ridelog.core.estimate import LEVEL, QUANTILE, Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.change import SetupChange, at_charge, changed, changed_drive, on_ground
from ridelog.machine.conditions import Conditions
from ridelog.machine.drive import Drive, on_slope, top_speed
from ridelog.machine.figures import Narrowing, PossibleFigure, figures_of, narrowings
from ridelog.machine.fit import Fitted, fit, from_setup
from ridelog.machine.key_check import contradicted_keys, loosened
from ridelog.machine.on_strip import StripSeen, strips_seen, true_on_level
from ridelog.machine.priors import UNKNOWNS, Said, Unknown
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_check import contradictions

# An unknown whose spread the rides left at more than this share of what it was, they cannot tell.
_UNIDENTIFIED = 0.7
# A hard stop of a small machine if nobody measured one; 3.5 m/s² is asked of vehicles up to
# 25 km/h (StVZO § 41 (4), eKFV § 4 (1)); the spread is common practice, no source.
_DECEL_MPS2, _DECEL_LOG_SD = 3.5, 0.25

# What a prediction calls the figures of rides that have another name there. The machine's top speed
# is on the level in still air, which the mean of both directions comes nearest to.
PREDICTED_NAMES = {"two_way_mps": "top_speed_mps"}


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


@dataclass(frozen=True)
class SweepPoint:
    """The figures at one value of a swept key."""

    value: Any
    present: bool
    figures: tuple[PredictedFigure, ...]


@dataclass(frozen=True)
class KnownOfMachine:
    """What is known of one unknown of a machine; ``told`` None where no ride was given."""

    unknown: Unknown
    estimate: Estimate
    told: bool | None


@dataclass(frozen=True)
class Band:
    """The pull over speed: median and interval at each speed, shape (k,); NaN above the top."""

    speed_mps: FloatArray
    low_mps2: FloatArray
    middle_mps2: FloatArray
    high_mps2: FloatArray


@dataclass(frozen=True)
class Prediction:
    """Everything that is predicted of one change.

    bands : the pull over speed, now and changed.
    measured : names of the figures whose present value the rides measured.
    conditions : what the figures hold for. strips : what the rides tell of the strips they were on.
    """

    setup: MachineSetup
    change: SetupChange
    rides: tuple[str, ...]
    figures: tuple[PredictedFigure, ...]
    cautions: tuple[Caution, ...]
    notes: tuple[str, ...]
    known: tuple[KnownOfMachine, ...]
    narrowings: tuple[Narrowing, ...]
    sweep_key: str
    sweep: tuple[SweepPoint, ...]
    bands: tuple[Band, Band]
    measured: frozenset[str] = frozenset()
    conditions: Conditions = field(default_factory=Conditions)
    strips: tuple[StripSeen, ...] = ()

    def __getitem__(self, name: str) -> PredictedFigure:
        """Return a figure by its name here or in rides."""
        found = self.get(PREDICTED_NAMES.get(name, name))
        if found is None:
            names = ", ".join(one.figure.name for one in self.figures)
            raise KeyError(f"{name!r}; predicted were {names}")
        return found

    def get(self, name: str) -> PredictedFigure | None:
        """Return a figure by its name, None if it was not predicted."""
        return next((one for one in self.figures if one.figure.name == name), None)

    @property
    def unidentified(self) -> tuple[str, ...]:
        """Words for the unknowns of which the rides say little or nothing."""
        return tuple(one.unknown.words for one in self.known if one.told is False)


def predict(
    setup: MachineSetup,
    rides: Sequence[CalibrationData],
    asked: Mapping[str, Any],
    windows: Sequence[Window],
    *,
    sweep: tuple[str, Sequence[Any]] | None = None,
    measured: Mapping[str, Estimate] | None = None,
    conditions: Conditions | None = None,
) -> Prediction:
    """Return what a change will do, from the set-up and the rides on it.

    ``rides`` is what rides on ``setup`` told; without any the answer rests on the set-up alone.
    ``asked`` may be empty when sweeping; a sweep tries a key at several values on top of it.
    ``measured`` holds figures of the present machine, by the names of a prediction, as all else
    says them of these rides: they stand as "now" where slope and wind hardly moved them. How they
    go with the prediction: METHOD.md, (11). ``conditions`` are what the figures are asked for.

    SetupError if the set-up contradicts itself where a figure would have to be chosen, the rides
    contradict it, or the change cannot be.
    """
    blocked = [doubt.text for doubt in contradictions(setup) if doubt.blocks]
    if blocked:
        raise SetupError(blocked[0], "settle this first; nothing was predicted.")
    change = changed(setup, asked)
    conditions = conditions or Conditions()
    said = Said(conditions.rides_charge, loosened(conditions.believed))
    _refuse_contradicted(setup, rides, said)
    fitted = fit(setup, rides, said=said) if rides else from_setup(setup, said=said)
    machines = _Machines(fitted, rides, conditions)
    measured = {
        **machines.measured,
        **({} if conditions.other_than_ridden else true_on_level(fitted, measured or {}, windows)),
    }
    unchanged = SetupChange({}, setup, ())
    now = machines.figures(unchanged, windows)
    after = machines.figures(change, windows)
    figures = _figures(now, after, measured)
    points = []
    for value in sweep[1] if sweep else ():
        assert sweep is not None
        point = changed(setup, {**asked, sweep[0]: value})
        there = _figures(now, machines.figures(point, windows), measured)
        points.append(SweepPoint(value, getattr(setup, sweep[0]) == value, there))
    target = next(figure for figure in after if figure.name == "top_speed_mps").values
    # Both of the fitted machine: a ride's own figure beside one of a model is no difference.
    pairs = {one.figure.name: (one.fitted_now, one.changed) for one in figures}
    return Prediction(
        setup=setup,
        change=change,
        rides=fitted.rides,
        figures=figures,
        cautions=risks(setup, change.setup, pairs),
        notes=(*change.notes, *_notes(setup, rides, conditions)),
        known=_known(fitted),
        narrowings=narrowings(fitted.drive, target, _made(setup, rides)),
        sweep_key=sweep[0] if sweep else "",
        sweep=tuple(points),
        bands=(_band(machines.drive(unchanged)), _band(machines.drive(change))),
        measured=frozenset(measured),
        conditions=conditions,
        strips=strips_seen(fitted),
    )


def _refuse_contradicted(setup: MachineSetup, rides: Sequence[CalibrationData], said: Said) -> None:
    found = contradicted_keys(setup, rides, said)
    if not found:
        return
    keys = found[0].keys
    raise SetupError(
        found[0].sentence(setup),
        "correct the set-up; or if the keys are as they should be, say so with `--believe "
        f"{keys[0]}` (or another of them): what they give together is then left to the rides.",
    )


def _made(setup: MachineSetup, rides: Sequence[CalibrationData]) -> frozenset[str]:
    """Return which measurements have been made, by their names in ``narrowing``."""
    made = {
        "top speed": any(ride.top_mps is not None for ride in rides),
        "pull": any(ride.pull is not None for ride in rides),
        "coasting": any(ride.coasting is not None for ride in rides),
        "mass": setup.machine_mass_kg is not None and setup.rider_mass_kg is not None,
        "motor speed": setup.motor_rpm_per_v is not None,
    }
    return frozenset(name for name, done in made.items() if done)


def _band(drive: Drive) -> Band:
    """Return the pull over speed, up to where half of the possible machines end."""
    top, _ = top_speed(drive)
    known = top[np.isfinite(top)]
    speed = np.linspace(0.0, float(np.median(known)) if len(known) else 1.0, 81)
    pull = drive.pull_mps2(speed)
    low, middle, high = np.quantile(pull, [0.5 - 0.5 * LEVEL, 0.5, 0.5 + 0.5 * LEVEL], axis=0)
    return Band(speed, low, middle, high)


class _Machines:
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

    def figures(self, change: SetupChange, windows: Sequence[Window]) -> list[PossibleFigure]:
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


def _figures(
    now: list[PossibleFigure], after: list[PossibleFigure], measured: Mapping[str, Estimate]
) -> tuple[PredictedFigure, ...]:
    old = {figure.name: figure for figure in now}
    found = []
    for one in after:
        before = old.get(one.name)
        first = None if before is None else estimate_of_possible(before.values)
        second = estimate_of_possible(one.values)
        difference = (
            None
            if before is None or first is None or second is None
            else estimate_of_possible(one.values - before.values)
        )
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
        if seen and first and one.name == "top_speed_mps":
            # A run that had not settled shows less than the machine has.
            seen = seen if first.low <= seen.value else None
        found.append(
            PredictedFigure(
                figure, seen or first, first, difference, limited_now, limited_by,
                share,
            )
        )  # fmt: skip
    return tuple(found)


def _notes(setup: MachineSetup, rides: Sequence[CalibrationData], asked: Conditions) -> list[str]:
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
    if any(ride.lateral_mps2 is not None for ride in rides):
        notes.append(
            "The sideways acceleration is that of the hardest turn ridden: the rider chooses how "
            "fast to turn, so the change leaves it as it is."
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


def _known(fitted: Fitted) -> tuple[KnownOfMachine, ...]:
    found = []
    for unknown in UNKNOWNS:
        estimate = estimate_of_possible(unknown.of(fitted.drive))
        told = fitted.learnt[unknown.name] <= _UNIDENTIFIED if fitted.rides else None
        # The gear ratio by itself is only another half of "tyre and gearing".
        if estimate is not None and unknown.name != "ratio":
            found.append(KnownOfMachine(unknown, estimate, told))
    return tuple(found)
