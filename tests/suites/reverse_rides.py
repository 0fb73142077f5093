"""Random rides that go backwards, and forward ones that look as if they did."""

from collections.abc import Callable

import numpy as np
from hand_turn import HandTurnedRide
from labelled_rides import RandomRide, finish
from random_rides import brake_anyhow, start_ride, steady_mps, u_turn
from simulate import RideLayout

REVERSE_KINDS = (
    "straight",
    "slow",
    "fast",
    "arc",
    "three-point",
    "shunting",
    "rolling",
    "first move",
    "last move",
)
# Reverses whose speed is not held, beside those above.
SHAPED_KINDS = ("peaked", "uneven")
FORWARD_KINDS = (
    "u-turns",
    "long stands",
    "figure of eight",
    "stop and go",
    "stop inside a turn",
    "hairpins",
    "laps",
    "yard",
)


def reverse_ride(rng: np.random.Generator, kind: str | None = None) -> RandomRide:
    """Return a ride with one or more stretches of reverse, of a kind drawn if none is given.

    straight: 0.9-2.5 m/s for some seconds; slow: 0.55-0.9 m/s; fast: 3-4 m/s; arc: backing round a
    bend; three-point: turning round in three moves; shunting: back and forth several times;
    rolling: from forward into reverse and back without a stop; first move, last move: the log
    begins or ends with the reverse. By name only: peaked: braked as soon as its speed is reached;
    uneven: the speed is changed two to four times.

    Raises
    ------
    ValueError
        For a kind that is not one of REVERSE_KINDS or SHAPED_KINDS.
    """
    if kind not in SHAPED_KINDS:
        kind = _chosen(kind, REVERSE_KINDS, rng)
    ride = start_ride(rng, steady_mps=float(rng.uniform(5.0, 11.0)))
    ride.stand(float(rng.uniform(3.0, 10.0)))
    if kind == "first move":
        _back(ride, rng, float(rng.uniform(0.7, 2.0)))
        ride.stand(float(rng.uniform(0.5, 4.0)))
        _forward(ride, rng)
        brake_anyhow(ride, rng)
        ride.stand(float(rng.uniform(3.0, 8.0)))
        return finish(ride, rng)
    _forward(ride, rng)
    if kind == "rolling":
        brake_anyhow(ride, rng, float(rng.uniform(0.5, 1.2)))
        ride.shift(-float(rng.uniform(0.9, 2.0)), accel_mps2=float(rng.uniform(0.8, 1.5)))
        ride.hold(float(rng.uniform(2.0, 5.0)))
        ride.shift(float(rng.uniform(1.0, 2.0)), accel_mps2=float(rng.uniform(0.8, 1.5)))
    else:
        brake_anyhow(ride, rng)
        ride.stand(float(rng.uniform(0.4, 4.0)))
        _reverse_moves(ride, rng, kind)
        ride.stand(float(rng.uniform(0.4, 4.0)))
    if kind != "last move":
        _forward(ride, rng)
        brake_anyhow(ride, rng)
    ride.stand(float(rng.uniform(3.0, 8.0)))
    return finish(ride, rng)


def forward_ride(rng: np.random.Generator, kind: str | None = None) -> RandomRide:
    """Return a ride without any reverse that is easily taken for one with it.

    u-turns: of 2.5-4 m radius on a straight; long stands: half a minute and more in between;
    figure of eight; stop and go; stop inside a turn: standing half-way round, wheels turned;
    hairpins: creeping round at 0.6-1 m/s; laps; yard: everything below 2 m/s.

    Raises
    ------
    ValueError
        For a kind that is not one of FORWARD_KINDS.
    """
    kind = _chosen(kind, FORWARD_KINDS, rng)
    ride = start_ride(rng, steady_mps=float(rng.uniform(5.0, 11.0)))
    ride.stand(float(rng.uniform(3.0, 10.0)))
    _FORWARD[kind](ride, rng)
    brake_anyhow(ride, rng)
    ride.stand(float(rng.uniform(3.0, 8.0)))
    return finish(ride, rng)


