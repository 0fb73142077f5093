"""Deceleration against published tables, and what published rules ask."""

import numpy as np
import pytest

from ridelog.analysis.braking.measure import mean_decel_mps2
from ridelog.analysis.braking.stopping import required_of
from ridelog.core.units import SPEED_UNITS

KMH = SPEED_UNITS["km/h"]

# Straßenbahnverordnung 1999 (Austria), Annex 1 (RIS, CC BY 4.0): initial speed in km/h, braking
# distance in m, mean deceleration in m/s², as printed.
SERVICE = (
    (20, 20, "0.77"),
    (30, 40, "0.87"),
    (40, 65, "0.95"),
    (50, 94, "1.03"),
    (60, 131, "1.06"),
    (70, 177, "1.07"),
    (80, 230, "1.07"),
    (90, 290, "1.08"),
    (100, 355, "1.09"),
)
EMERGENCY = (
    (30, 17, "2.04"),
    (40, 27, "2.29"),
    (50, 39, "2.47"),
    (60, 54, "2.57"),
)


@pytest.mark.parametrize(("kmh", "metres", "printed"), SERVICE + EMERGENCY)
def test_table_of_the_tramway_regulation(kmh: float, metres: float, printed: str) -> None:
    decel = mean_decel_mps2(KMH.to_mps(kmh), 0.0, metres)
    # Half a unit of the last printed digit.
    assert decel == pytest.approx(float(printed), abs=0.005)


def test_the_one_row_of_that_table_that_is_cut_off() -> None:
    """20 km/h in 9 m is 1.7147 m/s²; the table prints 1.71, which rounding gives as well."""
    assert mean_decel_mps2(KMH.to_mps(20.0), 0.0, 9.0) == pytest.approx(1.71, abs=0.0051)


def test_the_table_would_show_a_wrong_constant() -> None:
    """With 25 km/h taken for 20 the first row fails: the check can fail."""
    assert mean_decel_mps2(KMH.to_mps(25.0), 0.0, 20.0) != pytest.approx(0.77, abs=0.005)


def test_developed_deceleration_of_a_constant_braking() -> None:
    """25 km/h at a constant 3.5 m/s², computed by hand from s = v²/(2a).

    Between 0.8 and 0.1 of 25 km/h lie 2.4802 m and 6.8204 m; the stop takes 6.889 m, from
    20 km/h 4.409 m. The shares 0.8 and 0.1 are from memory (UN R13-H, R78).
    """
    start = KMH.to_mps(25.0)
    assert start**2 / (2 * 3.5) == pytest.approx(6.889, abs=5e-4)
    assert KMH.to_mps(20.0) ** 2 / (2 * 3.5) == pytest.approx(4.409, abs=5e-4)
    between = mean_decel_mps2(0.8 * start, 0.1 * start, 6.8204 - 2.4802)
    assert between == pytest.approx(3.5, abs=5e-4)


def test_what_ekfv_and_stvzo_ask() -> None:
    """EKFV § 4 (1): 3.5 m/s² and 44 % of it with one brake.

    StVZO § 41 (4): 5.0 m/s², with a design speed of up to 25 km/h 3.5 m/s²; (4a): 44 % of it. eKFV
    Annex, no. 2.2.3: five stops.
    """
    slow, fast = required_of(KMH.to_mps(25.0)), required_of(KMH.to_mps(25.1))
    assert (slow.least_mps2, round(slow.one_brake_mps2, 2)) == (3.5, 1.54)
    assert (fast.least_mps2, round(fast.one_brake_mps2, 2)) == (5.0, 2.2)
    assert slow.stops_asked == fast.stops_asked == 5
    assert slow.source == "eKFV § 4 (1); StVZO § 41 (4) and (4a), slow motor vehicles"
    assert fast.source.startswith("StVZO § 41 (4) and (4a)")


def test_no_distance_no_deceleration() -> None:
    assert np.isnan(mean_decel_mps2(5.0, 0.0, 0.0))
