"""Machines for tests: one with given figures, and the simulator's machine in ridelog's terms."""

from typing import Any

import numpy as np
from simulate import Machine

from ridelog.core.track import FloatArray
from ridelog.machine.drive import Drive, RoadLoad


def one(value: float) -> FloatArray:
    return np.array([value])


def drive(**changes: Any) -> Drive:
    """Return a machine of 100 kg whose limits are all out of reach unless changed."""
    load = RoadLoad(
        one(changes.pop("a_n", 0.0)),
        one(changes.pop("b_nspm", 0.0)),
        one(changes.pop("c_ns2pm2", 0.0)),
    )
    figures = {
        "mass_kg": 100.0,
        "inertia_factor": 1.0,
        "way_per_radian_m": 0.03,
        "efficiency": 1.0,
        "constant_nmpa": 0.1,
        "motor_ohm": 0.05,
        "battery_ohm": 1e-9,
        "battery_v": 48.0,
        "motor_limit_a": 1e9,
        "battery_limit_a": 1e7,
        "heat_share": 1.0,
        "traction_n": 1e9,
        "opening_s": 0.0,
    } | changes
    return Drive(**{key: one(value) for key, value in figures.items()}, load=load)


def like(machine: Machine, *, volts: float = 48.0) -> Drive:
    """Return the simulator's machine; its power limit is mechanical, so no heat is counted."""
    constant = volts / machine.no_load_radps
    return drive(
        mass_kg=machine.mass_kg,
        way_per_radian_m=machine.circumference_m / (2 * np.pi) * machine.front_teeth
        / machine.rear_teeth,
        efficiency=machine.efficiency,
        constant_nmpa=constant,
        motor_ohm=volts * constant / machine.line_torque_nm,
        battery_v=volts,
        motor_limit_a=machine.limit_torque_nm / constant,
        battery_limit_a=machine.power_w / volts,
        heat_share=0.0,
        traction_n=machine.traction_n,
        a_n=machine.resistance_a_n,
        b_nspm=machine.resistance_b_nspm,
        c_ns2pm2=machine.resistance_c_ns2pm2,
    )  # fmt: skip
