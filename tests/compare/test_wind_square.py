"""What wind may have added to starts in both directions, against starts integrated in wind."""

import numpy as np
import pytest

from ridelog.analysis.wind import wind_excess, wind_loss
from ridelog.core.estimate import Estimate

# Air drag per mass of 0.45 m2 and 105 kg at 1.2041 kg/m3. [1/m]
DRAG = 0.5 * 1.2041 * 0.45 / 105.0


def known(value: float, sd: float = 1e-6) -> Estimate:
    return Estimate(value, value - 1.6449 * sd, value + 1.6449 * sd)


def start_s(from_mps: float, to_mps: float, wind_mps: float, grade_mps2: float = 0.0) -> float:
    """Time of a machine whose pull falls in a line to 9 m/s in still air."""
    speed = np.linspace(from_mps, to_mps, 4001)
    still = 2.0 * (1.0 - speed / 9.0)
    air = DRAG * ((speed + wind_mps) ** 2 - speed**2)
    return float(np.trapezoid(1.0 / (still - air - grade_mps2), speed))


@pytest.mark.parametrize(("low", "high"), [(0.0, 5.6), (2.8, 5.6), (2.8, 7.5)])
def test_the_square_of_the_wind_is_found(low: float, high: float) -> None:
    there, back, still = (start_s(low, high, wind) for wind in (1.5, -1.5, 0.0))
    mean = 2.0 * there * back / (there + back)
    found = wind_excess(
        known(there), known(back), mean, from_mps=low, to_mps=high, top_mps=9.0, time_s=mean
    )
    assert mean > still
    # Close to the top the times are no longer linear in the wind.
    assert found == pytest.approx(mean - still, rel=0.2)


def test_directions_that_agree_tell_of_no_wind() -> None:
    words = {"from_mps": 0.0, "to_mps": 5.0, "top_mps": 9.0, "time_s": 3.0}
    assert wind_excess(known(3.0), known(3.0), 3.0, **words) == 0.0
    # Within two standard deviations of each other.
    assert wind_excess(known(2.9, 0.1), known(3.1, 0.1), 3.0, **words) == 0.0
    sure, doubtful = (wind_excess(known(2.7, sd), known(3.3, sd), 3.0, **words) for sd in (0, 0.1))
    assert 0.0 < doubtful < sure


def test_the_top_speed_that_wind_takes_is_found() -> None:
    def top_mps(wind_mps: float) -> float:
        speed = np.linspace(5.0, 12.0, 70001)
        drive = 0.3 * (9.0 - speed) + DRAG * 9.0**2
        return float(speed[np.argmin(np.abs(drive - DRAG * (speed + wind_mps) ** 2))])

    there, back = top_mps(1.5), top_mps(-1.5)
    lost = 9.0 - 0.5 * (there + back)
    assert lost > 0.005
    found = wind_loss(known(there), known(back), slope_ps=0.3 + 2.0 * DRAG * 9.0)
    assert found == pytest.approx(lost, rel=0.05)
    assert wind_loss(known(9.0, 0.1), known(9.1, 0.1), slope_ps=0.3) == 0.0
