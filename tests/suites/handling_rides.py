"""Random rides for handling: turns of known radius, weave from a known speed, and none at all."""

import numpy as np
from labelled_rides import RandomRide, finish
from random_rides import brake_anyhow, start_ride, u_turn
from simulate import RideLayout
from simulate.vehicle import Wobble, steady_hand


def hard_steering(rms_radps: float = 0.2) -> Wobble:
    """Return strong corrections below 0.7 Hz, as a rider makes on purpose; no weave."""
    return Wobble(rms_radps, 0.1, 0.7, onset_mps=0.5)


def weave(
    rms_radps: float, frequency_hz: float, onset_mps: float, growth_mps: float = 0.6
) -> Wobble:
    """Return a weave: a band of 0.3 Hz about a frequency, from a speed upward."""
    return Wobble(rms_radps, frequency_hz - 0.15, frequency_hz + 0.15, onset_mps, growth_mps)


def turning_ride(rng: np.random.Generator) -> RandomRide:
    """Return a ride of 8-14 turns of 3-10 m radius at 2-5 m/s, through 60 to 270 degrees.

    Lateral acceleration stays near or below 6 m/s²; straights of 1-4 s lie between the turns. Each
    turn is a span with its angle; the radius of its tightest part is 0.75 way / angle.
    """
    ride = start_ride(rng, steady_mps=7.0)
    ride.stand(float(rng.uniform(3.0, 8.0)))
    ride.shift(float(rng.uniform(2.0, 4.0)))
    for _ in range(int(rng.integers(8, 15))):
        speed = float(rng.uniform(2.0, 5.0))
        ride.shift(speed)
        ride.hold(float(rng.uniform(1.0, 4.0)))
        radius = max(float(rng.uniform(3.0, 10.0)), speed**2 / 6.0)
        ride.turn(float(rng.choice([-1.0, 1.0]) * rng.uniform(1.05, 4.7)), radius)
    ride.hold(1.0)
    brake_anyhow(ride, rng)
    ride.stand(float(rng.uniform(3.0, 6.0)))
    return finish(ride, rng)


def weave_ride(
    rng: np.random.Generator,
    *,
    rms_radps: float | None = None,
    onset_mps: float | None = None,
    frequency_hz: float | None = None,
) -> RandomRide:
    """Return a ride of four passes on a machine that weaves from a speed upward.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all chance.
    rms_radps : float, optional
        Yaw-rate RMS once it is fully there, drawn from 0.15-0.5. [rad/s]
    onset_mps : float, optional
        Speed below which there is none, drawn from 4-8; full 0.6 m/s above. [m/s]
    frequency_hz : float, optional
        Middle of its band of 0.3 Hz, drawn from 1-2. [Hz]
    """
    rms = float(rng.uniform(0.15, 0.5)) if rms_radps is None else rms_radps
    onset = float(rng.uniform(4.0, 8.0)) if onset_mps is None else onset_mps
    middle = float(rng.uniform(1.0, 2.0)) if frequency_hz is None else frequency_hz
    ride = _passes(rng)
    wobbles = (steady_hand(), weave(rms, middle, onset))
    return finish(ride, rng, wobbles=wobbles, weave_onset_mps=onset)


def steady_ride(rng: np.random.Generator) -> RandomRide:
    """Return the same four passes on a machine that does not weave."""
    return finish(_passes(rng), rng)


def hard_steered_ride(rng: np.random.Generator, *, rms_radps: float | None = None) -> RandomRide:
    """Return the same four passes under strong steering below 0.7 Hz, RMS 0.1-0.25 rad/s."""
    rms = float(rng.uniform(0.1, 0.25)) if rms_radps is None else rms_radps
    return finish(_passes(rng), rng, wobbles=(hard_steering(rms),))


def _passes(rng: np.random.Generator) -> RideLayout:
    """Lay out four passes that spend time at every speed up to 9-11 m/s."""
    top = float(rng.uniform(9.0, 11.0))
    ride = start_ride(rng, steady_mps=1.1 * top)
    ride.stand(float(rng.uniform(3.0, 8.0)))
    for _ in range(4):
        speed = float(rng.uniform(2.5, 4.0))
        while speed < top:
            ride.shift(speed, accel_mps2=float(rng.uniform(0.5, 1.0)))
            ride.hold(float(rng.uniform(1.0, 3.0)))
            speed += float(rng.uniform(1.0, 2.5))
        ride.shift(top, accel_mps2=float(rng.uniform(0.4, 0.8)))
        ride.hold(float(rng.uniform(2.0, 5.0)))
        brake_anyhow(ride, rng, float(rng.uniform(1.2, 2.0)))
        u_turn(ride, rng)
    brake_anyhow(ride, rng)
    ride.stand(float(rng.uniform(3.0, 6.0)))
    return ride
