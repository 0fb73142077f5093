"""What a drive can do against what resists it: pull, top speed, currents."""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from ridelog.core.track import BoolArray, FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2

# Dry air as an ideal gas at 20 °C and 1013.25 hPa, derived: 101325 / (287.05 * 293.15). [kg/m³]
AIR_DENSITY_KGPM3 = 1.2041

# Steps towards the current of full iron, and how flat its line is let be on the way: own choices;
# three leave less than 1 % of the current wherever the line is half as steep as a straight one.
_NEARER, _LEAST_STEEP = 3, 0.05
# Derived: by so much more than the motor's limit the line lets through where it holds nothing back.
_JUST_MORE = 1.0 + 1e-9

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
    load : what resists while the motor drives.
    opening_s : how long the rider takes to open the throttle. [s]
    controller_efficiency : share of the battery's power that reaches the motor, 1.
    charge : of the pack, share of full.
    rolling : rolling resistance of the tyres alone, share of weight.
    idle_n : drag of the motor itself, at the ground if nothing were lost on the way. [N]
    limit_a_per_a : amperes in the motor at its limit for each that gives torque as its constant
        says, 1; more where its iron is full, METHOD.md (22).

    Source
    ------
    DC machine: V = k omega + R I, T = k I (textbook; T = T_s (1 - n/n_0), Massachusetts Institute
    of Technology, course 2.007, motor notes). Controller as a step-down converter: METHOD.md, (1)
    to (3).
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
    controller_efficiency: FloatArray = field(default_factory=lambda: np.ones(1))
    charge: FloatArray = field(default_factory=lambda: np.ones(1))
    rolling: FloatArray = field(default_factory=lambda: np.full(1, 0.02))
    idle_n: FloatArray = field(default_factory=lambda: np.zeros(1))
    limit_a_per_a: FloatArray = field(default_factory=lambda: np.ones(1))

    @property
    def no_load_mps(self) -> FloatArray:
        """Return the road speed at which the motor takes no current, (n,). [m/s]"""
        return self.battery_v / self.constant_nmpa * self.way_per_radian_m

    @property
    def force_per_amp_n(self) -> FloatArray:
        """Return newtons at the ground for an ampere in the motor, (n,). [N/A]"""
        return self.efficiency * self.constant_nmpa / self.way_per_radian_m

    @property
    def iron_a(self) -> FloatArray:
        """Return the amperes that scale how iron fills, counted as torque, (n,): (30). [A]"""
        missing = np.maximum(1.0 - self.limit_a_per_a**-2.0, 1e-12)
        return np.asarray(self.motor_limit_a / np.sqrt(missing))

    @property
    def rolling_out(self) -> RoadLoad:
        """Return what resists without drive.

        What is lost between motor and ground is lost in either direction: of the motor's drag the
        share ``efficiency`` is missing at the ground while it drives, 1 / efficiency holds back
        while it is dragged along: METHOD.md, (20).
        """
        more_n = self.idle_n * (1.0 / self.efficiency - self.efficiency)
        return replace(self.load, a_n=self.load.a_n + more_n)

    @property
    def limit_power_w(self) -> FloatArray:
        """Return the power that the battery limit lets through to the motor, (n,). [W]

        At the sagging voltage, never beyond the peak of what the battery can give, U² / (4 R).
        """
        amps = np.minimum(self.battery_limit_a, 0.5 * self.battery_v / self.battery_ohm)
        volts = self.battery_v - self.battery_ohm * amps
        power: FloatArray = self.controller_efficiency * amps * volts
        return power

    def currents_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the motor current that each limit would allow at full throttle, (4, n, k). [A]

        In the order of LIMITS, as much as gives the torque if iron were never full; beyond the
        motor's own limit no more than that it is more. ``speed_mps`` is (k,) or (n, k).
        """
        back_v = self._back_v(speed_mps)
        one = np.ones_like(back_v)
        return np.stack(
            [
                self._line_a(back_v),
                self.motor_limit_a[:, None] * one,
                self._limited_a(back_v),
                (self.traction_n / self.force_per_amp_n)[:, None] * one,
            ]
        )

    def _back_v(self, speed_mps: FloatArray) -> FloatArray:
        """Return the back voltage of iron that is never full, (n, k). [V]"""
        return self.constant_nmpa[:, None] / self.way_per_radian_m[:, None] * speed_mps

    def _line_a(self, back_v: FloatArray) -> FloatArray:
        """Return the largest current that a step-down converter can drive, (n, k): (1). [A]"""
        volts, ohm = self.battery_v[:, None], self.motor_ohm[:, None]
        sagging = self.battery_ohm[:, None]
        share = back_v / volts
        duty = np.minimum(share + np.sqrt(share**2 + ohm / sagging), 1.0)
        volts, ohm = duty * volts, ohm + sagging * duty**2
        straight = np.maximum((volts - back_v) / ohm, 0.0)
        # In units of the iron's amperes, from below: full iron gives less back voltage, too.
        iron, most = self.iron_a[:, None], self.motor_limit_a[:, None]
        fullest = (most / iron) / np.sqrt(1.0 - (most / iron) ** 2)
        ohm = ohm * iron
        amps = np.minimum(straight / iron, fullest)
        for _ in range(_NEARER):
            field = 1.0 / np.sqrt(1.0 + amps**2)
            miss = volts - back_v * field - ohm * amps
            steep = np.maximum(ohm - back_v * amps * field**3, _LEAST_STEEP * ohm)
            amps = np.clip(amps + miss / steep, 0.0, fullest)
        found = iron * amps / np.sqrt(1.0 + amps**2)
        # As long as volts are left at the motor's limit, the current has not come down from it.
        spare = volts - back_v / np.sqrt(1.0 + fullest**2) - ohm * fullest > 0.0
        return np.asarray(np.where(spare, np.maximum(straight, most * _JUST_MORE), found))

    def _limited_a(self, back_v: FloatArray) -> FloatArray:
        """Return the current that the battery limit lets through, (n, k): (3). [A]"""
        power = self.limit_power_w[:, None]
        heat = 4.0 * (self.heat_share * self.motor_ohm)[:, None] * power
        amps = 2.0 * power / (back_v + np.sqrt(back_v**2 + heat) + 1e-9)
        # Once is enough: full iron makes a tenth of the power a few hundredths larger.
        heat = heat / self._field(amps) ** 2
        return np.asarray(2.0 * power / (back_v + np.sqrt(back_v**2 + heat) + 1e-9))

    def _field(self, current_a: FloatArray) -> FloatArray:
        """Return the share of the constant that iron leaves at a current that gives torque, (n, k).

        Beyond the motor's limit it stays as it is there.
        """
        share = np.minimum(current_a, self.motor_limit_a[:, None]) / self.iron_a[:, None]
        return np.asarray(np.sqrt(1.0 - share**2))

    def motor_current_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the motor current at full throttle, (n, k). [A]"""
        return np.asarray(self.currents_a(speed_mps).min(axis=0))

    def winding_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return what a meter in the motor's lead would show at full throttle, (n, k). [A]"""
        amps = self.motor_current_a(speed_mps)
        return np.asarray(amps / self._field(amps))

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
        load = self.rolling_out
        return load.force_n(speed_mps) / (self.mass_kg * self.inertia_factor)[:, None]

    def battery_current_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the battery current at full throttle, (n, k). [A]

        Never above the controller's limit.
        """
        drawn = self._drawn_a(speed_mps, self.motor_current_a(speed_mps))
        return np.minimum(drawn, self.battery_limit_a[:, None])

    def _drawn_a(self, speed_mps: FloatArray, current_a: FloatArray) -> FloatArray:
        """Return what a motor current takes from the battery, (n, k). [A]

        Motor power P = k omega I + R I² comes, with the controller's loss, from the battery at its
        sagging voltage: P / eta = (U - R_b I_b) I_b. What heats is all of the winding's current.
        """
        back_v = self._back_v(speed_mps)
        ohm = self.motor_ohm[:, None] / self._field(current_a) ** 2
        power = (back_v + ohm * current_a) * current_a
        power = power / self.controller_efficiency[:, None]
        volts, ohms = self.battery_v[:, None], self.battery_ohm[:, None]
        under = np.maximum(volts**2 - 4.0 * ohms * power, 0.0)
        return np.asarray(2.0 * power / (volts + np.sqrt(under)))

    def cruising_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the battery current at a steady speed, (n, k); NaN where it cannot hold it. [A]

        Downhill, where nothing is needed, it is nought.
        """
        needed = self.needed_a(speed_mps)
        # Asked as the top speed asks, not by the currents at full throttle, which are some steps
        # short of what they tend to: a machine can hold every speed below its top.
        most = np.minimum(self.motor_limit_a, self.traction_n / self.force_per_amp_n)[:, None]
        able = self.carries(needed, speed_mps) & (needed <= most * (1.0 + 1e-9))
        return np.where(able, self._drawn_a(speed_mps, needed), np.nan)

    def needed_a(self, speed_mps: FloatArray) -> FloatArray:
        """Return the current that balances the load at a speed, nought downhill, (n, k). [A]"""
        balance = self.load.force_n(speed_mps) / self.force_per_amp_n[:, None]
        return np.asarray(np.maximum(balance, 0.0))

    def carries(self, current_a: FloatArray, speed_mps: FloatArray) -> BoolArray:
        """Return whether line and battery limit let a current through at a speed, (n, k): (30).

        ``current_a``, (n, k), is what counts as torque.
        """
        back_v = self._back_v(speed_mps)
        field = self._field(current_a)
        winding, ohm, volts = current_a / field, self.motor_ohm[:, None], self.battery_v[:, None]
        # What the winding asks for, and the most that the pack leaves at any duty.
        sag_v = self.battery_ohm[:, None] * winding
        duty = np.minimum(0.5 * volts / np.maximum(sag_v, 1e-9), 1.0)
        carried = back_v * field + ohm * winding < duty * (volts - duty * sag_v)
        drawn_w = back_v * current_a + self.heat_share[:, None] * ohm * winding**2
        return np.asarray(carried & (drawn_w < self.limit_power_w[:, None]))

    def battery_power_w(self, speed_mps: FloatArray) -> FloatArray:
        """Return the power that leaves the battery's terminals at full throttle, (n, k). [W]"""
        drawn = self.battery_current_a(speed_mps)
        return drawn * (self.battery_v[:, None] - self.battery_ohm[:, None] * drawn)


