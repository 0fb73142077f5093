"""The drive and what resists it: motor line, current limits, voltage sag, grip; A + B v + C v².

All fields have shape (n,): n possible machines at once, which differ where something is unknown.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2

# Dry air as an ideal gas at 20 °C and 1013.25 hPa: 101325 / (287.05 * 293.15). [kg/m³]
AIR_DENSITY_KGPM3 = 1.2041

# What can hold a machine back, in the order of the numbers that ``Drive.limits`` returns.
LIMITS = ("motor speed", "current", "power", "traction")

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class RoadLoad:
    """Coefficients of the resisting force, each of shape (n,) for n possible machines.

    a_n : constant part, rolling on the level. [N]
    b_nspm : part that grows with speed. [N s/m]
    c_ns2pm2 : part that grows with the square of speed, mostly air. [N s²/m²]

    Source
    ------
    40 CFR 1066.210 and 1066.310: F = A + B v + C v², M dv/dt = -F - M g sin(theta).
    """

    a_n: FloatArray
    b_nspm: FloatArray
    c_ns2pm2: FloatArray

    def force_n(self, speed_mps: FloatArray) -> FloatArray:
        """Return the resisting force on the level in still air.

        ``speed_mps`` has shape (k,) or (n, k), the result (n, k). [N]
        """
        force: FloatArray = (
            self.a_n[:, None]
            + self.b_nspm[:, None] * speed_mps
            + self.c_ns2pm2[:, None] * speed_mps**2
        )
        return force


def road_load_of(
    mass_kg: FloatArray, rolling: FloatArray, b_nspm: FloatArray, drag_area_m2: FloatArray
) -> RoadLoad:
    """Return A = rolling share times weight, B as given, C = air density times drag area / 2."""
    return RoadLoad(
        a_n=rolling * mass_kg * STANDARD_GRAVITY_MPS2,
        b_nspm=b_nspm,
        c_ns2pm2=0.5 * AIR_DENSITY_KGPM3 * drag_area_m2,
    )


def slope_force_n(mass_kg: float, grade: float) -> float:
    """Return the force of a slope, ``grade`` as rise over run, positive uphill. [N]"""
    return mass_kg * STANDARD_GRAVITY_MPS2 * grade / float(np.hypot(1.0, grade))


@dataclass(frozen=True)
class Drive:
    """n possible machines.

    Attributes
    ----------
    mass_kg, inertia_factor : mass with rider, and by how much rotating parts add to it, 1.
    way_per_radian_m : distance on the ground for one radian of the motor. [m]
    efficiency : from motor shaft to ground, 1.
    constant_nmpa : torque for an ampere, and voltage for a radian a second. [N m/A = V s]
    motor_ohm, battery_ohm : resistances. [ohm]
    battery_v : voltage without load. [V]
    motor_limit_a, battery_limit_a : controller limits. [A]
    heat_share : share of the winding's heat that the battery limit counts, 1: a controller that
        measures battery current counts all of it, one that limits the motor's power none.
    traction_n : largest force that the driven tyres put down. [N]
    load : what resists.
    opening_s : how long the rider takes to open the throttle. [s]

    Source
    ------
    DC machine: V = k omega + R I, T = k I (textbook; T = T_s (1 - n/n_0), Massachusetts Institute
    of Technology, course 2.007, motor notes). Controller as a lossless step-down converter, so
    that battery power = motor power: common practice, no source.
    """

    mass_kg: FloatArray
    inertia_factor: FloatArray
    way_per_radian_m: FloatArray
    efficiency: FloatArray
    constant_nmpa: FloatArray
    motor_ohm: FloatArray
    battery_ohm: FloatArray
    battery_v: FloatArray
    motor_limit_a: FloatArray
    battery_limit_a: FloatArray
    heat_share: FloatArray
    traction_n: FloatArray
    load: RoadLoad
    opening_s: FloatArray

    @property
    def no_load_mps(self) -> FloatArray:
        """Return the road speed at which the motor takes no current, (n,). [m/s]"""
        speed: FloatArray = self.battery_v / self.constant_nmpa * self.way_per_radian_m
        return speed

    @property
    def force_per_amp_n(self) -> FloatArray:
        """Return newtons at the ground for an ampere in the motor, (n,). [N/A]"""
        force: FloatArray = self.efficiency * self.constant_nmpa / self.way_per_radian_m
        return force

    @property
    def limit_power_w(self) -> FloatArray:
        """Return the power that the battery limit lets through at the sagging voltage, (n,). [W]

        Never beyond the peak of what the battery can give, U² / (4 R).
        """
        amps = np.minimum(self.battery_limit_a, 0.5 * self.battery_v / self.battery_ohm)
        power: FloatArray = amps * (self.battery_v - self.battery_ohm * amps)
        return power

    def currents_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the motor current that each limit would allow at full throttle, (4, n, k). [A]

        In the order of LIMITS. On the line the duty is full and both resistances are in series;
        at the battery limit s R I² + k omega I = P is solved for I. ``speed_mps`` is (k,) or
        (n, k).
        """
        back_v = self.constant_nmpa[:, None] / self.way_per_radian_m[:, None] * speed_mps
        line = (self.battery_v[:, None] - back_v) / (self.motor_ohm + self.battery_ohm)[:, None]
        power = self.limit_power_w[:, None]
        heat = 4.0 * (self.heat_share * self.motor_ohm)[:, None] * power
        limited = 2.0 * power / (back_v + np.sqrt(back_v**2 + heat) + 1e-9)
        one = np.ones_like(back_v)
        currents: FloatArray = np.stack(
            [
                np.maximum(line, 0.0),
                self.motor_limit_a[:, None] * one,
                limited,
                (self.traction_n / self.force_per_amp_n)[:, None] * one,
            ]
        )
        return currents

    def motor_current_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the motor current at full throttle, (n, k). [A]"""
        current: FloatArray = self.currents_a(speed_mps).min(axis=0)
        return current

    def limits(self, speed_mps: FloatArray) -> IntArray:
        """Return which of LIMITS holds the machine back at full throttle, (n, k)."""
        index: IntArray = np.argmin(self.currents_a(speed_mps), axis=0)
        return index

    def force_n(self, speed_mps: FloatArray) -> FloatArray:
        """Return the force at the ground at full throttle, (n, k). [N]"""
        force: FloatArray = self.force_per_amp_n[:, None] * self.motor_current_a(speed_mps)
        return force

    def pull_mps2(self, speed_mps: FloatArray) -> FloatArray:
        """Return the acceleration at full throttle on the level in still air, (n, k). [m/s²]"""
        excess = self.force_n(speed_mps) - self.load.force_n(speed_mps)
        pull: FloatArray = excess / (self.mass_kg * self.inertia_factor)[:, None]
        return pull

    def coasting_mps2(self, speed_mps: FloatArray) -> FloatArray:
        """Return the deceleration without drive, positive when slowing, (n, k). [m/s²]"""
        slowing: FloatArray = (
            self.load.force_n(speed_mps) / (self.mass_kg * self.inertia_factor)[:, None]
        )
        return slowing

    def battery_current_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the battery current at full throttle, (n, k). [A]

        Motor power P = k omega I + R I² comes from the battery at its sagging voltage,
        P = (U - R_b I_b) I_b; never above the controller's limit.
        """
        current = self.motor_current_a(speed_mps)
        back_v = self.constant_nmpa[:, None] / self.way_per_radian_m[:, None] * speed_mps
        power = (back_v + self.motor_ohm[:, None] * current) * current
        volts, ohms = self.battery_v[:, None], self.battery_ohm[:, None]
        under = np.maximum(volts**2 - 4.0 * ohms * power, 0.0)
        drawn: FloatArray = np.minimum(
            2.0 * power / (volts + np.sqrt(under)), self.battery_limit_a[:, None]
        )
        return drawn

    def battery_power_w(self, speed_mps: FloatArray) -> FloatArray:
        """Return the power that leaves the battery's terminals at full throttle, (n, k). [W]"""
        drawn = self.battery_current_a(speed_mps)
        power: FloatArray = drawn * (self.battery_v[:, None] - self.battery_ohm[:, None] * drawn)
        return power
