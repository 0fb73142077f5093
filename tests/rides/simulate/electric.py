"""An electric machine stepped through time: winding, chopper, pack, tyre; slope and wind.

Nothing here is solved in closed form and nothing is shared with ``ridelog.machine``: every
millisecond the winding's current, the duty of the chopper, the charge of the pack and the speed
take one step. So what ridelog finds on its rides can be held against another model of the same
physics.
"""

from dataclasses import dataclass, field, replace
from math import atan, cos, exp, pi, sin

import numpy as np

from ridelog.core.track import FloatArray
from simulate.truth import STEP_S, Truth, running_integral

_STEP_S = 0.001
# Iron follows the current after currents of its own have died away, about: from memory.
_IRON_S = 0.05
_G = 9.80665
# Resting voltage of a cell over its charge, in tenths from empty to full: drawn by eye through
# what handbooks of batteries show for the three kinds, from memory. [V]
RESTING_V = {
    "li-ion": (3.15, 3.46, 3.55, 3.61, 3.65, 3.70, 3.78, 3.87, 3.97, 4.07, 4.18),
    "lifepo4": (2.85, 3.20, 3.24, 3.27, 3.29, 3.295, 3.30, 3.325, 3.33, 3.335, 3.42),
    "lead-acid": (1.91, 1.945, 1.975, 2.0, 2.02, 2.04, 2.06, 2.08, 2.10, 2.115, 2.13),
}
_TENTHS = np.linspace(0.0, 1.0, 11)


@dataclass(frozen=True)
class Pack:
    """A pack: cells in series, its capacity, and resistance that acts at once and after a while.

    ``cells`` need not be whole: a little more of them stands for cells of a little more voltage.
    """

    chemistry: str = "li-ion"
    cells: float = 13
    capacity_ah: float = 15.0
    ohm: float = 0.08
    slow_ohm: float = 0.02
    slow_s: float = 20.0
    cutoff_v: float = 39.0
    peukert: float = 1.0

    def resting_v(self, charge: float) -> float:
        """Return the voltage at rest. [V]"""
        return self.cells * float(np.interp(charge, _TENTHS, RESTING_V[self.chemistry]))


@dataclass(frozen=True)
class ElectricMachine:
    """A machine with rider; SI units, current limits of winding and battery in ampere."""

    mass_kg: float = 110.0
    rotor_kgm2: float = 0.0015
    wheels_kg: float = 3.0
    circumference_m: float = 1.02
    ratio: float = 5.5
    mesh_loss: float = 0.06
    volt_second: float = 0.145
    winding_ohm: float = 0.05
    henry: float = 0.0003
    idle_nm: float = 0.12
    idle_nms: float = 0.0003
    winding_limit_a: float = 90.0
    battery_limit_a: float = 35.0
    chopper_ohm: float = 0.004
    chopper_w: float = 6.0
    opening_s: float = 0.3
    throttle_sets_current: bool = False
    rolling: float = 0.018
    rolling_ps: float = 0.0004
    drag_area_m2: float = 0.45
    grip_n: float = 600.0
    pack: Pack = field(default_factory=Pack)
    charge: float = 0.9

    def flux_vs(self, amps: float) -> float:
        """Return torque for an ampere, and voltage for a radian a second, at a current. [V s]"""
        return self.volt_second

    def torque_nm(self, amps: float) -> float:
        """Return the torque of the winding's current. [N m]"""
        return self.flux_vs(amps) * amps

    def amps_for(self, torque_nm: float) -> float:
        """Return the current that gives a torque. [A]"""
        return torque_nm / self.volt_second

    def winding_a(self, back_v: float) -> float:
        """Return what the controller lets through the winding at a back voltage. [A]"""
        return self.winding_limit_a

    @property
    def inertia_kg(self) -> float:
        """Return the mass that is accelerated, rotating parts included. [kg]"""
        per_metre = 2.0 * pi * self.ratio / self.circumference_m
        return self.mass_kg + self.wheels_kg + self.rotor_kgm2 * per_metre**2

    def resistance_n(self, speed: float, grade: float, headwind: float) -> float:
        """Return what resists at the ground without the motor's own drag. [N]"""
        angle = atan(grade)
        air = speed + headwind
        weight = self.mass_kg * _G
        return weight * (
            sin(angle) + cos(angle) * (self.rolling + self.rolling_ps * speed)
        ) + 0.5 * 1.2041 * self.drag_area_m2 * air * abs(air)


