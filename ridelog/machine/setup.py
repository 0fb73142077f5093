"""The set-up of one machine in one state: every key optional, with its unit and its question."""

from dataclasses import dataclass
from math import pi
from typing import Any, Literal, cast

from pydantic import BaseModel, ConfigDict, Field

Chemistry = Literal["li-ion", "lifepo4", "lead-acid"]
Brakes = Literal["none", "one", "two independent"]
Surface = Literal["asphalt", "gravel", "grass"]


@dataclass(frozen=True)
class Key:
    """What is known about one key of the set-up file.

    unit : symbol, "" for counts and words. low, high : range that is accepted, None for words.
    usual : range of small machines, which only helps to name a slip such as 360 for 36.
    """

    name: str
    group: str
    unit: str
    question: str
    low: float | None = None
    high: float | None = None
    usual: tuple[float, float] | None = None

    @property
    def range_words(self) -> str:
        """What is accepted, with the unit: "1 to 400", "5 to 1000 kg"; empty for words."""
        if self.low is None or self.high is None:
            return ""
        return f"{' to '.join(f'{end:g}' for end in (self.low, self.high))} {self.unit}".rstrip()


def _number(group: str, unit: str, question: str, low: float, high: float,
            usual: tuple[float, float]) -> Any:  # fmt: skip
    extra: Any = {"group": group, "unit": unit, "usual": usual, "low": low, "high": high}
    return Field(default=None, ge=low, le=high, description=question, json_schema_extra=extra)


def _word(group: str, question: str, *, longest: int | None = None) -> Any:
    return Field(
        default=None,
        max_length=longest,
        description=question,
        json_schema_extra={"group": group, "unit": ""},
    )


