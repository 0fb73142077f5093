"""The pack: what a cell has at rest over its charge, what it loses inside, how much it gives."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.machine.setup import CELLS, MachineSetup, pack_voltage

# Charges of PackKind.resting_v, exact.
_TENTHS = np.linspace(0.0, 1.0, 11)


@dataclass(frozen=True)
class PackKind:
    """What is known of the packs of one chemistry.

    resting_v : of a cell at rest, from empty to full in tenths. [V]
    resistance_ohm_ah : of a cell with its share of the connections, times its capacity: cells of
        one make have about the same product. [ohm Ah]
    resistance_log_sd : how widely that differs.
    peukert, peukert_sd : exponent of the capacity's fall with the current.
    """

    resting_v: tuple[float, ...]
    resistance_ohm_ah: float
    resistance_log_sd: float
    peukert: float = 1.0
    peukert_sd: float = 0.0


# Resting voltages: lead-acid 12.65 V full, 12.45 at 75 %, 12.24 at 50 %, 12.06 at 25 % and 11.89
# empty of a block of six (BCI, battery service manual, from memory); lithium cells as data sheets
# draw them, from memory. Cells of 18650 size, 2.5 Ah: 25-60 mohm for some seconds; lithium iron
# phosphate, 10 Ah: 4-10 mohm; lead-acid blocks of 12 V and 12 Ah: 15-30 mohm; all from memory.
# Peukert's exponent of sealed lead-acid 1.05-1.25, flooded 1.2-1.6: Wikipedia "Peukert's law",
# from memory. Lithium cells lose next to nothing: 1.05 at most (from memory), taken as none.
KINDS = {
    "li-ion": PackKind(
        (3.20, 3.46, 3.55, 3.60, 3.64, 3.69, 3.77, 3.87, 3.97, 4.07, 4.18), 0.11, 0.45
    ),
    "lifepo4": PackKind(
        (2.90, 3.20, 3.23, 3.26, 3.28, 3.29, 3.30, 3.32, 3.33, 3.34, 3.41), 0.07, 0.45
    ),
    "lead-acid": PackKind(
        (1.98, 1.993, 2.006, 2.018, 2.03, 2.04, 2.053, 2.066, 2.079, 2.094, 2.11),
        0.045, 0.45, 1.15, 0.05,
    ),
}  # fmt: skip
# What a controller or a protection circuit leaves in the pack when nobody says, volts a cell:
# common practice, no source.
CUTOFF_V = {"li-ion": 3.0, "lifepo4": 2.6, "lead-acid": 1.75}
# Lead-acid is rated for a discharge of 20 hours (EN 60095-1: C20).
_RATED_HOURS = 20.0


def kind_of(setup: MachineSetup) -> PackKind:
    """Return what is known of a set-up's chemistry; lithium-ion if none is given."""
    return KINDS[setup.battery_chemistry or "li-ion"]


def resting_share(setup: MachineSetup, charge: FloatArray) -> FloatArray:
    """Return the resting voltage as a share of that of a full pack, of charges 0 to 1."""
    volts = np.array(kind_of(setup).resting_v)
    return np.asarray(np.interp(charge, _TENTHS, volts / volts[-1]))


def resting_full_v(setup: MachineSetup) -> float | None:
    """Return the voltage of the full pack at rest, None if the set-up gives none. [V]

    A little below what the charger ends at, by as much as a cell of its kind.
    """
    pack = pack_voltage(setup)
    if pack is None:
        return None
    chemistry = setup.battery_chemistry or "li-ion"
    return pack.full_v * KINDS[chemistry].resting_v[-1] / CELLS[chemistry].full_v


def charge_of_volts(setup: MachineSetup, resting_v: float) -> tuple[float, float] | None:
    """Return the charge that resting volts tell and its standard deviation, None without a pack.

    The meter and rest of some minutes leave 0.5 % of the voltage open (common practice, no
    source): little where the curve is steep, most of the charge on the flat of lithium iron
    phosphate.
    """
    full = resting_full_v(setup)
    if full is None:
        return None
    grid = np.linspace(0.0, 1.0, 401)
    share = resting_share(setup, grid)
    miss = (share - resting_v / full) / 0.005
    weight = np.exp(-0.5 * np.minimum(miss**2 - np.min(miss**2), 700.0))
    weight /= weight.sum()
    mean = float(weight @ grid)
    return mean, float(np.sqrt(weight @ (grid - mean) ** 2))


def resistance_ohm(setup: MachineSetup) -> float | None:
    """Return about what the pack's cells resist, None if cells or capacity are not given. [ohm]

    Cells in series add; strings side by side, or larger cells, share the current: series cells
    over capacity, times what a cell of one ampere hour has.
    """
    pack = pack_voltage(setup)
    if pack is None or setup.battery_capacity_ah is None:
        return None
    return pack.cells * kind_of(setup).resistance_ohm_ah / setup.battery_capacity_ah


def resistance_ratio(before: MachineSetup, after: MachineSetup) -> float:
    """Return by what a change of cells, capacity or chemistry multiplies the pack's resistance.

    What is not given is taken as unchanged.
    """
    packs = pack_voltage(before), pack_voltage(after)
    ratio = 1.0
    if packs[0] is not None and packs[1] is not None:
        ratio *= packs[1].cells / packs[0].cells
    if before.battery_capacity_ah is not None and after.battery_capacity_ah is not None:
        ratio *= before.battery_capacity_ah / after.battery_capacity_ah
    return ratio * kind_of(after).resistance_ohm_ah / kind_of(before).resistance_ohm_ah


def peukert_factor(
    capacity_ah: FloatArray | float, current_a: FloatArray, exponent: FloatArray
) -> FloatArray:
    """Return how much faster a current empties a pack than its ampere hours say.

    Source
    ------
    Peukert 1897 as given in Wikipedia "Peukert's law" (from memory): t = H (C / (I H))^k; against
    C / I it is (I H / C)^(k - 1). Currents below the rated one gain nothing here.
    """
    rated = np.asarray(capacity_ah) / _RATED_HOURS
    return np.asarray(np.maximum(current_a / rated, 1.0) ** (exponent - 1.0))
