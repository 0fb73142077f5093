"""The decay of acceleration: its departure is a motion, and a known one is found."""

import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from simulate import Machine, RideLayout

from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.filtering.standing_start.acceleration_decay import (
    AccelerationDecay,
    StartDecay,
    acceleration_decay_of,
    decay_of_start,
)
from ridelog.filtering.standing_start.paths import draw_standing_start

# A motor on its straight line all the way: no limit of current, power or grip is reached, and
# only rolling resistance, so that acceleration falls evenly with speed.
LINEAR = Machine(
    line_torque_nm=7.0, limit_torque_nm=99.0, power_w=1e5, traction_n=1e4,
    resistance_b_nspm=0.0, resistance_c_ns2pm2=0.0,
)  # fmt: skip
STARTS = ((3.0, 11.0), (18.0, 27.0), (33.0, 42.0))


def _ride(rate_hz: float, machine: Machine = LINEAR, *, reports_speed: bool = True) -> Motion:
    ride = RideLayout(machine)
    for _ in range(3):
        ride.stand(5.0)
        ride.drive(until_mps=8.0, build_s=0.2)
        ride.brake(0.0, decel_mps2=3.0, build_s=0.2, ease_s=0.1)
        ride.stand(15.0 - (ride.build().duration_s % 15.0))
    rng = np.random.default_rng(3)
    receiver = preset("clean", rate_hz, rng, reports_speed=reports_speed)
    return estimate_motion(to_track(receiver.observe(ride.build(), rng)))


def _true_decay(machine: Machine) -> float:
    force = machine.line_torque_nm * machine.force_per_torque_pm
    return force / machine.no_load_mps / machine.mass_kg


def test_the_departure_is_a_motion() -> None:
    start_decay = StartDecay(2.0, AccelerationDecay(0.3, 0.1), 9.0, np.array([0.6, 0.8]))
    time_s = np.linspace(4.0, 12.0, 8001)
    distance, speed, accel = np.moveaxis(start_decay.departure(time_s, 5.0), 1, 0)
    assert np.gradient(distance[:, 0], time_s) == pytest.approx(speed[:, 0], abs=1e-3)
    assert np.gradient(speed[:, 1], time_s) == pytest.approx(accel[:, 1], abs=1e-3)
    # Nothing before the throttle is open, and no further decay once the pull is over.
    assert not accel[time_s <= 5.0].any()
    assert accel[-1] == pytest.approx(2.0 * np.expm1(-0.3 * 4.0) * np.array([0.6, 0.8]))
    # v' = A - k v with the whole motion: A plus the departure.
    running = (time_s > 5.0) & (time_s < 9.0)
    whole = 2.0 * (time_s - 5.0) + speed[:, 0] / 0.6
    pull = 2.0 + accel[:, 0] / 0.6
    assert pull[running] == pytest.approx(2.0 - 0.3 * whole[running])


@pytest.mark.parametrize("rate_hz", [10.0, 1.0])
def test_a_known_fall_is_found(rate_hz: float) -> None:
    decay = acceleration_decay_of(_ride(rate_hz), STARTS)
    assert decay is not None
    assert abs(decay.per_s - _true_decay(LINEAR)) < 2.5 * decay.sd_per_s
    assert decay.sd_per_s < (0.02 if rate_hz > 1.0 else 0.08)


def test_a_level_pull_is_not_bent() -> None:
    level = Machine(
        line_torque_nm=99.0, limit_torque_nm=4.0, power_w=1e5, resistance_b_nspm=0.0,
        resistance_c_ns2pm2=0.0,
    )  # fmt: skip
    decay = acceleration_decay_of(_ride(10.0, level), STARTS)
    assert decay is None or decay.per_s < 0.02


def test_nothing_is_said_without_fixes_on_the_way_up() -> None:
    motion = _ride(1.0)
    assert acceleration_decay_of(motion, [(0.0, 2.0)]) is None
    assert decay_of_start(motion, 3.0, 11.0, None) is None


def test_sparse_starts_bend_as_the_ride_shows() -> None:
    motion = _ride(1.0, reports_speed=False)
    decay = AccelerationDecay(_true_decay(LINEAR), 0.01)

    def early_less_late(of: AccelerationDecay | None) -> float:
        drawn = draw_standing_start(motion, 3.0, 7.0, 9.0, draws=200, decay=of)
        assert drawn is not None
        accel = drawn.paths.tangential_accel_mps2.mean(axis=1)
        time_s = drawn.paths.time_s - float(np.median(drawn.start_s))
        early, late = (time_s > 0.6) & (time_s < 1.1), (time_s > 2.5) & (time_s < 3.0)
        return float(accel[early].mean() - accel[late].mean())

    assert early_less_late(decay) > early_less_late(None) + 0.2
