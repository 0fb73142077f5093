"""The next change, answered from the machine as ridden: now, changed, difference, and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ridelog.analysis.cautions import Caution
from ridelog.core.errors import SetupError
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.track import FloatArray
from ridelog.machine.change import Change, changed, changed_drive
from ridelog.machine.drive import Drive
from ridelog.machine.evidence import Evidence
from ridelog.machine.fit import Fitted, fit, from_setup
from ridelog.machine.measures import Figure, LaunchWindow, figures
from ridelog.machine.performance import top_speed
from ridelog.machine.priors import UNKNOWNS
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_check import contradictions
from ridelog.machine.value_of_measurement import Narrowing, narrowings

# An unknown whose spread the rides left at more than this share of what it was, they cannot tell.
_UNTOLD = 0.7
# A hard stop of a small machine if nobody measured one; 3.5 m/s² is asked of vehicles up to
# 25 km/h (StVZO § 41 (4), eKFV § 4 (1)); the spread is common practice, no source.
_DECEL_MPS2, _DECEL_LOG_SD = 3.5, 0.25


@dataclass(frozen=True)
class Measure:
    """One measure now and after the change; None where the machine has no such figure.

    limited_by : what holds the changed machine back (one of drive.LIMITS), limited_now the present
        one; shares : the share of possible machines for which each is so.
    """

    name: str
    unit: str
    words: str
    now: Estimate | None
    changed: Estimate | None
    difference: Estimate | None
    limited_now: str
    limited_by: str
    share_now: float
    share: float
    reason: str


@dataclass(frozen=True)
class SweepPoint:
    """The measures at one value of a swept key."""

    value: Any
    present: bool
    measures: tuple[Measure, ...]


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

    untold : unknowns (words) of which the rides say little or nothing.
    bands : the pull over speed, now and changed.
    unknowns : name, words, unit, estimate and source of each.
    """

    setup: MachineSetup
    change: Change
    rides: tuple[str, ...]
    measures: tuple[Measure, ...]
    cautions: tuple[Caution, ...]
    notes: tuple[str, ...]
    unknowns: tuple[tuple[str, str, str, Estimate, str], ...]
    untold: tuple[str, ...]
    narrowings: tuple[Narrowing, ...]
    sweep_key: str
    sweep: tuple[SweepPoint, ...]
    bands: tuple[Band, Band]

    def measure(self, name: str) -> Measure | None:
        """Return a measure by its name, None if it was not predicted."""
        return next((one for one in self.measures if one.name == name), None)


def predict(
    setup: MachineSetup,
    rides: Sequence[Evidence],
    asked: Mapping[str, Any],
    windows: Sequence[LaunchWindow],
    *,
    sweep: tuple[str, Sequence[Any]] | None = None,
) -> Prediction:
    """Return what a change will do, from the set-up and the rides on it.

    Parameters
    ----------
    setup : MachineSetup
        The machine as it was in the rides.
    rides : sequence of Evidence
        What the rides told; may be empty, then the answer rests on the set-up alone.
    asked : mapping
        Keys of the set-up and their new values; may be empty when sweeping.
    windows : sequence of LaunchWindow
        Windows of the standing start.
    sweep : (key, values), optional
        A key to be tried at several values, on top of the change.

    Raises
    ------
    SetupError
        If the set-up contradicts itself where a figure would have to be chosen, or the change
        cannot be.
    """
    blocked = [doubt.text for doubt in contradictions(setup) if doubt.blocks]
    if blocked:
        raise SetupError(blocked[0], "settle this first; nothing was predicted.")
    change = changed(setup, asked)
    fitted = fit(setup, rides) if rides else from_setup(setup)
    here = _Here(fitted, rides)
    now = here.figures(Change({}, setup, ()), windows)
    after = here.figures(change, windows)
    measures = _measures(now, after)
    points = []
    for value in sweep[1] if sweep else ():
        assert sweep is not None
        point = changed(setup, {**asked, sweep[0]: value})
        points.append(
            SweepPoint(
                value,
                getattr(setup, sweep[0]) == value,
                _measures(now, here.figures(point, windows)),
            )
        )
    target = next(figure for figure in after if figure.name == "top_speed_mps").values
    return Prediction(
        setup=setup,
        change=change,
        rides=fitted.rides,
        measures=measures,
        cautions=risks(setup, change.setup, {m.name: (m.now, m.changed) for m in measures}),
        notes=(*change.notes, *_notes(setup, rides)),
        unknowns=_unknowns(fitted),
        untold=tuple(u.words for u in UNKNOWNS if fitted.learnt[u.name] > _UNTOLD and rides),
        narrowings=narrowings(fitted.drive, target, _made(setup, rides)),
        sweep_key=sweep[0] if sweep else "",
        sweep=tuple(points),
        bands=(_band(fitted.drive), _band(changed_drive(fitted.drive, setup, change))),
    )