class MachineSetup(BaseModel):
    """One machine in one state. A key that is left out is unknown, not zero."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)

    name: str | None = _word("The machine", "Name of the machine", longest=80)
    state: str | None = _word("The machine", "Which state this is, in a few words", longest=200)
    mode: str | None = _word(
        "The machine", "Drive mode it is ridden in, if it has several", longest=20
    )
    machine_mass_kg: float | None = _number(
        "Masses", "kg", "Mass of the machine with its battery", 5.0, 1000.0, (15.0, 250.0)
    )
    rider_mass_kg: float | None = _number(
        "Masses", "kg", "Mass of the rider with gear", 10.0, 250.0, (20.0, 130.0)
    )
    load_mass_kg: float | None = _number(
        "Masses", "kg", "Mass of any load", 0.0, 500.0, (0.0, 60.0)
    )
    tyre_circumference_m: float | None = _number(
        "Wheels and frame", "m", "Rolling circumference of the driven tyre: roll one turn, loaded",
        0.2, 5.0, (0.5, 2.2),
    )  # fmt: skip
    tyre_diameter_m: float | None = _number(
        "Wheels and frame", "m", "Outer diameter of the driven tyre", 0.06, 1.6, (0.15, 0.70)
    )
    wheelbase_m: float | None = _number("Wheels and frame", "m", "Wheelbase", 0.2, 4.0, (0.5, 1.6))
    track_width_m: float | None = _number(
        "Wheels and frame", "m", "Track width, middle to middle of left and right tyre (narrower "
        "axle; leave out for two wheels)", 0.1, 3.0, (0.4, 1.3),
    )  # fmt: skip
    wheels: int | None = _number("Wheels and frame", "", "Number of wheels", 1, 4, (2, 4))
    paired_axle_share: float | None = _number(
        "Wheels and frame", "", "Three wheels: share of the weight, rider seated, on the axle with "
        "two of them, 0 to 1", 0.05, 0.95, (0.4, 0.85),
    )  # fmt: skip
    cg_height_m: float | None = _number(
        "Wheels and frame", "m", "Height of the centre of gravity, rider seated",
        0.05, 2.0, (0.2, 0.9),
    )  # fmt: skip
    front_teeth: int | None = _number(
        "Drive", "", "Teeth of the driving sprocket (on the motor)", 1, 200, (7, 30)
    )
    rear_teeth: int | None = _number("Drive", "", "Teeth of the driven sprocket", 1, 400, (20, 120))
    second_front_teeth: int | None = _number(
        "Drive", "", "Second stage, if any: teeth of its driving sprocket", 1, 200, (7, 40)
    )
    second_rear_teeth: int | None = _number(
        "Drive", "", "Second stage, if any: teeth of its driven sprocket", 1, 400, (10, 120)
    )
    gearbox_ratio: float | None = _number(
        "Drive", "", "Fixed gearbox, if any: turns of the motor for one turn of its output",
        0.05, 100.0, (1.0, 20.0),
    )  # fmt: skip
    drive_efficiency: float | None = _number(
        "Drive", "", "Efficiency from motor shaft to ground, 0 to 1", 0.3, 1.0, (0.75, 0.98)
    )
    motor_rpm_per_v: float | None = _number(
        "Motor", "rpm/V", "No-load speed for each volt", 0.5, 2000.0, (5.0, 300.0)
    )
    motor_rated_v: float | None = _number("Motor", "V", "Rated voltage", 3.0, 150.0, (12.0, 96.0))
    motor_rated_power_w: float | None = _number(
        "Motor", "W", "Rated power", 10.0, 50000.0, (150.0, 8000.0)
    )
    motor_rated_rpm: float | None = _number(
        "Motor", "rpm", "Speed at rated power", 20.0, 50000.0, (200.0, 6000.0)
    )
    motor_resistance_ohm: float | None = _number(
        "Motor", "ohm", "Winding resistance between two terminals, cold", 1e-4, 20.0, (0.005, 2.0)
    )
    motor_stall_torque_nm: float | None = _number(
        "Motor", "N m", "Torque at standstill at rated voltage, no current limit",
        0.01, 5000.0, (1.0, 300.0),
    )  # fmt: skip
    motor_max_v: float | None = _number(
        "Motor", "V", "Highest voltage the maker allows", 3.0, 150.0, (12.0, 100.0)
    )
    motor_limit_a: float | None = _number(
        "Controller", "A", "Current limit on the motor side (phase current)",
        0.5, 2000.0, (10.0, 400.0),
    )  # fmt: skip
    battery_limit_a: float | None = _number(
        "Controller", "A", "Current limit on the battery side", 0.5, 1000.0, (5.0, 200.0)
    )
    controller_max_v: float | None = _number(
        "Controller", "V", "Highest voltage the controller allows", 3.0, 150.0, (12.0, 100.0)
    )
    controller_cutoff_v: float | None = _number(
        "Controller", "V", "Voltage at which the controller cuts off", 1.0, 150.0, (9.0, 80.0)
    )
    battery_cells: int | None = _number(
        "Battery", "", "Cells in series (a 12 V lead-acid block has 6)", 1, 48, (3, 28)
    )
    battery_chemistry: Chemistry | None = _word(
        "Battery", "Chemistry of the battery: li-ion, lifepo4 or lead-acid"
    )
    battery_nominal_v: float | None = _number(
        "Battery", "V", "Nominal voltage", 3.0, 150.0, (12.0, 96.0)
    )
    battery_full_v: float | None = _number(
        "Battery", "V", "Voltage when full", 3.0, 150.0, (12.0, 110.0)
    )
    battery_capacity_ah: float | None = _number(
        "Battery", "Ah", "Capacity", 0.2, 1000.0, (4.0, 120.0)
    )
    battery_resistance_ohm: float | None = _number(
        "Battery", "ohm", "Resistance of the whole pack with its leads", 1e-4, 5.0, (0.01, 0.5)
    )
    battery_mass_kg: float | None = _number(
        "Battery", "kg", "Mass of the pack", 0.3, 500.0, (2.0, 60.0)
    )
    battery_height_m: float | None = _number(
        "Battery", "m", "Height of the pack's middle above the ground", 0.02, 2.0, (0.1, 0.8)
    )
    battery_continuous_a: float | None = _number(
        "Battery", "A", "Current while riding, as a mean over minutes", 0.5, 1000.0, (3.0, 150.0)
    )
    battery_max_a: float | None = _number(
        "Battery", "A", "Highest current the battery's maker or its protection allows",
        0.5, 2000.0, (5.0, 300.0),
    )  # fmt: skip
    fuse_a: float | None = _number(
        "Protection", "A", "Fuse rating, amperes", 0.5, 1000.0, (5.0, 200.0)
    )
    fuse_v: float | None = _number(
        "Protection", "V", "Fuse rating, volts (printed on it or in its data sheet)",
        5.0, 1500.0, (32.0, 150.0),
    )  # fmt: skip
    switch_max_v: float | None = _number(
        "Wiring and accessories", "V", "Main switch or key switch: highest voltage", 5.0, 1500.0,
        (12.0, 150.0),
    )  # fmt: skip
    connector_max_v: float | None = _number(
        "Wiring and accessories", "V", "Battery connector: highest voltage", 5.0, 1500.0,
        (12.0, 600.0),
    )  # fmt: skip
    connector_max_a: float | None = _number(
        "Wiring and accessories", "A", "Battery connector: continuous current", 0.5, 1000.0,
        (10.0, 200.0),
    )  # fmt: skip
    wire_mm2: float | None = _number(
        "Wiring and accessories", "mm2", "Battery wires: copper cross-section", 0.1, 120.0,
        (0.5, 50.0),
    )  # fmt: skip
    wire_length_m: float | None = _number(
        "Wiring and accessories", "m", "Battery wires: length of one way", 0.02, 20.0, (0.2, 4.0)
    )
    display_max_v: float | None = _number(
        "Wiring and accessories", "V", "Display: highest voltage", 3.0, 1500.0, (12.0, 100.0)
    )
    converter_min_v: float | None = _number(
        "Wiring and accessories", "V", "Converter for accessories: least input", 3.0, 1500.0,
        (9.0, 60.0),
    )  # fmt: skip
    converter_max_v: float | None = _number(
        "Wiring and accessories", "V", "Converter for accessories: highest input", 3.0, 1500.0,
        (12.0, 120.0),
    )  # fmt: skip
    converter_out_v: float | None = _number(
        "Wiring and accessories", "V", "Converter for accessories: output", 1.0, 150.0, (5.0, 24.0)
    )
    converter_w: float | None = _number(
        "Wiring and accessories", "W", "Converter for accessories: rating", 1.0, 5000.0,
        (10.0, 500.0),
    )  # fmt: skip
    lights_min_v: float | None = _number(
        "Wiring and accessories", "V", "Lights: least voltage", 1.0, 150.0, (6.0, 60.0)
    )
    lights_max_v: float | None = _number(
        "Wiring and accessories", "V", "Lights: highest voltage", 1.0, 1500.0, (12.0, 100.0)
    )
    lights_w: float | None = _number(
        "Wiring and accessories", "W", "Lights: all together", 0.1, 1000.0, (2.0, 100.0)
    )
    horn_min_v: float | None = _number(
        "Wiring and accessories", "V", "Horn: least voltage", 1.0, 150.0, (6.0, 60.0)
    )
    horn_max_v: float | None = _number(
        "Wiring and accessories", "V", "Horn: highest voltage", 1.0, 1500.0, (12.0, 100.0)
    )
    horn_w: float | None = _number("Wiring and accessories", "W", "Horn", 0.1, 500.0, (1.0, 60.0))
    accessories_w: float | None = _number(
        "Wiring and accessories", "W", "Everything else on the converter, 0 for nothing", 0.0,
        2000.0, (0.0, 200.0),
    )  # fmt: skip
    charger_v: float | None = _number(
        "Wiring and accessories", "V", "Charger: voltage at which it ends", 3.0, 200.0,
        (12.0, 110.0),
    )  # fmt: skip
    charger_a: float | None = _number(
        "Wiring and accessories", "A", "Charger: current", 0.1, 200.0, (1.0, 30.0)
    )
    has_reverse: bool | None = _word("Use", "Can it be driven backwards? true or false")
    adult_rider: bool | None = _word("Use", "Do only adults ride it? true or false")
    brakes: Brakes | None = _word(
        "Use", "Brakes that work apart from each other: none, one, or two independent"
    )
    brake_decel_mps2: float | None = _number(
        "Use", "m/s2", "Deceleration of a hard stop, if known", 0.3, 12.0, (1.0, 7.0)
    )
    class_speed_kmh: float | None = _number(
        "Use", "km/h", "Top speed of its class, or advised for its rider", 1.0, 200.0, (6.0, 60.0)
    )
    reverse_limit_kmh: float | None = _number(
        "Use", "km/h", "Highest speed wanted in reverse", 0.5, 60.0, (3.0, 10.0)
    )
    surface: Surface | None = _word(
        "Ground and air", "Ground of the rides: asphalt, gravel or grass"
    )
    rolling_resistance: float | None = _number(
        "Ground and air", "", "Rolling resistance as a share of weight", 0.002, 0.5, (0.008, 0.1)
    )
    drag_area_m2: float | None = _number(
        "Ground and air", "m2", "Drag coefficient times frontal area, rider seated",
        0.05, 3.0, (0.25, 0.8),
    )  # fmt: skip
    tyre_grip: float | None = _number(
        "Ground and air", "", "Friction of tyre on ground", 0.05, 1.5, (0.3, 1.0)
    )
    driven_weight_share: float | None = _number(
        "Ground and air", "", "Share of the weight on the driven wheels, 0 to 1",
        0.1, 1.0, (0.4, 1.0),
    )  # fmt: skip

    def given(self) -> dict[str, Any]:
        """Return the keys that are known, in the order of the file."""
        return {key: value for key, value in self.model_dump().items() if value is not None}


KEYS = {
    name: Key(name, question=str(field.description), **cast(Any, field.json_schema_extra))
    for name, field in MachineSetup.model_fields.items()
}


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
    """Voltages of a pack, its cells in series, and where they come from. [V]"""

    nominal_v: float
    full_v: float
    empty_v: float
    cells: int
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
    return PackVoltage(nominal, full, cells * cell.empty_v, cells, how)


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
