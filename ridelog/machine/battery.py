"""What a battery's cells say about its voltage: nominal, full and empty, by chemistry."""

from dataclasses import dataclass

from ridelog.machine.setup import MachineSetup


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
