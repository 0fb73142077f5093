"""Energy and range: what a steady speed takes from the pack, and how long the pack gives it.

The pack is emptied in steps of its charge. At each the resting voltage falls along the curve of its
chemistry and the current follows, until volts under load reach what the controller leaves in the
pack: METHOD.md, (13) and (14).
"""

from dataclasses import replace

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.core.units import COULOMBS_PER_AH
from ridelog.machine.drive import Drive, top_speed
from ridelog.machine.pack import (
    CUTOFF_V,
    kind_of,
    peukert_factor,
    resting_share,
)
from ridelog.machine.setup import MachineSetup, pack_voltage

# Steps of the charge; at each the current is taken as the same. Own choice: more cost time.
_STEPS = 24
# Of the capacity on its label a pack has this share, with this spread: age, cold, flattering
# labels; common practice, no source.
_CAPACITY, _CAPACITY_LOG_SD = 0.95, 0.06
# Where nobody says at which volts it is cut off, that is known to this share: own choice.
_CUTOFF_LOG_SD = 0.03


def energy_j_per_m(drive: Drive, speed_mps: FloatArray) -> FloatArray:
    """Return what leaves the battery's terminals for each metre at a steady speed, (n,). [J/m]

    ``speed_mps`` has shape (n,); NaN where the machine cannot hold it.
    """
    drawn = drive.cruising_a(speed_mps[:, None])[:, 0]
    return np.asarray(drawn * (drive.battery_v - drive.battery_ohm * drawn) / speed_mps)


def range_m(
    drive: Drive, setup: MachineSetup, speed_mps: float | None, *, full: bool = True
) -> FloatArray | None:
    """Return how far the pack goes at a steady speed, or at full throttle without one, (n,). [m]

    From a full pack, or from the machines' own charge. None without a pack's capacity and volts.
    NaN where the machine cannot hold the speed even at first.
    """
    pack = pack_voltage(setup)
    if pack is None or setup.battery_capacity_ah is None:
        return None
    count = len(drive.mass_kg)
    rng = np.random.default_rng(5)
    kind = kind_of(setup)
    capacity = _CAPACITY * np.exp(_CAPACITY_LOG_SD * rng.standard_normal(count))
    capacity = capacity * setup.battery_capacity_ah
    exponent = kind.peukert + kind.peukert_sd * rng.standard_normal(count)
    if setup.controller_cutoff_v is not None:
        cutoff = np.full(count, setup.controller_cutoff_v)
    else:
        usual = CUTOFF_V[setup.battery_chemistry or "li-ion"] * pack.cells
        cutoff = usual * np.exp(_CUTOFF_LOG_SD * rng.standard_normal(count))
    full_v = drive.battery_v / resting_share(setup, drive.charge)
    begin = np.ones(count) if full else drive.charge
    step = begin / _STEPS
    way = np.zeros(count)
    alive = np.ones(count, dtype=bool)
    able = np.ones(count, dtype=bool)
    for number in range(_STEPS):
        charge = begin - (number + 0.5) * step
        volts = full_v * resting_share(setup, charge)
        here = replace(drive, battery_v=volts)
        speed = 0.99999 * top_speed(here)[0] if speed_mps is None else np.full(count, speed_mps)
        drawn = here.cruising_a(np.nan_to_num(speed, nan=1.0)[:, None])[:, 0]
        if number == 0:
            able = np.isfinite(drawn) & np.isfinite(speed)
        loaded = volts - here.battery_ohm * drawn
        alive = alive & np.isfinite(drawn) & np.isfinite(speed) & (loaded > cutoff)
        lasts = capacity * COULOMBS_PER_AH * step / np.maximum(drawn, 1e-3)
        lasts = lasts / peukert_factor(setup.battery_capacity_ah, drawn, exponent)
        way = way + np.where(alive, np.nan_to_num(lasts * speed), 0.0)
    return np.where(able, way, np.nan)