def on_slope(drive: Drive, slope: FloatArray | float) -> Drive:
    """Return machines on a slope, rise over run, positive uphill: M g sin(theta) resists as well.

    Tyres bear a little less (its cosine), which is left out.
    """
    sine = slope / np.hypot(1.0, slope)
    a_n = drive.load.a_n + drive.mass_kg * STANDARD_GRAVITY_MPS2 * sine
    return replace(drive, load=replace(drive.load, a_n=a_n))


def in_wind(drive: Drive, headwind_mps: FloatArray | float) -> Drive:
    """Return machines in a wind against them: C (v + w)² is C v² + 2 C w v + C w².

    It holds above the speed of a wind from behind, which pushes slower machines by C (v + w)².
    """
    load, wind = drive.load, headwind_mps
    return replace(
        drive,
        load=RoadLoad(
            load.a_n + load.c_ns2pm2 * wind**2,
            load.b_nspm + 2.0 * load.c_ns2pm2 * wind,
            load.c_ns2pm2,
        ),
    )


def on_day(drive: Drive, heavier: FloatArray, denser: FloatArray) -> Drive:
    """Return machines on a day that makes tyres roll heavier and air denser by these shares, (n,).

    METHOD.md, (26).
    """
    load = drive.load
    more_n = heavier * drive.rolling * drive.mass_kg * STANDARD_GRAVITY_MPS2
    return replace(
        drive,
        load=replace(load, a_n=load.a_n + more_n, c_ns2pm2=load.c_ns2pm2 * (1.0 + denser)),
    )


