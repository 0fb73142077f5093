"""Contradictions inside a set-up: figures that cannot all be right, a sentence each."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

from ridelog.core.quantity import both_units
from ridelog.core.units import MPS_PER_KMH, RADPS_PER_RPM
from ridelog.machine.setup import CELLS, MachineSetup, circumference_m, overall_ratio, pack_voltage
from ridelog.machine.tipping import effective_track_m

# How far two figures for one thing may differ before they contradict each other; common practice,
# no source. Nominal voltages are rounded (10 cells: 36 or 37 V; 13: 46.8 or 48 V), a loaded tyre
# rolls a few per cent less than its outer circumference.
_NOMINAL_WITHIN, _FULL_WITHIN = 0.09, 0.06
_TYRE_SHARES = (0.86, 1.02)
_STALL_FACTOR = 2.0
# Driven wheels of small machines: from 5 inches across (own choice) to a bicycle's rim of 622 mm
# with a tyre of 62 mm, which rolls 2.34 m (ISO 5775, from memory).
_LEAST_WAY_M, _MOST_WAY_M = 0.38, 2.4
# Least volts of a cell while it gives current, from memory: makers of lithium cells state 2.5 to 3
# and 2 to 2.5; final voltage of lead-acid in an hour's discharge, IEC 61056-1.
_LEAST_CELL_V = {"li-ion": 2.75, "lifepo4": 2.4, "lead-acid": 1.6}
# A road speed without load outside this is a slip of the pen in a small machine: own choice. [km/h]
_NO_LOAD_KMH = (4.0, 200.0)


@dataclass(frozen=True)
class Doubt:
    """One contradiction.

    ``blocks`` is True where nothing can be predicted before it is settled, because ridelog would
    have to choose which of two figures to believe. ``code`` is stable, and empty where nobody asks.
    ``source`` says where a limit comes from that the set-up does not hold.
    """

    text: str
    blocks: bool = False
    code: str = ""
    source: str = "the set-up's own figures"


def contradictions(setup: MachineSetup) -> tuple[Doubt, ...]:
    """Return what in a set-up cannot all be right; nothing is mended."""
    return (
        *_battery(setup),
        *_nominal(setup),
        *_wheel(setup),
        *_currents(setup),
        *_drive(setup),
        *_motor(setup),
        *_use(setup),
    )


def _battery(setup: MachineSetup) -> Iterator[Doubt]:
    nominal, full, cells = setup.battery_nominal_v, setup.battery_full_v, setup.battery_cells
    chemistry = setup.battery_chemistry
    if nominal is not None and full is not None and full < nominal:
        yield Doubt(
            f"battery_full_v = {full:g} V is below battery_nominal_v = {nominal:g} V; a full "
            "battery has more than its nominal voltage.",
            blocks=True,
        )
    if cells is not None and chemistry is not None:
        cell = CELLS[chemistry]
        for key, value, each, within in (
            ("battery_nominal_v", nominal, cell.nominal_v, _NOMINAL_WITHIN),
            ("battery_full_v", full, cell.full_v, _FULL_WITHIN),
        ):
            if value is not None and abs(value / (cells * each) - 1.0) > within:
                word = "nominal" if key == "battery_nominal_v" else "full"
                yield Doubt(
                    f"{key} = {value:g} V does not fit {cells} cells of {cell.name} in series, "
                    f"which are {cells * each:.1f} V {word}.",
                    blocks=True,
                )
    pack = pack_voltage(setup)
    cutoff = setup.controller_cutoff_v
    if pack is None or cutoff is None:
        return
    if cutoff >= pack.nominal_v:
        yield Doubt(
            f"controller_cutoff_v = {cutoff:g} V is not below the nominal {pack.nominal_v:.1f} V: "
            "the controller would cut off with the battery half full.",
        )
        return
    least = _LEAST_CELL_V[chemistry or "li-ion"]
    if cutoff < least * pack.cells:
        yield Doubt(
            f"controller_cutoff_v = {cutoff:g} V is below the {least * pack.cells:.1f} V that "
            f"{pack.source} stand, {least:g} V each: the controller would not protect the battery "
            "from deep discharge.",
        )


def _nominal(setup: MachineSetup) -> Iterator[Doubt]:
    """Say where no number of cells has a nominal voltage, whatever their chemistry."""
    volts = setup.battery_nominal_v
    if volts is None or setup.battery_cells is not None:
        return
    chosen = [setup.battery_chemistry] if setup.battery_chemistry else list(CELLS)
    for chemistry in chosen:
        each = CELLS[chemistry].nominal_v
        # Lead-acid comes in blocks of 6 or 12 V; lithium-ion cells are called 3.6 or 3.7 V.
        step, within = (6.0, 0.02) if chemistry == "lead-acid" else (each, 0.035)
        count = max(1, round(volts / step))
        if abs(volts / (count * step) - 1.0) <= within:
            return
    kind = f"of {CELLS[chosen[0]].name} " if setup.battery_chemistry else ""
    yield Doubt(
        f"battery_nominal_v = {volts:g} V: no number of cells {kind}in series gives that; count "
        "the cells and write battery_cells."
    )


def _wheel(setup: MachineSetup) -> Iterator[Doubt]:
    """Ask about a circumference that no wheel of such a machine has."""
    way = circumference_m(setup)
    if way is None or _LEAST_WAY_M <= way <= _MOST_WAY_M:
        return
    key = "tyre_diameter_m" if setup.tyre_circumference_m is None else "tyre_circumference_m"
    yield Doubt(
        f"{key} = {getattr(setup, key):g} m: a wheel that rolls {way:.2f} m a turn fits no such "
        "machine; what rim and tyre size is printed on it? The circumference is 3.14 times the "
        "outer diameter: 13 inches give 1.04 m, 16 inches 1.28 m."
    )


def _currents(setup: MachineSetup) -> Iterator[Doubt]:
    limit = setup.battery_limit_a
    if limit is None:
        return
    if setup.fuse_a is not None and limit > setup.fuse_a:
        yield Doubt(
            f"battery_limit_a = {limit:g} A is above fuse_a = {setup.fuse_a:g} A: the controller "
            "may draw more than the fuse carries.",
        )
    if setup.battery_max_a is not None and limit > setup.battery_max_a:
        yield Doubt(
            f"battery_limit_a = {limit:g} A is above battery_max_a = {setup.battery_max_a:g} A: "
            "the controller may draw more than the battery allows.",
        )
    if setup.motor_limit_a is not None and setup.motor_limit_a < limit:
        yield Doubt(
            f"motor_limit_a = {setup.motor_limit_a:g} A is below battery_limit_a = {limit:g} A: "
            "the motor side never carries less than the battery side, so the battery limit can "
            "never be reached; were the two exchanged?",
        )


def _drive(setup: MachineSetup) -> Iterator[Doubt]:
    pair = (setup.second_front_teeth, setup.second_rear_teeth)
    if (pair[0] is None) != (pair[1] is None):
        missing = "second_front_teeth" if pair[0] is None else "second_rear_teeth"
        yield Doubt(f"The second stage lacks {missing}; give both or neither.", blocks=True)
    front, rear = setup.front_teeth, setup.rear_teeth
    if front is not None and rear is not None and front > rear and setup.gearbox_ratio is None:
        yield Doubt(
            f"front_teeth = {front} is more than rear_teeth = {rear}: the motor would turn slower "
            "than the wheel; were they exchanged?",
        )
    circumference, diameter = setup.tyre_circumference_m, setup.tyre_diameter_m
    if circumference is not None and diameter is not None:
        share = circumference / (pi * diameter)
        if not _TYRE_SHARES[0] <= share <= _TYRE_SHARES[1]:
            yield Doubt(
                f"tyre_circumference_m = {circumference:g} m does not fit tyre_diameter_m = "
                f"{diameter:g} m, whose outside is {pi * diameter:.3f} m round.",
                blocks=True,
            )


def _motor(setup: MachineSetup) -> Iterator[Doubt]:
    per_volt, rated_v, rated_rpm = (
        setup.motor_rpm_per_v,
        setup.motor_rated_v,
        setup.motor_rated_rpm,
    )
    if per_volt is not None and rated_v is not None:
        no_load = per_volt * rated_v
        if rated_rpm is not None and rated_rpm >= no_load:
            yield Doubt(
                f"motor_rated_rpm = {rated_rpm:g} is not below {no_load:g} rpm, the speed without "
                f"load of {per_volt:g} rpm/V at {rated_v:g} V.",
                blocks=True,
            )
        stall, ohm = setup.motor_stall_torque_nm, setup.motor_resistance_ohm
        if stall is not None and ohm is not None:
            wanted = rated_v / ohm / (per_volt * RADPS_PER_RPM)
            if not wanted / _STALL_FACTOR <= stall <= wanted * _STALL_FACTOR:
                yield Doubt(
                    f"motor_stall_torque_nm = {stall:g} N m does not fit {ohm:g} ohm and "
                    f"{per_volt:g} rpm/V at {rated_v:g} V, which give {wanted:.3g} N m.",
                    blocks=True,
                )
    pack, ratio, way = pack_voltage(setup), overall_ratio(setup), circumference_m(setup)
    if per_volt is None or pack is None or ratio is None or way is None:
        return
    speed = per_volt * pack.nominal_v / 60.0 * way / ratio
    if not _NO_LOAD_KMH[0] <= speed / MPS_PER_KMH <= _NO_LOAD_KMH[1]:
        yield Doubt(
            f"Motor, battery, teeth and tyre together give {both_units(speed)} without load: "
            "one of them must be wrong.",
            blocks=True,
        )


def _use(setup: MachineSetup) -> Iterator[Doubt]:
    if setup.has_reverse is False and setup.reverse_limit_kmh is not None:
        yield Doubt(
            f"reverse_limit_kmh = {setup.reverse_limit_kmh:g} km/h is given for a machine that has "
            "no reverse.",
        )
    top, back = setup.class_speed_kmh, setup.reverse_limit_kmh
    if top is not None and back is not None and back > top:
        yield Doubt(
            f"reverse_limit_kmh = {back:g} km/h is above class_speed_kmh = {top:g} km/h.",
        )
    height, base = setup.cg_height_m, setup.wheelbase_m
    if height is not None and base is not None and height >= base:
        yield Doubt(
            f"cg_height_m = {height:g} m is not less than wheelbase_m = {base:g} m: it would tip "
            "over backwards at the first pull; is one of them in another unit?",
        )


# Below this the static threshold is reached in any brisk turn; four-wheelers tested on a tilt table
# had 0.75 to 0.99, FME for The Oregonian (2007). Share of gravity.
_LEAST_TIP = 0.4
# Above this a machine without brakes endangers: common practice, no source.
_FAST_KMH = 25.0


def dangers(setup: MachineSetup) -> tuple[Doubt, ...]:
    """Return what endangers although nothing contradicts, a sentence each."""
    return tuple(_dangers(setup))


def _dangers(setup: MachineSetup) -> Iterator[Doubt]:
    track, height = effective_track_m(setup), setup.cg_height_m
    if track is not None and height is not None and track / (2.0 * height) < _LEAST_TIP:
        three = ", three wheels," if setup.wheels == 3 else ""
        yield Doubt(
            f"With track_width_m = {setup.track_width_m:g} m{three} and cg_height_m = {height:g} m "
            f"it tips over from {track / (2.0 * height):.2f} g sideways (static stability factor, "
            "NHTSA): any brisk turn does that. Measure both again; lower the rider or widen the "
            "track.",
            code="tips_easily",
        )
    speed = setup.class_speed_kmh
    if setup.brakes == "none" and speed is not None and speed > _FAST_KMH:
        yield Doubt(
            f'brakes = "none" at class_speed_kmh = {speed:g}: nobody may ride that. Two brakes '
            "that work apart from each other are asked of small electric vehicles on German roads "
            "(eKFV § 4 (1)).",
            code="no_brake",
        )
    pack = pack_voltage(setup)
    if pack is not None and pack.full_v > 60.0:
        yield Doubt(
            f"Full, the battery has {pack.full_v:.1f} V: above 60 V DC it can kill by shock. "
            "Covers, insulation and licensed hands.",
            code="shock",
            source="UN R100, voltage class B of ISO 6469-3, from memory",
        )
