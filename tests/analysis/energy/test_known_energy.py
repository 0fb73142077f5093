"""The energy at the wheels of rides that are known by formula, worked out by hand."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.energy.measure import WheelEnergy, measure_energy

# 0.2 + 0.01 v + 0.003 v² [m/s²]; to 8 m/s in 8 s, 20 s of it, to rest in 4 s: 32 + 160 + 16 m.
A, B, C = 0.2, 0.01, 0.003
RIDE = [(0.0, 0.0), (2.0, 0.0), (10.0, 8.0), (30.0, 8.0), (34.0, 0.0), (36.0, 0.0)]
HELD = 20.0 * 8.0 * (A + 8.0 * B + 64.0 * C)
PULLED = 32.0 + A * 32.0 + B * 8.0**3 / 3.0 + C * 8.0**4 / 4.0


def energy(
    knots: list[tuple[float, float]] = RIDE, *, curve: tuple[float, float] = (1.0, 10.0),
    coasts: tuple[tuple[float, float], ...] = (), excluded: tuple[tuple[float, float], ...] = (),
    spread: float = 0.0, error_mps: float = 0.0, rate_hz: float = 10.0,
) -> WheelEnergy:  # fmt: skip
    every = np.append(1.0, np.resize([1.0 - spread, 1.0 + spread], 400))
    found: Any = SimpleNamespace(
        named_fit=SimpleNamespace(a_mps2=A * every, b_ps=B * every, c_pm=C * every), reason="",
        coasts=[SimpleNamespace(start_s=one, end_s=two) for one, two in coasts],
        curve=[SimpleNamespace(speed_mps=speed) for speed in curve],
    )  # fmt: skip
    motion = known_motion(knots, error_mps=error_mps, rate_hz=rate_hz)
    return measure_energy(motion, found, excluded=excluded)


def test_energy_is_what_was_gained_and_what_resisted() -> None:
    found = energy()
    assert found.distance_m == pytest.approx(208.0, abs=2.0)
    assert found.driven_m == pytest.approx(192.0, abs=3.0)
    figure = found.wheel_energy_j_per_kg_m
    assert figure is not None and found.reason == ""
    assert figure.value == pytest.approx((PULLED + HELD) / 208.0, rel=0.01)
    # What stays unseen is half a percent, and as much again for a second between fixes.
    for rate_hz, share in ((10.0, 0.0055), (2.0, 0.0075)):
        half = energy(rate_hz=rate_hz).wheel_energy_j_per_kg_m
        assert half is not None
        assert (half.high - half.low) / half.value == pytest.approx(3.29 * share, rel=0.06)


def test_what_rolled_or_is_left_out_is_not_driven() -> None:
    # A second half of the hold that rolled: 10 s and 80 m are not driven, but ridden.
    rolled = energy(coasts=((20.0, 30.0),))
    assert (rolled.distance_m, rolled.driven_m) == pytest.approx((208.0, 112.0), abs=3.0)
    figure = rolled.wheel_energy_j_per_kg_m
    assert figure is not None
    assert figure.value == pytest.approx((PULLED + 0.5 * HELD) / 208.0, rel=0.015)
    left = energy(excluded=((20.0, 30.0),))
    assert (left.distance_m, left.driven_m) == pytest.approx((128.0, 112.0), abs=3.0)
    figure = left.wheel_energy_j_per_kg_m
    assert figure is not None
    assert figure.value == pytest.approx((PULLED + 0.5 * HELD) / 128.0, rel=0.02)


def test_slowing_less_than_it_would_alone_is_driving() -> None:
    """At 8 to 7 m/s it would slow by 0.47 to 0.42 m/s²."""
    for slows, driven in ((0.3, True), (0.6, False)):
        knots = [(0.0, 8.0), (15.0, 8.0), (15.0 + 1.0 / slows, 7.0), (45.0, 7.0)]
        found = energy(knots)
        whole = 15.0 * 8.0 + 7.5 / slows + 7.0 * (30.0 - 1.0 / slows)
        wanted = whole - (0.0 if driven else 7.5 / slows)
        assert found.distance_m == pytest.approx(whole, rel=0.01)
        # A step of 0.2 s at either end may be taken for either.
        assert found.driven_m == pytest.approx(wanted, abs=4.0)


def test_what_resistance_is_known_to_is_what_the_energy_is_known_to() -> None:
    """Draws resist a tenth more or less, one deviation; the gain of speed is the same."""
    figure = energy(spread=0.1).wheel_energy_j_per_kg_m
    assert figure is not None
    half = 1.645 * 0.1 * (HELD + PULLED - 32.0) / 208.0
    assert figure.high - figure.value == pytest.approx(half, rel=0.05)
    assert figure.value - figure.low == pytest.approx(half, rel=0.05)


def test_a_long_ride_is_put_together_from_parts() -> None:
    found = energy([(0.0, 8.0), (150.0, 8.0)])
    assert found.distance_m == pytest.approx(1200.0, rel=0.005)
    figure = found.wheel_energy_j_per_kg_m
    assert figure is not None
    assert figure.value == pytest.approx(A + 8.0 * B + 64.0 * C, rel=0.005)


def test_why_there_is_none() -> None:
    for lasts_s, reason in ((12.0, "it was ridden for less than 100 m"), (13.0, "")):
        assert energy([(0.0, 8.0), (lasts_s, 8.0)]).reason == reason
    # Driving counts as known from a fifth below to a fifth above the speeds of the coast-down.
    for curve, known in (((9.5, 12.0), True), ((9.7, 12.0), False), ((3.0, 6.7), True),
                         ((3.0, 6.6), False)):  # fmt: skip
        found = energy([(0.0, 8.0), (30.0, 8.0)], curve=curve)
        assert (found.wheel_energy_j_per_kg_m is not None) is known
        assert bool(found.reason) is not known
    # At least half of it: 15 s at 8 m/s and as much way at 4 m/s.
    for slow_s, known in ((28.0, True), (32.0, False)):
        knots = [(0.0, 8.0), (15.0, 8.0), (15.1, 4.0), (15.1 + slow_s, 4.0)]
        found = energy(knots, curve=(7.0, 9.0))
        assert (found.wheel_energy_j_per_kg_m is not None) is known, slow_s
    missing: Any = SimpleNamespace(named_fit=None, reason="no coast was found")
    told = measure_energy(known_motion(RIDE), missing)
    assert told.reason == "without a coast-down nothing is known: no coast was found"
