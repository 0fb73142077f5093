"""Random machines and rides: there and back, standing starts and stops."""

from dataclasses import replace

import numpy as np
from labelled_rides import RandomRide, finish
from simulate import Machine, RideLayout, Surroundings

from ridelog.core.units import STANDARD_GRAVITY_MPS2

# Dry air as an ideal gas at 20 °C and 1013.25 hPa: 101325 / (287.05 * 293.15). [kg/m³]
AIR_DENSITY_KGPM3 = 1.2041
# How a pull ends: the drive settles, the rider holds a speed, or brakes while still pulling.
PULL_ENDS = ("settles", "held", "corner")


def random_machine(rng: np.random.Generator, steady_mps: float) -> Machine:
    """Return a machine drawn widely that settles at a speed on the level in still air.

    Half of them are held by motor speed, half nearly by power; pull and resistance grow with the
    speed the machine is made for. The ranges are invented, not measured.
    """
    mass_kg = float(rng.uniform(60.0, 90.0) + 4.0 * steady_mps)
    pull_mps2 = float(rng.uniform(1.2, 3.2))
    draft = Machine(
        mass_kg=mass_kg,
        front_teeth=int(rng.integers(9, 15)),
        rear_teeth=int(rng.integers(48, 72)),
        circumference_m=float(rng.uniform(0.8, 1.5)),
        efficiency=float(rng.uniform(0.82, 0.94)),
        traction_n=mass_kg * float(rng.uniform(3.5, 5.0)),
        resistance_a_n=mass_kg * STANDARD_GRAVITY_MPS2 * float(rng.uniform(0.012, 0.03)),
        resistance_b_nspm=float(rng.uniform(0.0, 1.2)),
        resistance_c_ns2pm2=0.5 * AIR_DENSITY_KGPM3 * float(rng.uniform(0.35, 0.6)),
    )
    scale = draft.force_per_torque_pm
    resisting = float(draft.resistance_n(np.asarray([steady_mps]))[0])
    limit_n = max(mass_kg * pull_mps2 + draft.resistance_a_n, 1.2 * resisting)
    line_n = limit_n * float(rng.uniform(1.5, 6.0))
    spare = float(rng.uniform(1.05, 1.3)) if rng.random() < 0.5 else float(rng.uniform(1.5, 3.0))
    return replace(
        draft,
        limit_torque_nm=limit_n / scale,
        line_torque_nm=line_n / scale,
        power_w=spare * resisting * steady_mps / draft.efficiency,
        traction_n=max(draft.traction_n, limit_n),
    ).with_steady_speed(steady_mps)


def start_ride(
    rng: np.random.Generator,
    machine: Machine | None = None,
    *,
    steady_mps: float = 8.0,
    windy: bool = True,
) -> RideLayout:
    """Return a ride at its beginning, heading anywhere, in some wind on a slight slope."""
    heading = float(rng.uniform(0.0, 2.0 * np.pi))
    wind = float(rng.normal(0.0, 1.2)) if windy else 0.0
    around = Surroundings(
        wind_east_mps=wind * np.sin(heading),
        wind_north_mps=wind * np.cos(heading),
        slope=float(rng.normal(0.0, 0.002)) if windy else 0.0,
        slope_bearing_rad=heading,
    )
    return RideLayout(machine or random_machine(rng, steady_mps), heading, around)


def brake_anyhow(
    ride: RideLayout, rng: np.random.Generator, to_mps: float = 0.0, *, bites: bool = False
) -> None:
    """Brake at 1.5-4 m/s² with a build-up of 0.1-0.4 s, as riders differ, or none if it bites."""
    decel, build = float(rng.uniform(1.5, 4.0)), float(rng.uniform(0.1, 0.4))
    ride.brake(
        to_mps,
        decel_mps2=decel,
        build_s=0.03 if bites else build,
        ease_s=float(rng.uniform(0.08, 0.3)),
    )


def u_turn(ride: RideLayout, rng: np.random.Generator, radius_m: float | None = None) -> None:
    """Turn round to either side at the present speed, a radius of 2.5-5 m if none is given."""
    radius = float(rng.uniform(2.5, 5.0)) if radius_m is None else radius_m
    ride.turn(float(rng.choice([-np.pi, np.pi])), radius)


