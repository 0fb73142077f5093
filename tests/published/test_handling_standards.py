"""Handling against published figures and closed forms; the source stands beside each number."""

import math

import numpy as np
import pytest

from ridelog.analysis.handling.band import LOW_HZ, top_of_band_hz
from ridelog.analysis.handling.measure import (
    LEAST_TILT_QUAD,
    TILT_SHARE,
    stability_factor,
    tip_over,
    tipping_speed_mps,
)
from ridelog.analysis.handling.turns import mean_laterals, radii, speed_by_fixes
from ridelog.analysis.handling.weave import LEAST_RATE_HZ
from ridelog.core.estimate import Estimate
from ridelog.core.units import MPS_PER_KMH, STANDARD_GRAVITY_MPS2
from ridelog.filtering.motion import Paths


@pytest.mark.parametrize(("radius_m", "kmh"), [(5.0, 23.9), (10.0, 33.8)])
def test_speed_at_the_threshold(radius_m: float, kmh: float) -> None:
    """v = sqrt(SSF g r), SSF 0.9: computed from NHTSA's definition, g 9.80665 m/s²."""
    speed = tipping_speed_mps(0.9 * STANDARD_GRAVITY_MPS2, radius_m)
    assert speed / MPS_PER_KMH == pytest.approx(kmh, abs=0.05)


def test_stability_factor_is_half_the_width_by_the_height() -> None:
    """SSF = T / (2 h): NHTSA, "Why choose SSF?", ch. V."""
    assert stability_factor(0.9, 0.5) == pytest.approx(0.9)
    margin = tip_over(0.9, 0.5, Estimate(4.0, 3.9, 4.1), Estimate(5.0, 4.9, 5.1))
    assert margin.rigid_threshold_mps2 == pytest.approx(0.9 * 9.80665)
    # At the rigid threshold the same turn gives the 23.9 km/h above; the safer one is slower.
    assert margin.tipping_speed_mps is not None
    assert margin.tipping_speed_mps == pytest.approx(math.sqrt(TILT_SHARE) * 23.9 / 3.6, abs=0.02)


def test_what_is_taken_off_agrees_with_the_tilt_tables() -> None:
    """FME report for The Oregonian (2007): computed factors of four quads 0.876 to 0.930, on the
    tilt table 0.751 to 0.986 over all; the computed one overstates by 10 to 15 %."""
    assert 0.85 <= TILT_SHARE <= 0.90
    assert pytest.approx(0.751) == LEAST_TILT_QUAD
    assert TILT_SHARE * 0.876 == pytest.approx(LEAST_TILT_QUAD, abs=0.01)


def circle(radius_m: float, speed_mps: float, lasting_s: float) -> Paths:
    """Return a path on a circle to the right, three equal columns."""
    time_s = np.linspace(0.0, lasting_s, round(lasting_s / 0.1) + 1)
    angle = speed_mps * time_s / radius_m
    one = speed_mps * np.stack([np.sin(angle), np.cos(angle)], axis=1)
    velocity = np.repeat(one[:, :, None], 3, axis=2)
    return Paths(time_s, np.zeros_like(velocity), velocity, np.zeros_like(velocity))


@pytest.mark.parametrize(("radius_m", "speed_mps"), [(3.0, 4.0), (25.0, 11.0), (4.0, 1.2)])
def test_lateral_acceleration_on_a_circle(radius_m: float, speed_mps: float) -> None:
    """a = v² / r = v dψ/dt (RWTH laboratory notes; ISO 8855 as an encyclopedia tells it)."""
    paths = circle(radius_m, speed_mps, 3.0)
    usable = np.ones(len(paths.time_s), dtype=bool)
    starts, mean = mean_laterals(paths, 1.0, usable, paths.speed_mps)
    assert starts[-1] == pytest.approx(2.0)
    assert mean == pytest.approx(speed_mps**2 / radius_m)
    # A course change, not an arc by a chord: exact but for the trapezium of a constant speed.
    assert radii(paths, 1.0, usable, paths.speed_mps) == pytest.approx(radius_m)


def test_speed_between_distant_fixes_does_not_dip() -> None:
    """A straight line between two velocities of a circle cuts the corner by 1 - cos(angle / 2)."""
    whole = circle(4.0, 4.5, 4.0)
    fixes = np.arange(5.0)
    velocity = np.stack(
        [
            np.stack([np.interp(whole.time_s, fixes, whole.velocity_mps[::10, axis, column])
                      for column in range(3)], axis=1)
            for axis in range(2)
        ],
        axis=1,
    )  # fmt: skip
    cut = Paths(whole.time_s, whole.position_m, velocity, whole.acceleration_mps2)
    assert cut.speed_mps.min() == pytest.approx(4.5 * math.cos(0.5 * 4.5 / 4.0), rel=0.01)
    assert speed_by_fixes(cut, fixes) == pytest.approx(4.5)


def test_a_slow_log_cannot_show_weave() -> None:
    """Nyquist: 1 Hz sees less than 0.5 Hz, 5 Hz less than 2.5, 10 Hz less than 5."""
    assert 1.0 / 2.0 < LOW_HZ
    assert LEAST_RATE_HZ > 4.0
    for rate_hz, limit_hz in ((5.0, 2.5), (10.0, 5.0), (25.0, 12.5)):
        assert LOW_HZ < top_of_band_hz(rate_hz) < limit_hz
    # Weave of two-wheelers lies usually below 4-5 Hz (Appl. Sci. 2021, 11(16), 7393): ours below 3.
    assert top_of_band_hz(25.0) == 3.0
