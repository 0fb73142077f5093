"""The quick rule for a standing start, on pulls that can be integrated."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.machine.standing import launch_time_s


def machine(pull: Any) -> Any:
    """Return a machine whose pull at a speed is a function. [m/s²]"""
    return SimpleNamespace(pull_mps2=lambda speed: np.atleast_2d(pull(speed)))


def test_a_constant_pull_takes_speed_over_pull() -> None:
    found = launch_time_s(machine(lambda v: np.full(len(v), 2.5)), 5.0)
    assert found == pytest.approx([5.0 / 2.5])


def test_a_pull_that_falls_with_speed() -> None:
    """With a (1 - v / u) the time is u / a ln(1 / (1 - v / u)): sixteen middles come within 1 %."""
    found = launch_time_s(machine(lambda v: 3.0 * (1.0 - v / 12.0)), 6.0)
    assert found == pytest.approx([4.0 * np.log(2.0)], rel=0.01)


def test_a_speed_beyond_the_pull_is_not_reached() -> None:
    assert np.isnan(launch_time_s(machine(lambda v: 3.0 * (1.0 - v / 5.0)), 6.0)).all()
