"""What a drive can do against what resists it: pull, top speed, launches, peaks."""

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
        return (
            self.a_n[:, None]
            + self.b_nspm[:, None] * speed_mps
            + self.c_ns2pm2[:, None] * speed_mps**2
        )


def road_load_of(
    mass_kg: FloatArray, rolling: FloatArray, b_nspm: FloatArray, drag_area_m2: FloatArray
) -> RoadLoad:
    """Return A = rolling share times weight, B as given, C = air density times drag area / 2."""
    return RoadLoad(
        a_n=rolling * mass_kg * STANDARD_GRAVITY_MPS2,
        b_nspm=b_nspm,
        c_ns2pm2=0.5 * AIR_DENSITY_KGPM3 * drag_area_m2,
    )


@dataclass(frozen=True)
class Drive:
    """n possible machines.

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
        return self.battery_v / self.constant_nmpa * self.way_per_radian_m

    @property
    def force_per_amp_n(self) -> FloatArray:
        """Return newtons at the ground for an ampere in the motor, (n,). [N/A]"""
        return self.efficiency * self.constant_nmpa / self.way_per_radian_m

    @property
    def limit_power_w(self) -> FloatArray:
        """Return the power that the battery limit lets through at the sagging voltage, (n,). [W]

        Never beyond the peak of what the battery can give, U² / (4 R).
        """
        amps = np.minimum(self.battery_limit_a, 0.5 * self.battery_v / self.battery_ohm)
        return amps * (self.battery_v - self.battery_ohm * amps)

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
        return np.stack(
            [
                np.maximum(line, 0.0),
                self.motor_limit_a[:, None] * one,
                limited,
                (self.traction_n / self.force_per_amp_n)[:, None] * one,
            ]
        )

    def motor_current_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the motor current at full throttle, (n, k). [A]"""
        return np.asarray(self.currents_a(speed_mps).min(axis=0))

    def limits(self, speed_mps: FloatArray) -> IntArray:
        """Return which of LIMITS holds the machine back at full throttle, (n, k)."""
        return np.asarray(np.argmin(self.currents_a(speed_mps), axis=0))

    def force_n(self, speed_mps: FloatArray) -> FloatArray:
        """Return the force at the ground at full throttle, (n, k). [N]"""
        return self.force_per_amp_n[:, None] * self.motor_current_a(speed_mps)

    def pull_mps2(self, speed_mps: FloatArray) -> FloatArray:
        """Return the acceleration at full throttle on the level in still air, (n, k). [m/s²]"""
        excess = self.force_n(speed_mps) - self.load.force_n(speed_mps)
        return excess / (self.mass_kg * self.inertia_factor)[:, None]

    def coasting_mps2(self, speed_mps: FloatArray) -> FloatArray:
        """Return the deceleration without drive, positive when slowing, (n, k). [m/s²]"""
        return self.load.force_n(speed_mps) / (self.mass_kg * self.inertia_factor)[:, None]

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
        return np.minimum(2.0 * power / (volts + np.sqrt(under)), self.battery_limit_a[:, None])

    def battery_power_w(self, speed_mps: FloatArray) -> FloatArray:
        """Return the power that leaves the battery's terminals at full throttle, (n, k). [W]"""
        drawn = self.battery_current_a(speed_mps)
        return drawn * (self.battery_v[:, None] - self.battery_ohm[:, None] * drawn)


# Steps of the speed grid on which launches are integrated, and how near to the top speed it ends.
_STEPS, _NEARNESS = 240, 0.995
_HALVINGS = 44


