"""The measures of a prediction, each as values on equally likely possible machines."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.core.units import COULOMBS_PER_AH
from ridelog.machine.battery import pack_voltage
from ridelog.machine.drive import LIMITS, Drive, IntArray
from ridelog.machine.performance import Launch, launch, peak, top_speed
from ridelog.machine.setup import MachineSetup

# Speeds at which the pull is told. [m/s]
PULL_SPEEDS_MPS = (0.0, 2.0, 4.0, 6.0, 8.0)
# Of the capacity printed on a battery, so much is ridden; common practice, no source.
_USABLE_SHARE = 0.9


class LaunchWindow(Protocol):
    """A window of a standing start or of rolling, as ``analysis.launch_windows`` makes them."""

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
class Figure:
    """One measure on all possible machines.

    values : shape (n,), NaN where a machine has none. limit : index into LIMITS, (n,).
    """

    name: str
    unit: str
    words: str
    values: FloatArray
    limit: IntArray

    @property
    def limited_by(self) -> tuple[str, float]:
        """Return the commonest limit and the share of machines that it holds back."""
        known = self.limit[np.isfinite(self.values)]
        if not len(known):
            return "", 0.0
        counts = np.bincount(known, minlength=len(LIMITS))
        return LIMITS[int(counts.argmax())], float(counts.max() / len(known))


def figures(
    drive: Drive,
    setup: MachineSetup,
    windows: Iterable[LaunchWindow],
    *,
    decel_mps2: FloatArray,
    lateral_mps2: FloatArray | None = None,
    speed_factor: FloatArray | float = 1.0,
) -> list[Figure]:
    """Return every measure of some possible machines.

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
    found = [Figure("top_speed_mps", "m/s", "Top speed", top, top_limit)]
    found += [_window(start, window) for window in windows]
    for speed in PULL_SPEEDS_MPS:
        at = np.array([speed])
        pull = np.where(top > speed, drive.pull_mps2(at)[:, 0], np.nan)
        found.append(
            Figure(
                "pull_at_0_mps2" if speed == 0.0 else f"pull_at_{speed:g}_mps",
                "m/s2",
                "Pull at standstill" if speed == 0.0 else "Pull",
                pull,
                drive.limits(at)[:, 0],
            )
        )
    for name, unit, words in (
        ("battery_current_a", "A", "Battery current, peak"),
        ("battery_power_w", "W", "Battery power, peak"),
        ("motor_current_a", "A", "Motor current, peak"),
    ):
        stem, _, suffix = name.rpartition("_")
        values, limit = _peak(drive, name, top)
        found.append(Figure(f"{stem}_peak_{suffix}", unit, words, values, limit))
    found.append(
        Figure("stopping_distance_m", "m", "Stop from top speed",
               top**2 / (2.0 * decel_mps2), top_limit)
    )  # fmt: skip
    if lateral_mps2 is not None:
        found.append(
            Figure("lateral_accel_mps2", "m/s2", "Lateral load, hardest turn",
                   lateral_mps2 * speed_factor**2, top_limit)
        )  # fmt: skip
    known = np.where(np.isfinite(top), top, 1.0)
    power = drive.battery_power_w(known[:, None])[:, 0]
    per_metre = np.where(np.isfinite(top), power / known, np.nan)
    found.append(
        Figure("energy_at_top_j_per_m", "J/m", "Energy at top speed", per_metre,
               top_limit)
    )  # fmt: skip
    pack = pack_voltage(setup)
    if setup.battery_capacity_ah is not None and pack is not None:
        held = _USABLE_SHARE * setup.battery_capacity_ah * COULOMBS_PER_AH * pack.nominal_v
        found.append(
            Figure("range_at_top_m", "m", "Range at top speed", held / per_metre, top_limit)
        )
    return found


def _window(start: Launch, window: LaunchWindow) -> Figure:
    if window.distance_m is not None:
        time_s = start.time_to_distance_s(window.distance_m)
        end = np.nan_to_num(start.speed_at_distance_mps(window.distance_m))
        limit = start.longest_limit(0.0, float(np.median(end)))
    else:
        assert window.to_mps is not None
        time_s = start.window_s(window.from_mps, window.to_mps)
        limit = start.longest_limit(window.from_mps, window.to_mps)
    return Figure(window.label, "s", window.label, time_s, limit)


def _peak(drive: Drive, name: str, top: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return a peak over all speeds and what limits there."""
    values = peak(drive, name)
    known = np.where(np.isfinite(top), top, 1.0)
    speed = known[:, None] * np.linspace(0.0, 1.0, 161)
    at = np.argmax(getattr(drive, name)(speed), axis=1)
    limit: IntArray = drive.limits(speed)[np.arange(len(at)), at]
    return values, limit
