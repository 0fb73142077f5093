"""The figures of a prediction on equally likely possible machines, and what would narrow them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.launches.windows import Window
from ridelog.analysis.settings import REACTION_S
from ridelog.core.quantity import (
    ACCELERATION,
    CURRENT,
    ENERGY_PER_LENGTH,
    LENGTH,
    POWER,
    SLOPE,
    SPEED,
    TIME,
    TRAVEL,
    TURN_LOAD,
    Quantity,
)
from ridelog.core.track import FloatArray
from ridelog.core.units import MPS_PER_KMH, STANDARD_GRAVITY_MPS2
from ridelog.machine.conditions import SpeedAsked
from ridelog.machine.drive import LIMITS, Drive, IntArray, top_speed
from ridelog.machine.setup import MachineSetup
from ridelog.machine.standing import PossibleLaunch, launch, peak
from ridelog.machine.tipping import tip_over_mps2
from ridelog.machine.travel import energy_j_per_m, range_m

# Speeds at which the pull is told: own choice, from rest to near the top of small machines. [m/s]
PULL_SPEEDS_MPS = (0.0, 2.0, 4.0, 6.0, 8.0)
# Name and title of the sideways acceleration from which it tips.
TIP_OVER = ("tip_over_mps2", "tips over in a turn of", TURN_LOAD)
# Speeds at which a climb is held, and their words: own choice, a slow one and a brisk one.
CLIMBS = (("8_kmh", "8 km/h", 8.0 * MPS_PER_KMH), ("15_kmh", "15 km/h", 15.0 * MPS_PER_KMH))


@dataclass(frozen=True)
class PossibleFigure:
    """One figure on all possible machines; name, title and ``at_mps`` as of ``analysis.figure``.

    values : shape (n,), NaN where a machine has none. limit : index into LIMITS, (n,), or None for
    what the drive does not limit.
    """

    name: str
    title: str
    quantity: Quantity
    values: FloatArray
    limit: IntArray | None
    at_mps: float | None = None

    @property
    def limited_by(self) -> tuple[str, float]:
        """Return the commonest limit and the share of machines that it holds back."""
        if self.limit is None:
            return "", 0.0
        known = self.limit[np.isfinite(self.values)]
        if not len(known):
            return "", 0.0
        counts = np.bincount(known, minlength=len(LIMITS))
        return LIMITS[int(counts.argmax())], float(counts.max() / len(known))


def figures_of(
    drive: Drive,
    setup: MachineSetup,
    windows: Iterable[Window],
    *,
    decel_mps2: FloatArray,
    lateral_mps2: FloatArray | None = None,
    at: Sequence[SpeedAsked] = (),
    full: bool = True,
) -> list[PossibleFigure]:
    """Return every figure of some possible machines.

    ``decel_mps2`` is that of a hard stop, ``lateral_mps2`` that in the hardest turn of the rides,
    both (n,): the rider chooses it, so no change of the machine moves it. ``at`` are the speeds for
    energy and range; ``full`` whether the range begins with a full pack.
    """
    top, top_limit = top_speed(drive)
    start = launch(drive)
    found = [PossibleFigure("top_speed_mps", "top speed", SPEED, top, top_limit)]
    found += [_window(start, window) for window in windows]
    for speed in PULL_SPEEDS_MPS:
        here = np.array([speed])
        pull = np.where(top > speed, drive.pull_mps2(here)[:, 0], np.nan)
        limit = drive.limits(here)[:, 0]
        if speed == 0.0:
            title, name = "pull at standstill", "pull_at_0_mps2"
            found.append(PossibleFigure(name, title, ACCELERATION, pull, limit))
        else:
            title, name = "pull at {speed}", f"pull_at_{speed:g}_mps"
            found.append(PossibleFigure(name, title, ACCELERATION, pull, limit, speed))
    for name, what, quantity, words in (
        ("battery_current_a", "battery_current_a", CURRENT, "battery current, peak"),
        ("battery_power_w", "battery_power_w", POWER, "battery power, peak"),
        ("motor_current_a", "winding_a", CURRENT, "motor current, peak"),
    ):
        stem, _, suffix = name.rpartition("_")
        values, limit = peak(drive, what)
        found.append(PossibleFigure(f"{stem}_peak_{suffix}", words, quantity, values, limit))
    stop = top * REACTION_S + top**2 / (2.0 * decel_mps2)
    found.append(PossibleFigure("stopping_distance_m", "stop from top speed", LENGTH, stop, None))
    if lateral_mps2 is not None:
        found.append(
            PossibleFigure(
                "lateral_accel_mps2", "sideways in hardest turn", TURN_LOAD, lateral_mps2, None
            )
        )  # fmt: skip
    tips = tip_over_mps2(setup, len(top))
    if tips is not None:
        found.append(PossibleFigure(*TIP_OVER, tips, None))
    return found + _climbs(drive) + _travel(drive, setup, at, top, top_limit, full)


def _climbs(drive: Drive) -> list[PossibleFigure]:
    """Return the steepest slopes that the machine starts on and holds, beyond that of its load."""
    weight_n = drive.mass_kg * STANDARD_GRAVITY_MPS2
    found = []
    # A start needs a little to spare, or it never gets away: a crawl counts as one.
    for name, words, speed in (("climb_from_rest", "steepest start", 0.0), *(
        (f"climb_at_{key}", f"climb held at {label}", speed) for key, label, speed in CLIMBS
    )):  # fmt: skip
        at = np.array([speed])
        spare = (drive.force_n(at) - drive.load.force_n(at))[:, 0] / weight_n
        slope = np.tan(np.arcsin(np.clip(spare, -0.7, 0.7)))
        slope = np.where(slope > 0.0, slope, np.nan)
        found.append(PossibleFigure(name, words, SLOPE, slope, drive.limits(at)[:, 0]))
    return found


def _travel(
    drive: Drive,
    setup: MachineSetup,
    at: Sequence[SpeedAsked],
    top: FloatArray,
    limit: IntArray,
    full: bool,
) -> list[PossibleFigure]:
    known = np.where(np.isfinite(top), 0.999999 * top, np.nan)
    found = [
        PossibleFigure(
            "energy_at_top_j_per_m", "energy at top speed", ENERGY_PER_LENGTH,
            energy_j_per_m(drive, known), limit,
        )
    ]  # fmt: skip
    far = range_m(drive, setup, None, full=full)
    if far is not None:
        found.append(PossibleFigure("range_at_top_m", "range at top speed", TRAVEL, far, limit))
    for one in at:
        there = np.array([one.speed_mps])
        found.append(
            PossibleFigure(
                f"energy_at_{one.name}_j_per_m", f"energy at {one.label}", ENERGY_PER_LENGTH,
                energy_j_per_m(drive, np.full_like(top, one.speed_mps)),
                drive.limits(there)[:, 0],
            )
        )  # fmt: skip
        far = range_m(drive, setup, one.speed_mps, full=full)
        if far is not None:
            found.append(
                PossibleFigure(
                    f"range_at_{one.name}_m", f"range at {one.label}", TRAVEL, far,
                    drive.limits(there)[:, 0],
                )
            )  # fmt: skip
    return found


def _window(start: PossibleLaunch, window: Window) -> PossibleFigure:
    if window.distance_m is not None:
        time_s = start.time_to_distance_s(window.distance_m)
        end = np.nan_to_num(start.speed_at_distance_mps(window.distance_m))
        limit = start.longest_limit(0.0, float(np.median(end)))
    else:
        assert window.to_mps is not None
        time_s = start.window_s(window.from_mps, window.to_mps)
        limit = start.longest_limit(window.from_mps, window.to_mps)
    return PossibleFigure(window.label, window.label, TIME, time_s, limit)


# Slices of the machines; the spread inside one is what remains after a good measurement. Own
# choice: more are finer and hold too few machines each to have a spread.
_SLICES = 25
# Speed of the pull that would be measured: own choice, past the opening of the throttle.
_AT_MPS = 3.0


@dataclass(frozen=True)
class Narrowing:
    """One measurement and what it would leave.

    words : what to measure and how. remaining : spread of the prediction afterwards as a share of
    that before, 0 to 1.
    """

    name: str
    words: str
    remaining: float


def narrowings(
    drive: Drive, target: FloatArray, known_already: frozenset[str] = frozenset()
) -> tuple[Narrowing, ...]:
    """Return what each possible measurement would leave of a prediction's spread, best first.

    The possible machines are sliced by what the measurement would show; the root mean square of
    the target's spread inside slices over its whole spread is what remains (one minus the
    correlation ratio, Pearson 1905; own estimate by slices).

    ``target`` is the predicted figure on each machine, (n,), NaN where it has none; measurements in
    ``known_already`` were made and are left out.
    """
    known = np.isfinite(target)
    whole = float(np.std(target[known])) if known.sum() > 2 * _SLICES else 0.0
    if whole == 0.0:
        return ()
    found = []
    for name, words, values in _measurements(drive):
        if name in known_already:
            continue
        order = np.argsort(values[known], kind="stable")
        slices = np.array_split(target[known][order], _SLICES)
        inside = float(np.sqrt(np.mean([np.var(part, ddof=1) for part in slices])))
        found.append(Narrowing(name, words, min(inside / whole, 1.0)))
    return tuple(sorted(found, key=lambda one: one.remaining))


def _measurements(drive: Drive) -> list[tuple[str, str, FloatArray]]:
    at = np.array([_AT_MPS])
    top, _ = top_speed(drive)
    known = np.nan_to_num(top)
    return [
        ("top speed", "the top speed in both directions, logged on a ride", known),
        ("pull", "standing starts at full throttle, logged on a ride", drive.pull_mps2(at)[:, 0]),
        ("coasting", "coasting down from top speed in both directions, logged on a ride",
         drive.coasting_mps2(np.array([6.0]))[:, 0]),
        ("mass", "the mass of machine and rider, on a scale", drive.mass_kg),
        ("motor speed", "the motor's speed without load for each volt, on the stand",
         drive.constant_nmpa),
        ("battery current", "the largest battery current, with a clamp meter (competent hands)",
         drive.limit_power_w),
        ("wheel speed", "the driven wheel's speed off the ground at full throttle, on a safe stand",
         drive.no_load_mps),
    ]  # fmt: skip
