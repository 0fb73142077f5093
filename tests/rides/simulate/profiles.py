"""Velocity over time for the pieces of a ride: smooth changes, releases and free motion.

Each function gives velocity and acceleration on the grid after its start, so that pieces can be
laid end to end: n values at STEP_S, 2 STEP_S, ... n STEP_S.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray
from simulate.truth import STEP_S

Piece = tuple[FloatArray, FloatArray]

# Nodes of a free-motion table; Hermite interpolation between them is good to about 1e-8 m/s.
_NODES = 600


def grid(duration_s: float) -> FloatArray:
    """Return the times of a piece: at least one step, rounded to whole steps. [s]"""
    return STEP_S * np.arange(1.0, max(round(duration_s / STEP_S), 1) + 1.0)


def ramp(time_s: FloatArray, length_s: float) -> tuple[FloatArray, FloatArray]:
    """Return a raised cosine from 0 to 1 over a length, then 1, and its integral from 0."""
    if length_s <= 0.0:
        return np.ones_like(time_s), time_s.copy()
    x = np.clip(time_s / length_s, 0.0, 1.0)
    value = 0.5 - 0.5 * np.cos(np.pi * x)
    integral = length_s * (0.5 * x - np.sin(np.pi * x) / (2.0 * np.pi))
    return value, integral + np.maximum(time_s - length_s, 0.0)


def change(
    from_mps: float, to_mps: float, accel_mps2: float, build_s: float, ease_s: float
) -> Piece:
    """Return a change of velocity at one acceleration that builds up and eases off.

    The acceleration is adjusted by less than a step's worth so that the change ends on the grid; a
    change too small to reach it within the ramps has a lower one.
    """
    difference = to_mps - from_mps
    flat_s = abs(difference) / accel_mps2
    length_s = max(flat_s + 0.5 * (build_s + ease_s), build_s + ease_s)
    time_s = grid(length_s)
    # Rounded to the grid the two ramps could overlap by half a step; they are cut to fit.
    fit = min(1.0, float(time_s[-1]) / max(build_s + ease_s, STEP_S))
    length_s, build_s, ease_s = float(time_s[-1]), fit * build_s, fit * ease_s
    rising, rising_integral = ramp(time_s, build_s)
    falling, falling_integral = ramp(length_s - time_s, ease_s)
    # Up and down never overlap, so the product of the two ramps is their sum less one.
    shape = rising + falling - 1.0
    area = rising_integral + (length_s - 0.5 * ease_s - falling_integral) - time_s
    scale = difference / float(area[-1])
    velocity = from_mps + scale * area
    velocity[-1] = to_mps
    return velocity, scale * shape


def release(from_mps: float, accel_mps2: float, length_s: float) -> Piece:
    """Return an acceleration fading to zero, as when a throttle or a brake is let go."""
    time_s = grid(length_s)
    gone, gone_integral = ramp(time_s, float(time_s[-1]))
    return from_mps + accel_mps2 * (time_s - gone_integral), accel_mps2 * (1.0 - gone)


@dataclass(frozen=True)
class FreeMotion:
    """Velocity over time of a body whose acceleration depends on its velocity alone.

    Solved as t = integral of dv / a(v) at nodes of the velocity, read back by Hermite
    interpolation with the exact accelerations as slopes.
    """

    time_s: FloatArray
    velocity_mps: FloatArray
    accel: Callable[[FloatArray], FloatArray]

    def at(self, time_s: FloatArray) -> Piece:
        """Return velocity and acceleration at times after the start."""
        nodes, values = self.time_s, self.velocity_mps
        slopes = self.accel(values)
        index = np.clip(np.searchsorted(nodes, time_s) - 1, 0, nodes.size - 2)
        length = nodes[index + 1] - nodes[index]
        u = np.minimum((time_s - nodes[index]) / length, 1.0)
        v0, v1 = values[index], values[index + 1]
        m0, m1 = slopes[index] * length, slopes[index + 1] * length
        velocity = v0 + u * (m0 + u * (3 * (v1 - v0) - 2 * m0 - m1 + u * (2 * (v0 - v1) + m0 + m1)))
        return velocity, self.accel(velocity)


def towards_steady(
    accel: Callable[[FloatArray], FloatArray], from_mps: float, steady_mps: float
) -> FreeMotion:
    """Return the approach to a velocity at which the acceleration vanishes.

    Nodes are spaced evenly in u = -ln(remaining share), in which dt/du stays finite up to the end.
    """
    u = np.linspace(0.0, 14.0, _NODES)
    left = (steady_mps - from_mps) * np.exp(-u)
    velocity = steady_mps - left
    rate = left / accel(velocity)
    time_s = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(u))])
    return FreeMotion(time_s, velocity, accel)


def towards_limit(
    accel: Callable[[FloatArray], FloatArray], from_mps: float, limit_mps: float
) -> FreeMotion:
    """Return the motion to a velocity that is passed with the acceleration still alive."""
    velocity = np.linspace(from_mps, limit_mps, _NODES)
    slowness = 1.0 / accel(velocity)
    # Simpson's rule on each interval, the middle value from the law itself.
    middle = 1.0 / accel(0.5 * (velocity[1:] + velocity[:-1]))
    step = np.diff(velocity)
    pieces = step / 6.0 * (slowness[:-1] + 4.0 * middle + slowness[1:])
    return FreeMotion(np.concatenate([[0.0], np.cumsum(pieces)]), velocity, accel)