# Derived: they leave 150 m/s / 2^32 of the bracket, far below what is told.
_HALVINGS = 32


def top_speed(drive: Drive) -> tuple[FloatArray, IntArray]:
    """Return top speeds and what limits each, both of shape (n,).

    The drive is the least of four forces, none of which grows with speed, so the top speed is the
    least of the speeds at which one of them balances the resistance. Current and grip give
    quadratic equations; for line and power a bracket is halved. NaN (limit 1) where the machine
    cannot start.
    """
    load = drive.load
    speed = np.minimum(
        np.minimum(
            _balance(_less(load, drive.force_per_amp_n * drive.motor_limit_a)),
            _balance(_less(load, drive.traction_n)),
        ),
        _halved(drive),
    )
    # What is left of a halved bracket at nought.
    moving = speed > 2e-3
    limit = drive.limits(np.where(moving, speed, 0.0)[:, None])[:, 0]
    return np.where(moving, speed, np.nan), np.where(moving, limit, 1)


def _less(load: RoadLoad, force_n: FloatArray) -> RoadLoad:
    return RoadLoad(load.a_n - force_n, load.b_nspm, load.c_ns2pm2)


def _balance(excess: RoadLoad) -> FloatArray:
    """Return the positive root of A + B v + C v² with A < 0 < C, 0 if A is not negative. [m/s]"""
    a, b, c = excess.a_n, excess.b_nspm, excess.c_ns2pm2
    under = np.sqrt(np.maximum(b * b - 4.0 * a * c, 0.0))
    # This form of the root loses no digits when C is small.
    return np.where(a < 0.0, -2.0 * a / (b + under + 1e-12), 0.0)


def _halved(drive: Drive) -> FloatArray:
    """Return the speed at which line and battery limit alone balance the load, (n,). [m/s]"""
    low = np.full_like(drive.mass_kg, 1e-3)
    high = np.full_like(low, 150.0)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        here = middle[:, None]
        over = ~drive.carries(drive.needed_a(here), here)[:, 0]
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return 0.5 * (low + high)
