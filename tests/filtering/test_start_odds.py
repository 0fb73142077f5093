"""How likely a drawn start is by how its pull goes on, and which instants are tried: by hand."""

from typing import Any

import numpy as np
import pytest
from known_motion import known_motion
from scipy.special import ndtr

from ridelog.filtering.standing_start.acceleration_decay import (
    AccelerationDecay,
    StartDecay,
    acceleration_decay_of,
    decay_of_start,
)
from ridelog.filtering.standing_start.models import _above_both_sides, _anchored
from ridelog.filtering.standing_start.paths import _plausibility, candidates


class Drawn:
    """A start at 2 s after which the speed grows by some amounts in 0.6 s and in 1.2 s more."""

    start_s = np.array([2.0])
    owner = np.array([0])

    def __init__(self, opened_s: float, early: float, late: float) -> None:
        self.opened_s = np.array([opened_s])
        self._speeds = {2.6: early, 3.8: early + late}

    def speeds(self, at_s: np.ndarray) -> Any:
        return np.array([[self._speeds[round(float(at), 6)]] for at in at_s[:, 0]])


@pytest.mark.parametrize(("opened_s", "early_s"), [(0.51, 0.6 - 0.255), (1.2, 0.36 / 2.4)])
@pytest.mark.parametrize("falls", [1.0, 0.8, 0.5, 1.5, 2.0])
def test_a_pull_that_grows_keeps_a_tenth(opened_s: float, early_s: float, falls: float) -> None:
    """An electric drive pulls hardest from rest: standing_start (3), a spread of a quarter.

    Half of the time in which the throttle opens is lost; of a ramp of 1.2 s that is open by half
    after 0.6 s, v = a t² / 2 / 1.2 s.
    """
    pull = 3.0
    drawn: Any = Drawn(opened_s, pull * early_s, falls * pull * 1.2)
    wanted = 0.1 + 0.9 * ndtr((1.0 / falls - 1.0) / 0.25)
    assert _plausibility(drawn, 99.0) == pytest.approx([wanted])


def test_a_pull_that_stops_is_held_against_a_little_pull() -> None:
    drawn: Any = Drawn(0.2, 0.05, -0.5)
    wanted = 0.1 + 0.9 * ndtr((0.05 / 0.5 / 0.1 - 1.0) / 0.25)
    assert _plausibility(drawn, 99.0) == pytest.approx([wanted])


def test_candidates_stand_further_apart_where_models_are_long() -> None:
    assert candidates(1.0, 2.0, 0.25, 100) == pytest.approx([1.0, 1.25, 1.5, 1.75, 2.0])
    # 100 s of 2,000 instants each: at most 100,000 of them, 50 models, two seconds apart.
    assert candidates(50.0, 150.0, 0.3, 2000) == pytest.approx(np.arange(50.0, 150.1, 2.0))


def test_a_decay_parts_from_even_acceleration_as_its_integrals_do() -> None:
    """v' = A - k v from rest: v = A / k (1 - e^-kt), and after the last fix acceleration stays."""
    decay = StartDecay(3.0, AccelerationDecay(0.2, 0.05), 6.0, np.array([0.6, 0.8]))
    time_s = np.array([0.5, 1.0, 2.0, 4.0, 6.0, 8.0])
    found = decay.departure(time_s, 1.0)
    t = np.maximum(time_s - 1.0, 0.0)
    until = np.minimum(t, 5.0)
    e = np.exp(-0.2 * until)
    speed, way = 3.0 / 0.2 * (1.0 - e), 3.0 / 0.2 * (until - (1.0 - e) / 0.2)
    accel, left = 3.0 * e, t - until
    speed, way = speed + accel * left, way + speed * left + 0.5 * accel * left**2
    for axis, share in ((0, 0.6), (1, 0.8)):
        assert found[:, 0, axis] == pytest.approx(share * (way - 1.5 * t**2), abs=1e-9)
        assert found[:, 1, axis] == pytest.approx(share * (speed - 3.0 * t), abs=1e-9)
        assert found[:, 2, axis] == pytest.approx(share * (accel - 3.0), abs=1e-9)
    # Other ways of falling: (7), a third of the square of k and its variance, for a second.
    assert decay.jerk == pytest.approx(9.0 * (0.04 / 3.0 + 0.0025))


