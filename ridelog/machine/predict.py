"""The next change, answered from the machine as ridden: now, changed, difference, and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ridelog.analysis.launches.windows import Window
from ridelog.analysis.subject import Caution
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.track import FloatArray
from ridelog.machine.calibration_data import CalibrationData
from ridelog.machine.change import SetupChange, changed
from ridelog.machine.conditions import Conditions
from ridelog.machine.cost import Cost
from ridelog.machine.drive import Drive, top_speed
from ridelog.machine.figures import Narrowing, narrowings
from ridelog.machine.fit import Fitted
from ridelog.machine.on_strip import StripSeen, strips_seen
from ridelog.machine.possible import (
    PredictedFigure,
    basis_notes,
    paired,
    possible_machines,
    refuse_contradictions,
)
from ridelog.machine.priors import UNKNOWNS, Unknown
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup

# An unknown whose spread the rides left at more than this share of what it was, they cannot tell:
# own choice.
_UNIDENTIFIED = 0.7
# What a prediction calls the figures of rides that have another name there. The machine's top speed
# is on the level in still air, which the mean of both directions comes nearest to.
PREDICTED_NAMES = {"two_way_mps": "top_speed_mps"}


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
    cost : of the change, as the workshop notes it.
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
    cost: Cost = field(default_factory=Cost)

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
    seen: Sequence[Caution] = (),
) -> Prediction:
    """Return what a change will do, from the set-up and the rides on it.

    ``rides`` is what rides on ``setup`` told; without any the answer rests on the set-up alone.
    ``asked`` may be empty when sweeping; a sweep tries a key at several values on top of it.
    ``measured`` holds figures of the present machine, by the names of a prediction, as all else
    says them of these rides: they stand as "now" where slope and wind hardly moved them. How they
    go with the prediction: METHOD.md, (11). ``conditions`` are what the figures are asked for;
    ``seen`` is what the rides warn of.

    SetupError if the set-up contradicts itself where a figure would have to be chosen, the rides
    contradict it, or the change cannot be.
    """
    refuse_contradictions(setup)
    change = changed(setup, asked)
    conditions = conditions or Conditions()
    machines = possible_machines(setup, rides, conditions)
    fitted = machines.fitted
    measured = machines.measured_too(measured or {}, windows)
    unchanged = SetupChange({}, setup, ())
    now = machines.figures(unchanged, windows)
    after = machines.figures(change, windows) if asked else now
    figures = paired(now, after, measured)
    points = []
    for value in sweep[1] if sweep else ():
        assert sweep is not None
        point = changed(setup, {**asked, sweep[0]: value})
        there = paired(now, machines.figures(point, windows), measured)
        points.append(SweepPoint(value, getattr(setup, sweep[0]) == value, there))
    target = next(figure for figure in after if figure.name == "top_speed_mps").values
    # Both of the fitted machine: a ride's own figure beside one of a model is no difference.
    pairs = {one.figure.name: (one.fitted_now, one.changed) for one in figures}
    return Prediction(
        setup=setup,
        change=change,
        rides=fitted.rides,
        figures=figures,
        cautions=risks(setup, change.setup, pairs, seen),
        notes=(*change.notes, *basis_notes(setup, rides, conditions)),
        known=_known(fitted),
        narrowings=narrowings(fitted.drive, target, _made(setup, rides)),
        sweep_key=sweep[0] if sweep else "",
        sweep=tuple(points),
        bands=(_band(machines.drive(unchanged)), _band(machines.drive(change))),
        measured=frozenset(measured),
        conditions=conditions,
        strips=strips_seen(fitted),
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


def _known(fitted: Fitted) -> tuple[KnownOfMachine, ...]:
    found = []
    for unknown in UNKNOWNS:
        estimate = estimate_of_possible(unknown.of(fitted.drive))
        told = fitted.learnt[unknown.name] <= _UNIDENTIFIED if fitted.rides else None
        # The gear ratio by itself is only another half of "tyre and gearing"; what the set-up
        # settles is no unknown.
        settled = estimate is not None and estimate.low == estimate.high
        if estimate is not None and unknown.name != "ratio" and not settled:
            found.append(KnownOfMachine(unknown, estimate, told))
    return tuple(found)
