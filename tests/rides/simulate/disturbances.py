"""What goes badly wrong in a receiver: jumps, bursts, slews, speed spikes, settling, holes."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.core.track import FloatArray

Kind = Literal["jump", "burst", "slew", "spike", "hole"]


@dataclass(frozen=True)
class Disturbance:
    """One event of a receiver.

    jump: one fix displaced; burst: fixes displaced together for a short time; slew: positions drift
    away and come back while HDOP is high; spike: reported speed wrong in one fix; hole: no fixes.

    Attributes
    ----------
    east_m, north_m : largest displacement. [m]
    speed_mps : what a spike adds to the reported speed. [m/s]
    """

    kind: Kind
    start_s: float
    end_s: float
    east_m: float = 0.0
    north_m: float = 0.0
    speed_mps: float = 0.0


@dataclass(frozen=True)
class Settling:
    """The first minute or so of a cold receiver.

    Errors shrink as exp(-3 t / length): positions begin ``offset_m`` away, noise ``noise_factor``
    times too large, HDOP ``hdop_excess`` too high, satellites ``satellites_missing`` too few.
    """

    length_s: float
    offset_m: float = 6.0
    noise_factor: float = 4.0
    hdop_excess: float = 3.5
    satellites_missing: float = 6.0

    def remaining(self, time_s: FloatArray) -> FloatArray:
        """Return the share of the initial error that is left at a time."""
        return np.exp(-3.0 * time_s / self.length_s)


def draw(
    duration_s: float,
    rates_per_min: dict[Kind, float],
    rng: np.random.Generator,
    *,
    first_s: float = 2.0,
) -> tuple[Disturbance, ...]:
    """Return disturbances at random times, Poisson in number, sorted by their start.

    Parameters
    ----------
    duration_s : float
        Length of the log. [s]
    rates_per_min : dict
        Mean number of each kind in a minute.
    rng : numpy.random.Generator
        Source of all chance.
    first_s : float
        Nothing happens before this time. [s]
    """
    events = []
    for kind, rate in rates_per_min.items():
        for _ in range(rng.poisson(rate * duration_s / 60.0)):
            start = float(rng.uniform(first_s, max(duration_s - 1.0, first_s + 0.1)))
            size = float(np.exp(rng.uniform(np.log(3.0), np.log(40.0))))
            bearing = float(rng.uniform(0.0, 2.0 * np.pi))
            east, north = size * np.sin(bearing), size * np.cos(bearing)
            if kind == "jump":
                event = Disturbance(kind, start, start, east, north)
            elif kind == "burst":
                event = Disturbance(kind, start, start + rng.uniform(0.3, 3.0), east, north)
            elif kind == "slew":
                event = Disturbance(kind, start, start + rng.uniform(4.0, 12.0), east, north)
            elif kind == "spike":
                excess = float(rng.uniform(2.0, 15.0) * rng.choice([-1.0, 1.0]))
                event = Disturbance(kind, start, start, speed_mps=excess)
            else:
                event = Disturbance(kind, start, start + rng.uniform(0.5, 4.0))
            events.append(event)
    return tuple(sorted(events, key=lambda event: event.start_s))


def displacement(
    events: tuple[Disturbance, ...], time_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what jumps, bursts and slews add to the positions. [m]"""
    east, north = np.zeros_like(time_s), np.zeros_like(time_s)
    for event in events:
        shape = _shape(event, time_s)
        if shape is not None:
            east += event.east_m * shape
            north += event.north_m * shape
    return east, north


def speed_excess(events: tuple[Disturbance, ...], time_s: FloatArray) -> FloatArray:
    """Return what spikes add to the reported speed. [m/s]"""
    excess = np.zeros_like(time_s)
    for event in events:
        if event.kind == "spike" and event.start_s <= time_s[-1]:
            excess[np.searchsorted(time_s, event.start_s)] += event.speed_mps
    return excess


def hdop_excess(events: tuple[Disturbance, ...], time_s: FloatArray) -> FloatArray:
    """Return what slews add to the HDOP, which stays high until they are over."""
    excess = np.zeros_like(time_s)
    for event in events:
        if event.kind == "slew":
            inside = (time_s >= event.start_s) & (time_s <= event.end_s)
            excess = np.maximum(excess, np.where(inside, 5.0, 0.0))
    return excess


def in_holes(events: tuple[Disturbance, ...], time_s: FloatArray) -> np.ndarray:
    """Return which fixes fall into a hole, bool."""
    lost = np.zeros(time_s.shape, dtype=np.bool_)
    for event in events:
        if event.kind == "hole":
            lost |= (time_s >= event.start_s) & (time_s <= event.end_s)
    return lost


def _shape(event: Disturbance, time_s: FloatArray) -> FloatArray | None:
    """Return the course of a displacement over time, 0 to 1, or None if it moves nothing."""
    if event.kind == "jump" and event.start_s <= time_s[-1]:
        shape = np.zeros_like(time_s)
        shape[np.searchsorted(time_s, event.start_s)] = 1.0
        return shape
    if event.kind == "burst":
        return ((time_s >= event.start_s) & (time_s <= event.end_s)).astype(np.float64)
    if event.kind == "slew":
        x = np.clip((time_s - event.start_s) / (event.end_s - event.start_s), 0.0, 1.0)
        return np.sin(np.pi * x) ** 2
    return None
