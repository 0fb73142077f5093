"""What wind along the straight leaves in a figure even when both directions are averaged."""

import numpy as np

from ridelog.analysis.coasting.measure import USUAL_AIR_PM
from ridelog.core.estimate import Estimate

# Directions that differ by less than two standard deviations of that difference tell of no wind;
# common practice, no source: chance does so one time in 22.
_SURE = 2.0
# Own choice: at the steepest, a window up to 0.97 of the top speed, the sums come out 2 % high.
_POINTS = 101


def wind_excess(
    there: Estimate,
    back: Estimate,
    mean: float,
    *,
    from_mps: float,
    to_mps: float,
    top_mps: float,
    time_s: float,
) -> float:
    """Return by how much the mean of both directions may exceed the figure in still air.

    Air drag grows with the square of the speed through the air, so a wind w takes c w² from the
    pull of both directions alike, on top of 2 c w v that they share out between them. The second
    is seen as the share r by which the directions differ; the first follows from it. A slope makes
    directions differ without it, so this is the most that their difference can stand for, not a
    correction.

    ``there`` and ``back`` are the time or distance of the start in both directions, ``mean`` their
    mean; it was timed between two speeds in ``time_s`` on the average, and at ``top_mps``, above
    both, the pull has gone.

    Source
    ------
    Own derivation: analysis (4).
    """
    whole = there.value + back.value
    apart, error = abs(there.value - back.value), float(np.hypot(there.sd, back.sd))
    if whole <= 0.0 or apart <= _SURE * error:
        return 0.0
    speed = np.linspace(from_mps, to_mps, _POINTS)
    # Pull falls in a straight line to the top speed, to a scale that the time of the window gives.
    slowness = 1.0 / (1.0 - speed / top_mps)
    slowness *= time_s / np.trapezoid(slowness, speed)
    lost = np.trapezoid(slowness**2, speed)
    wind = apart / whole * time_s / (2.0 * USUAL_AIR_PM * np.trapezoid(speed * slowness**2, speed))
    seen = 1.0 - (error / apart) ** 2
    return float(mean * seen * USUAL_AIR_PM * wind**2 * lost / time_s)


def wind_loss(there: Estimate, back: Estimate, *, slope_ps: float) -> float:
    """Return by how much the mean top speed of both ways may fall short of still air's. [m/s]

    Near the top speed V the acceleration is S (V - v), of which air drag is 2 c V (V - v). A wind w
    shifts the two directions by h = 2 c w V / S to either side, and takes (c w² / S) (1 - 2 c V /
    S)² from both where the drive's pull falls in a straight line. ``slope_ps`` is S. [1/s]

    Source
    ------
    Own derivation: analysis (5).
    """
    apart, error = abs(there.value - back.value), float(np.hypot(there.sd, back.sd))
    if apart <= _SURE * error:
        return 0.0
    top_mps = 0.5 * (there.value + back.value)
    half_square = 0.25 * (apart**2 - error**2)
    drive = max(1.0 - 2.0 * USUAL_AIR_PM * top_mps / slope_ps, 0.0)
    return float(half_square * slope_ps * drive**2 / (4.0 * USUAL_AIR_PM * top_mps**2))
