"""A change to a set-up: what was asked for, what follows from it, and the machines after it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ridelog.core.errors import SetupError
from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.drive import AIR_DENSITY_KGPM3, Drive
from ridelog.machine.ground import ground_of
from ridelog.machine.pack import resistance_ratio, resting_full_v, resting_share
from ridelog.machine.setup import (
    KEYS,
    MachineSetup,
    cells_of_voltage,
    circumference_m,
    overall_ratio,
    pack_voltage,
)
from ridelog.machine.setup_check import contradictions
from ridelog.machine.setup_file import problems_of, read_value, unknown_key
from ridelog.machine.tipping import height_with_pack_m

# Words that name a state and change nothing.
_NAMES = ("name", "state")
# Own choice: each value is a prediction of its own and a line of the answer.
_MOST_SWEPT = 41
# What acts through the present tyre, the present ratio, or its own present value.
_TYRE = ("tyre_diameter_m", "tyre_circumference_m")
_GEARING = ("front_teeth rear_teeth second_front_teeth second_rear_teeth gearbox_ratio").split()
_RELATIVE = (
    "machine_mass_kg rider_mass_kg motor_rpm_per_v motor_resistance_ohm motor_stall_torque_nm "
    "battery_resistance_ohm"
).split()
_REFUSED = ("motor_rated_v", "motor_rated_power_w", "motor_rated_rpm")


@dataclass(frozen=True)
class SetupChange:
    """A set-up after a change.

    asked : what was asked for. setup : the whole set-up after it. notes : what followed from it
    and what had to be assumed, a sentence each.
    """

    asked: Mapping[str, Any]
    setup: MachineSetup
    notes: tuple[str, ...]


def parse_change(text: str) -> tuple[str, Any]:
    """Return key and value of a change written as KEY=VALUE.

    SetupError if it has another form, or the key or value cannot be.
    """
    name, equals, typed = (part.strip() for part in text.partition("="))
    if not equals or not name or not typed:
        raise SetupError(
            f'"{text}" is no change: it must be KEY=VALUE.', "write it like front_teeth=10."
        )
    if name not in KEYS:
        raise SetupError(unknown_key(name), "see the keys in a file of `ridelog setup new`.")
    value = read_value(KEYS[name], typed)
    _refuse(problems_of({name: value}))
    return name, value


def parse_sweep(text: str) -> tuple[str, list[Any]]:
    """Return a key and its values from KEY=FIRST:LAST or KEY=FIRST:LAST:STEP.

    SetupError if it has another form, or a value cannot be.
    """
    name, equals, typed = (part.strip() for part in text.partition("="))
    parts = typed.split(":")
    wrong = SetupError(
        f'"{text}" is no sweep: it must be KEY=FIRST:LAST or KEY=FIRST:LAST:STEP.',
        "write it like front_teeth=9:13 or battery_limit_a=30:60:10.",
    )
    if not equals or not name or len(parts) not in (2, 3):
        raise wrong
    if name not in KEYS:
        raise SetupError(unknown_key(name), "see the keys in a file of `ridelog setup new`.")
    if KEYS[name].low is None:
        raise SetupError(f"{name} is no number, so it cannot be swept.", "use --change instead.")
    try:
        first, last = float(parts[0]), float(parts[1])
        step = float(parts[2]) if len(parts) == 3 else 1.0 if last >= first else -1.0
    except ValueError:
        raise wrong from None
    if not all(map(np.isfinite, (first, last, step))) or step == 0.0 or (last - first) * step < 0.0:
        raise wrong
    count = int(np.floor((last - first) / step + 1e-9)) + 1
    if count > _MOST_SWEPT:
        raise SetupError(
            f'"{text}" has {count} values; at most {_MOST_SWEPT} can be swept.',
            "take a larger step.",
        )
    values = [parse_change(f"{name}={first + i * step:.10g}")[1] for i in range(count)]
    return name, values


def changes_between(before: MachineSetup, after: MachineSetup) -> dict[str, Any]:
    """Return the keys in which two set-ups of one machine differ, with their new values.

    SetupError if the later set-up leaves out what the earlier one gives: nothing says what it
    became.
    """
    old, new = before.given(), after.given()
    gone = [key for key in old if key not in new and key not in _NAMES]
    if gone:
        raise SetupError(
            f"the set-up after the change leaves out {gone[0]}, which the one before gives.",
            "write the same keys into both files, changed or not.",
        )
    return {key: value for key, value in new.items() if key not in _NAMES and value != old.get(key)}


def changed(setup: MachineSetup, asked: Mapping[str, Any]) -> SetupChange:
    """Return the set-up after a change, with what follows from it.

    SetupError if the change cannot be related to the present set-up, or contradicts itself.
    """
    new = {**setup.given(), **asked}
    notes: list[str] = []
    if asked.get("mode", setup.mode) != setup.mode:
        raise SetupError(
            f"the drive mode {asked['mode']!r} says nothing of what it sets in the controller.",
            "change motor_limit_a, battery_limit_a or the other keys that it changes, or compare "
            "rides in both modes.",
        )
    for name in asked:
        if name in _REFUSED:
            raise SetupError(
                f"{name}: a rating says what a motor may do, not what it does.",
                "change motor_rpm_per_v and motor_resistance_ohm instead.",
            )
    _follow_battery(setup, asked, new, notes)
    if "tyre_diameter_m" in asked and "tyre_circumference_m" not in asked:
        old = circumference_m(setup)
        if setup.tyre_circumference_m is not None and setup.tyre_diameter_m is None:
            _unrelated("tyre_diameter_m", "tyre_diameter_m")
        if old is not None and setup.tyre_circumference_m is not None and setup.tyre_diameter_m:
            way = old * asked["tyre_diameter_m"] / setup.tyre_diameter_m
            new["tyre_circumference_m"] = round(way, 4)
            notes.append(f"tyre_circumference_m follows the diameter: {way:.3f} m.")
    if "battery_mass_kg" in asked and "machine_mass_kg" not in asked:
        if setup.battery_mass_kg is None or setup.machine_mass_kg is None:
            _unrelated("battery_mass_kg", "battery_mass_kg and machine_mass_kg")
        else:
            mass = setup.machine_mass_kg + asked["battery_mass_kg"] - setup.battery_mass_kg
            new["machine_mass_kg"] = mass
            notes.append(f"machine_mass_kg follows the pack: {mass:.1f} kg.")
    if {"battery_mass_kg", "battery_height_m"} & set(asked) and "cg_height_m" not in asked:
        height = height_with_pack_m(setup, MachineSetup(**new))
        if height is not None:
            new["cg_height_m"] = round(height, 4)
            notes.append(f"cg_height_m follows the pack: {height:.2f} m.")
    after = MachineSetup(**new)
    for name in asked:
        if name in _TYRE and circumference_m(setup) is None:
            _unrelated(name, name)
        if name in _GEARING and overall_ratio(setup) is None:
            _unrelated(name, "front_teeth and rear_teeth")
        if name in _RELATIVE and getattr(setup, name) is None:
            _unrelated(name, name)
    doubts = contradictions(after)
    _refuse([doubt.text for doubt in doubts if doubt.blocks])
    old_doubts = {doubt.text for doubt in contradictions(setup)}
    notes += [doubt.text for doubt in doubts if doubt.text not in old_doubts]
    return SetupChange(dict(asked), after, tuple(notes))


def changed_drive(drive: Drive, before: MachineSetup, change: SetupChange) -> Drive:
    """Return possible machines after a change: each keeps what the rides told of it.

    A key that both set-ups give acts by the ratio of its values, so that a controller that was
    found to let through 5 % more than its label still does. A key that only the new set-up gives
    is taken at its word, within 5 %.
    """
    after, asked = change.setup, change.asked

    def factor(name: str, now: FloatArray) -> FloatArray | float:
        old, new = getattr(before, name), getattr(after, name)
        if name not in asked or new is None:
            return 1.0
        if old is not None:
            return float(new / old)
        noise = np.random.default_rng(3).normal(0.0, 0.05, len(now))
        return np.asarray(new * np.exp(noise) / now)

    mass = drive.mass_kg + _mass(after) - _mass(before)
    heavier = mass / drive.mass_kg
    ratios, ways = (
        [of(before), of(after)] for of in (overall_ratio, circumference_m)
    )  # before and after of each
    way = drive.way_per_radian_m
    if ratios[0] is not None and ratios[1] is not None:
        way = way * (ratios[0] / ratios[1])
    if ways[0] is not None and ways[1] is not None:
        way = way * (ways[1] / ways[0])
    full = resting_full_v(before), resting_full_v(after)
    volts = drive.battery_v
    battery_ohm = drive.battery_ohm
    if full[0] is not None and full[1] is not None:
        # At the same charge; a share of full differs between chemistries.
        relative = resting_share(after, drive.charge) / resting_share(before, drive.charge)
        volts = volts * (full[1] / full[0]) * relative
    if "battery_resistance_ohm" not in asked:
        # Cells in series add, larger ones or strings share; leads stay, which is left out.
        battery_ohm = battery_ohm * resistance_ratio(before, after)
    battery_ohm = battery_ohm * factor("battery_resistance_ohm", battery_ohm)
    constant, motor_ohm = drive.constant_nmpa, drive.motor_ohm
    if "motor_rpm_per_v" in asked:
        slower = before.motor_rpm_per_v / after.motor_rpm_per_v  # type: ignore[operator]  # checked
        constant = constant * slower
        # As many ampere turns in the same slots: resistance goes with the square of the turns.
        motor_ohm = motor_ohm * (1.0 if "motor_resistance_ohm" in asked else slower**2)
    motor_ohm = motor_ohm * factor("motor_resistance_ohm", motor_ohm)
    if "motor_stall_torque_nm" in asked:
        motor_ohm = motor_ohm / factor("motor_stall_torque_nm", motor_ohm)
    weight_n = drive.mass_kg * STANDARD_GRAVITY_MPS2
    rolling = np.asarray(drive.rolling * factor("rolling_resistance", drive.rolling))
    # The motor's own drag is no part of what rolls: it acts through the gearing, METHOD.md (18).
    faster = drive.way_per_radian_m / way
    idle_n = drive.idle_n * faster
    efficiency = drive.efficiency * factor("drive_efficiency", drive.efficiency)
    efficiency = np.minimum(efficiency, 1.0)
    load = replace(
        drive.load,
        a_n=efficiency * idle_n + rolling * heavier * weight_n,
        b_nspm=drive.load.b_nspm * _growing(drive, faster, heavier),
        c_ns2pm2=drive.load.c_ns2pm2
        * factor("drag_area_m2", 2.0 * drive.load.c_ns2pm2 / AIR_DENSITY_KGPM3),
    )
    grip = drive.traction_n / weight_n
    shares = factor("driven_weight_share", np.full_like(grip, 0.6))
    limit = factor("motor_limit_a", drive.motor_limit_a * drive.limit_a_per_a)
    # How much of the torque goes with it, METHOD.md (22).
    filled = limit * drive.motor_limit_a * drive.limit_a_per_a / drive.iron_a
    bent = limit * drive.limit_a_per_a / np.sqrt(1.0 + filled**2)
    bent = np.asarray(bent if before.motor_limit_a is not None else limit)
    moved = replace(
        drive,
        mass_kg=mass,
        inertia_factor=1.0 + _rotating(drive, faster) / heavier,
        way_per_radian_m=way,
        efficiency=efficiency,
        constant_nmpa=constant,
        motor_ohm=motor_ohm,
        battery_ohm=battery_ohm,
        battery_v=volts,
        motor_limit_a=drive.motor_limit_a * bent,
        limit_a_per_a=drive.limit_a_per_a * limit / bent,
        battery_limit_a=drive.battery_limit_a * factor("battery_limit_a", drive.battery_limit_a),
        traction_n=drive.traction_n * heavier * factor("tyre_grip", grip / 0.6) * shares,
        load=load,
        rolling=rolling,
        idle_n=idle_n,
    )
    if after.surface is not None and after.surface != before.surface:
        return on_ground(moved, before.surface, after.surface)
    return moved


def _rotating(drive: Drive, faster: FloatArray) -> FloatArray:
    """Return what rotating parts add to the mass with a motor that turns otherwise: (19).

    Nobody knows how much of it turns with the motor and how much with the wheels.
    """
    share = np.random.default_rng(9).uniform(0.0, 1.0, len(drive.mass_kg))
    return np.asarray((drive.inertia_factor - 1.0) * (1.0 - share + share * faster**2))


def _growing(drive: Drive, faster: FloatArray, heavier: FloatArray) -> FloatArray:
    """Return by what drag that grows with speed is multiplied: (21).

    Part of it is the tyres' and goes with the weight, part the motor's (eddy currents, grease) and
    goes with the square of its speed, part neither's; any three parts of a whole alike likely.
    """
    tyres, motor, rest = np.random.default_rng(10).dirichlet(np.ones(3), len(drive.mass_kg)).T
    return np.asarray(tyres * heavier + motor * faster**2 + rest)


def on_ground(drive: Drive, before: str | None, after: str) -> Drive:
    """Return machines on another ground: tyres that roll lightly on one do so on the other too.

    ``before`` is the ground they were known on, None if nobody named it. Rolling resistance is
    drawn from the handbooks' range of the new ground, with 0.6 of where a machine lies in that of
    the old one; own choice.
    """
    old, new = ground_of(before), ground_of(after)
    noise = np.random.default_rng(6).standard_normal(len(drive.mass_kg))
    place = np.log(drive.rolling / old.rolling) / old.rolling_log_sd
    kept = 0.0 if before is None else 0.6
    place = kept * np.clip(place, -3.0, 3.0) + np.sqrt(1.0 - kept**2) * noise
    rolling = new.rolling * np.exp(new.rolling_log_sd * place)
    more_n = (rolling - drive.rolling) * drive.mass_kg * STANDARD_GRAVITY_MPS2
    return replace(
        drive,
        rolling=rolling,
        load=replace(drive.load, a_n=drive.load.a_n + more_n),
        traction_n=drive.traction_n * (new.grip / old.grip),
    )


def at_charge(drive: Drive, setup: MachineSetup, charge: tuple[float, float]) -> Drive:
    """Return machines with the pack at another charge, a mean and its standard deviation."""
    noise = np.random.default_rng(7).standard_normal(len(drive.mass_kg))
    wanted = np.clip(charge[0] + charge[1] * noise, 0.0, 1.0)
    volts = drive.battery_v * resting_share(setup, wanted) / resting_share(setup, drive.charge)
    return replace(drive, charge=wanted, battery_v=volts)


def _mass(setup: MachineSetup) -> float:
    parts = (setup.machine_mass_kg, setup.rider_mass_kg, setup.load_mass_kg)
    return sum(part or 0.0 for part in parts)


def _follow_battery(
    setup: MachineSetup, asked: Mapping[str, Any], new: dict[str, Any], notes: list[str]
) -> None:
    """Let voltages and resistance follow the cells, and cells the voltage, with a note of each."""
    wanted = {"battery_cells", "battery_nominal_v", "battery_full_v", "battery_chemistry"}
    if not wanted & set(asked):
        return
    pack = pack_voltage(setup)
    if pack is None:
        _unrelated(next(iter(wanted & set(asked))), "battery_cells or battery_nominal_v")
        return
    chemistry = setup.battery_chemistry or "li-ion"
    cells = setup.battery_cells or cells_of_voltage(pack.nominal_v, chemistry)
    if "battery_chemistry" in asked and asked["battery_chemistry"] != setup.battery_chemistry:
        new["battery_cells"] = asked.get("battery_cells", cells)
        for name in ("battery_nominal_v", "battery_full_v"):
            if name not in asked:
                new.pop(name, None)
        notes.append(f"Voltages follow from {new['battery_cells']} cells of the new chemistry.")
        return
    if "battery_cells" in asked:
        step = asked["battery_cells"] / cells
        how = "the cells"
        if setup.battery_cells is None:
            notes.append(
                f"The present {pack.nominal_v:g} V are taken as {cells} cells of {pack.source}."
                if " cells of " not in pack.source
                else f"The present {pack.nominal_v:g} V are taken as {pack.source}."
            )
    elif "battery_nominal_v" in asked:
        step = asked["battery_nominal_v"] / pack.nominal_v
        how = "the nominal voltage"
        if setup.battery_cells is not None:
            new["battery_cells"] = max(1, round(setup.battery_cells * step))
            notes.append(f"battery_cells follows {how}: {new['battery_cells']}.")
    else:
        return

    def follow(name: str, unit: str, shown: Callable[[float], str]) -> None:
        old = getattr(setup, name)
        if old is not None and name not in asked:
            new[name] = old * step
            notes.append(f"{name} follows {how}: {shown(old * step)} {unit}.")

    follow("battery_nominal_v", "V", lambda value: f"{value:.1f}")
    follow("battery_full_v", "V", lambda value: f"{value:.1f}")


def _unrelated(name: str, needed: str) -> None:
    raise SetupError(
        f"{name} cannot be changed: the set-up does not give the present {needed}, so the change "
        "cannot be related to what was ridden.",
        f"add {needed} as it was during the rides to the set-up file.",
    )


def _refuse(problems: list[str]) -> None:
    if problems:
        raise SetupError(problems[0], "settle this first; nothing was predicted.")
