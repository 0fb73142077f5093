"""The figures of a prediction, each as values on equally likely possible machines."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from ridelog.analysis.settings import REACTION_S
from ridelog.core.quantity import (
    ACCELERATION,
    CURRENT,
    ENERGY_PER_LENGTH,
    LENGTH,
    POWER,
    SPEED,
    TIME,
    TRAVEL,
    Quantity,
)
from ridelog.core.track import FloatArray
from ridelog.core.units import COULOMBS_PER_AH
from ridelog.machine.components import pack_voltage
from ridelog.machine.drive import LIMITS, Drive, IntArray
from ridelog.machine.performance import PossibleLaunch, launch, peak, top_speed
from ridelog.machine.setup import MachineSetup

# Speeds at which the pull is told. [m/s]
PULL_SPEEDS_MPS = (0.0, 2.0, 4.0, 6.0, 8.0)
# Of the capacity printed on a battery, so much is ridden; common practice, no source.
_USABLE_SHARE = 0.9


class LaunchWindow(Protocol):
    """A window of a standing start or of rolling, as ``analysis.launches.windows`` makes them."""

    @property
    def label(self) -> str:
        """Return its words, such as "0-20 km/h"."""

    @property
    def from_mps(self) -> float:
        """Return the speed at which it begins. [m/s]"""

    @property
    def to_mps(self) -> float | None:
        """Return the speed at which it ends, None for a window over a distance. [m/s]"""

    @property
    def distance_m(self) -> float | None:
        """Return its distance from the start, None for a window of speeds. [m]"""


@dataclass(frozen=True)
class PossibleFigure:
    """One figure on all possible machines; name, title and ``at_mps`` as of ``analysis.figure``.

    values : shape (n,), NaN where a machine has none. limit : index into LIMITS, (n,).
    """

    name: str
    title: str
    quantity: Quantity
    values: FloatArray
    limit: IntArray
    at_mps: float | None = None

    @property
    def limited_by(self) -> tuple[str, float]:
        """Return the commonest limit and the share of machines that it holds back."""
        known = self.limit[np.isfinite(self.values)]
        if not len(known):
            return "", 0.0
        counts = np.bincount(known, minlength=len(LIMITS))
        return LIMITS[int(counts.argmax())], float(counts.max() / len(known))


def figures_of(
    drive: Drive,
    setup: MachineSetup,
    windows: Iterable[LaunchWindow],
    *,
    decel_mps2: FloatArray,
    lateral_mps2: FloatArray | None = None,
    speed_factor: FloatArray | float = 1.0,
) -> list[PossibleFigure]:
    """Return every figure of some possible machines.

    Parameters
    ----------
    drive : Drive
        The machines.
    setup : MachineSetup
        What belongs to them, for the capacity of the battery.
    windows : iterable of LaunchWindow
        Windows of the standing start.
    decel_mps2 : ndarray, shape (n,)
        Deceleration of a hard stop. [m/s²]
    lateral_mps2 : ndarray, shape (n,), optional
        Lateral acceleration in the hardest turn of the rides, at the speed ridden then. [m/s²]
    speed_factor : ndarray or float
        How much faster than in the rides that turn is taken.
    """
    top, top_limit = top_speed(drive)
    start = launch(drive)
    found = [PossibleFigure("top_speed_mps", "top speed", SPEED, top, top_limit)]
    found += [_window(start, window) for window in windows]
    for speed in PULL_SPEEDS_MPS:
        at = np.array([speed])
        pull = np.where(top > speed, drive.pull_mps2(at)[:, 0], np.nan)
        limit = drive.limits(at)[:, 0]
        if speed == 0.0:
            title, name = "pull at standstill", "pull_at_0_mps2"
            found.append(PossibleFigure(name, title, ACCELERATION, pull, limit))
        else:
            title, name = "pull at {speed}", f"pull_at_{speed:g}_mps"
            found.append(PossibleFigure(name, title, ACCELERATION, pull, limit, speed))
    for name, quantity, words in (
        ("battery_current_a", CURRENT, "battery current, peak"),
        ("battery_power_w", POWER, "battery power, peak"),
        ("motor_current_a", CURRENT, "motor current, peak"),
    ):
        stem, _, suffix = name.rpartition("_")
        values, limit = peak(drive, name)
        found.append(PossibleFigure(f"{stem}_peak_{suffix}", words, quantity, values, limit))
    stop = top * REACTION_S + top**2 / (2.0 * decel_mps2)
    found.append(
        PossibleFigure("stopping_distance_m", "stop from top speed", LENGTH, stop, top_limit)
    )
    if lateral_mps2 is not None:
        lateral = lateral_mps2 * speed_factor**2
        found.append(
            PossibleFigure(
                "lateral_accel_mps2", "sideways in hardest turn", ACCELERATION, lateral, top_limit
            )
        )
    known = np.where(np.isfinite(top), top, 1.0)
    power = drive.battery_power_w(known[:, None])[:, 0]
    per_metre = np.where(np.isfinite(top), power / known, np.nan)
    found.append(
        PossibleFigure(
            "energy_at_top_j_per_m", "energy at top speed", ENERGY_PER_LENGTH, per_metre, top_limit
        )
    )
    pack = pack_voltage(setup)
    if setup.battery_capacity_ah is not None and pack is not None:
        held = _USABLE_SHARE * setup.battery_capacity_ah * COULOMBS_PER_AH * pack.nominal_v
        found.append(
            PossibleFigure(
                "range_at_top_m", "range at top speed", TRAVEL, held / per_metre, top_limit
            )
        )
    return found


def _window(start: PossibleLaunch, window: LaunchWindow) -> PossibleFigure:
    if window.distance_m is not None:
        time_s = start.time_to_distance_s(window.distance_m)
        end = np.nan_to_num(start.speed_at_distance_mps(window.distance_m))
        limit = start.longest_limit(0.0, float(np.median(end)))
    else:
        assert window.to_mps is not None
        time_s = start.window_s(window.from_mps, window.to_mps)
        limit = start.longest_limit(window.from_mps, window.to_mps)
    return PossibleFigure(window.label, window.label, TIME, time_s, limit)