def top_speed(drive: Drive) -> tuple[FloatArray, IntArray]:
    """Return top speeds on the level in still air and what limits each, both of shape (n,).

    The drive is the least of four forces, none of which grows with speed, so the top speed is the
    least of the four speeds at which one of them balances the resistance. Line, current and grip
    give quadratic equations; for power a bracket is halved. NaN (limit 1) where the machine cannot
    start.
    """
    load = drive.load
    scale = drive.force_per_amp_n
    stall_n = scale * drive.battery_v / (drive.motor_ohm + drive.battery_ohm)
    on_line = RoadLoad(load.a_n - stall_n, load.b_nspm + stall_n / drive.no_load_mps, load.c_ns2pm2)
    speeds = np.stack(
        [
            _balance(on_line),
            _balance(_less(load, scale * drive.motor_limit_a)),
            _power_balance(drive),
            _balance(_less(load, drive.traction_n)),
        ]
    )
    best = np.argmin(speeds, axis=0)
    speed = speeds[best, np.arange(speeds.shape[1])]
    return np.where(speed > 0.0, speed, np.nan), best


def _less(load: RoadLoad, force_n: FloatArray) -> RoadLoad:
    return RoadLoad(load.a_n - force_n, load.b_nspm, load.c_ns2pm2)


def _balance(excess: RoadLoad) -> FloatArray:
    """Return the positive root of A + B v + C v² with A < 0 < C, 0 if A is not negative. [m/s]"""
    a, b, c = excess.a_n, excess.b_nspm, excess.c_ns2pm2
    under = np.sqrt(np.maximum(b * b - 4.0 * a * c, 0.0))
    # This form of the root loses no digits when C is small.
    return np.where(a < 0.0, -2.0 * a / (b + under + 1e-12), 0.0)


def _power_balance(drive: Drive) -> FloatArray:
    """Return the speed at which the battery limit alone balances the resistance, (n,). [m/s]"""
    low = np.full_like(drive.mass_kg, 1e-3)
    high = np.full_like(low, 150.0)
    per_distance = drive.constant_nmpa / drive.way_per_radian_m
    power = drive.limit_power_w
    heat = 4.0 * drive.heat_share * drive.motor_ohm * power
    load = drive.load
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        back_v = per_distance * middle
        force = drive.force_per_amp_n * 2.0 * power / (back_v + np.sqrt(back_v**2 + heat))
        over = load.a_n + middle * (load.b_nspm + load.c_ns2pm2 * middle) > force
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return 0.5 * (low + high)


@dataclass(frozen=True)
class PossibleLaunch:
    """A standing start at full throttle on the level, n possible machines on one grid each.

    speed_mps, time_s, distance_m : shape (n, k); speed rises from 0 to just under the top speed,
        time counts from the first motion and includes half the time in which the throttle opens.
    limit : which limit holds the machine back at each speed, (n, k).
    top_mps : shape (n,). [m/s]
    """

    speed_mps: FloatArray
    time_s: FloatArray
    distance_m: FloatArray
    limit: IntArray
    top_mps: FloatArray

    def time_to_speed_s(self, speed_mps: float) -> FloatArray:
        """Return the time until a speed is first reached, NaN where it is not, (n,). [s]"""
        return _across(self.speed_mps, self.time_s, speed_mps)

    def window_s(self, from_mps: float, to_mps: float) -> FloatArray:
        """Return the time from one speed to another, from 0 as a standing start, (n,). [s]"""
        if from_mps <= 0.0:
            return self.time_to_speed_s(to_mps)
        return self.time_to_speed_s(to_mps) - self.time_to_speed_s(from_mps)

    def time_to_distance_s(self, distance_m: float) -> FloatArray:
        """Return the time over a distance from the start; steady at the top after the grid. [s]"""
        end, time = self.distance_m[:, -1], self.time_s[:, -1]
        inside = _across(self.distance_m, self.time_s, distance_m)
        beyond = time + (distance_m - end) / self.speed_mps[:, -1]
        return np.where(distance_m > end, beyond, inside)

    def speed_at_distance_mps(self, distance_m: float) -> FloatArray:
        """Return the speed after a distance from the start, (n,). [m/s]"""
        inside = _across(self.distance_m, self.speed_mps, distance_m)
        return np.where(distance_m > self.distance_m[:, -1], self.speed_mps[:, -1], inside)

    def longest_limit(self, from_mps: float, to_mps: float) -> IntArray:
        """Return the limit that holds the machine back for most of the time of a window, (n,)."""
        step = np.diff(self.time_s, axis=1)
        middle = 0.5 * (self.speed_mps[:, 1:] + self.speed_mps[:, :-1])
        inside = (middle >= from_mps) & (middle <= to_mps)
        spent = np.stack(
            [np.sum(step * (inside & (self.limit[:, 1:] == i)), axis=1) for i in range(4)]
        )
        return np.asarray(np.argmax(spent, axis=0))