def turned_by_hand(rng: np.random.Generator, *, slow: bool | None = None) -> RandomRide:
    """Return a ride whose machine is turned round on the spot at a stop and then ridden on.

    Nothing in a log tells this from a reverse if the ride goes on slowly; with ``slow`` it does.
    """
    slow = bool(rng.random() < 0.5) if slow is None else slow
    start = start_ride(rng, steady_mps=float(rng.uniform(5.0, 11.0)))
    ride = HandTurnedRide(start.machine, start.heading_rad, start.surroundings)
    ride.stand(float(rng.uniform(3.0, 10.0)))
    _forward(ride, rng)
    brake_anyhow(ride, rng)
    ride.stand(float(rng.uniform(1.0, 3.0)))
    ride.turn_by_hand(float(rng.choice([-np.pi, np.pi])), float(rng.uniform(4.0, 10.0)))
    ride.stand(float(rng.uniform(0.5, 2.0)))
    if slow:
        ride.shift(float(rng.uniform(0.8, 2.0)), accel_mps2=0.8)
        ride.hold(float(rng.uniform(3.0, 8.0)))
    else:
        _forward(ride, rng)
    brake_anyhow(ride, rng)
    ride.stand(float(rng.uniform(3.0, 8.0)))
    return finish(ride, rng)


def _chosen(kind: str | None, kinds: tuple[str, ...], rng: np.random.Generator) -> str:
    if kind is None:
        return str(rng.choice(kinds))
    if kind not in kinds:
        raise ValueError(f"kind {kind!r} is not one of {', '.join(kinds)}")
    return kind


def _forward(ride: RideLayout, rng: np.random.Generator) -> None:
    """Ride off forward to a fair speed and hold it for a while."""
    wanted_mps = float(rng.uniform(0.4, 0.85)) * ride.machine.steady_mps()
    # Against wind or slope it may not reach that.
    ride.drive(
        until_mps=min(wanted_mps, 0.95 * steady_mps(ride)),
        build_s=float(rng.uniform(0.15, 0.4)),
    )
    ride.hold(float(rng.uniform(2.0, 6.0)))


def _back(
    ride: RideLayout, rng: np.random.Generator, speed_mps: float, turn_rad: float = 0.0
) -> None:
    """Back off from a stop, hold a speed long enough to be seen, and stop."""
    accel = float(rng.uniform(0.7, 1.4))
    ride.shift(-speed_mps, accel_mps2=accel)
    ride.hold(float(rng.uniform(2.2, 6.0)), turn_rad=turn_rad)
    ride.shift(0.0, accel_mps2=accel)


def _reverse_moves(ride: RideLayout, rng: np.random.Generator, kind: str) -> None:
    side = float(rng.choice([-1.0, 1.0]))
    if kind in ("straight", "last move"):
        _back(ride, rng, float(rng.uniform(0.9, 2.5)))
    elif kind == "slow":
        _back(ride, rng, float(rng.uniform(0.55, 0.9)))
    elif kind == "fast":
        _back(ride, rng, float(rng.uniform(3.0, 4.0)))
    elif kind == "arc":
        _back(ride, rng, float(rng.uniform(0.9, 1.8)), side * float(rng.uniform(0.5, 1.6)))
    elif kind in SHAPED_KINDS:
        _shaped(ride, rng, kind)
    elif kind == "three-point":
        # A third of the half turn in each move: forward one lock, back on the other, forward.
        ride.shift(1.2, accel_mps2=0.8)
        ride.hold(float(rng.uniform(2.0, 3.0)), turn_rad=side * 1.1)
        ride.shift(0.0, accel_mps2=1.2)
        ride.stand(float(rng.uniform(0.3, 1.5)))
        _back(ride, rng, float(rng.uniform(0.8, 1.4)), side * 1.0)
        ride.stand(float(rng.uniform(0.3, 1.5)))
        ride.shift(1.2, accel_mps2=0.8)
        ride.hold(float(rng.uniform(2.0, 3.0)), turn_rad=side * 1.04)
    else:
        for _ in range(int(rng.integers(2, 4))):
            _back(ride, rng, float(rng.uniform(0.7, 1.3)), side * float(rng.uniform(0.0, 0.4)))
            ride.stand(float(rng.uniform(0.3, 1.0)))
            ride.shift(float(rng.uniform(0.7, 1.3)), accel_mps2=1.0)
            ride.hold(float(rng.uniform(1.0, 3.0)), turn_rad=side * float(rng.uniform(0.0, 0.4)))
            ride.shift(0.0, accel_mps2=1.0)
            ride.stand(float(rng.uniform(0.3, 1.0)))
        _back(ride, rng, float(rng.uniform(0.7, 1.3)))
    # After "three-point" the ride is still rolling forward; every other kind has stopped.
    if ride.velocity_mps != 0.0:
        ride.shift(0.0, accel_mps2=1.0)