def falling(k: float, accel: float = 3.0, rate_hz: float = 10.0, sd_mps: float = 0.02) -> Any:
    """Return a stand and a start of 6 s whose acceleration falls as A - k v, heading east."""
    t = np.arange(0.0, 6.01, 0.05)
    speed = accel / k * (1.0 - np.exp(-k * t))
    knots = [(0.0, 0.0), *zip((4.0 + t).tolist(), speed.tolist(), strict=True), (12.0, 0.0)]
    return known_motion(knots, turns=[(0.0, 90.0)], rate_hz=rate_hz, sd_mps=sd_mps)


@pytest.mark.parametrize("k", [0.1, 0.25, 0.4])
def test_how_fast_acceleration_falls_is_found_again(k: float) -> None:
    motion = falling(k)
    found = acceleration_decay_of(motion, [(2.0, 10.0)])
    assert found is not None and found.per_s == pytest.approx(k, rel=0.08)
    one = decay_of_start(motion, 2.0, 10.0, found)
    assert one is not None and one.accel_mps2 == pytest.approx(3.0, rel=0.05)
    assert one.course == pytest.approx([1.0, 0.0], abs=1e-6)
    # Up to nine tenths of the highest speed.
    reached = -np.log(1.0 - 0.9 * (1.0 - np.exp(-6.0 * k))) / k
    assert one.until_s == pytest.approx(4.0 + reached, abs=0.11)


def test_a_start_that_is_badly_known_leaves_the_prior() -> None:
    """Between nothing and A over the highest speed, evenly: its half, and sqrt(1/12) of it."""
    sure, vague = (
        acceleration_decay_of(falling(0.25, sd_mps=sd), [(2.0, 10.0)]) for sd in (0.02, 5.0)
    )
    assert sure is not None and vague is not None
    assert sure.sd_per_s < 0.2 * vague.sd_per_s
    assert vague.sd_per_s == pytest.approx(vague.per_s / np.sqrt(3.0), rel=0.1)
    # Fixes nearer than a second share an error: a slower log of as good fixes knows nearly as much.
    slow = acceleration_decay_of(falling(0.25, rate_hz=2.0), [(2.0, 10.0)])
    assert slow is not None and slow.sd_per_s == pytest.approx(sure.sd_per_s, rel=0.3)
    assert decay_of_start(falling(0.25), 2.0, 10.0, None) is None


@pytest.mark.parametrize(("steps", "seen", "kept"), [
    ("0100", "11111", "0100"), ("0101", "11001", "0100"), ("1000", "01111", "0000"),
    ("0001", "11110", "0000"), ("0110", "11011", "0100"), ("1100", "10111", "1000"),
])  # fmt: skip
def test_no_step_leaves_a_span_without_any_position(steps: str, seen: str, kept: str) -> None:
    def mask(text: str) -> np.ndarray:
        return np.array([letter == "1" for letter in text])

    assert _anchored(mask(steps), mask(seen)).tolist() == mask(kept).tolist()


def test_a_reading_that_stands_out_on_both_sides() -> None:
    """0.4 among 0.1 stands 0.3 above; a start that rises on one side alone does not."""
    lone = _above_both_sides(np.array([0.1, 0.1, np.nan, 0.1, 0.4, 0.1, 0.1, 0.1]))
    assert lone[4] == pytest.approx(0.3) and lone[[0, 1, 6, 7]].max() == -np.inf
    rising = _above_both_sides(np.array([0.1, 0.1, 0.1, 0.4, 0.8, 1.2, 1.6]))
    assert rising[np.isfinite(rising)].max() <= 0.0
    assert (_above_both_sides(np.array([0.1, 0.4, 0.1, 0.1])) == -np.inf).all()