def _made(setup: MachineSetup, rides: Sequence[Evidence]) -> frozenset[str]:
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


class _Here:
    """The machines of one fit, with what else was seen on the rides."""

    def __init__(self, fitted: Fitted, rides: Sequence[Evidence]) -> None:
        self.fitted = fitted
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
        self.top, _ = top_speed(fitted.drive)

    def figures(self, change: Change, windows: Sequence[LaunchWindow]) -> list[Figure]:
        drive = changed_drive(self.fitted.drive, self.fitted.setup, change)
        decel = self.decel
        if "brake_decel_mps2" in change.asked:
            decel = np.full_like(decel, change.setup.brake_decel_mps2)
        return figures(
            drive, change.setup, windows,
            decel_mps2=decel,
            lateral_mps2=self.lateral,
            speed_factor=top_speed(drive)[0] / self.top,
        )  # fmt: skip


def _measures(now: list[Figure], after: list[Figure]) -> tuple[Measure, ...]:
    old = {figure.name: figure for figure in now}
    found = []
    for figure in after:
        before = old.get(figure.name)
        first = None if before is None else estimate_of_possible(before.values)
        second = estimate_of_possible(figure.values)
        difference = (
            None
            if before is None or first is None or second is None
            else estimate_of_possible(figure.values - before.values)
        )
        limited_now, share_now = before.limited_by if before else ("", 0.0)
        limited_by, share = figure.limited_by
        reason = ""
        if second is None:
            reason = "The changed machine does not reach it, or cannot start."
        elif first is None:
            reason = "The present machine does not reach it."
        if first is None and second is None and figure.name.startswith("pull_at_"):
            continue
        found.append(
            Measure(
                figure.name,
                figure.unit,
                figure.words,
                first,
                second,
                difference,
                limited_now,
                limited_by,
                share_now,
                share,
                reason,
            )  # fmt: skip
        )
    return tuple(found)


def _notes(setup: MachineSetup, rides: Sequence[Evidence]) -> list[str]:
    notes = ["Speeds and launches are on the level in still air."]
    if not rides:
        notes.append(
            "No ride was given: the answer rests on the set-up and on handbook ranges alone."
        )
    if not any(ride.decel_mps2 for ride in rides):
        if setup.brake_decel_mps2 is None:
            notes.append(
                "No hard stop was measured: the stopping distance takes 3.5 m/s² (2.3 to 5.3), "
                "what slow vehicles must reach (StVZO § 41 (4))."
            )
    notes.append(
        "The stopping distance begins where the brake is touched; reacting takes about another "
        "second of way (common practice, no source)."
    )
    if any(ride.lateral_mps2 is not None for ride in rides):
        notes.append(
            "The lateral load is that of the hardest turn ridden, taken faster by as much as the "
            "top speed rises: it grows with the square of the speed."
        )
    return notes


def _unknowns(fitted: Fitted) -> tuple[tuple[str, str, str, Estimate, str], ...]:
    found = []
    for unknown in UNKNOWNS:
        estimate = estimate_of_possible(unknown.of(fitted.drive))
        if estimate is not None:
            found.append((unknown.name, unknown.words, unknown.unit, estimate, unknown.source))
    return tuple(found)