def launch(drive: Drive) -> PossibleLaunch:
    """Return the standing start of every possible machine.

    Time is the integral of dv / a, distance that of v dv / a, by Simpson's rule on each step. A
    throttle that opens over a time o as s(t) makes the machine run through the same speeds with
    its own clock, the integral of s, which lags behind by o / 2 in the end: own derivation.
    """
    top, _ = top_speed(drive)
    known = np.where(np.isfinite(top), top, 1.0)
    # Finer near the top, where the pull fades and every step takes longer.
    share = 1.0 - (1.0 - np.linspace(0.0, 1.0, _STEPS + 1)) ** 2
    nodes = np.empty(2 * _STEPS + 1)
    nodes[::2] = share
    nodes[1::2] = 0.5 * (share[1:] + share[:-1])
    speed = _NEARNESS * known[:, None] * nodes
    slowness = 1.0 / np.maximum(drive.pull_mps2(speed), 1e-6)
    step = np.diff(speed[:, ::2], axis=1)

    def grown(rate: FloatArray) -> FloatArray:
        parts = step / 6.0 * (rate[:, :-2:2] + 4.0 * rate[:, 1::2] + rate[:, 2::2])
        return np.concatenate([np.zeros((len(rate), 1)), np.cumsum(parts, axis=1)], axis=1)

    time_s = grown(slowness) + 0.5 * drive.opening_s[:, None]
    time_s[:, 0] = 0.0
    distance_m = grown(slowness * speed)
    cannot = ~np.isfinite(top)
    time_s[cannot] = distance_m[cannot] = np.nan
    at = speed[:, ::2]
    return PossibleLaunch(at, time_s, distance_m, drive.limits(at), top)


def _across(grid: FloatArray, values: FloatArray, wanted: float) -> FloatArray:
    """Return values where a rising grid reaches a number, row by row; NaN where it does not."""
    count = grid.shape[1]
    index = np.clip(np.sum(grid < wanted, axis=1), 1, count - 1)
    rows = np.arange(len(grid))
    left, right = grid[rows, index - 1], grid[rows, index]
    share = (wanted - left) / np.where(right > left, right - left, 1.0)
    found: FloatArray = values[rows, index - 1] + share * (
        values[rows, index] - values[rows, index - 1]
    )
    return np.where(grid[:, -1] >= wanted, found, np.nan)


def peak(drive: Drive, what: str) -> tuple[FloatArray, IntArray]:
    """Return the largest of a quantity over all speeds up to the top, and what limits there, (n,).

    ``what`` is "battery_current_a", "battery_power_w" or "motor_current_a".
    """
    top, _ = top_speed(drive)
    known = np.where(np.isfinite(top), top, 1.0)
    speed = known[:, None] * np.linspace(0.0, 1.0, 161)
    values: FloatArray = getattr(drive, what)(speed)
    at = np.argmax(values, axis=1)
    rows = np.arange(len(at))
    limit: IntArray = drive.limits(speed)[rows, at]
    return np.where(np.isfinite(top), values[rows, at], np.nan), limit


def launch_time_s(drive: Drive, speed_mps: float) -> FloatArray:
    """Return the time of a standing start to a low speed, (n,), by a quick rule. [s]

    Sixteen steps are enough well below the top speed; NaN where the speed is not reached.
    """
    edges = np.linspace(0.0, speed_mps, 17)
    middles = 0.5 * (edges[1:] + edges[:-1])
    pull = drive.pull_mps2(middles)
    time_s = np.sum(np.diff(edges) / np.maximum(pull, 1e-6), axis=1) + 0.5 * drive.opening_s
    return np.where(np.all(pull > 0.0, axis=1), time_s, np.nan)
