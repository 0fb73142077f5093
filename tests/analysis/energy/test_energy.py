"""Energy at the wheels against closed forms and against the force of simulated machines."""

from dataclasses import replace

import numpy as np
import pytest
from hand_turn import HandTurnedRide
from labelled_rides import RandomRide, finish
from log_in_memory import to_track
from receiver_presets import preset
from simulate import Machine

from ridelog.analysis.braking.measure import measure_brakings
from ridelog.analysis.coasting.measure import (
    CoastDown,
    ResistanceAt,
    ResistanceFit,
    measure_coast_down,
)
from ridelog.analysis.energy.measure import WheelEnergy, measure_energy, work_j_per_kg
from ridelog.analysis.ride import SUBJECTS, analyse
from ridelog.compare.comparison import compared_names
from ridelog.core.quantity import text
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.report.ride_json import ride_json
from ridelog.report.ride_page import ride_sections

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
MACHINE = Machine().with_steady_speed(11.0)
TIME_S = np.arange(0.0, 20.05, 0.1)
ALONE = np.array([0])


def fit(a: float, b: float, c: float) -> ResistanceFit:
    return ResistanceFit(np.array([a]), np.array([b]), np.array([c]), 0.0)


def test_at_constant_speed_the_energy_of_a_distance_is_the_resistance() -> None:
    # 20 s at 8 m/s are 160 m; 0.2 + 0.01 · 8 + 0.003 · 64 = 0.472 m/s² is 0.472 J/(kg m).
    speed = np.full((len(TIME_S), 1), 8.0)
    every = np.ones(len(TIME_S) - 1, dtype=bool)
    work = work_j_per_kg(TIME_S, speed, every, fit(0.2, 0.01, 0.003), ALONE)
    assert work[0] / 160.0 == pytest.approx(0.472, rel=1e-9)


def test_without_resistance_it_is_the_gain_of_speed() -> None:
    # 0.5 m/s² from rest for 20 s: 10 m/s, v²/2 = 50 J/kg; driven for the first half only 12.5.
    speed = 0.5 * TIME_S[:, None]
    every = np.ones(len(TIME_S) - 1, dtype=bool)
    assert work_j_per_kg(TIME_S, speed, every, fit(0, 0, 0), ALONE)[0] == pytest.approx(50.0)
    half = TIME_S[1:] < 10.05
    assert work_j_per_kg(TIME_S, speed, half, fit(0, 0, 0), ALONE)[0] == pytest.approx(12.5)


def ridden(
    rng: np.random.Generator, *, coasts: bool = True, machine: Machine = MACHINE
) -> RandomRide:
    """Return runs there and back on the level in still air, pulled, held, let roll and braked."""
    ride = HandTurnedRide(machine)
    ride.stand(5.0)
    for _ in range(4):
        ride.drive(until_mps=float(rng.uniform(8.0, 10.0)))
        ride.hold(float(rng.uniform(2.0, 8.0)))
        ride.drive(for_s=float(rng.uniform(4.0, 8.0)))
        if coasts:
            ride.coast(until_mps=float(rng.uniform(2.5, 4.0)))
        ride.brake(decel_mps2=float(rng.uniform(1.5, 3.0)))
        ride.stand(3.0)
        ride.turn_by_hand(np.pi, 3.0)
    return finish(ride, rng)


def truth_of(ride: RandomRide) -> float:
    """Return the work of the drive for a kilogram and metre, from the simulator's own force."""
    true, machine = ride.truth, ride.machine
    force_n = machine.mass_kg * true.accel_mps2 + machine.resistance_n(true.velocity_mps)
    # At rest nothing resists, and nothing drives.
    force_n = np.where(true.velocity_mps > 1e-6, np.maximum(force_n, 0.0), 0.0)
    work_j = np.trapezoid(force_n * true.velocity_mps, true.time_s)
    return float(work_j / machine.mass_kg / np.trapezoid(true.velocity_mps, true.time_s))


def logged(ride: RandomRide, rate_hz: float, rng: np.random.Generator, *, speed: bool) -> Motion:
    receiver = preset("clean", rate_hz, rng, reports_speed=speed)
    return estimate_motion(to_track(receiver.observe(ride.truth, rng)))


