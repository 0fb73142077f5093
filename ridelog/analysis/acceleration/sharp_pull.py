"""Pull at a speed, freed from the width of the windows it was measured over."""

import numpy as np
from scipy.interpolate import PchipInterpolator

from ridelog.analysis.acceleration.measure import HALF_STEP_MPS, PullCurve
from ridelog.core.track import FloatArray


def sharp_pull(pull: PullCurve, speed_mps: FloatArray) -> FloatArray:
    """Return the pull of a ride at any speeds, for every draw.

    The curve tells the mean of 1 / pull over a window of h to either side of each speed, which
    rounds a kink off: where a machine comes from one limit to another, curves measured so cross
    too low. To second order such a mean exceeds the function itself by h² / 6 times its second
    derivative; the second difference of neighbouring windows takes that off. Between the speeds of
    the curve it is interpolated without overshoot, since a straight line would cut the bend.

    Parameters
    ----------
    pull : PullCurve
        Of one ride.
    speed_mps : ndarray, shape (k,)
        Where to tell it.

    Returns
    -------
    ndarray, shape (k, columns)
        NaN outside the curve, and everywhere if fewer than two of its speeds are known. [m/s²]

    Source
    ------
    Own derivation: DEVELOPERS.md, "Before and after".
    """
    known = np.isfinite(pull.columns).all(axis=1) & (pull.columns > 0.0).all(axis=1)
    if known.sum() < 2:
        return np.full((len(speed_mps), pull.columns.shape[1]), np.nan)
    slowness = 1.0 / pull.columns[known]
    at = pull.speed_mps[known]
    step = np.diff(at)
    sharp = slowness.copy()
    # A speed whose neighbours are not alike far away, at an end or beside a hole, stays as it is.
    inner = 1 + np.flatnonzero(np.isclose(step[:-1], step[1:]))
    bend = slowness[inner - 1] - 2.0 * slowness[inner] + slowness[inner + 1]
    sharp[inner] -= bend * (HALF_STEP_MPS / step[inner - 1, None]) ** 2 / 6.0
    found: FloatArray = 1.0 / PchipInterpolator(at, sharp, axis=0, extrapolate=False)(speed_mps)
    return found
