"""What follows from a set-up's cells, teeth and tyre: voltages, ratio, distance a turn."""

from dataclasses import dataclass
from math import pi

from ridelog.machine.setup import MachineSetup

# A loaded tyre rolls this share of its outer circumference; from memory, common practice.
_ROLLING_SHARE = 0.96


@dataclass(frozen=True)
class Cell:
    """Voltages of one cell. [V]"""

    name: str
    nominal_v: float
    full_v: float
    empty_v: float


# A full "36 V" lithium pack is 42 V (10 cells of 4.2 V), a "48 V" one 54.6 V (13 cells): from
# memory, as all cell voltages here; lead-acid at rest, not on the charger.
CELLS = {
    "li-ion": Cell("lithium-ion", 3.6, 4.2, 3.0),
    "lifepo4": Cell("lithium iron phosphate", 3.2, 3.65, 2.5),
    "lead-acid": Cell("lead-acid", 2.0, 2.15, 1.75),
}


def cells_of_voltage(nominal_v: float, chemistry: str) -> int:
    """Return how many cells in series make about a nominal voltage."""
    return max(1, round(nominal_v / CELLS[chemistry].nominal_v))


@dataclass(frozen=True)
class PackVoltage:
    """Voltages of a pack and where they come from. [V]"""

    nominal_v: float
    full_v: float
    empty_v: float
    source: str


def pack_voltage(setup: MachineSetup) -> PackVoltage | None:
    """Return the pack's voltages, or None if neither cells nor voltages are given.

    What the file states goes before what its cells would give; a missing chemistry is taken as
    lithium-ion, which the source says.
    """
    cell = CELLS[setup.battery_chemistry or "li-ion"]
    nominal = setup.battery_nominal_v
    if nominal is None and setup.battery_cells is not None:
        nominal = setup.battery_cells * cell.nominal_v
    if nominal is None and setup.battery_full_v is not None:
        nominal = setup.battery_full_v * cell.nominal_v / cell.full_v
    if nominal is None:
        return None
    cells = setup.battery_cells or cells_of_voltage(nominal, setup.battery_chemistry or "li-ion")
    full = setup.battery_full_v or cells * cell.full_v
    how = f"{cells} cells of {cell.name}"
    if setup.battery_chemistry is None:
        how += " (chemistry not given: assumed)"
    return PackVoltage(nominal, full, cells * cell.empty_v, how)


def overall_ratio(setup: MachineSetup) -> float | None:
    """Return turns of the motor for one turn of the driven wheel, None if not known.

    A stage turns by driven over driving teeth (definition of the ratio of a gear pair); stages
    multiply. A machine with neither teeth nor gearbox in its file has an unknown ratio; a
    motor in the hub is written as ``gearbox_ratio = 1``.
    """
    front, rear = setup.front_teeth, setup.rear_teeth
    if (front is None) != (rear is None):
        return None
    if front is None and setup.gearbox_ratio is None:
        return None
    ratio = setup.gearbox_ratio or 1.0
    if front is not None and rear is not None:
        ratio *= rear / front
    if setup.second_front_teeth is not None and setup.second_rear_teeth is not None:
        ratio *= setup.second_rear_teeth / setup.second_front_teeth
    return ratio


def circumference_m(setup: MachineSetup) -> float | None:
    """Return the distance on the ground for one turn of the driven wheel, None if not known. [m]"""
    if setup.tyre_circumference_m is not None:
        return setup.tyre_circumference_m
    if setup.tyre_diameter_m is not None:
        return _ROLLING_SHARE * pi * setup.tyre_diameter_m
    return None


def stages(setup: MachineSetup) -> int:
    """Return how many chain or gear stages lie between motor and wheel, at least one."""
    given = (setup.front_teeth, setup.second_front_teeth, setup.gearbox_ratio)
    return max(1, sum(value is not None for value in given))
