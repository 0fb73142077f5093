"""Rides drawn apart from everything else here: a vehicle, a receiver and its log, in files.

Nothing of ridelog and nothing of the other simulated rides is used, and no number was chosen by
what comes out of ridelog. The vehicle is a mass that a force of constant torque, then of constant
power, moves against rolling and air (Newton's law, steps of 5 ms); throttle and brake open over a
time of their own. The receiver errs by sizes from memory: a speed from Doppler known to some
centimetres a second with a part that holds on for seconds, a position that slides by centimetres a
second under a white part; tails are Student's t of 6. What is written has the resolution of the
format.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Force = Callable[[float, float], float]
STEP_S = 0.005
GRAVITY = 9.80665
KMH_20 = 20.0 / 3.6
_BEGIN = datetime(2023, 5, 6, 14, 20, 0)
# Semi-axes of the WGS 84 ellipsoid (NIMA TR8350.2).
_EQUATOR_M, _POLE_M = 6378137.0, 6356752.314


@dataclass(frozen=True)
class Kind:
    """How a log is written: its rate, whether it reports speed, and its format."""

    name: str
    rate_hz: float
    reports: bool
    nmea: bool


KINDS = (
    Kind("10 Hz, speed, NMEA", 10, True, True),
    Kind("5 Hz, speed, GPX", 5, True, False),
    Kind("1 Hz, speed, NMEA", 1, True, True),
)
# Logs without speed take minutes to measure on a busy machine: on request, by their name.
MORE_KINDS = (
    Kind("10 Hz, positions, GPX", 10, False, False),
    Kind("5 Hz, positions, NMEA", 5, False, True),
)


@dataclass(frozen=True)
class Ride:
    """What really happened, each (n,) every 5 ms, and the figures that follow from it."""

    speed: Array
    east: Array
    north: Array
    truth: dict[str, float]


def machine(random: np.random.Generator) -> tuple[float, float, float, float]:
    """Return force, power, rolling and air of a machine, each per mass."""
    grip = random.uniform(1.2, 3.2)
    power = grip * random.uniform(3.0, 9.0)
    return grip, power, GRAVITY * random.uniform(0.012, 0.03), random.uniform(0.0015, 0.006)


def ridden(
    random: np.random.Generator, given: tuple[float, float, float, float] | None = None
) -> Ride:
    """Return a ride out and back on one straight: stand, pull away, brake to rest, turn, again."""
    grip, power, rolling, air = given or machine(random)
    wind, heading = random.normal(0.0, 0.7), random.uniform(0.0, 2.0 * np.pi)
    speed: list[float] = []
    course: list[float] = []
    starts, brakes, tops = [], [], []
    for way in (0, 1):
        head = heading + np.pi * way
        against = -wind if way == 0 else wind
        rest(
            speed, course, head, random.uniform(6.0, 8.0) if way == 0 else random.uniform(3.0, 4.0)
        )
        begin = len(speed)
        opens, pull_s = random.uniform(0.05, 0.4), random.uniform(11.0, 16.0)
        pull = pulling(opens, grip, power, rolling, air, against)
        drive(speed, course, head, pull_s, pull)
        starts.append(_first(speed, begin, KMH_20) - _first(speed, begin, 1e-6))
        middle = len(speed)
        hard, builds = random.uniform(2.0, 4.5), random.uniform(0.1, 0.5)
        drive(speed, course, head, 30.0, braking(hard, builds, rolling))
        gone = float(np.sum(speed[middle:])) * STEP_S
        brakes.append(speed[middle] ** 2 / (2.0 * gone))
        tops.append(_best_second(np.array(speed[begin:])))
        if way == 0:
            rest(speed, course, head, random.uniform(3.0, 4.0))
            turn_round(speed, course, head, random.uniform(3.5, 6.0))
    rest(speed, course, heading + np.pi, 4.0)
    truth = {
        "best_1s_mps": max(tops),
        "two_way_mps": float(np.mean(tops)),
        # One start each way: both directions count alike, by the mean of their pulls.
        "0-20 km/h": 2.0 / (1.0 / starts[0] + 1.0 / starts[1]),
        "mean_braking_mps2": float(np.mean(brakes)),
    }
    return ride_of(speed, course, truth)


def backed(random: np.random.Generator) -> Ride:
    """Return a ride that goes backwards: pull away, brake, back up in a straight line, go on."""
    grip, power, rolling, air = machine(random)
    heading = random.uniform(0.0, 2.0 * np.pi)
    speed: list[float] = []
    course: list[float] = []
    rest(speed, course, heading, random.uniform(6.0, 8.0))
    for way in (0, 1):
        opens = random.uniform(0.05, 0.4)
        pull = pulling(opens, grip, power, rolling, air, 0.0)
        drive(speed, course, heading, random.uniform(4.0, 7.0), pull)
        hard, builds = random.uniform(2.0, 4.0), random.uniform(0.1, 0.5)
        drive(speed, course, heading, 30.0, braking(hard, builds, rolling))
        rest(speed, course, heading, random.uniform(2.0, 4.0))
        if way == 0:
            begin = len(speed)
            pace, gain = random.uniform(1.0, 2.2), random.uniform(0.5, 1.0)
            drive(speed, course, heading + np.pi, random.uniform(5.0, 9.0), pace_held(pace, gain))
            drive(speed, course, heading + np.pi, 30.0, braking(1.0, builds, rolling))
            top = _best_second(np.array(speed[begin:]))
            rest(speed, course, heading, random.uniform(2.0, 4.0))
    return ride_of(speed, course, {"reverse_top_mps": top})


def pace_held(pace: float, gain: float) -> Force:
    """Return the force per mass that leads to a pace and holds it. [m/s], [m/s²]"""
    return lambda time_s, speed: min(gain, 2.0 * (pace - speed))


def ride_of(speed: list[float], course: list[float], truth: dict[str, float]) -> Ride:
    v, phi = np.array(speed), np.array(course)
    east, north = (np.cumsum(v * way(phi)) * STEP_S for way in (np.sin, np.cos))
    return Ride(v, east, north, {name: one for name, one in truth.items() if np.isfinite(one)})


def rest(speed: list[float], course: list[float], head: float, long_s: float) -> None:
    count = round(long_s / STEP_S)
    speed += [0.0] * count
    course += [head] * count


def pulling(
    opens: float, grip: float, power: float, rolling: float, air: float, against: float
) -> Force:
    """Return the force per mass of an opening throttle less rolling and air. [s], [m/s]"""

    def force(time_s: float, speed: float) -> float:
        drive = min(1.0, time_s / opens) * min(grip, power / max(speed, 0.1))
        through = speed + against
        held = rolling * min(1.0, speed / 0.1) + air * through * abs(through) * min(1.0, speed)
        return drive - held

    return force


def braking(hard: float, builds: float, rolling: float) -> Force:
    return lambda time_s, speed: -hard * min(1.0, time_s / builds) - rolling


def drive(
    speed: list[float], course: list[float], head: float, long_s: float, force: Force
) -> None:
    v = speed[-1]
    for k in range(round(long_s / STEP_S)):
        v += STEP_S * force(k * STEP_S, v)
        if v <= 0.0 and k > 4:
            return
        speed.append(max(v, 0.0))
        course.append(head)


def turn_round(speed: list[float], course: list[float], head: float, radius_m: float) -> None:
    """Ride half a circle at walking pace, gently away and to rest."""
    pace, gain = 1.6, 0.8
    way = np.pi * radius_m
    gone = 0.0
    while gone < way:
        near = np.sqrt(2.0 * gain * max(way - gone, 0.0))
        v = min(pace, speed[-1] + gain * STEP_S, near + 1e-3)
        gone += v * STEP_S
        speed.append(v)
        course.append(head + min(gone / radius_m, np.pi))


def _first(speed: list[float], begin: int, goal: float) -> float:
    above = np.flatnonzero(np.array(speed[begin:]) >= goal)
    return float(above[0]) * STEP_S if len(above) else float("nan")


def _best_second(speed: Array) -> float:
    gone = np.concatenate([[0.0], np.cumsum(speed)]) * STEP_S
    count = round(1.0 / STEP_S)
    return float((gone[count:] - gone[:-count]).max())


def written(ride: Ride, kind: Kind, random: np.random.Generator, folder: Path) -> Path:
    """Write the log of a ride as a receiver of one kind has it; return its place."""
    every = round(1.0 / (kind.rate_hz * STEP_S))
    rows = np.arange(random.integers(0, every), len(ride.speed), every)
    dt = 1.0 / kind.rate_hz
    n = len(rows)
    slow = holding_on(random, n, dt, random.uniform(0.02, 0.05), 5.0)
    white = random.uniform(0.02, 0.06) * random.standard_t(6, n) / np.sqrt(1.5)
    speed = np.abs(ride.speed[rows] + slow + white)
    way = np.arctan2(np.gradient(ride.east[rows]), np.gradient(ride.north[rows]))
    way = way + 0.05 * random.standard_normal(n) / np.maximum(ride.speed[rows], 0.5)
    slides = [
        np.cumsum(holding_on(random, n, dt, random.uniform(0.02, 0.05), 20.0)) * dt
        + random.uniform(0.02, 0.12) * random.standard_t(6, n) / np.sqrt(1.5)
        for _ in (0, 1)
    ]
    east, north = ride.east[rows] + slides[0], ride.north[rows] + slides[1]
    latitude0, longitude0 = random.uniform(35.0, 60.0), random.uniform(-5.0, 20.0)
    across, along = _radii(float(np.radians(latitude0)))
    latitude = latitude0 + np.degrees(north / along)
    longitude = longitude0 + np.degrees(east / across)
    time_s: Array = np.arange(n, dtype=np.float64) * dt
    place = folder / f"{kind.rate_hz}-{random.integers(10**9)}.{'nmea' if kind.nmea else 'gpx'}"
    write = _nmea if kind.nmea else _gpx
    course: Array = np.degrees(way) % 360.0
    text = write(time_s, latitude, longitude, (speed, course) if kind.reports else None)
    place.write_text(text, encoding="ascii")
    return place


def holding_on(random: np.random.Generator, n: int, dt: float, sd: float, time_s: float) -> Array:
    """Return errors of a standard deviation that hold on for a time, first order."""
    keep = np.exp(-dt / time_s)
    error, result = sd * random.standard_normal(), np.empty(n)
    for k in range(n):
        result[k] = error
        error = keep * error + sd * np.sqrt(1.0 - keep**2) * random.standard_normal()
    return result


def _radii(phi: float) -> tuple[float, float]:
    """Return metres a radian of longitude and of latitude on the ellipsoid at a latitude."""
    below = np.hypot(_EQUATOR_M * np.cos(phi), _POLE_M * np.sin(phi))
    return _EQUATOR_M**2 * np.cos(phi) / below, (_EQUATOR_M * _POLE_M) ** 2 / below**3


def _gpx(time_s: Array, lat: Array, lon: Array, reported: tuple[Array, Array] | None) -> str:
    version = "1.0" if reported else "1.1"
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="{version}" creator="own" '
        f'xmlns="http://www.topografix.com/GPX/{version.replace(".", "/")}">',
        "<trk><trkseg>",
    ]
    for k, t in enumerate(time_s):
        stamp = (_BEGIN + timedelta(seconds=float(t))).isoformat(timespec="milliseconds")
        more = ""
        if reported:
            more = f"<course>{reported[1][k]:.1f}</course><speed>{reported[0][k]:.3f}</speed>"
        lines.append(
            f'<trkpt lat="{lat[k]:.8f}" lon="{lon[k]:.8f}"><time>{stamp}Z</time>{more}</trkpt>'
        )
    return "\n".join([*lines, "</trkseg></trk></gpx>", ""])


def _nmea(time_s: Array, lat: Array, lon: Array, reported: tuple[Array, Array] | None) -> str:
    lines = []
    for k, t in enumerate(time_s):
        moment = _BEGIN + timedelta(seconds=float(t))
        clock = f"{moment:%H%M%S}.{moment.microsecond // 10000:02d}"
        where = f"{_angle(lat[k], 2)},{'N' if lat[k] >= 0 else 'S'}," + (
            f"{_angle(lon[k], 3)},{'E' if lon[k] >= 0 else 'W'}"
        )
        fast = ","
        if reported:
            fast = f"{reported[0][k] * 3600.0 / 1852.0:.3f},{reported[1][k]:.2f}"
        lines.append(_sentence(f"GNRMC,{clock},A,{where},{fast},{moment:%d%m%y},,,A"))
        lines.append(_sentence(f"GNGGA,{clock},{where},1,14,0.7,60.0,M,45.0,M,,"))
    return "".join(lines)


def _angle(degrees: float, digits: int) -> str:
    whole, part = divmod(abs(degrees), 1.0)
    return f"{int(whole):0{digits}d}{part * 60.0:09.6f}"


def _sentence(body: str) -> str:
    check = 0
    for letter in body.encode("ascii"):
        check ^= letter
    return f"${body}*{check:02X}\r\n"
