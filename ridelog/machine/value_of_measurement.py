"""Which single measurement would narrow a prediction most."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.machine.drive import Drive
from ridelog.machine.performance import top_speed

# Machines a slice; the spread inside a slice is what remains after a good measurement.
_SLICES = 25
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

    Parameters
    ----------
    drive : Drive
        Possible machines before the change.
    target : ndarray, shape (n,)
        The predicted figure on each, NaN where it has none.
    known_already : frozenset of str
        Names of measurements that were made: they are left out.
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
