"""The machine stepped through time: what is read of it, and its other motor law."""

from dataclasses import replace

import numpy as np
import pytest
from simulate.electric import (
    Bench,
    ElectricMachine,
    LevelTruth,
    SoftMachine,
    cruise,
    level_truth,
    range_m,
)
from simulate.truth import STEP_S


def test_times_and_pulls_are_read_between_the_steps() -> None:
    # Closed form: 1.7 m/s² from standstill; no crossing lies on a step of the trace.
    time_s = STEP_S * np.arange(600.0)
    truth = LevelTruth(time_s, 1.7 * time_s, 10.0)
    assert truth.time_to(3.0) == pytest.approx(3.0 / 1.7, rel=1e-9)
    assert replace(truth, left_s=0.2).time_to(3.0) == pytest.approx(3.0 / 1.7 - 0.2, rel=1e-9)
    assert truth.pull_at(2.0) == pytest.approx(1.7, rel=1e-9)
    assert np.isnan(truth.time_to(50.0))


def test_a_start_counts_from_where_it_left_rest() -> None:
    """Half of what an opening of the current has left when rolling is overcome is lost: an area."""
    quick = ElectricMachine(throttle_sets_current=True, opening_s=0.0, battery_limit_a=500.0)
    slow = replace(quick, opening_s=0.4)
    at_once, opened = (level_truth(one) for one in (quick, slow))
    assert at_once.left_s < 0.5 * opened.left_s < 0.05
    lost = opened.time_to(3.0) - at_once.time_to(3.0)
    assert lost == pytest.approx(0.5 * (0.4 - opened.left_s), abs=0.005)


def test_the_pack_recovers_while_nothing_is_drawn() -> None:
    bench = Bench(ElectricMachine())
    bench.slow_v = 1.0
    bench.rest(20.0)
    assert bench.slow_v == pytest.approx(np.exp(-1.0))


def test_the_top_speed_is_held() -> None:
    machine = ElectricMachine()
    speed = level_truth(machine).speed_mps
    assert speed[-1] - speed[-201] < 2e-4


def test_iron_that_saturates_gives_less_torque_for_an_ampere() -> None:
    machine = SoftMachine(saturation_a=90.0)
    assert machine.torque_nm(90.0) == pytest.approx(0.145 * 90.0 / np.sqrt(2.0))
    assert machine.amps_for(machine.torque_nm(60.0)) == pytest.approx(60.0)
    assert machine.amps_for(0.145 * 90.0) == float("inf")
    full_v = 3.7 * machine.pack.cells
    assert machine.winding_a(full_v) == pytest.approx(0.9 * machine.winding_limit_a)
    # Closed form: without losses all that leaves the pack moves the machine, iron takes nothing.
    lossless = replace(
        machine, mesh_loss=0.0, winding_ohm=0.0, idle_nm=0.0, idle_nms=0.0, chopper_ohm=0.0,
        chopper_w=0.0, winding_limit_a=200.0, battery_limit_a=200.0,
    )  # fmt: skip
    amps, volts = cruise(lossless, 6.0, 0.8)
    assert amps * volts == pytest.approx(6.0 * lossless.resistance_n(6.0, 0.0, 0.0))
    # Without either it is the plain machine.
    plain = SoftMachine(saturation_a=1e9, taper=0.0)
    both = [level_truth(one).top_mps for one in (plain, ElectricMachine())]
    assert both[0] == pytest.approx(both[1])


def test_a_range_moves_with_the_pack_however_little() -> None:
    machine = ElectricMachine()
    more = replace(machine.pack, capacity_ah=1.003 * machine.pack.capacity_ah)
    gained = range_m(replace(machine, pack=more), 5.0) / range_m(machine, 5.0)
    assert gained == pytest.approx(1.003, abs=2e-4)