def coast_down(motion: Motion) -> CoastDown:
    braked = tuple((one.start_s, one.end_s) for one in measure_brakings(motion).each)
    return measure_coast_down(motion, excluded=braked)


def measured(motion: Motion) -> WheelEnergy:
    return measure_energy(motion, coast_down(motion))


@pytest.mark.parametrize(
    ("rate_hz", "speed", "within"),
    [(10.0, True, 0.02), (5.0, False, 0.03), (1.0, True, 0.05), (1.0, False, 0.1)],
)
def test_it_is_the_work_of_the_simulated_drive(rate_hz: float, speed: bool, within: float) -> None:
    errors, held = [], []
    for seed in range(3):
        rng = np.random.default_rng([29, seed])
        ride = ridden(rng)
        figure = measured(logged(ride, rate_hz, rng, speed=speed)).wheel_energy_j_per_kg_m
        true = truth_of(ride)
        assert figure is not None
        errors.append(figure.value / true - 1.0)
        held.append(figure.low <= true <= figure.high)
    assert np.abs(errors).max() < within, errors
    assert sum(held) >= 2, errors


def test_twice_the_rolling_resistance_takes_as_much_more_as_it_should() -> None:
    found, true = [], []
    for machine in (MACHINE, replace(MACHINE, resistance_a_n=36.0)):
        rng = np.random.default_rng(31)
        ride = ridden(rng, machine=machine)
        figure = measured(logged(ride, 10.0, rng, speed=True)).wheel_energy_j_per_kg_m
        assert figure is not None
        found.append(figure.value)
        true.append(truth_of(ride))
    assert true[1] - true[0] > 0.1
    assert found[1] - found[0] == pytest.approx(true[1] - true[0], abs=0.01)


def test_without_a_coast_down_it_says_why() -> None:
    rng = np.random.default_rng(5)
    found = measured(logged(ridden(rng, coasts=False), 10.0, rng, speed=True))
    assert found.wheel_energy_j_per_kg_m is None
    assert found.reason == (
        "without a coast-down nothing is known: the machine rolls freely nowhere for three seconds"
    )


def test_driving_far_from_the_coast_down_tells_nothing() -> None:
    rng = np.random.default_rng(7)
    motion = logged(ridden(rng), 10.0, rng, speed=True)
    slow = replace(coast_down(motion), curve=(ResistanceAt(1.0, None), ResistanceAt(2.0, None)))
    found = measure_energy(motion, slow)
    assert found.wheel_energy_j_per_kg_m is None
    assert found.reason == "most of the driving was slower or faster than its coast-down"
    part = measure_energy(motion, coast_down(motion), excluded=((12.0, 10_000.0),))
    assert part.reason == "it was ridden for less than 100 m" and part.distance_m < 100.0


def test_every_surface_of_a_ride_has_it() -> None:
    rng = np.random.default_rng(11)
    ride = analyse(logged(ridden(rng), 10.0, rng, speed=True))
    figure = ride.figures["wheel_energy_j_per_kg_m"]
    assert figure.estimate is not None and figure.terms.better == "lower"
    kilometre = text(figure.estimate, figure.quantity, KMH)
    assert " Wh/km per 100 kg (" in kilometre
    # A watt hour is 3600 J (BIPM, The International System of Units, 9th edition, table 8).
    for_100_kg = 100.0 / 3600.0 * figure.estimate.value
    assert float(kilometre.split()[0]) == pytest.approx(1000.0 * for_100_kg, abs=0.05)
    mile = text(figure.estimate, figure.quantity, MPH)
    assert " Wh/mi per 100 kg (" in mile
    assert float(mile.split()[0]) == pytest.approx(1609.344 * for_100_kg, abs=0.05)
    assert ("Energy", f"{kilometre} at the wheels") in [
        line for subject in SUBJECTS for line in subject.lines(ride, KMH)
    ]
    (section,) = [one for one in ride_sections(ride, MPH) if one.name == "energy"]
    assert section.lead.startswith(f"The wheels took {mile}, over ")
    assert "km" not in section.lead
    assert ride_json(ride)["energy"]["wheel_energy_j_per_kg_m"] == figure.estimate.as_json()
    assert "wheel_energy_j_per_kg_m" in compared_names((ride,), (ride,), KMH)
