"""Simulated rides for the filter's tests, small and seeded."""

from dataclasses import fields, replace

import numpy as np
from labelled_rides import RandomRide
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset
from simulate import Observation

from ridelog.core.track import BoolArray, Track


def ride_and_log(
    seed: int,
    *,
    kind: str = "clean",
    rate_hz: float = 10.0,
    reports_speed: bool = True,
    position_white_m: float | None = None,
    plateau_s: float = 8.0,
) -> tuple[RandomRide, Observation]:
    """Return a ride there and back, and what a receiver logged of it."""
    rng = np.random.default_rng(seed)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=plateau_s, passes=2, pull_end="settles")
    receiver = preset(
        kind,  # type: ignore[arg-type]  # the suites name kinds by plain strings
        rate_hz,
        rng,
        reports_speed=reports_speed,
        position_white_m=position_white_m,
    )
    return ride, receiver.observe(ride.truth, rng)


def displaced(observation: Observation, index: int, east_m: float) -> Track:
    """Return the log with one position moved aside."""
    east = observation.east_m.copy()
    east[index] += east_m
    return to_track(replace(observation, east_m=east))


def kept(observation: Observation, which: BoolArray) -> Observation:
    """Return the log with some of its fixes only."""
    arrays = {
        item.name: getattr(observation, item.name)[which]
        for item in fields(observation)
        if isinstance(getattr(observation, item.name), np.ndarray)
    }
    return replace(observation, **arrays)
