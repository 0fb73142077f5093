"""What holds a machine back: A + B v + C v² and the slope."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2

# Dry air as an ideal gas at 20 °C and 1013.25 hPa: 101325 / (287.05 * 293.15). [kg/m³]
AIR_DENSITY_KGPM3 = 1.2041


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


def speed_of_power_mps(power_w: FloatArray, load: RoadLoad) -> FloatArray:
    """Return the speed that a power at the wheel holds on the level in still air, (n,). [m/s]

    P = (A + B v + C v²) v grows with v, so halving a bracket finds the only root.
    """
    low = np.zeros_like(load.a_n)
    high = np.full_like(low, 1.0)
    power = np.broadcast_to(power_w, low.shape)
    for _ in range(12):
        held = load.force_n(high[:, None])[:, 0] * high < power
        high = np.where(held, 2.0 * high, high)
    for _ in range(50):
        middle = 0.5 * (low + high)
        over = load.force_n(middle[:, None])[:, 0] * middle > power
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    speed: FloatArray = 0.5 * (low + high)
    return speed


def standing_start_power_w(mass_kg: float, distance_m: float, time_s: float) -> float:
    """Return the average power of a standing start over a distance, P = 2 m D² / t³. [W]

    Holds for constant acceleration without resistance.

    Source
    ------
    EN 15194, Annex D, alternative method, as summarised in print (second hand); the same as the
    kinetic energy at twice the mean speed over the time.
    """
    return 2.0 * mass_kg * distance_m**2 / time_s**3