@dataclass(frozen=True)
class SoftMachine(ElectricMachine):
    """Another motor law and another controller: iron saturates, the limit falls with the speed.

    saturation_a : at this current the winding gives 0.71 of a straight line's torque, and as much
    less back voltage, or iron would take up power. taper : share of the winding's limit that is
    gone where its back voltage is all that the pack has.
    """

    saturation_a: float = 200.0
    taper: float = 0.1

    def flux_vs(self, amps: float) -> float:
        """Return torque for an ampere, and voltage for a radian a second, at a current. [V s]"""
        return float(self.volt_second / (1.0 + (amps / self.saturation_a) ** 2) ** 0.5)

    def amps_for(self, torque_nm: float) -> float:
        """Return the current that gives a torque, infinite beyond what saturation leaves. [A]"""
        share = torque_nm / (self.volt_second * self.saturation_a)
        if share >= 1.0:
            return float("inf")
        return float(self.saturation_a * share / (1.0 - share**2) ** 0.5)

    def winding_a(self, back_v: float) -> float:
        """Return the limit of the winding's current, which falls as the motor turns faster. [A]"""
        return self.winding_limit_a * (1.0 - self.taper * min(back_v / (3.7 * self.pack.cells), 1))


class Bench:
    """One machine being ridden along a line, millisecond by millisecond."""

    def __init__(self, machine: ElectricMachine, grade: float = 0.0, wind_mps: float = 0.0) -> None:
        self.machine, self.grade, self.wind = machine, grade, wind_mps
        self.way = 1.0
        self.flux = machine.volt_second
        self.speed = self.amps = self.duty = self.slow_v = 0.0
        self.charge = machine.charge
        self.battery_a = self.battery_v = 0.0
        self.joule = 0.0
        self.drawn_as = 0.0
        self.opened = 0.0
        self.trace: list[float] = []
        self.left_s = 0.0
        self._since = 0
        self._rest = 0.0

    def rest(self, for_s: float) -> None:
        """Let the pack recover for a while without current."""
        self.slow_v *= exp(-for_s / self.machine.pack.slow_s)

    def step(self, throttle: float, brake_mps2: float = 0.0) -> None:
        """Go on by a millisecond."""
        m, pack = self.machine, self.machine.pack
        per_metre = 2.0 * pi * m.ratio / m.circumference_m
        spin = self.speed * per_metre
        self.flux += _STEP_S / _IRON_S * (m.flux_vs(self.amps) - self.flux)
        back = self.flux * spin
        self.opened = min(throttle, self.opened + _STEP_S / max(m.opening_s, _STEP_S))
        self.opened = 0.0 if throttle == 0.0 else self.opened
        if self._since % 50 == 0:
            self._rest = pack.resting_v(self.charge)
        rest = self._rest
        # The chopper lowers its duty where winding or battery carry too much.
        # The throttle sets the highest duty, or the current where the controller is of that kind.
        allowed = m.winding_a(back) * (self.opened if m.throttle_sets_current else 1.0)
        if self.duty > 1e-3:
            allowed = min(allowed, m.battery_limit_a / self.duty)
        gain = 0.5 / max(rest, 1.0)
        self.duty += gain * (allowed - self.amps) * (m.winding_ohm + 0.02)
        ceiling = 1.0 if m.throttle_sets_current else self.opened
        self.duty = min(max(self.duty, 0.0), ceiling)
        self.battery_a = self.duty * self.amps + (m.chopper_w / rest if throttle > 0.0 else 0.0)
        self.battery_v = rest - self.slow_v - pack.ohm * self.battery_a
        self.slow_v += _STEP_S / pack.slow_s * (pack.slow_ohm * self.battery_a - self.slow_v)
        ohm = m.winding_ohm + m.chopper_ohm
        goal = (self.duty * self.battery_v - back) / ohm
        self.amps = max(goal + (self.amps - goal) * exp(-ohm / m.henry * _STEP_S), 0.0)
        if throttle == 0.0:
            self.amps = 0.0
        shaft = self.flux * self.amps - (m.idle_nm + m.idle_nms * spin if spin > 0.5 else 0.0)
        # What the mesh loses it loses in either direction of the flow of power.
        push = shaft * per_metre * (1.0 - m.mesh_loss if shaft > 0.0 else 1.0 + m.mesh_loss)
        push = min(push, m.grip_n)
        force = push - m.resistance_n(self.speed, self.way * self.grade, self.way * self.wind)
        inertia = m.inertia_kg
        if self.speed < 1e-4 and force < 0.0:
            force = 0.0
        self.speed = max(self.speed + _STEP_S * (force / inertia - brake_mps2), 0.0)
        if self.speed == 0.0:
            self.left_s = (self._since + 1) * _STEP_S
        self.charge -= _STEP_S * self.battery_a / (3600.0 * pack.capacity_ah)
        self.joule += _STEP_S * self.battery_a * self.battery_v
        self.drawn_as += _STEP_S * self.battery_a
        if self._since % 10 == 0:
            self.trace.append(self.speed)
        self._since += 1