def out_and_back(
    rng: np.random.Generator,
    *,
    top_mps: float | None = None,
    plateau_s: float | None = None,
    passes: int | None = None,
    pull_end: str | None = None,
    machine: Machine | None = None,
) -> RandomRide:
    """Return a ride of one or more passes along a straight, turning round between them.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all chance.
    top_mps : float, optional
        Speed on the level in still air, drawn from 4-25; wind, slope and the rider change each
        pass a little. [m/s]
    plateau_s : float, optional
        Length of every plateau, drawn anew for each pass from 1.5-20 if left out. [s]
    passes : int, optional
        1 to 4, drawn from 2-4 with one ride in eight of a single pass.
    pull_end : str, optional
        settles: the drive reaches its steady speed; held: the throttle is held at a speed; corner:
        braking begins while the machine still pulls. Drawn for each ride if left out.
    machine : Machine, optional
        The machine, drawn if left out (then ``top_mps`` is its steady speed).

    Raises
    ------
    ValueError
        For a pull end that is not one of PULL_ENDS.
    """
    if pull_end is not None and pull_end not in PULL_ENDS:
        raise ValueError(f"pull end {pull_end!r} is not one of {', '.join(PULL_ENDS)}")
    top = top_mps or (machine.steady_mps() if machine else float(rng.uniform(4.0, 25.0)))
    ends = pull_end or str(rng.choice(PULL_ENDS, p=[0.4, 0.4, 0.2]))
    count = passes or (1 if rng.random() < 0.125 else int(rng.integers(2, 5)))
    # A held throttle or a corner needs a machine with speed in reserve.
    reserve = 1.0 if ends == "settles" or machine else float(rng.uniform(1.08, 1.3))
    ride = start_ride(rng, machine, steady_mps=top * reserve)
    ride.stand(float(rng.uniform(4.0, 15.0)))
    for i in range(count):
        plateau = plateau_s or float(np.exp(rng.uniform(np.log(1.5), np.log(20.0))))
        _pass(ride, rng, top * float(1.0 + rng.normal(0.0, 0.008)), plateau, ends)
        if i + 1 == count:
            break
        if rng.random() < 0.25:
            brake_anyhow(ride, rng)
            ride.stand(float(rng.uniform(1.0, 6.0)))
            ride.shift(float(rng.uniform(1.0, 2.0)), accel_mps2=float(rng.uniform(0.7, 1.5)))
        else:
            brake_anyhow(ride, rng, float(rng.uniform(1.0, 2.5)))
        u_turn(ride, rng)
    brake_anyhow(ride, rng)
    ride.stand(float(rng.uniform(3.0, 8.0)))
    return finish(ride, rng)


def starts_and_stops(
    rng: np.random.Generator,
    *,
    attempts: int | None = None,
    top_mps: float | None = None,
    machine: Machine | None = None,
    at_once: bool = False,
) -> RandomRide:
    """Return standing starts at full throttle, each ended by braking to a stop.

    The throttle opens over 0.1-0.5 s and the brake builds up over 0.1-0.4 s (a hand), or both act
    ``at_once`` (a switch). Between attempts the machine turns round at a crawl and waits.
    ``top_mps`` is what the machine settles at, drawn from 6.5-14; each pull goes on to 85-97 % of
    that, then is held for 0.5-4 s.
    """
    top = top_mps or (machine.steady_mps() if machine else float(rng.uniform(6.5, 14.0)))
    ride = start_ride(rng, machine, steady_mps=top)
    for i in range(attempts or int(rng.integers(3, 6))):
        ride.stand(float(rng.uniform(2.5, 8.0)))
        reached = _reachable(ride, top * float(rng.uniform(0.85, 0.97)))
        opening = float(rng.uniform(0.1, 0.5))
        ride.drive(
            until_mps=reached,
            build_s=0.05 if at_once else opening,
            release_s=float(rng.uniform(0.05, 0.4)),
        )
        ride.hold(float(rng.uniform(0.5, 4.0)))
        brake_anyhow(ride, rng, bites=at_once)
        ride.stand(float(rng.uniform(2.0, 5.0)))
        if i % 2 == 0:
            ride.shift(float(rng.uniform(0.6, 0.95)), accel_mps2=0.6)
            u_turn(ride, rng)
            ride.shift(0.0, accel_mps2=0.8)
    ride.stand(float(rng.uniform(3.0, 6.0)))
    return finish(ride, rng)


def _pass(
    ride: RideLayout, rng: np.random.Generator, top: float, plateau: float, ends: str
) -> None:
    build = float(rng.uniform(0.1, 0.5))
    if ends == "settles":
        ride.drive(for_s=_settling_time(ride) + plateau, build_s=build)
        return
    ride.drive(
        until_mps=_reachable(ride, top),
        build_s=build,
        # At a corner the throttle snaps shut; otherwise it is eased onto the speed.
        release_s=float(rng.uniform(0.05, 0.15) if ends == "corner" else rng.uniform(0.2, 0.8)),
    )
    if ends == "held":
        ride.hold(
            plateau,
            ripple_mps=float(rng.uniform(0.0, 0.02)) * top,
            ripple_s=float(rng.uniform(2.0, 6.0)),
        )
        if rng.random() < 0.2:
            ride.coast(until_mps=0.75 * ride.velocity_mps, build_s=0.3, for_s=6.0)


def steady_mps(ride: RideLayout) -> float:
    """Return the speed at which the machine settles in this wind and on this slope. [m/s]"""
    around = ride.surroundings
    return ride.machine.steady_mps(
        headwind_mps=around.headwind_mps(ride.heading_rad), grade=around.grade(ride.heading_rad)
    )


def _reachable(ride: RideLayout, wanted_mps: float) -> float:
    """Return a speed, or 97 % of what wind and slope allow here if that is less."""
    return min(wanted_mps, 0.97 * steady_mps(ride))


def _settling_time(ride: RideLayout) -> float:
    """Return about how long the drive takes to come within 1 % of its steady speed. [s]"""
    goal = 0.99 * steady_mps(ride)
    velocity = np.linspace(min(ride.velocity_mps, goal), goal, 200)
    around = ride.surroundings
    accel = ride.machine.acceleration_mps2(
        velocity,
        headwind_mps=around.headwind_mps(ride.heading_rad),
        grade=around.grade(ride.heading_rad),
    )
    slowness = 1.0 / accel
    return float(np.sum(0.5 * (slowness[1:] + slowness[:-1]) * np.diff(velocity)))
