"""Which figures of rides stand for the level: closed forms of a motor's straight line."""

import numpy as np
import pytest
from machines import drive

from ridelog.core.estimate import LEVEL, Estimate
from ridelog.machine.drive import Drive
from ridelog.machine.fit import Fitted, FittedStrip
from ridelog.machine.on_strip import _pulls_read, true_on_level
from ridelog.machine.setup import MachineSetup

# (0.1 / 0.03)² / (0.5 * 100): what the pull falls by for each metre a second. [1/s]
STEEP = (0.1 / 0.03) ** 2 / 50.0


def line(top_mps: float, **more: float) -> Drive:
    """Return a machine whose pull falls along a straight line to nought at its top speed."""
    return drive(motor_ohm=0.5, battery_v=top_mps * 0.1 / 0.03, **more)


def stands(name: str, machine: Drive, half: float, slope: float = 0.0, *winds: float) -> bool:
    """Return whether a figure with a half width is taken for that of the level.

    Each wind is that of one possible machine.
    """
    winds = winds or (0.0,)
    strip = FittedStrip(("a",), 0.0, np.full(len(winds), slope), np.array([winds]), True)
    fitted = Fitted(MachineSetup(), np.zeros((1, 1)), machine, ("a",), {}, (strip,))
    told = Estimate(1.0, 1.0 - half, 1.0 + half, LEVEL)
    return name in true_on_level(fitted, {name: told}, ())


def test_a_pull_is_read_by_the_time_over_its_step() -> None:
    read = _pulls_read(line(10.0))
    for speed in (2.0, 4.0, 6.0, 8.0):
        left = 10.0 - speed
        true = STEEP / np.log((left + 0.5) / (left - 0.5))
        assert read[f"pull_at_{speed:g}_mps"] == pytest.approx([true], rel=1e-3)
    assert np.isnan(_pulls_read(line(8.3))["pull_at_8_mps"]).all()


def test_a_pull_near_the_top_stands_only_where_its_step_hardly_matters() -> None:
    off = STEEP * (1.0 - 1.0 / np.log(3.0))  # one metre a second below the top
    machine = line(7.0)
    assert stands("pull_at_6_mps", machine, 4.3 * off)
    assert not stands("pull_at_6_mps", machine, 3.7 * off)
    assert not stands("pull_at_6_mps", line(6.2), 9.0)  # no ride passes the whole step there


def test_a_weaker_direction_that_fades_is_not_taken_for_counted() -> None:
    """Uphill it pulls 0.79 of downhill at 2 m/s, 0.63 at 8: the curve leaves such starts out."""
    machine, slope = line(14.0, mass_kg=100.0), 0.03
    moved = 9.80665 * slope / np.hypot(1.0, slope)
    assert stands("pull_at_2_mps", machine, 4.1 * moved, slope)
    assert not stands("pull_at_2_mps", machine, 3.9 * moved, slope)
    # Half the slope leaves them in, and takes from one what it gives to the other.
    assert stands("pull_at_2_mps", machine, 0.1 * moved, 0.5 * slope)


def test_what_is_reached_downhill_alone_is_no_figure_of_the_level() -> None:
    assert not stands("pull_at_6_mps", line(5.0), 9.0, 0.2)
    assert stands("pull_at_4_mps", line(5.0), 9.0, 0.2)


def test_a_move_that_is_not_known_counts() -> None:
    """The mean of both directions lacks C w² / M in a wind w, whichever way it blows."""
    machine = line(14.0, b_nspm=9.0, c_ns2pm2=1.0)
    moved = 1.0 * 3.0**2 / 100.0
    assert stands("pull_at_2_mps", machine, 0.5 * moved, 0.0, 0.0, 0.0)
    # Nought in the middle, and half of the machines say that it was more.
    assert not stands("pull_at_2_mps", machine, 2.0 * moved, 0.0, 3.0, -0.1, 0.1, -3.0)
    assert stands("pull_at_2_mps", machine, 3.5 * moved, 0.0, 3.0, -0.1, 0.1, -3.0)