@dataclass(frozen=True)
class LevelTruth:
    """What a machine does on a grade in still air at its present charge.

    time_s, speed_mps : of a standing start at full throttle, every STEP_S. top_mps : held.
    left_s : when it left rest.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    top_mps: float
    left_s: float = 0.0

    def time_to(self, speed_mps: float) -> float:
        """Return the time from where it left rest to a speed, NaN where it is not reached. [s]

        So a start is defined; a threshold of a mm/s would leave out 0.02 s of a slow opening.
        """
        return self._crossing(speed_mps) - self.left_s

    def _crossing(self, speed_mps: float) -> float:
        """Return when a speed is first reached, read between two steps of the trace. [s]"""
        over = np.flatnonzero(self.speed_mps >= speed_mps)
        if not len(over):
            return float("nan")
        last = max(int(over[0]), 1)
        pair = slice(last - 1, last + 1)
        return float(np.interp(speed_mps, self.speed_mps[pair], self.time_s[pair]))

    def pull_at(self, speed_mps: float) -> float:
        """Return the acceleration at a speed, over a tenth of a metre a second. [m/s²]

        Over more, another limit that takes over beside the speed would show.
        """
        low, high = (self._crossing(speed_mps + side) for side in (-0.05, 0.05))
        return 0.1 / (high - low)


def level_truth(machine: ElectricMachine, grade: float = 0.0) -> LevelTruth:
    """Return a standing start until the speed no longer grows, with the charge held."""
    held = replace(machine, pack=replace(machine.pack, capacity_ah=1e6))
    bench = Bench(held, grade)
    before = -1.0
    for count in range(120_000):
        bench.step(1.0)
        if count % 2000 == 1999:
            if bench.speed - before < 2e-4:
                break
            before = bench.speed
    speed = np.array(bench.trace)
    # The first of the trace is a step old.
    time_s = _STEP_S + STEP_S * np.arange(float(len(speed)))
    return LevelTruth(time_s, speed, bench.speed, bench.left_s)


def cruise(machine: ElectricMachine, speed_mps: float, charge: float) -> tuple[float, float]:
    """Return amperes and volts at the battery at a steady speed, by halving the duty; NaN beyond.

    The winding carries what holds the speed; the chopper takes it from the pack.
    """
    m, pack = machine, machine.pack
    per_metre = 2.0 * pi * m.ratio / m.circumference_m
    spin = speed_mps * per_metre
    shaft = m.resistance_n(speed_mps, 0.0, 0.0) / per_metre / (1.0 - m.mesh_loss)
    amps = m.amps_for(shaft + m.idle_nm + m.idle_nms * spin)
    if amps > m.winding_a(m.flux_vs(amps) * spin):
        return float("nan"), float("nan")
    rest = pack.resting_v(charge)
    wanted = m.flux_vs(amps) * spin + (m.winding_ohm + m.chopper_ohm) * amps
    low, high = 0.0, 1.0
    for _ in range(50):
        duty = 0.5 * (low + high)
        battery = duty * amps + m.chopper_w / rest
        volts = rest - (pack.ohm + pack.slow_ohm) * battery
        low, high = (duty, high) if duty * volts < wanted else (low, duty)
    if high > 1.0 - 1e-9 or battery > m.battery_limit_a:
        return float("nan"), float("nan")
    return battery, volts


def range_m(machine: ElectricMachine, speed_mps: float | None) -> float:
    """Return how far a full pack goes at a speed, or at full throttle if None, until cut off. [m]

    Stepped by 1/500 of the charge; lead-acid gives less the faster it is drawn from (Peukert).
    """
    pack, steps = machine.pack, 500
    way = 0.0
    for number in range(steps):
        charge = 1.0 - (number + 0.5) / steps
        here = replace(machine, charge=charge)
        at = speed_mps if speed_mps is not None else level_truth_speed(here)
        amps, volts = cruise(here, at, charge)
        if not amps > 0.0 or volts < pack.cutoff_v:
            break
        rate_a = pack.capacity_ah / 20.0
        more = (amps / rate_a) ** (pack.peukert - 1.0) if pack.peukert > 1.0 else 1.0
        way += at * 3600.0 * pack.capacity_ah / (steps * more * amps)
    return way


def level_truth_speed(machine: ElectricMachine) -> float:
    """Return the top speed on the level by halving: the fastest that ``cruise`` can hold. [m/s]"""
    low, high = 0.5, 60.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        held = np.isfinite(cruise(machine, middle, machine.charge)[0])
        low, high = (middle, high) if held else (low, middle)
    return low


def ride_on_strip(
    machine: ElectricMachine,
    rng: np.random.Generator,
    *,
    grade: float = 0.0,
    wind_mps: float = 0.0,
    ways: tuple[int, ...] = (1, -1, 1, -1),
    longest_m: float = 400.0,
) -> tuple[Truth, float]:
    """Return a ride of full-throttle runs on a strip that rises by ``grade`` towards ``way`` 1.

    Wind blows against way 1. Each run ends in rolling free or in the brake; between them the
    machine turns round, and again if the next run goes the same way. The second is the charge half
    way from the first to the last run.
    """
    bench = Bench(machine, grade, wind_mps)
    velocity: list[float] = []
    yaw: list[float] = []
    heading = float(rng.uniform(0.0, 2.0 * pi))
    first = heading

    def keep(turning: FloatArray | None = None) -> None:
        count = len(bench.trace)
        velocity.extend(bench.trace)
        yaw.extend([0.0] * count if turning is None else turning[:count])
        bench.trace.clear()

    def stand(for_s: float) -> None:
        bench.speed = bench.amps = 0.0
        bench.trace = [0.0] * round(for_s / STEP_S)
        bench.rest(for_s)
        keep()

    def turn_round() -> None:
        """Roll through half a circle at walking pace, eased in and out."""
        pace, radius = 1.5, float(rng.uniform(2.5, 4.0))
        up = np.linspace(0.0, pace, 150)
        arc = np.full(round(pi * radius / pace / STEP_S), pace)
        speed = np.concatenate([up, arc, up[::-1]])
        shape = np.zeros(len(speed))
        inside = slice(len(up), len(up) + len(arc))
        shape[inside] = np.sin(np.linspace(0.0, pi, len(arc))) ** 0.5
        shape *= rng.choice([-1.0, 1.0]) * pi / (shape.sum() * STEP_S)
        bench.trace = list(speed)
        bench.rest(len(speed) * STEP_S)
        keep(shape)
        bench.speed = 0.0

    way = 1
    stand(float(rng.uniform(5.0, 9.0)))
    for number, wanted in enumerate(ways):
        if wanted != way:
            turn_round()
            stand(float(rng.uniform(2.0, 4.0)))
            way = wanted
        elif number:
            turn_round()
            stand(2.0)
            turn_round()
            stand(float(rng.uniform(2.0, 4.0)))
        bench.way = float(way)
        bench.opened = bench.duty = 0.0
        bench.amps = 0.0
        gone, slow, before, count = 0.0, 0, 0.0, 0
        settle = float(rng.uniform(2.0, 4.0))
        while gone < longest_m and slow * 0.5 < settle and count < 45_000:
            bench.step(1.0)
            gone += bench.speed * _STEP_S
            count += 1
            if count % 500 == 0:
                slow = slow + 1 if count > 2000 and bench.speed - before < 0.025 else 0
                before = bench.speed
        if number % 2 == (number // 2) % 2:
            fast = bench.speed
            for _ in range(20_000):
                bench.step(0.0)
                if bench.speed < 0.45 * fast:
                    break
        decel, count = float(rng.uniform(1.8, 3.5)), 0
        while bench.speed > 0.0:
            bench.step(0.0, decel * min(count / 200.0, 1.0))
            count += 1
        keep()
        stand(float(rng.uniform(2.5, 4.0)))
    speed = np.array(velocity)
    yaw_rate = np.array(yaw)
    course = first + running_integral(yaw_rate)
    east = running_integral(speed * np.sin(course))
    north = running_integral(speed * np.cos(course))
    along = east * np.sin(first) + north * np.cos(first)
    truth = Truth(
        time_s=STEP_S * np.arange(float(len(speed))),
        east_m=east,
        north_m=north,
        height_m=grade * along,
        velocity_mps=speed,
        accel_mps2=np.gradient(speed, STEP_S),
        yaw_rate_radps=yaw_rate,
        heading_rad=course,
    )
    return truth, 0.5 * (machine.charge + bench.charge)
