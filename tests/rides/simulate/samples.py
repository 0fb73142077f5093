"""The invented sample scenario: one machine, three rides before and three after one change.

Everything here is made up: the workshop, the people, the machine, the place and every figure.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from simulate.disturbances import Settling
from simulate.labels import LabelledRide, finish
from simulate.machine import Machine, Surroundings
from simulate.receiver import Observation, Receiver
from simulate.sample_pages import OPTIONS_FILE, OPTIONS_TEXT, SETUP_FILE, SETUP_TEXT, readme_text
from simulate.sample_truth import (
    Record,
    crossing_speed_mps,
    machine_figures,
    ride_figures,
)
from simulate.vehicle import RideLayout
from simulate.write_log import Place, gpx_text, nmea_text

# The straight runs to the south-south-east.
_HEADING_RAD = float(np.radians(152.0))
# Rides of one state differ by this much in their steady speed. [m/s]
_SCATTER_MPS = 0.08

# An electric kart with its grown rider; held by motor speed at the top, by current below.
BEFORE = Machine(
    mass_kg=173.0,
    front_teeth=15,
    rear_teeth=64,
    circumference_m=0.86,
    line_torque_nm=38.0,
    limit_torque_nm=14.6,
    power_w=5000.0,
    efficiency=0.9,
    traction_n=700.0,
    resistance_a_n=34.0,
    resistance_b_nspm=1.0,
    resistance_c_ns2pm2=0.36,
).with_steady_speed(13.2)
# What the change does follows from the teeth alone; nothing else is altered.
AFTER = replace(BEFORE, rear_teeth=56)

GOOD = Receiver(position_white_m=0.04, drift_m=0.6, drift_scale_s=45.0, speed_slow_mps=0.025)
POOR = Receiver(
    position_white_m=0.4,
    position_tail=4.0,
    drift_m=1.8,
    drift_scale_s=25.0,
    drift_kind="second order",
    speed_white_mps=0.18,
    speed_tail=5.0,
    speed_slow_mps=0.06,
    base_hdop=2.8,
    base_satellites=6,
    drop_share=0.03,
    settling=Settling(55.0, offset_m=9.0),
    events_per_min={"jump": 2.0, "burst": 1.0, "slew": 0.6, "spike": 1.0, "hole": 0.8},
)


@dataclass(frozen=True)
class Sample:
    """One file of the samples: which machine, which receiver, written how, from which seed."""

    file: str
    note: str
    seed: int
    machine: Machine
    receiver: Receiver
    start_utc: datetime
    reverse: bool = False


def _at(day: int, hour: int, minute: int) -> datetime:
    return datetime(2024, 6, day, hour, minute, tzinfo=UTC)


SAMPLES = (
    Sample("before-1.gpx", "GPX 1.1, 10 Hz, good signal", 101, BEFORE, GOOD, _at(8, 9, 0)),
    Sample(
        "before-2.nmea",
        "NMEA 0183, 5 Hz, good signal; a reverse run faster than walking pace",
        102,
        BEFORE,
        replace(GOOD, rate_hz=5.0, base_satellites=10),
        _at(8, 9, 20),
        reverse=True,
    ),
    Sample("before-3.gpx", "GPX 1.1, 10 Hz, good signal", 103, BEFORE, GOOD, _at(8, 9, 45)),
    Sample("after-1.gpx", "GPX 1.1, 10 Hz, good signal", 201, AFTER, GOOD, _at(9, 9, 5)),
    Sample("after-2.nmea", "NMEA 0183, 10 Hz, good signal", 202, AFTER, GOOD, _at(9, 9, 30)),
    Sample(
        "after-3.gpx",
        "GPX 1.1, 10 Hz, poor signal: settling, jumps, slews, holes",
        203,
        AFTER,
        POOR,
        _at(9, 9, 50),
    ),
)


def sample_ride(sample: Sample) -> tuple[LabelledRide, Observation]:
    """Return the truth behind a sample and what its receiver logged."""
    rng = np.random.default_rng(sample.seed)
    ride = RideLayout(
        still_air(sample.machine, rng, scatter_mps=_SCATTER_MPS),
        _HEADING_RAD,
        Surroundings(
            wind_east_mps=float(rng.normal(0.5, 0.4)),
            wind_north_mps=float(rng.normal(0.2, 0.4)),
            slope=0.002,
            slope_bearing_rad=_HEADING_RAD,
        ),
    )
    _lay_out(ride, rng, reverse=sample.reverse)
    labelled = finish(ride, rng)
    return labelled, sample.receiver.observe(labelled.truth, rng)


def still_air(machine: Machine, rng: np.random.Generator, *, scatter_mps: float) -> Machine:
    """Return the machine of another day: charge and tyres move its no-load speed a little."""
    factor = 1.0 + float(rng.normal(0.0, scatter_mps)) / machine.steady_mps()
    return replace(machine, no_load_radps=machine.no_load_radps * factor)


def generate() -> dict[str, bytes]:
    """Return every file of the sample folder by name; the same bytes on every call."""
    files: dict[str, bytes] = {}
    records: dict[str, Record] = {}
    for sample in SAMPLES:
        labelled, observation = sample_ride(sample)
        files[sample.file] = _writer(sample)(observation).encode("utf-8")
        records[sample.file] = {
            "note": sample.note,
            "seed": sample.seed,
            "rate_hz": sample.receiver.rate_hz,
            "fixes": len(observation),
            **ride_figures(labelled),
        }
    truth: Record = {
        "invented": True,
        "machines": {"before": machine_figures(BEFORE), "after": machine_figures(AFTER)},
        "crossing_mps": round(crossing_speed_mps(BEFORE, AFTER), 3),
        "rides": records,
    }
    files[SETUP_FILE] = SETUP_TEXT.encode("utf-8")
    files[OPTIONS_FILE] = OPTIONS_TEXT.encode("utf-8")
    files["truth.json"] = (json.dumps(truth, indent=1) + "\n").encode("utf-8")
    files["README.md"] = readme_text(truth, {k: len(v) for k, v in files.items()}).encode("utf-8")
    return files


def _writer(sample: Sample) -> Callable[[Observation], str]:
    place = Place(start_utc=sample.start_utc)
    if sample.file.endswith(".nmea"):
        return lambda observation: nmea_text(observation, place)
    name = f"Thistledrake 2, {sample.file.split('.')[0].replace('-', ' ')}"
    description = "Invented sample ride, made by ridelog.simulate; no real machine or place."
    return lambda observation: gpx_text(
        observation, place, decimals=8, speed_decimals=2, name=name, description=description
    )


def _lay_out(ride: RideLayout, rng: np.random.Generator, *, reverse: bool) -> None:
    """Lay out two stops from top speed, then two coast-downs, in both directions each."""
    ride.stand(float(rng.uniform(10.0, 14.0)))
    if reverse:
        # Rolled up to the cones, then backed off by the switch, faster than walking pace.
        ride.shift(1.6, accel_mps2=0.9)
        ride.hold(3.5)
        _stop(ride, rng)
        ride.stand(2.0)
        ride.shift(-2.5, accel_mps2=0.9, build_s=0.4)
        ride.hold(3.5)
        ride.shift(0.0, accel_mps2=1.4)
        ride.stand(3.5)
    for coasting in (False, False, True, True):
        ride.drive(for_s=float(rng.uniform(16.0, 18.0)), build_s=float(rng.uniform(0.15, 0.4)))
        if coasting:
            ride.coast(until_mps=float(rng.uniform(3.8, 4.6)))
        _stop(ride, rng)
        ride.stand(float(rng.uniform(2.0, 3.0)))
        # Slower than walking pace, so that this is neither a start nor a braking.
        ride.shift(1.6, accel_mps2=1.0)
        ride.hold(float(rng.uniform(0.5, 1.5)))
        ride.turn(float(rng.choice([-np.pi, np.pi])), float(rng.uniform(2.6, 3.4)))
        ride.shift(0.0, accel_mps2=1.2)
        ride.stand(float(rng.uniform(3.0, 4.0)))
    ride.stand(float(rng.uniform(3.0, 6.0)))


def _stop(ride: RideLayout, rng: np.random.Generator) -> None:
    ride.brake(
        decel_mps2=float(rng.uniform(3.0, 4.0)),
        build_s=float(rng.uniform(0.15, 0.35)),
        ease_s=float(rng.uniform(0.1, 0.2)),
    )