def _shaped(ride: RideLayout, rng: np.random.Generator, kind: str) -> None:
    changes = 0 if kind == "peaked" else int(rng.integers(2, 5))
    ride.shift(-float(rng.uniform(1.0, 2.5)), accel_mps2=float(rng.uniform(0.7, 1.4)))
    for _ in range(changes):
        ride.hold(float(rng.uniform(0.3, 1.5)))
        ride.shift(-float(rng.uniform(0.7, 2.2)), accel_mps2=float(rng.uniform(0.7, 1.4)))
    ride.shift(0.0, accel_mps2=float(rng.uniform(0.7, 1.4)))


def _u_turns(ride: RideLayout, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(2, 5))):
        _forward(ride, rng)
        brake_anyhow(ride, rng, float(rng.uniform(1.0, 2.2)))
        u_turn(ride, rng, float(rng.uniform(2.5, 4.0)))


def _long_stands(ride: RideLayout, rng: np.random.Generator) -> None:
    for _ in range(2):
        _forward(ride, rng)
        brake_anyhow(ride, rng)
        ride.stand(float(rng.uniform(30.0, 70.0)))
    _forward(ride, rng)


def _eights(ride: RideLayout, rng: np.random.Generator) -> None:
    ride.shift(float(rng.uniform(1.5, 3.0)))
    for _ in range(int(rng.integers(1, 3))):
        radius = float(rng.uniform(3.0, 6.0))
        ride.turn(2.0 * np.pi, radius)
        ride.turn(-2.0 * np.pi, radius)


def _stop_and_go(ride: RideLayout, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(4, 9))):
        ride.shift(float(rng.uniform(1.0, 3.0)), accel_mps2=float(rng.uniform(0.7, 1.5)))
        ride.hold(float(rng.uniform(0.5, 3.0)))
        brake_anyhow(ride, rng)
        ride.stand(float(rng.uniform(0.5, 3.0)))
    _forward(ride, rng)


def _stop_inside(ride: RideLayout, rng: np.random.Generator) -> None:
    for _ in range(2):
        _forward(ride, rng)
        speed = float(rng.uniform(1.0, 1.8))
        brake_anyhow(ride, rng, speed)
        side = float(rng.choice([-1.0, 1.0]))
        radius = float(rng.uniform(3.0, 4.5))
        # The stop takes about 0.6 m; both parts keep the curvature of the turn.
        ride.hold(
            0.5 * np.pi * radius / speed, turn_rad=side * 1.4, ramps=(True, False), kind="turn"
        )
        ride.brake(decel_mps2=2.0, build_s=0.1, turn_rad=side * 0.15, ramps=(False, False))
        ride.stand(float(rng.uniform(1.0, 5.0)))
        ride.shift(speed, accel_mps2=1.0, turn_rad=side * 0.3, ramps=(False, False))
        ride.hold(
            0.5 * np.pi * radius / speed, turn_rad=side * 1.29, ramps=(False, True), kind="turn"
        )
    _forward(ride, rng)


def _hairpins(ride: RideLayout, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(2, 4))):
        _forward(ride, rng)
        brake_anyhow(ride, rng, float(rng.uniform(0.6, 1.0)))
        u_turn(ride, rng, float(rng.uniform(2.0, 3.0)))
    _forward(ride, rng)


def _laps(ride: RideLayout, rng: np.random.Generator) -> None:
    side = float(rng.choice([-1.0, 1.0]))
    ride.shift(float(rng.uniform(2.5, 4.0)))
    for _ in range(int(rng.integers(4, 9))):
        ride.hold(float(rng.uniform(2.0, 6.0)))
        ride.turn(side * np.pi / 2.0, float(rng.uniform(3.5, 8.0)))


def _yard(ride: RideLayout, rng: np.random.Generator) -> None:
    for _ in range(int(rng.integers(3, 6))):
        ride.shift(float(rng.uniform(0.8, 1.9)), accel_mps2=0.8)
        ride.hold(float(rng.uniform(1.0, 5.0)))
        ride.turn(float(rng.uniform(-2.5, 2.5)), float(rng.uniform(2.0, 4.0)))
        ride.shift(0.0, accel_mps2=1.0)
        ride.stand(float(rng.uniform(0.5, 6.0)))
    ride.shift(1.5, accel_mps2=0.8)
    ride.hold(3.0)


_FORWARD: dict[str, Callable[[RideLayout, np.random.Generator], None]] = {
    "u-turns": _u_turns,
    "long stands": _long_stands,
    "figure of eight": _eights,
    "stop and go": _stop_and_go,
    "stop inside a turn": _stop_inside,
    "hairpins": _hairpins,
    "laps": _laps,
    "yard": _yard,
}
