"""Possible machines from a set-up alone: what is given, and handbook ranges for what is not.

Every unknown is a standard normal number z; ``machines_of`` turns rows of such numbers into
machines. So the prior is the same for every set-up, and fitting needs no other knowledge of it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from ridelog.core.quantity import POWER, SPEED, TIME, Quantity
from ridelog.core.track import FloatArray
from ridelog.core.units import (
    KILOGRAMS_PER_POUND,
    METRES_PER_INCH,
    MPS_PER_MPH,
    NEWTONS_PER_POUND,
    RADPS_PER_RPM,
    STANDARD_GRAVITY_MPS2,
    SpeedUnit,
)
from ridelog.machine.drive import Drive, road_load_of
from ridelog.machine.ground import ground_of
from ridelog.machine.pack import kind_of, resistance_ohm, resting_full_v, resting_share
from ridelog.machine.setup import MachineSetup, circumference_m, overall_ratio, stages

_NONE = "common practice, no source"


@dataclass(frozen=True)
class Unknown:
    """One quantity that a set-up leaves more or less open.

    name : for scripts. words, quantity : for people. source : where its range comes from when the
    set-up does not give it. of : how to read it from possible machines, (n,).
    """

    name: str
    words: str
    quantity: Quantity
    source: str
    of: Callable[[Drive], FloatArray]


def _kind(si: str, decimals: int, mph: tuple[str, float] | None = None) -> Quantity:
    """Return a quantity of a machine; ``mph`` is its unit for those who read mph, in SI units."""

    def reading(reader: SpeedUnit) -> tuple[str, float]:
        return mph if mph and reader.label == "mph" else (si, 1.0)

    return Quantity(si, si, decimals, reading)


_SHARE = _kind("", 3)
_MASS = _kind("kg", 1, ("lb", KILOGRAMS_PER_POUND))
_FORCE = _kind("N", 1, ("lbf", NEWTONS_PER_POUND))
_A_RADIAN = _kind("m/rad", 4, ("in/rad", METRES_PER_INCH))
_WITH_SPEED = _kind("N s/m", 2, ("lbf/mph", NEWTONS_PER_POUND / MPS_PER_MPH))
_WITH_SQUARE = _kind("N s²/m²", 3, ("lbf/mph²", NEWTONS_PER_POUND / MPS_PER_MPH**2))
_OHM, _VOLT = _kind("ohm", 4), _kind("V", 1)

# One for each column of z, in this order; the source of each range beside it, else common
# practice, no source.
UNKNOWNS = (
    Unknown("mass_kg", "mass with rider", _MASS, _NONE, lambda d: d.mass_kg),
    Unknown("inertia_factor", "part of rotating masses", _SHARE, "CMVR TAP-115/116: 4 % of the "
            "mass for a motorcycle's driven wheel", lambda d: d.inertia_factor),
    Unknown("way_per_radian_m", "tyre and gearing", _A_RADIAN, _NONE, lambda d: d.way_per_radian_m),
    Unknown("ratio", "gear ratio alone", _kind("", 2), _NONE, lambda d: 1.0 / d.way_per_radian_m),
    Unknown("efficiency", "efficiency of the drive", _SHARE, "chains 0.81-0.986: Spicer, Human "
            "Power 50, 2000, from memory; 0.98 for a clean one: Sports Engineering 2021",
            lambda d: d.efficiency),
    Unknown("no_load_mps", "road speed without load", SPEED, _NONE, lambda d: d.no_load_mps),
    Unknown("line_n", "steepness of the motor's line (force at standstill without limits)", _FORCE,
            "winding drops 0.05-0.35 of the volts at the motor current limit: from memory of data "
            "sheets; 0.22: Larminie and Lowry, 2003, from memory",
            lambda d: d.force_per_amp_n * d.battery_v / (d.motor_ohm + d.battery_ohm)),
    Unknown("battery_ohm", "resistance of battery and leads", _OHM, _NONE,
            lambda d: d.battery_ohm),
    Unknown("motor_limit_n", "force at the motor current limit", _FORCE, _NONE,
            lambda d: d.force_per_amp_n * d.motor_limit_a),
    Unknown("limit_power_w", "power at the battery current limit", POWER, _NONE,
            lambda d: d.limit_power_w),
    Unknown("heat_share", "the motor's heat that the battery limit counts", _SHARE, _NONE,
            lambda d: d.heat_share),
    Unknown("traction_n", "grip", _FORCE, "friction 0.58-0.88 of ATV tyres: FME for The Oregonian, "
            "2007", lambda d: d.traction_n),
    Unknown("rolling_n", "rolling resistance with the motor's own drag", _FORCE, "Carvill, "
            "Mechanical Engineer's Data Handbook, 1993: 0.01-0.08; by kind of ground in ground.py",
            lambda d: d.load.a_n),
    Unknown("drag_b_nspm", "drag that grows with speed", _WITH_SPEED, _NONE,
            lambda d: d.load.b_nspm),
    Unknown("drag_c_ns2pm2", "air drag", _WITH_SQUARE, "0.18-0.7 m2: Cossalter, as cited in a "
            "simulation manual; 0.47 m2 for a cyclist: Sports Engineering 2021",
            lambda d: d.load.c_ns2pm2),
    Unknown("battery_v", "battery voltage during the rides", _VOLT, _NONE, lambda d: d.battery_v),
    Unknown("idle_n", "the motor's own drag", _FORCE, "current without load of "
            "small motors, 2-8 % of that at rated power: from memory",
            lambda d: d.idle_n),
    Unknown("controller_efficiency", "efficiency of the controller", _SHARE,
            "0.92-0.99, from memory: small ones at part load; 0.3 V of 48 V lost at 100 A by "
            "choppers' data sheets", lambda d: d.controller_efficiency),
    Unknown("charge", "charge of the battery during the rides", _SHARE, _NONE,
            lambda d: d.charge),
    Unknown("opening_s", "time in which the throttle is opened", TIME, _NONE,
            lambda d: d.opening_s),
    Unknown("missing_share", "pull lost at the motor current limit", _SHARE,
            "up to 0.15: torque curves of hub and inner-rotor motors, from memory",
            lambda d: 1.0 - 1.0 / d.limit_a_per_a),
)  # fmt: skip
INDEX = {unknown.name: i for i, unknown in enumerate(UNKNOWNS)}
COUNT = len(UNKNOWNS)

# A battery of which nobody says how full it was has anything from this to all: own choice,
# riders stop before it is empty.
_LEAST_CHARGE = 0.15
# What iron and bearings of the motor take: 2 to 8 % (see UNKNOWNS) of the force at its rated
# current, in the middle 4 %. The limit is 1 to 1.75 times that current, METHOD.md (27): derived,
# nine in ten of both, middle and spread of the logarithm as a share of the force at the limit.
_IDLE_SHARE, _IDLE_LOG_SD = 0.03, 0.45
# Without a limit in ampere, as force on the mass: of a rated pull of some 1 N/kg, nine in ten have
# a third to three times as much, own choice. [N/kg]
_IDLE_NPKG, _IDLE_NPKG_LOG_SD = 0.04, 0.7
# How drag grows with speed, on the mass: a tyre's rolling by 1/100 a mph (Gillespie, Fundamentals
# of Vehicle Dynamics, 1992, from memory), which is 0.0033 at 0.015 of weight. What grows in the
# motor is in its current without load, taken at full speed. [N s/(m kg)]
_GROWING_NSPMKG = 0.0033
# Nine in ten stages pass on 0.81 to 0.986 of the power (see UNKNOWNS). Derived: the middle of the
# logits of both ends, and how far they are from it in 1.645.
_EFFICIENCY, _EFFICIENCY_LOGIT_SD = 0.945, 0.855
# Of the battery's power a controller passes on 0.92 to 0.99 (see UNKNOWNS): derived likewise.
_CONTROLLER, _CONTROLLER_LOGIT_SD = 0.971, 0.654
# At the limit of current a small motor's iron may be so full that this share of the torque that its
# constant promises is missing: from memory, of torque curves of hub and inner-rotor motors.
_SATURATED = 0.15
# Copper gains about 0.39 % of resistance a kelvin (from memory): a warm winding has this factor.
_WARM = 1.2
# At the motor current limit the winding drops 0.05 to 0.35 of the pack's voltage: METHOD.md, (27).
# Derived: middle and spread of the logarithm where nine in ten lie between.
_DROP, _DROP_LOG_SD = 0.13, 0.59
# A hand opens a throttle within this, slower is a controller's ramp: standing_start (1). [s]
LONGEST_HAND_S = 0.45
# A rated point lies near this share of the speed without load: common practice, no source.
_RATED_SPEED_SHARE = 0.85


def draw(count: int, seed: int = 1) -> FloatArray:
    """Return ``count`` rows of standard normal numbers; equal seeds give equal digits."""
    return np.random.default_rng(seed).standard_normal((count, COUNT))


@dataclass(frozen=True)
class Said:
    """What is said of the rides beside the set-up.

    charge : of the pack during them and its standard deviation, None if nobody knows. loose :
        names of UNKNOWNS for which the set-up's keys are not taken at their word.
    """

    charge: tuple[float, float] | None = None
    loose: frozenset[str] = frozenset()


# So wide is what the set-up gives of an unknown that is not taken at its word: own choice,
# nine in ten within half to twice.
_LOOSE_LOG_SD = 0.4


def machines_of(setup: MachineSetup, z: FloatArray, said: Said | None = None) -> Drive:
    """Return the possible machines that rows of standard normal numbers stand for.

    ``z`` has a row for each machine and a column for each of UNKNOWNS.

    Source
    ------
    Ranges: see UNKNOWNS; spreads of given figures: common practice, no source.
    """
    said = said or Said()

    def around(name: str, centre: float | FloatArray, log_sd: float) -> FloatArray:
        log_sd = max(log_sd, _LOOSE_LOG_SD) if name in said.loose else log_sd
        return centre * np.exp(log_sd * z[:, INDEX[name]])

    def share(name: str, centre: float, spread: float) -> FloatArray:
        logit = np.log(centre / (1.0 - centre)) + spread * z[:, INDEX[name]]
        return np.asarray(1.0 / (1.0 + np.exp(-logit)))

    mass = around("mass_kg", *_mass(setup))
    way = circumference_m(setup)
    turn_m = around(
        "way_per_radian_m", way or 1.1,
        0.3 if way is None else 0.01 if setup.tyre_circumference_m else 0.025,
    )  # fmt: skip
    ratio = overall_ratio(setup)
    gear = around("ratio", ratio or 6.0, 0.0 if ratio is not None else 0.45)
    per_radian = turn_m / (2.0 * np.pi) / gear
    if setup.drive_efficiency is not None:
        efficiency = np.minimum(around("efficiency", setup.drive_efficiency, 0.02), 1.0)
    else:
        alone = share("efficiency", _EFFICIENCY, _EFFICIENCY_LOGIT_SD)
        efficiency = alone ** (0.5 + 0.5 * stages(setup))
    charge = _charge(said.charge, z[:, INDEX["charge"]])
    full_v = resting_full_v(setup)
    if full_v is None:
        volts = around("battery_v", 44.0, 0.35)
    else:
        volts = around("battery_v", full_v * resting_share(setup, charge), 0.01)
    constant = _constant(setup, around, volts, per_radian)
    motor_ohm, battery_ohm = _resistances(
        setup, around, share, volts, constant, efficiency * constant / per_radian, mass
    )
    per_amp = efficiency * constant / per_radian
    # What is typed are amperes, of which full iron makes less torque: METHOD.md (22).
    full_iron = 1.0 - _SATURATED * ndtr(z[:, INDEX["missing_share"]])
    if setup.motor_limit_a is not None:
        motor_limit = around("motor_limit_n", setup.motor_limit_a, 0.06) * full_iron
    else:
        motor_limit = around("motor_limit_n", 2.2 * mass / per_amp, 0.5)
    if setup.battery_limit_a is not None:
        battery_limit = around("limit_power_w", setup.battery_limit_a, 0.06)
    elif setup.motor_rated_power_w is not None:
        battery_limit = around("limit_power_w", 1.5 * setup.motor_rated_power_w / volts, 0.4)
    else:
        no_load = volts / constant * per_radian
        battery_limit = around("limit_power_w", 1.0 * mass * no_load / volts, 0.6)
    ground = ground_of(setup.surface)
    grip = np.hypot(
        ground.grip_log_sd if setup.tyre_grip is None else 0.05,
        0.12 if setup.driven_weight_share is None else 0.03,
    )
    traction = around(
        "traction_n",
        (setup.tyre_grip or ground.grip) * (setup.driven_weight_share or 0.6)
        * STANDARD_GRAVITY_MPS2 * mass,
        float(grip),
    )  # fmt: skip
    given = setup.rolling_resistance
    rolling = around("rolling_n", given or ground.rolling, 0.1 if given else ground.rolling_log_sd)
    load = road_load_of(
        mass,
        rolling,
        around("drag_b_nspm", _GROWING_NSPMKG * mass, 0.8),
        around("drag_c_ns2pm2", setup.drag_area_m2 or 0.45, 0.08 if setup.drag_area_m2 else 0.22),
    )
    # Amperes of the battery are what it draws, whatever they are spent on.
    heat_share = np.ones(len(z))
    if setup.battery_limit_a is None:
        heat_share = share("heat_share", 0.5, 2.5)
    # The motor's drag comes on top of the tyres', whether it drives or is dragged along.
    if setup.motor_limit_a is not None:
        limit_n = setup.motor_limit_a * constant / per_radian
        idle_n = around("idle_n", _IDLE_SHARE * limit_n, _IDLE_LOG_SD)
    else:
        idle_n = around("idle_n", _IDLE_NPKG * mass, _IDLE_NPKG_LOG_SD)
    return Drive(
        mass_kg=mass,
        inertia_factor=1.0 + around("inertia_factor", 0.03, 0.6),
        way_per_radian_m=per_radian,
        efficiency=efficiency,
        constant_nmpa=constant,
        motor_ohm=motor_ohm,
        battery_ohm=battery_ohm,
        battery_v=volts,
        motor_limit_a=motor_limit,
        battery_limit_a=battery_limit,
        heat_share=heat_share,
        traction_n=traction,
        load=replace(load, a_n=load.a_n + efficiency * idle_n),
        rolling=rolling,
        idle_n=idle_n,
        controller_efficiency=share("controller_efficiency", _CONTROLLER, _CONTROLLER_LOGIT_SD),
        charge=charge,
        opening_s=_opening_s(z[:, INDEX["opening_s"]]),
        limit_a_per_a=1.0 / full_iron,
    )  # fmt: skip


def _charge(known: tuple[float, float] | None, z: FloatArray) -> FloatArray:
    """Return charges, even between the least and full where nobody knows, (n,)."""
    if known is None:
        # More often well charged than not: the median is 0.71.
        return np.asarray(_LEAST_CHARGE + (1.0 - _LEAST_CHARGE) * ndtr(z) ** 0.6)
    return np.clip(known[0] + known[1] * z, 0.0, 1.0)


def _opening_s(z: FloatArray) -> FloatArray:
    """Return openings of the throttle, at once, by hand or ramp: standing_start (1), (n,)."""
    shares = np.array([0.0, 0.25, 0.25, 0.75, 1.0])
    return np.asarray(np.interp(ndtr(z), shares, [0.0, 0.0, 0.1, LONGEST_HAND_S, 1.0]))


_Around = Callable[[str, "float | FloatArray", float], FloatArray]


def _mass(setup: MachineSetup) -> tuple[float, float]:
    """Return the centre of the whole mass and its relative spread."""
    parts = (
        (setup.machine_mass_kg, 0.02, 55.0, 0.40),
        (setup.rider_mass_kg, 0.03, 50.0, 0.35),
        (setup.load_mass_kg, 0.05, 0.0, 0.0),
    )
    total = square = 0.0
    for given, given_sd, usual, usual_sd in parts:
        mass, sd = (usual, usual_sd) if given is None else (given, given_sd)
        total += mass
        square += (mass * sd) ** 2
    return total, float(np.sqrt(square)) / total


def _constant(
    setup: MachineSetup, around: _Around, volts: FloatArray, per_radian: FloatArray
) -> FloatArray:
    """Return the motor constant from what the set-up gives about its speed. [V s/rad]"""
    rated_v = setup.motor_rated_v
    if setup.motor_rpm_per_v is not None:
        return around("no_load_mps", 1.0 / (setup.motor_rpm_per_v * RADPS_PER_RPM), 0.03)
    if setup.motor_rated_rpm is not None and rated_v is not None:
        no_load = setup.motor_rated_rpm * RADPS_PER_RPM / _RATED_SPEED_SHARE
        return around("no_load_mps", rated_v / no_load, 0.08)
    return volts * per_radian / around("no_load_mps", 11.0, 0.5)


def _resistances(
    setup: MachineSetup,
    around: _Around,
    share: Callable[[str, float, float], FloatArray],
    volts: FloatArray,
    constant: FloatArray,
    per_amp: FloatArray,
    mass: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return the resistances of motor and battery. [ohm]"""
    sag = share("battery_ohm", 0.25, 0.8)
    given = setup.battery_resistance_ohm
    cells = resistance_ohm(setup)
    battery = None
    if given is not None:
        battery = around("battery_ohm", 1.1 * given, 0.15)
    elif cells is not None:
        battery = around("battery_ohm", 1.1 * cells, kind_of(setup).resistance_log_sd)
    rated_v = setup.motor_rated_v
    if setup.motor_resistance_ohm is not None:
        motor = around("line_n", _WARM * setup.motor_resistance_ohm, 0.12)
    elif setup.motor_stall_torque_nm is not None and rated_v is not None:
        motor = around("line_n", rated_v * constant / setup.motor_stall_torque_nm, 0.15)
    elif setup.motor_rated_power_w is not None and rated_v is not None:
        # On the line at the rated point: P = T omega with T = k (V - k omega) / R.
        omega = _RATED_SPEED_SHARE * rated_v / constant
        torque = setup.motor_rated_power_w / omega
        motor = around("line_n", constant * rated_v * (1 - _RATED_SPEED_SHARE) / torque, 0.4)
    elif setup.motor_limit_a is not None:
        motor = around("line_n", _DROP * volts / setup.motor_limit_a, _DROP_LOG_SD)
    else:
        whole = around("line_n", volts * per_amp / (6.5 * mass), 0.7)
        if battery is None:
            return (1.0 - sag) * whole, sag * whole
        return np.maximum(whole - battery, 0.2 * whole), battery
    return motor, motor * sag / (1.0 - sag) if battery is None else battery
