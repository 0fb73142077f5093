"""An electric machine: how hard it pulls at a speed, and what holds it back, wind and slope too."""

from dataclasses import dataclass, replace

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class Surroundings:
    """Where the ride takes place: wind and slope, the same everywhere.

    ``wind_east_mps`` and ``wind_north_mps`` are where the air goes to. The ground is a plane that
    rises by ``slope`` (rise over run) towards ``slope_bearing_rad``.
    """

    wind_east_mps: float = 0.0
    wind_north_mps: float = 0.0
    slope: float = 0.0
    slope_bearing_rad: float = 0.0

    def headwind_mps(self, heading_rad: float) -> float:
        """Return the wind against a body of some heading. [m/s]"""
        east, north = np.sin(heading_rad), np.cos(heading_rad)
        return float(-(self.wind_east_mps * east + self.wind_north_mps * north))

    def grade(self, heading_rad: float) -> float:
        """Return the slope met by a body of some heading, positive uphill."""
        return float(self.slope * np.cos(heading_rad - self.slope_bearing_rad))


@dataclass(frozen=True)
class Machine:
    """A motor with a straight torque line, cut off by current, power and grip; one gear stage.

    Attributes
    ----------
    mass_kg : machine with rider. [kg]
    front_teeth, rear_teeth : driving and driven sprocket, 1.
    circumference_m : rolling circumference of the driven tyre. [m]
    no_load_radps : motor speed without load at full throttle. [rad/s]
    line_torque_nm : torque at which the motor's line meets standstill, current not limited. [N m]
    limit_torque_nm : torque at the controller's current limit. [N m]
    power_w : mechanical power limit at the motor. [W]
    efficiency : of the drive from motor to ground, 1.
    traction_n : largest force that the driven tyres can put down. [N]
    resistance_a_n, resistance_b_nspm, resistance_c_ns2pm2 : coefficients of the resisting force
        A + B v + C v² with v in m/s; A acts only while moving.
    """

    mass_kg: float = 95.0
    front_teeth: int = 11
    rear_teeth: int = 60
    circumference_m: float = 1.04
    no_load_radps: float = 370.0
    line_torque_nm: float = 30.0
    limit_torque_nm: float = 7.0
    power_w: float = 1500.0
    efficiency: float = 0.9
    traction_n: float = 450.0
    resistance_a_n: float = 18.0
    resistance_b_nspm: float = 0.8
    resistance_c_ns2pm2: float = 0.30

    @property
    def force_per_torque_pm(self) -> float:
        """Return newtons at the ground for one newton metre at the motor. [1/m]"""
        radius_m = self.circumference_m / (2.0 * np.pi)
        return float(self.efficiency * self.rear_teeth / self.front_teeth / radius_m)

    @property
    def no_load_mps(self) -> float:
        """Return the road speed at which the motor reaches its no-load speed. [m/s]"""
        turns_per_s = self.no_load_radps / (2.0 * np.pi) * self.front_teeth / self.rear_teeth
        return float(turns_per_s * self.circumference_m)

    def drive_force_n(self, velocity_mps: FloatArray, throttle: float = 1.0) -> FloatArray:
        """Return the force at the ground; the throttle lowers the no-load speed. [N]

        Source
        ------
        DC motor line T = T_s (1 - n/n_0), Massachusetts Institute of Technology, course 2.007,
        motor notes; the smallest of line, current, power and grip counts.
        """
        scale = self.force_per_torque_pm
        line = self.line_torque_nm * scale * (throttle - velocity_mps / self.no_load_mps)
        power = self.efficiency * self.power_w / np.maximum(velocity_mps, 0.1)
        limit = min(self.limit_torque_nm * scale, self.traction_n)
        # A free-running drive does not brake: the line stops at zero.
        force: FloatArray = np.clip(np.minimum(line, power), 0.0, limit)
        return force

    def resistance_n(
        self, velocity_mps: FloatArray, *, headwind_mps: float = 0.0, grade: float = 0.0
    ) -> FloatArray:
        """Return the resisting force of a machine rolling forward. [N]

        ``grade`` is rise over run, positive uphill; ``headwind_mps`` adds to the air speed.
        """
        air = velocity_mps + headwind_mps
        slope_n = self.mass_kg * STANDARD_GRAVITY_MPS2 * grade / np.hypot(1.0, grade)
        total: FloatArray = (
            self.resistance_a_n
            + self.resistance_b_nspm * velocity_mps
            + self.resistance_c_ns2pm2 * air * np.abs(air)
            + slope_n
        )
        return total

    def acceleration_mps2(
        self,
        velocity_mps: FloatArray,
        throttle: float = 1.0,
        *,
        headwind_mps: float = 0.0,
        grade: float = 0.0,
    ) -> FloatArray:
        """Return the acceleration of a machine rolling forward; throttle 0 is coasting. [m/s²]"""
        resisting = self.resistance_n(velocity_mps, headwind_mps=headwind_mps, grade=grade)
        driving = self.drive_force_n(velocity_mps, throttle) if throttle > 0.0 else 0.0
        return (driving - resisting) / self.mass_kg

    def steady_mps(
        self, throttle: float = 1.0, *, headwind_mps: float = 0.0, grade: float = 0.0
    ) -> float:
        """Return the speed at which drive and resistance balance, NaN if it cannot start. [m/s]

        Found by dividing a bracket into 64 parts eight times: the excess of drive falls with speed.
        """

        def excess(velocity_mps: FloatArray) -> FloatArray:
            return self.acceleration_mps2(
                velocity_mps, throttle, headwind_mps=headwind_mps, grade=grade
            )

        # Above the no-load speed only a tail wind or a descent can push; 100 m/s end any search.
        low, high = 0.05, 100.0
        if excess(np.asarray([low]))[0] <= 0.0:
            return float("nan")
        for _ in range(8):
            trial = np.linspace(low, high, 65)
            index = int(np.argmax(np.append(excess(trial[1:]) <= 0.0, True)))
            low, high = float(trial[index]), float(trial[min(index + 1, 64)])
        return 0.5 * (low + high)

    def with_steady_speed(self, steady_mps: float) -> "Machine":
        """Return the machine with the no-load speed that makes it settle at a given speed.

        Raises
        ------
        ValueError
            If power, current or grip cannot hold that speed.
        """
        resisting = float(self.resistance_n(np.asarray([steady_mps]))[0])
        share = resisting / (self.line_torque_nm * self.force_per_torque_pm)
        limit_n = min(
            self.limit_torque_nm * self.force_per_torque_pm,
            self.efficiency * self.power_w / steady_mps,
            self.traction_n,
        )
        if resisting > limit_n or share >= 1.0:
            raise ValueError(
                f"{steady_mps} m/s needs {resisting:.0f} N, the drive has {limit_n:.0f} N there"
            )
        factor = steady_mps / (1.0 - share) / self.no_load_mps
        return replace(self, no_load_radps=self.no_load_radps * factor)
